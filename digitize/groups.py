"""Which outlines the fields of a figure make together: its outside, parted where parts share an edge."""

from collections.abc import Sequence
from dataclasses import replace

from digitize.continuation import LineGraph
from digitize.faces import Walk, faces
from digitize.loop import Loop, Role, loop_along
from digitize.meetings import Meeting, is_between_measures, meetings
from digitize.named_fields import Names, are_named_parts
from digitize.seams import are_edges, full_width_px, is_closed_thinly, seam_links, seams_in_doubt


def joined_fields(fields: Sequence[Loop], walls: set[int]) -> list[list[Loop]]:
    """Fields joined across any line that is not a wall."""
    root = list(range(len(fields)))

    def find(which: int) -> int:
        while root[which] != which:
            root[which] = root[root[which]]
            which = root[which]
        return which

    owner: dict[int, int] = {}
    for which, field in enumerate(fields):
        for link in field.links - walls:
            if link in owner:
                root[find(owner[link])] = find(which)
            owner[link] = which
    groups: dict[int, list[Loop]] = {}
    for which, field in enumerate(fields):
        groups.setdefault(find(which), []).append(field)
    return list(groups.values())


def group_loops(graph: LineGraph, group: list[Loop], walls: set[int], extensions: set[int], names: Names) -> list[Loop]:
    """Outlines of a group of fields: its outer boundary, parted at seams where that gives parts, measures left out."""
    group = _without_measures(graph, group, extensions)
    outer = _outline_of(graph, group)
    inner = {link for field in group for link in field.links} - {side >> 1 for side in outer}
    seams, doubtful = seam_links(graph, outer, inner), seams_in_doubt(graph, outer, inner)
    if doubtful and are_edges(graph, outer, seams | doubtful, inner):
        why = "shares a line with its neighbour that carries on a side of one of them; both may be one stepped part"
        parts = _parted(graph, group, walls | seams | doubtful, why)
        if parts:
            return [*parts, loop_along(graph, outer, Role.FACE, 0.3, "the outside of parts that share lines")]
    if seams and len(joined_fields(group, walls | seams)) > 1:
        parts = _parted(graph, group, walls | seams, "shares an edge with its neighbour")
        if parts:
            return parts
    is_alone = walls.isdisjoint(side >> 1 for side in outer)
    named = named_parts(graph, outer, group, names) if is_alone else []
    if named:
        return named
    # A dashed line is a fold, or what lies behind: never an edge of what is drawn solid.
    if any(not graph.strokes.links[link].dashed for link in doubtful):
        why = "a line carries on one of its sides from an inward corner across it: these may be two parts that share it"
        return [loop_along(graph, outer, Role.PART, 0.6, why)]
    passed = meetings(graph, outer)
    both, one = passed.count(Meeting.BOTH_RUN_ON), passed.count(Meeting.ONE_RUNS_ON)
    if is_alone and both <= len(passed) - both:
        return [loop_along(graph, outer, Role.PART, 0.7 if both + one else 0.9, "the outside of lines that meet")]
    if not is_alone and both == 0 and not is_closed_thinly(graph, outer, walls):
        return [loop_along(graph, outer, Role.PART, 0.7, "shares an edge with its neighbour")]
    return []


def named_parts(graph: LineGraph, outer: Walk, fields: Sequence[Loop], names: Names) -> list[Loop]:
    """The fields of a figure as parts, and its outside as none, where they stand in a row, each with its name."""
    inner = {link for field in fields for link in field.links} - {side >> 1 for side in outer}
    if not inner or not are_named_parts(graph, outer, fields, inner, names, full_width_px(graph, outer)):
        return []
    why = "shares a line with its neighbour, and each has its own name or hole: they may be one part with lines on it"
    parts = [replace(field, role=Role.PART, confidence=0.6, why=why) for field in fields]
    return [*parts, loop_along(graph, outer, Role.FACE, 0.3, "the outside of parts that share lines")]


def _parted(graph: LineGraph, group: list[Loop], edges: set[int], why: str) -> list[Loop]:
    """The outlines of a group's parts on either side of edges."""
    walks = [_outline_of(graph, part) for part in joined_fields(group, edges)]
    return [
        loop_along(graph, walk, Role.PART, 0.7, why)
        for walk in walks
        if Meeting.BOTH_RUN_ON not in meetings(graph, walk) and not is_closed_thinly(graph, walk, edges)
    ]


def _outline_of(graph: LineGraph, group: list[Loop]) -> Walk:
    """Outer boundary of fields: the lines that only one of them has."""
    if len(group) == 1:
        return group[0].walk
    counts: dict[int, int] = {}
    for field in group:
        for link in field.links:
            counts[link] = counts.get(link, 0) + 1
    return faces(graph, [link for link, count in counts.items() if count == 1]).outer


def _without_measures(graph: LineGraph, group: list[Loop], extensions: set[int]) -> list[Loop]:
    """The fields of a group without those between a part, its extension lines and a line that was not told for a
    dimension line.

    Such a field has no corner of its own, and at two or more of its corners on the outside a line runs on
    as a free tail.
    """
    if len(group) < 2:
        return group
    members = {link for field in group for link in field.links} | extensions
    return [field for field in group if not is_between_measures(graph, field.walk, members)] or group
