"""The drawn line that parts two outlines from each other, found by one click: rubbed out, they are one."""

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.continuation import Side, points_from
from digitize.ink_path import InkGraph
from drawing.paths import Point

Floats = NDArray[np.float64]

STRAY_PX = 0.25
"""How far the band's middle may lie off the line: well within the band, so that all of the line lies in it."""

LEAST_BAND_PX = 2.0
"""The band is as wide as the line, and at least this: a neighbour drawn close by stays."""

NO_LINE = "There is no drawn line here: click the line that two outlines share."
ENDS_FREELY = "This line ends freely, so it parts no two outlines: click one that runs from line to line."
ALONE = "Only one outline runs along this line: click the line that two outlines share."


def shared_edge(graph: InkGraph, at_px: Point, *, reach_px: float) -> dict[str, Any]:
    """Give {points_px, width_px, words}: the band that rubs out the edge near a place, from meeting to meeting.

    Without an edge that has an outline on each side `points_px` is empty and `words` say why.
    """
    foot = graph.foot(at_px, reach_px=reach_px)
    if foot is None:
        return _none(NO_LINE)
    chain = _chain(graph, foot.link)
    if isinstance(chain, str):
        return _none(chain)
    there, back = _face(graph, chain[0]), _face(graph, chain[-1] ^ 1)
    if chain[0] ^ 1 in there:
        return _none(ENDS_FREELY)
    if not (_is_outline(graph, there) and _is_outline(graph, back)):
        return _none(ALONE)
    strokes = graph.lines.strokes
    points = np.vstack([points_from(strokes, side) for side in chain])
    line = shapely.simplify(shapely.LineString(points), STRAY_PX)
    widest_px = max(strokes.links[side >> 1].width_px for side in chain)
    return {
        "points_px": np.round(shapely.get_coordinates(line), 3).tolist(),
        "width_px": round(max(LEAST_BAND_PX, widest_px), 3),
        "words": "",
    }


def _none(words: str) -> dict[str, Any]:
    return {"points_px": [], "width_px": 0.0, "words": words}


def _chain(graph: InkGraph, link: int) -> list[Side] | str:
    """The links, each by the side it is entered at, that make one line between two meetings of three lines or more.

    Where there is no such line, why not.
    """
    after = _onward(graph, 2 * link)
    before = _onward(graph, 2 * link + 1)
    if isinstance(after, str):
        return after
    if isinstance(before, str):
        return before
    return [*(side ^ 1 for side in reversed(before)), 2 * link, *after]


def _onward(graph: InkGraph, side: Side) -> list[Side] | str:
    """What follows a link entered at `side` up to the next meeting; in words when the line ends or comes round."""
    found: list[Side] = []
    at = side
    while True:
        here = graph.sides_at[graph.lines.place_of(at ^ 1)]
        if len(here) > 2:
            return found
        if len(here) < 2:
            return ENDS_FREELY
        at = here[0] if here[1] == at ^ 1 else here[1]
        if at >> 1 == side >> 1:
            return ALONE
        found.append(at)


def _face(graph: InkGraph, side: Side) -> dict[Side, None]:
    """The sides passed on the way round the field on one hand of a line, in their order."""
    passed: dict[Side, None] = {}
    at = side
    while at not in passed:
        passed[at] = None
        at = _next_round(graph, at ^ 1)
    return passed


def _next_round(graph: InkGraph, arrived: Side) -> Side:
    """The side by which the same field goes on from where a link arrived."""
    here = graph.sides_at[graph.lines.place_of(arrived)]
    if len(here) < 3:
        return next((side for side in here if side != arrived), arrived)
    order: list[Side] = [here[n] for n in np.argsort(graph.lines.leaving_rad[here], kind="stable")]
    return order[(order.index(arrived) + 1) % len(order)]


def _is_outline(graph: InkGraph, face: dict[Side, None]) -> bool:
    """Whether a field is bounded: gone round with its middle on the hand that inner fields have it."""
    points = np.vstack([points_from(graph.lines.strokes, side) for side in face])
    x, y = (points - points[0]).T
    return bool(x @ np.roll(y, -1) - y @ np.roll(x, -1) < 0)
