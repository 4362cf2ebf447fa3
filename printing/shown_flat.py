"""What pages and report both need of the flat picture they show, found once: its paper, and where it is dark."""

from dataclasses import dataclass

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
    small = reduced(flat.pixels, _LONG_SIDE_PX)
    clean = whitened(small, white, (0, 0, small.shape[1], small.shape[0]))
    grey = clean if clean.ndim == 2 else cv2.cvtColor(clean, cv2.COLOR_RGB2GRAY)
    return ShownFlat(flat, white, np.asarray(cv2.integral(255 - grey), np.int32))
