"""Decode a page of a TIFF."""

import dataclasses
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from drawing.findings import Finding, Level
from pictures.channels import as_channels, bgr_holds_colour
from pictures.claims import read_claims
from pictures.depth import to_8_bits
from pictures.limits import check_page, check_size
from pictures.native_output import captured_messages
from pictures.picture import PictureError
from pictures.pillow_pixels import UNDECODABLE, WIDE_MODES, pillow_reading
from pictures.plan_file import FileKind, PlanFile, damaged
from pictures.reading import Channels, Reading

# TIFF 6.0 tags and values.
_WIDTH, _HEIGHT, _ROWS_PER_STRIP, _UNCOMPRESSED = 256, 257, 278, 1
_BITS, _COMPRESSION, _PHOTOMETRIC = 258, 259, 262
_WHITE_IS_ZERO = 0
_STRIP_OFFSETS, _STRIP_BYTES, _TILE_OFFSETS, _TILE_BYTES = 273, 279, 324, 325
_FAX_COMPRESSIONS = (2, 3, 4)

_NONSENSE = (
    "Bad code word",
    "Line length mismatch",
    "Premature E",
    "Decoding error",
    "Corrupt",
    "corrupt",
    "buffer overrun",
)
"""How the decoder (libtiff) says that it went on after nonsense."""


def read_tiff(file: PlanFile, *, page: int, channels: Channels) -> Reading:
    """Decode a page of a TIFF file, pages counted from 1.

    Raises
    ------
    PictureError
        If it has no such page, is cut short, damaged, of a form that cannot be decoded, or too large.
    """
    with captured_messages() as said:
        try:
            with Image.open(file.path, formats=("TIFF",)) as image:
                pages = int(getattr(image, "n_frames", 1))
                check_page(file.path, page=page, pages=pages)
                image.seek(page - 1)
                check_size(file.path, width_px=image.size[0], height_px=image.size[1])
                _check_whole(file, image)
                reading = _decode(file, image, page, channels)
        except PictureError:
            raise
        except (UnidentifiedImageError, EOFError) as error:
            raise damaged(file.path, FileKind.TIFF, "its header makes no sense, or its form is unusual") from error
        except UNDECODABLE as error:
            raise damaged(file.path, FileKind.TIFF, "its data cannot be decoded") from error
    reading = dataclasses.replace(reading, pages=pages)
    if any(phrase in said.text for phrase in _NONSENSE):
        text = (
            f"The decoder met nonsense in {file.path.name} and went on; parts may be shifted or missing: "
            "look at it, and fetch it again if a part is wrong."
        )
        finding = Finding("picture-damaged", Level.DECIDE, file.path.name, text)
        reading = dataclasses.replace(reading, findings=(*reading.findings, finding))
    return reading


def _check_whole(file: PlanFile, image: Any) -> None:
    """Refuse a page whose strips or tiles lie beyond the file's end: decoders fill them with black or white."""
    size = file.path.stat().st_size
    tags = image.tag_v2
    for offsets_tag, bytes_tag in ((_STRIP_OFFSETS, _STRIP_BYTES), (_TILE_OFFSETS, _TILE_BYTES)):
        offsets, lengths = (np.atleast_1d(np.asarray(tags.get(tag, ()), float)) for tag in (offsets_tag, bytes_tag))
        count = min(len(offsets), len(lengths))
        if count and (offsets[:count] + lengths[:count]).max() > size:
            raise damaged(file.path, FileKind.TIFF, "the picture data ends too early")
    width, height = int(tags[_WIDTH]), int(tags[_HEIGHT])
    bits = int(np.sum(np.atleast_1d(tags.get(_BITS, 1))))
    if tags.get(_COMPRESSION, _UNCOMPRESSED) == _UNCOMPRESSED and width * bits // 8 * height > size:
        raise damaged(file.path, FileKind.TIFF, "its header states a larger picture than the file holds")
    strips = np.size(tags.get(_STRIP_OFFSETS, ()))
    if strips and strips * int(tags.get(_ROWS_PER_STRIP, height)) < height:
        raise damaged(file.path, FileKind.TIFF, "rows of the picture are missing")


def _decode(file: PlanFile, image: Any, page: int, channels: Channels) -> Reading:
    """Decode the page that `image` stands at, upright (Pillow and OpenCV both apply a TIFF's orientation)."""
    claims = read_claims(image)
    width, height = image.size
    bits = np.atleast_1d(image.tag_v2.get(_BITS, 1))
    fax = image.tag_v2.get(_COMPRESSION) in _FAX_COMPRESSIONS
    white_is_zero = image.tag_v2.get(_PHOTOMETRIC) == _WHITE_IS_ZERO
    # OpenCV passes on what libtiff says of damaged fax data, which has no checksum, and keeps 16 bits of colour.
    if fax or (len(bits) >= 3 and bits[0] == 16):
        samples = _decode_cv(file, page)
        if samples.shape[:2] != (height, width):
            raise damaged(file.path, FileKind.TIFF, "its headers disagree about its size")
        pixels, findings = to_8_bits(samples, name=file.path.name)
        colour = pixels.ndim == 3 and bgr_holds_colour(pixels)
        return Reading(as_channels(pixels, channels), claims, colour=colour, findings=findings)
    reading = pillow_reading(image, channels, name=file.path.name)
    if white_is_zero and image.mode in WIDE_MODES:
        # Pillow turns these over for up to 8 bits only.
        cv2.bitwise_not(reading.pixels, reading.pixels)
    return reading


def _decode_cv(file: PlanFile, page: int) -> NDArray[Any]:
    """Decode a page with OpenCV: (H, W) or (H, W, 3) blue-green-red, 8 or 16 bits."""
    encoded = np.fromfile(file.path, np.uint8)
    flags = cv2.IMREAD_ANYDEPTH | cv2.IMREAD_ANYCOLOR | cv2.IMREAD_IGNORE_ORIENTATION
    try:
        done, pages = cv2.imdecodemulti(encoded, flags, range=(page - 1, page))
    except cv2.error:
        done, pages = False, ()
    if not done or len(pages) != 1:
        raise damaged(file.path, FileKind.TIFF, "its data cannot be decoded")
    decoded: NDArray[Any] = pages[0]
    return decoded
