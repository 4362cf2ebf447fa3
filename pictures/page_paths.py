"""What a PDF page draws with paths of its own, in the picture frame."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PagePath:
    """One run of a pen: cubics end to end, picture px (y down), as the page draws them.

    `controls_px` is (K, 4, 2), each cubic's end the next one's start; a straight piece (`straight`, (K,)) has its two
    inner points on it. `width_px` is 0 for a hairline. `shade` is the pen's lightness, 0 black to 1 white. `dashed`
    runs are drawn with a dash pattern, and are whole all the same. `clip` is the number of the page's clip it is
    seen through, or -1. Runs of one path of the page share `number`.
    """

    controls_px: Floats
    straight: NDArray[np.bool_]
    width_px: float
    shade: float
    dashed: bool
    clip: int
    number: int

    @property
    def closed(self) -> bool:
        """Whether it ends where it starts."""
        return bool((self.controls_px[0, 0] == self.controls_px[-1, 3]).all())


@dataclass(frozen=True, slots=True)
class PageDrawing:
    """The paths of a PDF page.

    `strokes` are drawn with a pen, `fills` are areas of colour without one (their boundaries, as runs). `clips` are
    areas to look through: each is a sequence of paths, all of which limit it, each of them a sequence of rings (N, 2)
    px. `text_boxes_px` and `image_boxes_px` are (N, 4): x min, y min, x max, y max. `segments` counts the pieces of
    all paths, `broken` the paths left out because their numbers were no places on the page, `shadings` what was drawn
    by other means.
    """

    strokes: tuple[PagePath, ...]
    fills: tuple[PagePath, ...]
    clips: tuple[tuple[tuple[Floats, ...], ...], ...]
    text_boxes_px: Floats
    image_boxes_px: Floats
    segments: int
    broken: int = 0
    shadings: int = 0


@dataclass(frozen=True, slots=True)
class TooManyPaths:
    """A page of more path pieces than are taken one by one; `segments` were counted before counting stopped."""

    segments: int
