"""A picture of a plan, and where it came from."""

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drawing.errors import ScantlingError
from drawing.findings import Finding


class PictureError(ScantlingError):
    """A file that cannot be read as a picture of a plan."""


class Medium(StrEnum):
    """What the file holds, as far as its format tells."""

    RASTER = "raster"
    """A photo or scan; `tag_dpi` is only ever a suggestion."""
    PDF_PAGE = "pdf page"
    """A PDF page drawn at `render_dpi`."""
    PDF_IMAGE = "pdf image"
    """A PDF page that is one scanned image, read at that image's own pixels."""


@dataclass(frozen=True, slots=True)
class Source:
    """Where a picture came from and what its file claims.

    `tag_dpi` is (x, y) as the file's tag or the PDF page's placement of its one
    image claims; None when it claims nothing. `focal_35mm` is the EXIF 35 mm
    equivalent focal length, `camera` the EXIF make and model; both None or ""
    when absent. `page` counts from 1.
    """

    path: Path
    sha256: str
    medium: Medium
    page: int = 1
    pages: int = 1
    tag_dpi: tuple[float, float] | None = None
    render_dpi: float | None = None
    focal_35mm: float | None = None
    camera: str = ""
    orientation: int = 1
    colour: bool = False
    bilevel: bool = False
    inverted: bool = False


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as displayed upright: `grey` is (H, W) uint8, dark lines on light paper.

    Picture frame: x right, y down, px, (0, 0) at the centre of the top-left pixel.
    EXIF orientation is applied; transparency lies over white; a blueprint's light
    lines have been made dark (`source.inverted`).
    """

    grey: NDArray[np.uint8]
    source: Source
    findings: tuple[Finding, ...] = ()

    @property
    def width_px(self) -> int:
        """Number of columns."""
        return int(self.grey.shape[1])

    @property
    def height_px(self) -> int:
        """Number of rows."""
        return int(self.grey.shape[0])
