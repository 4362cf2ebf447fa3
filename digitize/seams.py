"""Which lines are edges that parts drawn side by side share, and which are only drawn on a part or beside it."""

import numpy as np

from digitize.continuation import THIN_LINE, LineGraph, Side
from digitize.faces import Walk
from digitize.link_sizes import link_lengths_px

INWARD_RAD = np.deg2rad(20)
"""A boundary that turns inward by more was drawn around two things, or has a real inner corner there."""

EDGE_RAD = np.deg2rad(40)
"""Sheets laid side by side step by more; ribs on a datum leave each other at some 20 degrees."""


def seam_links(graph: LineGraph, outer: Walk, inner: set[int]) -> set[int]:
    """Give the links of inner lines that run from one inward corner of a boundary to another.

    A line that carries on outside of the boundary is drawn across it: a chord along the floor of a rib's notch. So is
    one thinner than the boundary.
    """
    inward = _inward_places(graph, outer)
    links = graph.strokes.links
    full_px = full_width_px(graph, outer)
    own = inner | {side >> 1 for side in outer}
    seams: set[int] = set()
    for link in inner:
        for side in (2 * link, 2 * link + 1):
            if graph.place_of(side) in inward:
                run, last = _run(graph, side, inner)
                if graph.place_of(last ^ 1) not in inward or max(links[one].width_px for one in run) < full_px:
                    continue
                most_px = FLOOR_SHARE * sum(link_lengths_px(graph.strokes)[one] for one in run)
                if not any(_leaves(graph, end, own, most_px) for end in (side, last ^ 1)):
                    seams.update(run)
    return seams


FLOOR_SHARE = 0.25
"""The floor of a notch that a line runs along is shorter than this part of the line; a sheet's step may be longer."""


def _leaves(graph: LineGraph, side: Side, own: set[int], most_px: float) -> bool:
    """Whether a line carries on straight beyond one of its ends, after no more than so far along a figure's own lines,
    as one that is none of these."""
    gone_px = 0.0
    while gone_px <= most_px:
        side = int(graph.mate[side])
        if side < 0 or np.isnan(graph.leaving_rad[side]):
            return False
        if side >> 1 not in own:
            return True
        gone_px += link_lengths_px(graph.strokes)[side >> 1]
        side ^= 1
    return False


def seams_in_doubt(graph: LineGraph, outer: Walk, inner: set[int]) -> set[int]:
    """Give the links of inner lines that carry on a side of the boundary from an inward corner to its far edge.

    Two sheets of different height laid side by side look so, and so does a stepped part with a line drawn across it.
    """
    inward = _inward_places(graph, outer)
    own = {side >> 1 for side in outer}
    edge = {graph.place_of(side) for side in outer}
    doubtful: set[int] = set()
    for link in inner:
        for side in (2 * link, 2 * link + 1):
            before = int(graph.mate[side])
            if graph.place_of(side) not in inward or before < 0 or before >> 1 not in own:
                continue
            run, last = _run(graph, side, inner)
            if graph.place_of(last ^ 1) in edge:
                doubtful.update(run)
    return doubtful


def are_edges(graph: LineGraph, outer: Walk, seams: set[int], inner: set[int]) -> bool:
    """Tell whether lines across an outline are edges of parts that lie side by side, and not drawn on one part.

    They are when they are as wide as the outline, or as its sides that they carry on, and it has nothing else inside as
    wide as the outline: sheets laid side by side are closed by full lines and empty, while a panel has its ribs and
    spars inside as well, and a fold is drawn thin. Where lines run together at a shallow angle, as those of nested ribs
    do, nothing is cut.
    """
    if _inward_places(graph, outer, EDGE_RAD) != _inward_places(graph, outer, INWARD_RAD):
        return False
    widths_px = np.array([link.width_px for link in graph.strokes.links])
    full_px = full_width_px(graph, outer)
    # In black and white one line is 2 px wide and the next 3, where both were drawn with one pen.
    carried_on = {int(graph.mate[end]) >> 1 for link in seams for end in (2 * link, 2 * link + 1)}
    sides = sorted(carried_on & {side >> 1 for side in outer})
    least_px = min([full_px, *(THIN_LINE * widths_px[sides])])
    return bool(
        (widths_px[sorted(seams)] >= least_px).all() and not (widths_px[sorted(inner - seams)] >= full_px).any()
    )


def full_width_px(graph: LineGraph, outer: Walk) -> float:
    """The width from which a line is as wide as a boundary."""
    return THIN_LINE * float(np.median([graph.strokes.links[side >> 1].width_px for side in outer]))


def is_closed_thinly(graph: LineGraph, outer: Walk, walls: set[int]) -> bool:
    """Tell whether a field beside a part is closed by thinner lines than the part's own.

    A chord line under a hollow rib closes one; a part that shares an edge is closed by lines as wide.
    """
    links = graph.strokes.links
    own = [links[side >> 1].width_px for side in outer if side >> 1 not in walls]
    edge = [links[side >> 1].width_px for side in outer if side >> 1 in walls]
    return bool(own and edge and max(own) < THIN_LINE * np.median(edge))


def _run(graph: LineGraph, side: Side, inner: set[int]) -> tuple[list[int], Side]:
    """An inner line from one of its ends as far as it carries on inside, and the side by which its last is entered."""
    run = [side >> 1]
    while True:
        onward = int(graph.mate[side ^ 1])
        if onward < 0 or onward >> 1 not in inner or onward >> 1 in run:
            return run, side
        side = onward
        run.append(side >> 1)


def _inward_places(graph: LineGraph, outer: Walk, least_rad: float = INWARD_RAD) -> set[int]:
    inward = set()
    for side, after in zip(outer, outer[1:] + outer[:1], strict=True):
        turn = (graph.leaving_rad[after] - graph.leaving_rad[side ^ 1] + np.pi) % (2 * np.pi)
        # Clockwise as seen with y down: outer corners turn by a positive angle.
        turn = (turn + np.pi) % (2 * np.pi) - np.pi
        if turn < -least_rad:
            inward.add(graph.place_of(after))
    return inward
