"""How long each of the strokes' links is."""

from functools import lru_cache
from itertools import pairwise

import numpy as np

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
