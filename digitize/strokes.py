"""Strokes: drawn lines as a graph of centre-lines, where ink, vector pages and hand-traced lines meet."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from digitize.own_curve import OwnCurve
from drawing.errors import ScantlingError


class DigitizeError(ScantlingError):
    """Ink or traces that cannot become outlines."""


DASHED_GAPS = 3
"""Fewer gaps in a line may be lost ink, or two bars of letters side by side."""


class NodeKind(IntEnum):
    """What happens to the line at a node."""

    END = 0
    """A line ends; one link."""
    CORNER = 1
    """Two links meet at an angle, at the crossing of their extensions."""
    JUNCTION = 2
    """Three or more links meet."""
    TIP = 3
    """An acute corner whose two sides merge before they meet (a trailing edge)."""
    LOOP = 4
    """Any point on a smooth closed line that has no other node."""


@dataclass(frozen=True, slots=True)
class Link:
    """A line between two nodes with nothing else on it.

    `points_px` is (M, 2), picture frame, M >= 2, running from node `start` to node
    `end`, whose positions are its first and last points exactly. `sigma_px` is the
    one-sigma error of a point across the line, `width_px` the ink's width.
    A smooth closed line is one link whose `start` equals `end`. On a vector page `own` is
    the page's own curve along the link, which no other line's ink has pulled aside; elsewhere it is None.
    `gaps` counts those in its ink that were bridged. `solid_px2` is the size of the largest
    field that it runs through of ink too wide for a pen. `tint` numbers the ink it is drawn in from 1, and is 0 where
    the picture has but one, and of a line traced by hand. `guessed` is a link that no ink shows: it closes an outline
    that is open there.
    """

    start: int
    end: int
    points_px: NDArray[np.float64]
    sigma_px: float
    width_px: float
    own: OwnCurve | None = None
    gaps: int = 0
    solid_px2: float = 0.0
    tint: int = 0
    guessed: bool = False

    @property
    def blot_px(self) -> float:
        """How wide the ink is that blurs what meets: none where the page itself says where its lines run."""
        return self.width_px if self.own is None else 0.0

    @property
    def bridged(self) -> bool:
        """Whether a gap in its ink was bridged."""
        return self.gaps > 0

    @property
    def dashed(self) -> bool:
        """Whether it is known to be of a dashed line; in ink, dashes that were not bridged are links of their own."""
        if self.own is not None:
            return bool(self.own.dashed.all())
        return self.gaps >= DASHED_GAPS


@dataclass(frozen=True, slots=True, eq=False)
class Strokes:
    """Every drawn line of a picture: `nodes_px` (N, 2) picture px, `kinds` (N,) of NodeKind, and the links.

    Strokes are equal to themselves alone, so that what was told of them is kept and not told again.
    """

    nodes_px: NDArray[np.float64]
    kinds: NDArray[np.uint8]
    links: tuple[Link, ...]

    def mapped(self, to_plan: Callable[[NDArray[np.float64]], NDArray[np.float64]]) -> "PlanStrokes":
        """Give the same strokes in plan mm (y up); `to_plan` takes and gives (N, 2) arrays."""
        counts = [len(link.points_px) for link in self.links]
        if not counts:
            return PlanStrokes(self, np.empty((0, 2)), ())
        points_mm = to_plan(np.concatenate([link.points_px for link in self.links]))
        nodes_mm = to_plan(self.nodes_px)
        return PlanStrokes(self, nodes_mm, tuple(np.split(points_mm, np.cumsum(counts)[:-1])))


@dataclass(frozen=True, slots=True)
class PlanStrokes:
    """Strokes with their points in plan mm: `links_mm[i]` holds the points of `strokes.links[i]`."""

    strokes: Strokes
    nodes_mm: NDArray[np.float64]
    links_mm: tuple[NDArray[np.float64], ...]
