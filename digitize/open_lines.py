"""Which runs of links are open lines: what is drawn and bounds no part."""

from collections.abc import Set

from digitize.continuation import LineGraph, Side, length_px
from digitize.faces import Walk

SHORT_WIDTHS = 4.0
"""A line shorter than this, in line widths, is a blot or the tail of a thinned tip."""


def open_lines(graph: LineGraph, *, leave_out: Set[int]) -> list[Walk]:
    """Give the lines left when some links are taken out, each as the sides its links are entered at.

    A line carries on through a place as the graph's pairs say; lines shorter than four line widths are dropped.
    """
    left = [link for link in range(len(graph.live)) if graph.live[link] and link not in leave_out]
    free = set(left)
    walks: list[Walk] = []
    for link in left:
        if link not in free:
            continue
        ahead = _run(graph, 2 * link, free)
        is_closed = len(ahead) > 1 and graph.mate[ahead[-1] ^ 1] == ahead[0]
        back = [] if is_closed else _run(graph, 2 * link + 1, free | {link})[1:]
        walk = (*(side ^ 1 for side in reversed(back)), *ahead)
        free -= {side >> 1 for side in walk}
        links = [graph.strokes.links[side >> 1] for side in walk]
        if sum(length_px(one.points_px) for one in links) >= SHORT_WIDTHS * links[0].width_px:
            walks.append(walk)
    return walks


def _run(graph: LineGraph, side: Side, free: set[int]) -> list[Side]:
    run: list[Side] = []
    seen: set[int] = set()
    while side >= 0 and side >> 1 in free and side >> 1 not in seen:
        seen.add(side >> 1)
        run.append(side)
        side = int(graph.mate[side ^ 1])
    return run
