"""How long each of the strokes' links is, where it ends, and how far it reaches."""

from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from digitize.strokes import Strokes


@lru_cache(maxsize=2)
def link_lengths_px(strokes: Strokes) -> tuple[float, ...]:
    """Give the length of every link, px; the same strokes are measured once."""
    if not strokes.links:
        return ()
    points = np.concatenate([link.points_px for link in strokes.links])
    steps = np.diff(points, axis=0)
    far = np.sqrt((steps * steps).sum(axis=1))
    ends = np.cumsum([0, *(len(link.points_px) for link in strokes.links)]).tolist()
    # The step from one link's last point to the next one's first is no line's.
    return tuple(float(far[first : last - 1].sum()) for first, last in pairwise(ends))


@lru_cache(maxsize=2)
def link_bounds_px(strokes: Strokes) -> NDArray[np.float64]:
    """Give the bounds (L, 4) of all links, px: x min, y min, x max, y max; not to be written to."""
    if not strokes.links:
        return np.empty((0, 4))
    points = np.concatenate([link.points_px for link in strokes.links])
    first = np.cumsum([0, *(len(link.points_px) for link in strokes.links[:-1])])
    bounds = np.hstack([np.minimum.reduceat(points, first), np.maximum.reduceat(points, first)])
    bounds.flags.writeable = False
    return bounds


@lru_cache(maxsize=2)
def link_ends_px(strokes: Strokes) -> NDArray[np.float64]:
    """Give the first and the last point of all links, (L, 2, 2); not to be written to."""
    ends = np.array([link.points_px[[0, -1]] for link in strokes.links]).reshape(-1, 2, 2)
    ends.flags.writeable = False
    return ends
