"""From strokes in plan mm to a drawing of parts: which loops are parts, their curves, their order."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.choices import Action, Choice, Region, RegionKind, inside_regions, match_choices
from digitize.fit import Contour, Fitted, fit_contours
from digitize.folded_links import without_folded_links
from digitize.inks_apart import by_ink, loops_together, open_under_others, plans_together
from digitize.lettering import lettering_links
from digitize.lone_letters import told_of_lone_letters, without_lone_letters
from digitize.loop import Loop, Role
from digitize.loops import Loops, find_loops
from digitize.lost_lines import doubted, lines_lost, told_of_lost_lines
from digitize.not_taken import NotTaken, clear_of_alike, not_taken, point_in
from digitize.open_lines import open_lines
from digitize.outline_curves import fitted_curves
from digitize.own_paths import has_own_curves, own_paths
from digitize.sections import open_sections
from digitize.strokes import PlanStrokes
from digitize.turns import mm_per_px
from drawing.drawing import Drawing, Kind, Outline, reversed_path
from drawing.findings import Finding, Level
from drawing.format import format_numbers
from drawing.paths import Path, Point

Progress = Callable[[str, float], None]
"""Told what is being done and the share done, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawing and what was noticed while drawing it.

    `part_choices` holds for every outline the number of the choice about it, None where there is none; `others` what
    a person may still take.
    """

    drawing: Drawing
    findings: tuple[Finding, ...]
    part_choices: tuple[int | None, ...] = ()
    others: tuple[NotTaken, ...] = ()


LEAST_TOLERANCE_MM = 0.02
"""Finer than any cutter or printer shows."""

OWN_TOLERANCE_MM = 0.005
"""Curves in place of a vector page's short steps: half of the hundredth of a millimetre that such a page is held to."""

TOLERANCE_SIGMAS = 3.0
"""A tolerance under three sigma of the points fits noise: twice the nodes and no better curve."""

LINE_TOLERANCES = 2.0
"""Open lines are looked at and measured, not cut: they keep twice the outlines' tolerance, with fewer nodes."""

UNSURE_BELOW = 0.65
"""Confidence below which an outline is shown as unsure."""


