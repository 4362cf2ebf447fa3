"""How a walk passes from each line to the next: carrying on, round a corner, or by leaving one that runs on."""

from enum import StrEnum
from itertools import pairwise

import numpy as np

from digitize.continuation import LineGraph, Side, points_from
from digitize.dashed_lines import is_straight
from digitize.faces import Walk
from digitize.link_sizes import link_lengths_px
from digitize.measures import PAST_WIDTHS


class Meeting(StrEnum):
    """How a walk passes a place."""

    CARRIES_ON = "carries on"
    CORNER = "corner"
    """It turns, and neither line runs on elsewhere."""
    ONE_RUNS_ON = "one runs on"
    """It turns from a line that ends here onto one that runs on, or the other way."""
    BOTH_RUN_ON = "both run on"
    """It turns from one line that runs on to another: a crossing."""


def meetings(graph: LineGraph, walk: Walk) -> list[Meeting]:
    """How a walk passes from each link to the next."""
    kinds = (Meeting.CORNER, Meeting.ONE_RUNS_ON, Meeting.BOTH_RUN_ON)
    return [
        Meeting.CARRIES_ON
        if graph.mate[side ^ 1] == after
        else kinds[int(graph.mate[side ^ 1] >= 0) + int(graph.mate[after] >= 0)]
        for side, after in steps(walk)
    ]


def steps(walk: Walk) -> list[tuple[Side, Side]]:
    """Each side of a walk with the next."""
    return list(zip(walk, walk[1:] + walk[:1], strict=True))


def is_between_measures(graph: LineGraph, walk: Walk, members: set[int]) -> bool:
    """Tell whether a field lies between extension lines and a dimension line.

    It has no corner of its own, and two of its corners, at the ends of a straight line, have tails outside: those of
    ribs drawn one in another on a datum that runs on past them have too, but lie between a back and another.
    `members` are links that are no tails.
    """
    passed = meetings(graph, walk)
    if any(
        meeting is Meeting.CORNER or (meeting is Meeting.CARRIES_ON and np.isnan(graph.leaving_rad[after]))
        for meeting, (_, after) in zip(passed, steps(walk), strict=True)
    ):
        return False
    tails = []
    for at, (meeting, (side, after)) in enumerate(zip(passed, steps(walk), strict=True)):
        runs_on = [int(graph.mate[s]) >> 1 for s in (side ^ 1, after) if graph.mate[s] >= 0]
        # An extension line that runs on from a part's corner is far longer than what it runs past its dimension line.
        short = all(
            link_lengths_px(graph.strokes)[link] < PAST_WIDTHS * graph.strokes.links[link].width_px for link in runs_on
        )
        if meeting is Meeting.ONE_RUNS_ON and short and not set(runs_on) & members:
            tails.append(at + 1)
    if len(tails) < 2:
        return False
    between = [walk[first:last] for first, last in pairwise(tails)] + [walk[tails[-1] :] + walk[: tails[0]]]
    return any(_is_straight(graph, sides) for sides in between)


def _is_straight(graph: LineGraph, sides: Walk) -> bool:
    points = np.concatenate([points_from(graph.strokes, side) for side in sides])
    return is_straight(points, graph.strokes.links[sides[0] >> 1].width_px)
