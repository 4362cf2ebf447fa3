"""Where a mark would go: the crossing, corner or line end near it, else the nearest place on a line."""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.ink_path import InkGraph
from digitize.strokes import NodeKind, Strokes
from drawing.paths import Point

WHAT = {
    NodeKind.JUNCTION: "crossing",
    NodeKind.CORNER: "corner",
    NodeKind.TIP: "corner",
    NodeKind.END: "end",
    NodeKind.LOOP: "line",
}

SAME_PX = 0.5
"""A landmark this near to a node is that node."""


class Snapper:
    """Answers where marks go on one picture; made once, and kept."""

    def __init__(self, strokes: Strokes, landmarks_px: NDArray[np.float64], graph: InkGraph) -> None:
        self._graph = graph
        self._landmarks = landmarks_px
        self._tree = cKDTree(landmarks_px) if len(landmarks_px) else None
        self._kinds = np.full(len(landmarks_px), NodeKind.JUNCTION, np.uint8)
        if len(strokes.nodes_px) and len(landmarks_px):
            # A landmark is one of the nodes, or a crossing of the paper's own lines.
            far, node = cKDTree(strokes.nodes_px).query(landmarks_px)
            self._kinds[far < SAME_PX] = strokes.kinds[node[far < SAME_PX]]

    def snap(self, at_px: Point, *, reach_px: float) -> dict[str, Any]:
        """Give {at, what, number}: number counts landmarks from 1 as `look` does, None on a line or on nothing."""
        if not (all(map(math.isfinite, at_px)) and 0 <= reach_px < math.inf):
            return {"at": [0.0, 0.0], "what": "nothing", "number": None}
        if not reach_px:
            return {"at": list(at_px), "what": "nothing", "number": None}
        if self._tree is not None:
            far, which = self._tree.query(at_px, distance_upper_bound=reach_px)
            if np.isfinite(far):
                what = WHAT[NodeKind(int(self._kinds[which]))]
                return {"at": self._landmarks[which].tolist(), "what": what, "number": int(which) + 1}
        foot = self._graph.foot(at_px, reach_px=reach_px)
        if foot is not None:
            return {"at": list(foot.at_px), "what": "line", "number": None}
        return {"at": list(at_px), "what": "nothing", "number": None}