def draw_outlines(
    plan: PlanStrokes,
    *,
    choices: Sequence[Choice] = (),
    regions: Sequence[Region] = (),
    tolerance_mm: float | None = None,
    border_px: NDArray[np.float64] | None = None,
    progress: Progress | None = None,
) -> Drawn:
    """Draw the parts of a plan.

    Parameters
    ----------
    plan : PlanStrokes
        Lines in picture px and in plan mm, y up.
    choices : sequence of Choice
        What a person decided; each finds its outline by a point inside and its area.
    regions : sequence of Region
        Where to look, and where not; an outline counts as inside when all of it is.
    tolerance_mm : float or None
        Curves keep within this of the drawn lines; None takes three sigma of the points, at least 0.02 mm.
    border_px : (4, 2) array or None
        Corners of the drawn border, if it was found.

    Returns
    -------
    Drawn
        Outlines are numbered in reading order; the lines are what belongs to no outline. Findings tell which
        outlines are unsure, what was left out, and choices that fit nothing.
    """
    say = progress or _silent
    say("outlines", 0.0)
    looked = [_looked_at(layer, border_px) for layer in by_ink(plan)]
    if len(looked) > 1:
        is_open = open_under_others([one.plan.strokes for one in looked])
        looked = [_doubted_where(one, links) for one, links in zip(looked, is_open, strict=True)]
    plan = plans_together([one.plan for one in looked])
    lettering = np.concatenate([one.lettering for one in looked])
    found = loops_together([one.found for one in looked], plan.strokes)
    lost, letters = sum(one.lost for one in looked), sum(one.letters for one in looked)
    loops, chosen_by, findings = _chosen(found.loops, choices)
    findings += [told_of_lost_lines(lost)] if lost else []
    findings += [told_of_lone_letters(letters)] if letters else []
    kept, cut = _in_regions(loops, regions)
    findings += cut
    tolerance_mm, said = _tolerance(plan, found, kept, tolerance_mm)
    findings += said
    parts = [which for which in kept if loops[which].role is Role.PART]
    holes = [which for which in kept if loops[which].role is Role.HOLE and loops[which].parent in parts]
    say("curves", 0.3)
    paths, crossing = fitted_curves(plan, found, [loops[which] for which in parts + holes], tolerance_mm)
    findings += crossing
    of = dict(zip(parts + holes, paths, strict=True))
    for which in parts:
        if of[which].stands_in and which not in chosen_by:
            loops[which] = replace(loops[which], confidence=min(loops[which].confidence, STANDS_IN), why=CROSSED)
    inside = _inside_points(loops, parts)
    outlines = [
        _outline(
            loops[which],
            of[which],
            [of[hole] for hole in holes if loops[hole].parent == which],
            inside_px=inside[which],
            name=next((choices[n].name for n in reversed(chosen_by.get(which, [])) if choices[n].name), ""),
        )
        for which in parts
    ]
    order = reading_order(np.array([shapely.bounds(loops[which].polygon) for which in parts]).reshape(-1, 4))
    numbered = tuple(replace(outlines[which], number=n) for n, which in enumerate(order, start=1))
    findings += _about_outlines(numbered, [loops[parts[which]] for which in order])
    if not numbered:
        findings.append(
            Finding(
                "no-outline",
                Level.DECIDE,
                "the plan",
                "No closed outline was found in the lines; a part needs a line that comes back to its start: "
                "trace its gaps, or widen the region.",
            )
        )
    say("lines", 0.95)
    lines = _lines(plan, found, lettering, [loops[which] for which in kept], regions, tolerance_mm)
    say("done", 1.0)
    part_choices = tuple(chosen_by[parts[which]][-1] if parts[which] in chosen_by else None for which in order)
    every_part = [which for which, loop in enumerate(loops) if loop.role is Role.PART]
    others = not_taken(loops, every_part, chosen_by, regions)
    return Drawn(Drawing(numbered, lines), tuple(findings), part_choices, others)


@dataclass(frozen=True, slots=True)
class _LookedAt:
    """The lines of one ink, which of them are lettering, their loops, and how many lines are lost and letters alone."""

    plan: PlanStrokes
    lettering: NDArray[np.bool_]
    found: Loops
    lost: int
    letters: int


def _looked_at(plan: PlanStrokes, border_px: NDArray[np.float64] | None) -> _LookedAt:
    plan, lettering = without_folded_links(plan, lettering_links(plan.strokes))
    found = find_loops(plan.strokes, lettering=lettering, border_px=border_px)
    lost = 0 if has_own_curves(plan) else lines_lost(plan.strokes, lettering)
    told, letters = without_lone_letters(found.loops, found.graph, plan, lettering)
    loops = tuple(doubted(told)) if lost else told
    return _LookedAt(plan, lettering, replace(found, loops=loops), lost, letters)


STANDS_IN = 0.6
"""Confidence, at most, of an outline whose curve crossed itself or left its line..."""

CROSSED = "its curve crossed itself or left its line"
"""... and why."""

HALF_HIDDEN = 0.6
"""Confidence, at most, of an outline whose figure has lines that end under another ink."""


def _doubted_where(one: _LookedAt, is_open: NDArray[np.bool_]) -> _LookedAt:
    """The same, its parts unsure where a line of theirs ends under another ink."""
    loops = tuple(
        replace(loop, confidence=HALF_HIDDEN, why="lines of its figure end under another colour's")
        if loop.role is Role.PART and loop.confidence > HALF_HIDDEN and is_open[list(loop.links)].any()
        else loop
        for loop in one.found.loops
    )
    return replace(one, found=replace(one.found, loops=loops))


def _silent(what: str, share: float) -> None:
    """No one is told."""


