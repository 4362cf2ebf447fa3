"""Angles, areas and radii on a plan, at full size, with their give or take."""

from dataclasses import dataclass

import numpy as np

from calibration.calibration import Calibration
from calibration.observations import SETTLED_SIGMA_PX, PointPx
from calibration.shapes import MeasuredAngle, MeasuredArea, MeasuredRadius, angle, area, radius, ring_area
from digitize.ink_path import ink_graph, way_along
from digitize.strokes import Strokes
from drawing.drawing import Outline
from drawing.paths import sampled
from job.errors import JobError
from job.job import Mark
from job.part_errors import OUTLINE_SIGMA_PX

SAMPLED_MM = 0.002
"""How far an outline's corners may lie off its curve: its area is then good to some 1e-5."""

ARC_POINTS = 48
"""Places taken along an arc's ink: enough that single specks do not count, few enough to err each for itself."""

MOST_STRAY_WIDTHS = 1.0
"""Ink that strays from its circle by more than this many line widths, root mean square, is no single arc."""

NEAR_WIDTHS, LEAST_NEAR_PX = 2.5, 6.0
"""How far from its mark an arc's ink may lie, in line widths and px: as far as marks move to the ink."""


@dataclass(frozen=True, slots=True)
class AngleBetween:
    """An angle and its three marks, the corner in the middle, as they came to lie."""

    marks_px: tuple[PointPx, ...]
    angle: MeasuredAngle


@dataclass(frozen=True, slots=True)
class AreaAround:
    """An area; of the marks around it, or of the part with this number and name."""

    marks_px: tuple[PointPx, ...]
    number: int | None
    name: str
    area: MeasuredArea


@dataclass(frozen=True, slots=True)
class RadiusThrough:
    """A radius and the marks given; `along_ink` where two were and the drawn arc between them was measured."""

    marks_px: tuple[PointPx, ...]
    along_ink: bool
    radius: MeasuredRadius


def angle_between(calibration: Calibration, marks: tuple[Mark, ...], sigma_px: float) -> AngleBetween:
    """Measure the angle at the second of three marks, whose one sigma is given."""
    first, corner, second = (mark.at_px for mark in marks)
    turn = angle(calibration, first, corner, second, mark_sigma_px=sigma_px)
    return AngleBetween((first, corner, second), turn)


def area_of_marks(calibration: Calibration, marks: tuple[Mark, ...], sigma_px: float) -> AreaAround:
    """Measure the area whose corners are marked in order."""
    places = tuple(mark.at_px for mark in marks)
    return AreaAround(places, None, "", area(calibration, places, mark_sigma_px=sigma_px))


def area_of_part(calibration: Calibration, outline: Outline) -> AreaAround:
    """Measure a part's area, without its holes."""
    boundary_px, *holes_px = (
        calibration.to_picture(sampled(path, tolerance_mm=SAMPLED_MM)) for path in (outline.boundary, *outline.holes)
    )
    flat = ring_area(calibration, boundary_px, holes_px, edge_sigma_px=OUTLINE_SIGMA_PX)
    return AreaAround((), outline.number, outline.name, flat)


def radius_through(
    calibration: Calibration, marks: tuple[Mark, ...], sigma_px: float, strokes: Strokes, *, about: str
) -> RadiusThrough:
    """Measure the arc through three or more marks, or the drawn arc between two.

    Raises
    ------
    ScantlingError
        When no line joins two marks, or it is no single arc.
    """
    places = tuple(mark.at_px for mark in marks)
    if len(places) > 2:
        return RadiusThrough(places, False, radius(calibration, places, mark_sigma_px=sigma_px))
    points_px, width_px = _ink_between(strokes, places, about)
    found = radius(calibration, points_px, mark_sigma_px=SETTLED_SIGMA_PX)
    limit_mm = MOST_STRAY_WIDTHS * width_px * calibration.mm_per_px
    if found.stray_mm > limit_mm:
        raise JobError(
            f"The ink between the two marks of {about} lies {found.stray_mm:.1f} mm off any one circle; a single arc "
            "is needed: mark two places nearer together, or three or more along the arc."
        )
    return RadiusThrough(places, True, found)


def _ink_between(strokes: Strokes, places: tuple[PointPx, ...], about: str) -> tuple[np.ndarray, float]:
    """Give places (N, 2) at equal steps along the line from one mark to the other, and its width, px."""
    graph = ink_graph(strokes)
    reach_px = max(LEAST_NEAR_PX, NEAR_WIDTHS * graph.width_px)
    feet = [graph.foot(place, reach_px=reach_px) for place in places]
    start, end = feet
    way = None if start is None or end is None else way_along(graph, start, end)
    if way is None:
        raise JobError(
            f"No drawn line runs between the two marks of {about}; an arc needs two places on its own line, or three "
            "or more marks along it: mark it again."
        )
    line = np.concatenate([stretch.points_px for stretch in way])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    # Where lines meet, the middle of the ink is pulled aside.
    clear_px = min(2 * graph.width_px, along[-1] / 8)
    at = np.linspace(clear_px, along[-1] - clear_px, ARC_POINTS)
    return np.column_stack([np.interp(at, along, line[:, axis]) for axis in (0, 1)]), graph.width_px
