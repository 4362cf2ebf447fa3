"""How large and how small a picture may be; each limit is written here once."""

from pathlib import Path

from pictures.picture import PictureError

MAX_MEGAPIXELS = 400
"""Largest picture read. A0 at 300 dpi is 139.5 MP, two A0 side by side 279; at 6 bytes a pixel for the whole job 400 MP
take 2.4 GB. Lower refuses honest scans; higher lets a file of a few kB fill a home computer's memory."""

MIN_SIDE_PX = 64
"""Shortest side read, px: below it is an icon or a thumbnail, and no line of a plan can be measured in it."""

MAX_FILE_MB = 4000
"""Largest file read, MB: 400 MP of uncompressed 16-bit colour are 2400."""


def check_size(path: Path, *, width_px: int, height_px: int) -> None:
    """Refuse a picture too large or too small, from its header, before anything is decoded.

    Raises
    ------
    PictureError
        If it has more than `MAX_MEGAPIXELS`, or a side under `MIN_SIDE_PX`.
    """
    megapixels = width_px * height_px / 1e6
    if megapixels > MAX_MEGAPIXELS:
        raise PictureError(
            f"{path.name} is {width_px} x {height_px} px, {megapixels:.0f} megapixels; at most {MAX_MEGAPIXELS} "
            "megapixels can be read: save it at a lower resolution (300 dpi is enough), or cut it into parts."
        )
    if min(width_px, height_px) < MIN_SIDE_PX:
        raise PictureError(
            f"{path.name} is {width_px} x {height_px} px; a plan needs at least {MIN_SIDE_PX} px each way: "
            "use the original picture, not its preview."
        )


def check_page(path: Path, *, page: int, pages: int) -> None:
    """Refuse a page that is not there; pages count from 1.

    Raises
    ------
    PictureError
        If the file has no such page.
    """
    if 1 <= page <= pages:
        return
    has = "1 page" if pages == 1 else f"{pages} pages"
    which = "1" if pages == 1 else f"1 to {pages}"
    raise PictureError(
        f"{path.name} has {has}, page {page} was asked for; a page that is there was needed: ask for {which}."
    )