def _chosen(loops: Sequence[Loop], choices: Sequence[Choice]) -> tuple[list[Loop], dict[int, list[int]], list[Finding]]:
    """The loops with a person's choices carried out, and the numbers of the choices about each."""
    chosen = list(loops)
    chosen_by: dict[int, list[int]] = {}
    if not choices:
        return chosen, chosen_by, []
    polygons = np.array([loop.polygon for loop in loops], dtype=object)
    areas_px2 = np.array([loop.area_px2 for loop in loops])
    matched, findings = match_choices(choices, polygons, areas_px2=areas_px2)
    for number, (choice, which) in enumerate(zip(choices, matched, strict=True)):
        if which is None:
            continue
        chosen_by.setdefault(which, []).append(number)
        match choice.action:
            case Action.TAKE:
                if chosen[which].role is not Role.PART:
                    chosen[which] = replace(chosen[which], role=Role.PART, parent=None)
                chosen[which] = replace(chosen[which], confidence=1.0, why="chosen")
            case Action.DROP:
                chosen[which] = replace(chosen[which], role=Role.FACE, parent=None)
    return chosen, chosen_by, list(findings)


def _in_regions(loops: Sequence[Loop], regions: Sequence[Region]) -> tuple[list[int], list[Finding]]:
    """Numbers of the parts and holes that count, and what the regions cut off."""
    wanted = [which for which, loop in enumerate(loops) if loop.role in (Role.PART, Role.HOLE)]
    if not regions:
        return wanted, []
    polygons = np.array([loops[which].polygon for which in wanted], dtype=object)
    counts = inside_regions(regions, polygons)
    kept = [which for which, is_in in zip(wanted, counts, strict=True) if is_in]
    findings: list[Finding] = []
    out = [polygon for polygon, which, is_in in zip(polygons, wanted, counts, strict=True) if not is_in]
    left_out = sum(loops[which].role is Role.PART for which in wanted) - sum(loops[w].role is Role.PART for w in kept)
    into = [shapely.make_valid(shapely.Polygon(r.points_px)) for r in regions if r.keep is RegionKind.IN]
    if left_out:
        astride = 0
        if into:
            area = shapely.union_all(into)
            astride = int(sum(shapely.intersects(area, np.array(out, dtype=object))))
        text = f"{left_out} outlines lie outside the region and were left out"
        if astride:
            text += f"; {astride} of them lie partly inside: widen the region to keep them"
        findings.append(Finding("region-cut", Level.NOTE, "the region", text + "."))
    return kept, findings


def _tolerance(
    plan: PlanStrokes, found: Loops, kept: Sequence[int], tolerance_mm: float | None
) -> tuple[float, list[Finding]]:
    links = sorted({link for which in kept for link in found.loops[which].links}) or range(len(plan.links_mm))
    sigmas_mm = [plan.strokes.links[link].sigma_px * mm_per_px(plan, link) for link in links]
    noise_mm = TOLERANCE_SIGMAS * float(np.median(sigmas_mm)) if sigmas_mm else 0.0
    if tolerance_mm is None and has_own_curves(plan):
        return OWN_TOLERANCE_MM, [
            Finding(
                "curve-tolerance",
                Level.NOTE,
                "the curves",
                "Lines and curves are the page's own; where it draws a curve in short straight steps, a smooth one "
                f"keeps within {OWN_TOLERANCE_MM} mm of them, full size.",
            )
        ]
    if tolerance_mm is None:
        chosen_mm = max(LEAST_TOLERANCE_MM, noise_mm)
        return chosen_mm, [
            Finding(
                "curve-tolerance",
                Level.NOTE,
                "the curves",
                f"Curves keep within {chosen_mm:.3f} mm of the drawn lines, full size: three times what a single "
                "point of them may be off.",
            )
        ]
    if tolerance_mm < noise_mm:
        return tolerance_mm, [
            Finding(
                "curve-tolerance",
                Level.NOTE,
                "the curves",
                f"The curves were to keep within {tolerance_mm:g} mm, but single points of the drawn lines are off by "
                f"up to {noise_mm:.3f} mm: averages of them keep it, and there are more nodes than need be.",
            )
        ]
    return tolerance_mm, []


def _outline(loop: Loop, boundary: Fitted, holes: Sequence[Fitted], *, inside_px: Point, name: str) -> Outline:
    return Outline(
        number=0,
        boundary=boundary.path,
        holes=tuple(reversed_path(hole.path) for hole in holes),
        inside_px=inside_px,
        area_px2=loop.area_px2,
        confidence=loop.confidence,
        kind=Kind.PART if loop.confidence >= UNSURE_BELOW else Kind.UNSURE,
        name=name,
        deviation_mm=max(fit.deviation_mm for fit in (boundary, *holes)),
    )


