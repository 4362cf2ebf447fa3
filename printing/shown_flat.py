"""What pages and report both need of the flat picture they show, found once: its paper, and where it is dark."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from pictures.flat import FlatPicture
from printing.tile_picture import PaperWhite, paper_white, reduced, whitened

# Long side of the copy that darkness is told from: a line on A0 is still a px wide.
_LONG_SIDE_PX = 3000


@dataclass(frozen=True, slots=True, eq=False)
class ShownFlat:
    """A flat picture at full size, mirrored when the build drawing is, and what its paper looks like.

    `dark_sums` (H + 1, W + 1) are the sums of darkness, 0..255, above and left of each px corner of a smaller copy.
    """

    flat: FlatPicture
    white: PaperWhite
    dark_sums: NDArray[np.int32]


def shown_flat(flat: FlatPicture) -> ShownFlat:
    """Give a flat picture with its paper and its darkness found."""
    white = paper_white(flat)
    small = reduced(_grey(flat.pixels), _LONG_SIDE_PX)
    grey_white = white if white.paper is None else replace(white, paper=_grey(white.paper))
    clean = whitened(small, grey_white, (0, 0, small.shape[1], small.shape[0]))
    return ShownFlat(flat, white, np.asarray(cv2.integral(255 - clean), np.int32))


def _grey(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return pixels if pixels.ndim == 2 else np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8)
