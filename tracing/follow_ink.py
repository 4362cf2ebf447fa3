"""A trace through clicks: along drawn lines, along faint ink, and straight where there is none."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.ink_path import InkGraph, Stretch, way_along
from digitize.scissors import AROUND_PX, SIGMA_PX, WINDOW_PX, faint_way, is_within_window
from digitize.strokes import DigitizeError, NodeKind
from digitize.trace_fit import Leg, fitted_trace
from digitize.traces import PEN_WIDTH_PX, Trace
from drawing.paths import Point
from pictures.picture import Picture

Floats = NDArray[np.float64]

REACH_WIDTHS, LEAST_REACH_PX = 2.5, 6.0
"""A click this near a line was meant for it, in line widths and px: as far as marks move."""

TOLERANCE_PX = 0.2
"""How far the curves may lie from the points found: half of what a line's own edge is unsure of, with few nodes."""

MOST_POINTS = 200
"""Clicks of one trace; each is searched from."""


@dataclass(frozen=True, slots=True)
class Way:
    """A way through clicks in legs, one to a line or stretch of one, picture px, and how it came about.

    `on_ink` tells that ink lies under all of it; `words` say what does not.
    """

    legs: tuple[Leg, ...]
    on_ink: bool
    words: str

    @property
    def points_px(self) -> Floats:
        """All its points, (N, 2)."""
        return np.vstack([self.legs[0].points_px[:1], *(leg.points_px[1:] for leg in self.legs)])


@dataclass(frozen=True, slots=True)
class Followed:
    """A trace through clicks, and the way that it was fitted to."""

    way: Way
    trace: Trace


def follow_ink(
    graph: InkGraph, picture: Picture, clicks_px: Sequence[Point], *, reach_px: float | None = None
) -> Followed:
    """Give the trace through two or more clicks: the way of `ink_way`, as curves.

    Raises
    ------
    DigitizeError
        For fewer than two different clicks, or too many.
    """
    way = ink_way(graph, picture, clicks_px, reach_px=reach_px)
    return Followed(way, fitted_trace(way.legs, tolerance_px=TOLERANCE_PX))


def ink_way(graph: InkGraph, picture: Picture, clicks_px: Sequence[Point], *, reach_px: float | None = None) -> Way:
    """Give the way through two or more clicks, quickly enough to follow a pointer.

    Each click moves to the line within reach. Between two on drawn lines the way is the shortest along them, straight
    on where lines meet; where no drawn line leads from one to the other it follows faint ink; where there is no ink
    either it is a straight line, and the words say so.

    Raises
    ------
    DigitizeError
        For fewer than two different clicks, or too many.
    """
    clicks = _told_apart(clicks_px)
    reach_px = reach_px or max(LEAST_REACH_PX, REACH_WIDTHS * graph.width_px)
    feet = [graph.foot(click, reach_px=reach_px) for click in clicks]
    at_px = [click if foot is None else foot.at_px for click, foot in zip(clicks, feet, strict=True)]
    chain = _Chain(graph)
    straight, faint = [], []
    for number, (start, end) in enumerate(pairwise(feet), 1):
        stretches = None if start is None or end is None else way_along(graph, start, end)
        start_px, end_px = at_px[number - 1], at_px[number]
        if stretches is not None:
            chain.add_stretches(stretches)
        elif math.dist(start_px, end_px) < SAME_PX:
            continue
        elif (found := faint_way(picture, start_px, end_px)) is not None:
            chain.add_faint(np.vstack([[start_px], found.points_px[1:-1], [end_px]]), found.width_px)
            faint.append(number)
        else:
            chain.add_straight(start_px, end_px)
            straight.append(number)
    if not chain.legs:
        raise DigitizeError("All clicks of the trace lie on one spot; it needs two places: click on along the line.")
    return Way(tuple(chain.legs), not straight, _words(at_px, straight, faint))


SHOWN_PX = 0.1
"""Points nearer than this to the line between others are not sent: nobody sees them."""


def way_view(way: Way) -> dict[str, Any]:
    """Give a way as values for JSON."""
    points = shapely.get_coordinates(shapely.simplify(shapely.LineString(way.points_px), SHOWN_PX))
    return {"points_px": np.round(points, 2).tolist(), "on_ink": way.on_ink, "words": way.words}


def followed_view(followed: Followed) -> dict[str, Any]:
    """Give a trace and its way as values for JSON."""
    trace = followed.trace
    return {
        **way_view(followed.way),
        "trace": {"start_px": trace.start_px, "cubics_px": trace.cubics_px, "closed": trace.closed},
    }


SAME_PX = 0.5
"""Clicks nearer to each other than this are one."""


