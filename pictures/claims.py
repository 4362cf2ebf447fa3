"""What a picture file claims about itself: resolution, orientation, camera. Claims, not truth."""

import math
from dataclasses import dataclass
from typing import Any

from PIL import ExifTags, Image

from drawing.units import MM_PER_INCH

CM_PER_INCH = MM_PER_INCH / 10
_INCH, _CENTIMETRE = 2, 3


@dataclass(frozen=True, slots=True)
class Claims:
    """What the tags say; `tag_dpi` is (x, y) of the picture as stored, before it is put upright.

    `orientation` is the EXIF / TIFF value 1..8, 1 when absent or senseless.
    """

    tag_dpi: tuple[float, float] | None = None
    orientation: int = 1
    focal_35mm: float | None = None
    camera: str = ""

    @property
    def upright_dpi(self) -> tuple[float, float] | None:
        """The claimed dpi (x, y) of the picture as displayed: orientations 5..8 swap the axes."""
        if self.tag_dpi is None or self.orientation < 5:
            return self.tag_dpi
        return self.tag_dpi[1], self.tag_dpi[0]


def read_claims(image: Image.Image) -> Claims:
    """Give what an opened (not yet decoded) picture claims.

    The format's own resolution tag (JFIF, pHYs, TIFF) goes before the EXIF one, which many
    programs leave behind when they resize. TIFF 6.0 and EXIF 2.3: unit 2 inch, 3 cm, 1 no unit.
    """
    # A damaged EXIF block raises many things in its parser; a picture without claims is still a picture.
    try:
        exif: Any = image.getexif()
        inner = dict(exif.get_ifd(ExifTags.IFD.Exif))
    except (OSError, ValueError, SyntaxError, TypeError, KeyError, IndexError, AttributeError, OverflowError):
        exif, inner = {}, {}
    tag_dpi = _own_dpi(image)
    if tag_dpi is None:
        tag_dpi = _dpi(exif.get(282), exif.get(283), exif.get(296, 1))
    orientation = exif.get(ExifTags.Base.Orientation, 1)
    return Claims(
        tag_dpi=tag_dpi,
        orientation=orientation if orientation in range(1, 9) else 1,
        focal_35mm=_positive(inner.get(ExifTags.Base.FocalLengthIn35mmFilm)),
        camera=_camera(exif.get(ExifTags.Base.Make), exif.get(ExifTags.Base.Model)),
    )


def _own_dpi(image: Image.Image) -> tuple[float, float] | None:
    """The format's own tag: JFIF density, TIFF tags, PNG pHYs, BMP header."""
    if image.format in ("JPEG", "MPO"):
        density = image.info.get("jfif_density", (None, None))
        unit = {1: _INCH, 2: _CENTIMETRE}.get(image.info.get("jfif_unit", 0), 1)
        return _dpi(density[0], density[1], unit)
    if image.format == "TIFF":
        tags: Any = getattr(image, "tag_v2", {})
        # TIFF 6.0: the unit defaults to inch.
        return _dpi(tags.get(282), tags.get(283), tags.get(296, _INCH))
    across, down = image.info.get("dpi", (None, None))
    return _dpi(across, down, _INCH)


def _dpi(across: Any, down: Any, unit: Any) -> tuple[float, float] | None:
    """Dots per inch from a resolution pair and its unit; None when it says nothing."""
    x, y = _positive(across), _positive(down)
    if unit not in (_INCH, _CENTIMETRE) or x is None or y is None:
        return None
    per_inch = CM_PER_INCH if unit == _CENTIMETRE else 1.0
    return x * per_inch, y * per_inch


def _positive(value: Any) -> float | None:
    """A positive finite number, or None."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if 0 < number < math.inf else None


def _camera(make: Any, model: Any) -> str:
    """Make and model, the make not said twice."""
    first, second = (str(part or "").strip(" \t\r\n\0") for part in (make, model))
    if first and second.lower().startswith(first.lower()):
        return second
    return f"{first} {second}".strip()
