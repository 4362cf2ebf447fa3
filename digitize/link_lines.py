"""The strokes' links as lines that can be asked what meets them."""

from functools import lru_cache

import numpy as np
import shapely

from digitize.strokes import Strokes


@lru_cache(maxsize=2)
def line_tree(strokes: Strokes) -> shapely.STRtree:
    """Give a tree of the links as lines in picture px, numbered as the links are; the same strokes have one tree."""
    if not strokes.links:
        return shapely.STRtree([])
    points = np.concatenate([link.points_px for link in strokes.links])
    of = np.repeat(np.arange(len(strokes.links)), [len(link.points_px) for link in strokes.links])
    return shapely.STRtree(np.asarray(shapely.linestrings(points, indices=of), dtype=object))
