"""The curve of each outline: counter-clockwise, clear of itself, and near the lines it stands for."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from digitize.fit import Contour, Fitted, fit_contours
from digitize.loop import Loop
from digitize.loops import Loops
from digitize.own_paths import has_own_curves, own_paths
from digitize.sections import closed_sections
from digitize.strokes import NodeKind, PlanStrokes
from drawing.drawing import reversed_path
from drawing.findings import Finding, Level
from drawing.paths import Points, polyline, sampled


def fitted_curves(
    plan: PlanStrokes, found: Loops, loops: Sequence[Loop], tolerance_mm: float
) -> tuple[list[Fitted], list[Finding]]:
    """Give each loop's curve, counter-clockwise and clear of itself, and findings where that could not be."""
    if loops and has_own_curves(plan):
        return _own(plan, found, loops, tolerance_mm)
    contours = [Contour(closed_sections(found.graph, plan, loop.walk), True) for loop in loops]
    fits = fit_contours(contours, tolerance_mm=tolerance_mm)
    rings = [sampled(fit.path, tolerance_mm=0.25 * tolerance_mm) for fit in fits]
    findings = []
    tails = _tails(plan)
    for which, loop in enumerate(loops):
        drawn = np.concatenate([_along(plan, side) for side in loop.walk])
        astray = _strays(
            rings[which], [drawn, *_tails_on(plan, tails, loop.walk)], max(s.width_mm for s in contours[which].sections)
        )
        if _is_clear(rings[which]) and not astray:
            continue
        fits[which] = fit_contours([contours[which]], tolerance_mm=0.4 * tolerance_mm)[0]
        rings[which] = sampled(fits[which].path, tolerance_mm=0.25 * tolerance_mm)
        if _is_clear(rings[which]) and not astray:
            continue
        # Sides carried on to a crossing far off are in the sections already; the lines as found are not astray.
        points = np.concatenate([s.points_mm[: None if s.closed else -1] for s in contours[which].sections])
        plain = shapely.simplify(shapely.LinearRing(drawn if astray else points), tolerance_mm)
        rings[which] = np.asarray(plain.coords)[:-1]
        off_mm = shapely.distance(shapely.points(points), shapely.LinearRing(rings[which]))
        weights = np.concatenate([s.weights[: None if s.closed else -1] for s in contours[which].sections])
        fits[which] = Fitted(polyline(rings[which], closed=True), float((off_mm * (weights > 0)).max()), stands_in=True)
        x_px, y_px = loop.points_px.mean(axis=0)
        findings.append(
            Finding(
                "outline-crosses-itself",
                Level.NOTE,
                f"the outline around {x_px:.0f}, {y_px:.0f} px",
                f"The curve around {x_px:.0f}, {y_px:.0f} px {'left its line' if astray else 'crossed itself'}, so "
                "straight steps from point to point stand in its place: look at it before cutting.",
            )
        )
    return [_counter_clockwise(fit, ring) for fit, ring in zip(fits, rings, strict=True)], findings


def _own(
    plan: PlanStrokes, found: Loops, loops: Sequence[Loop], tolerance_mm: float
) -> tuple[list[Fitted], list[Finding]]:
    """Each loop's curve as a vector page draws it, counter-clockwise and clear of itself."""
    fits = own_paths(found.graph, plan, [loop.walk for loop in loops], closed=True, tolerance_mm=tolerance_mm)
    done, findings = [], []
    for fit, loop in zip(fits, loops, strict=True):
        ring = sampled(fit.path, tolerance_mm=0.25 * tolerance_mm)
        if not _is_clear(ring):
            ring = np.concatenate([_along(plan, side)[:-1] for side in loop.walk])
            fit = Fitted(polyline(ring, closed=True), tolerance_mm, stands_in=True)
            x_px, y_px = loop.points_px.mean(axis=0)
            text = (
                f"The page's own curve around {x_px:.0f}, {y_px:.0f} px crosses itself, so straight steps from point "
                "to point stand in its place: look at it before cutting."
            )
            findings.append(
                Finding("outline-crosses-itself", Level.NOTE, f"the outline around {x_px:.0f}, {y_px:.0f} px", text)
            )
        done.append(_counter_clockwise(fit, ring))
    return done, findings


STRAY_WIDTHS = 3.0
"""A curve this many line widths off its drawn line follows nothing: sides nearly in line were made to meet far away."""


def _along(plan: PlanStrokes, side: int) -> Points:
    points = plan.links_mm[side >> 1]
    return points[::-1] if side & 1 else points


def _tails(plan: PlanStrokes) -> dict[int, list[int]]:
    """Numbers of the lines that run to a free end, by the node where they begin."""
    tails: dict[int, list[int]] = {}
    is_free = (plan.strokes.kinds == NodeKind.END).tolist()
    for number, link in enumerate(plan.strokes.links):
        for here, there in ((link.start, link.end), (link.end, link.start)):
            if is_free[there]:
                tails.setdefault(here, []).append(number)
    return tails


def _tails_on(plan: PlanStrokes, tails: dict[int, list[int]], walk: Sequence[int]) -> list[Points]:
    """Lines that run out from a walk to a free end: the merged sides of a sharp tip, whose corner lies along them."""
    links = plan.strokes.links
    met = {node for side in walk for node in (links[side >> 1].start, links[side >> 1].end)}
    return [plan.links_mm[number] for node in sorted(met) for number in tails.get(node, [])]


def _strays(ring: Points, drawn_mm: Sequence[Points], width_mm: float) -> bool:
    """Whether any point of a curve lies far from every point of the lines it stands for."""
    if len(drawn_mm[0]) < 2 or not len(ring):
        return False
    lines = shapely.MultiLineString(list(drawn_mm))
    shapely.prepare(lines)
    return not shapely.dwithin(lines, shapely.points(ring), STRAY_WIDTHS * width_mm).all()


def _is_clear(ring: Points) -> bool:
    return len(ring) >= 3 and bool(shapely.is_valid(shapely.Polygon(ring)))


def _counter_clockwise(fitted: Fitted, ring: Points) -> Fitted:
    x, y = ring[:, 0], ring[:, 1]
    if x @ np.roll(y, -1) - y @ np.roll(x, -1) > 0:
        return fitted
    return replace(fitted, path=reversed_path(fitted.path))