def _inside_points(loops: Sequence[Loop], parts: Sequence[int]) -> dict[int, Point]:
    """A point inside each part, outside every part and hole drawn within it, and not in another loop of its size."""
    taken = [which for which, loop in enumerate(loops) if loop.role in (Role.PART, Role.HOLE)]
    polygons = {which: loops[which].polygon for which in taken}
    tree = shapely.STRtree([polygons[which] for which in taken])
    alike = clear_of_alike(loops, parts)
    points: dict[int, Point] = {}
    for which in parts:
        own = polygons[which]
        within = [taken[i] for i in tree.query(own, predicate="covers") if taken[i] != which]
        within += [hole for hole in taken if loops[hole].parent == which and hole not in within]
        inner = shapely.union_all([polygons[i] for i in within])
        clear = shapely.difference(alike[which], inner)
        clear = shapely.difference(own, inner) if shapely.is_empty(clear) else clear
        points[which] = point_in(own if shapely.is_empty(clear) else clear)
    return points


def reading_order(boxes_px: NDArray[np.float64]) -> list[int]:
    """Order boxes (x min, y min, x max, y max; y down) in rows from the top, each from the left.

    A box belongs to the row of the topmost box not yet placed if its middle lies above that box's lower edge.
    """
    left = list(np.argsort(boxes_px[:, 1], kind="stable")) if len(boxes_px) else []
    order: list[int] = []
    while left:
        lower = boxes_px[left[0], 3]
        row = [which for which in left if (boxes_px[which, 1] + boxes_px[which, 3]) / 2 <= lower]
        order += sorted((int(which) for which in row), key=lambda which: (boxes_px[which, 0], boxes_px[which, 1]))
        left = [which for which in left if which not in row]
    return order


def _about_outlines(outlines: Sequence[Outline], loops: Sequence[Loop]) -> list[Finding]:
    """A note for every reason to look at outlines: a poor picture may give a hundred the same one."""
    numbers: dict[str, list[int]] = {}
    for outline, loop in zip(outlines, loops, strict=True):
        if outline.confidence < 0.8:
            numbers.setdefault(loop.why, []).append(outline.number)
    notes = []
    for why, those in numbers.items():
        which = format_numbers(those)
        if len(those) == 1:
            about, text = f"outline {which}", f"Outline {which} is taken for a part: {why}. Drop it if it is none."
        else:
            about, text = (
                f"outlines {which}",
                f"Outlines {which} are each taken for a part: {why}. Drop any that is none.",
            )
        notes.append(Finding("outline-unsure", Level.NOTE, about, text))
    return notes


def _lines(
    plan: PlanStrokes,
    found: Loops,
    lettering: NDArray[np.bool_],
    taken: Sequence[Loop],
    regions: Sequence[Region],
    tolerance_mm: float,
) -> tuple[Path, ...]:
    """Every line that bounds no part and is neither lettering, border nor mark."""
    used = {link for loop in taken for link in loop.links}
    used |= {link for loop in found.loops if loop.role is Role.MARK for link in loop.links}
    with_measures = replace(found.graph, live=found.graph.live | found.measures)
    walks = open_lines(with_measures, leave_out=used)
    if regions:
        shapes = np.array(
            [shapely.MultiLineString([plan.strokes.links[side >> 1].points_px for side in walk]) for walk in walks],
            dtype=object,
        )
        walks = [walk for walk, is_in in zip(walks, inside_regions(regions, shapes), strict=True) if is_in]
    if walks and has_own_curves(plan):
        own = own_paths(found.graph, plan, walks, closed=False, tolerance_mm=tolerance_mm)
        return tuple(fit.path for fit in own)
    contours = [Contour(open_sections(found.graph, plan, walk), False) for walk in walks]
    return tuple(fit.path for fit in fit_contours(contours, tolerance_mm=LINE_TOLERANCES * tolerance_mm))