class _Chain:
    """Legs of a trace, one after another."""

    def __init__(self, graph: InkGraph) -> None:
        self.legs: list[Leg] = []
        self._graph = graph
        self._link = -1
        self._turns = False

    def add_stretches(self, stretches: Sequence[Stretch]) -> None:
        """Add a way along lines; one that goes on along the line the last ended on becomes one leg with it."""
        strokes = self._graph.lines.strokes
        for stretch in stretches:
            if math.dist(stretch.points_px[0], stretch.points_px[-1]) == 0 and len(stretch.points_px) == 2:
                continue
            link = strokes.links[stretch.link]
            if self.legs and stretch.place < 0 and stretch.link == self._link and self._goes_on(stretch.points_px):
                last = self.legs[-1]
                points = np.vstack([last.points_px, stretch.points_px[1:]])
                self.legs[-1] = replace(last, points_px=points)
            else:
                self._add(Leg(stretch.points_px, self._kind(stretch), link.sigma_px, link.width_px))
            self._link = stretch.link

    def add_faint(self, points_px: Floats, width_px: float) -> None:
        """Add a way along faint ink."""
        self._add(Leg(points_px, NodeKind.JUNCTION, SIGMA_PX, width_px))
        self._link = -1

    def add_straight(self, start_px: Point, end_px: Point) -> None:
        """Add a straight line where there is no ink: it turns sharply at both ends."""
        count = max(2, math.ceil(math.dist(start_px, end_px)) + 1)
        points = np.array(start_px) + (np.array(end_px) - start_px) * np.linspace(0, 1, count)[:, None]
        self._turns = True
        self._add(Leg(points, NodeKind.CORNER, STRAIGHT_SIGMA_PX, self._graph.width_px or PEN_WIDTH_PX))
        self._turns, self._link = True, -1

    def _add(self, leg: Leg) -> None:
        self.legs.append(replace(leg, begins=NodeKind.CORNER) if self._turns else leg)
        self._turns = False

    def _goes_on(self, points_px: Floats) -> bool:
        """Whether a stretch runs on from the last leg's end rather than back along it."""
        last = self.legs[-1].points_px
        return float((points_px[1] - points_px[0]) @ (last[-1] - last[-2])) > 0

    def _kind(self, stretch: Stretch) -> NodeKind:
        lines = self._graph.lines
        link = lines.strokes.links[stretch.link]
        if stretch.place < 0:
            return NodeKind.JUNCTION
        node = link.start if lines.places[link.start] == stretch.place else link.end
        kind = NodeKind(int(lines.strokes.kinds[node]))
        # A way that comes to a line's end goes back along it.
        return NodeKind.CORNER if kind is NodeKind.END else kind


STRAIGHT_SIGMA_PX = 0.05
"""A line between two clicks is straight to the last digit; this keeps its equations solvable."""


def _told_apart(clicks_px: Sequence[Point]) -> list[Point]:
    """The clicks without those on the same spot as the one before."""
    if len(clicks_px) > MOST_POINTS:
        raise DigitizeError(
            f"A trace has {len(clicks_px)} clicks; at most {MOST_POINTS} are followed at once: place what you have and "
            "go on from its end."
        )
    if not all(math.isfinite(value) for click in clicks_px for value in click):
        raise DigitizeError("A click of the trace is no pair of numbers of pixels: click again.")
    clicks = [click for k, click in enumerate(clicks_px) if not k or math.dist(click, clicks_px[k - 1]) >= SAME_PX]
    if len(clicks) < 2:
        raise DigitizeError("A trace was asked for from one click; it needs two places: click on along the line.")
    return clicks


def _words(at_px: Sequence[Point], straight: Sequence[int], faint: Sequence[int]) -> str:
    if not straight and not faint:
        return "Along drawn lines."
    said = []
    if faint:
        said.append(f"{_of(faint, len(at_px) - 1)} along faint ink: look at it closely.")
    if straight:
        said.append(f"{_of(straight, len(at_px) - 1)} a straight line: no ink leads from click to click there.")
        far = [k for k in straight if not is_within_window(at_px[k - 1], at_px[k])]
        if far:
            said.append(f"Faint ink is looked for between clicks at most {WINDOW_PX - 2 * AROUND_PX} px apart.")
    return " ".join(said)


def _of(which: Sequence[int], count: int) -> str:
    if len(which) == count:
        return "All of it is"
    numbers = ", ".join(str(k) for k in which[:3]) + (" and more" if len(which) > 3 else "")
    return f"Stretch {numbers} is" if len(which) == 1 else f"Stretches {numbers} are"
