"""What is measured between marks, at full and at build size, in words: the page only shows it."""

import math
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.calibration import Calibration
from calibration.observations import CLICK_SIGMA_PX
from calibration.shapes import angle, area, radius
from drawing.format import format_inches_near
from drawing.paths import Point
from job.errors import JobError
from job.settle import SAME_PX
from tracing.view_words import give_or_take, plain_mm, with_give

NEEDED = {"length": (2, 2), "angle": (3, 3), "area": (3, 10_000), "radius": (3, 10_000), "here": (1, 1)}
"""Fewest and most marks of each kind."""

HERE_MM = 100.0
"""The length whose give or take is told at a place."""

DIRECTIONS = 6
"""Ways in which it is laid there; the worst is told."""


def measure_view(
    kind: str,
    points_px: Sequence[Point],
    *,
    calibration: Calibration,
    fraction: Fraction,
    landmarks_px: NDArray[np.float64],
    sigmas_px: NDArray[np.float64],
) -> dict[str, Any]:
    """Give {full, build, u95, unit, words}: `full` and its give or take `u95` at full size, `build` at build size.

    Units are mm, mm² and degrees. Marks on one of `landmarks_px` (N, 2) are as sure as its one
    sigma in `sigmas_px` (N,) says, as those of the job are.

    Raises
    ------
    ScantlingError
        In one sentence, when the marks measure nothing.
    """
    if kind not in NEEDED:
        raise JobError(f"A {kind!r} was to be measured; one of {', '.join(NEEDED)} is: choose one of them.")
    least, most = NEEDED[kind]
    if not least <= len(points_px) <= most:
        raise JobError(f"The {kind} has {len(points_px)} marks; it needs {_needed(least, most)}: mark them again.")
    if not all(math.isfinite(value) for point in points_px for value in point):
        raise JobError(f"A mark of the {kind} is no pair of numbers of pixels: mark it again.")
    sigma_px = _sigma_px(points_px, landmarks_px, sigmas_px)
    n = float(fraction)
    match kind:
        case "here":
            return _here(points_px[0], calibration, n)
        case "length":
            if points_px[0] == points_px[1]:
                raise JobError("Both marks of the length are on one spot; it needs two places: mark its other end.")
            length = calibration.length(points_px[0], points_px[1], mark_sigma_px=sigma_px)
            return _length(length.mm, length.u95_mm, n)
        case "radius":
            circle = radius(calibration, points_px, mark_sigma_px=sigma_px)
            told = _length(circle.mm, circle.u95_mm, n)
            return {**told, "middle_px": list(circle.middle_px), "stray_mm": circle.stray_mm}
        case "area":
            flat = area(calibration, points_px, mark_sigma_px=sigma_px)
            return _area(flat.mm2, flat.u95_mm2, n)
        case _:
            first, corner, second = points_px
            turn = angle(calibration, first, corner, second, mark_sigma_px=sigma_px)
            full, u95 = math.degrees(turn.rad), math.degrees(turn.u95_rad)
            words = f"{full:.{_degree_digits(u95)}f}°, give or take {_up(u95):g}°"
            return {"full": full, "build": full, "u95": u95, "unit": "deg", "words": words}


def _length(mm: float, u95_mm: float, fraction: float) -> dict[str, Any]:
    words = f"{with_give(mm, u95_mm)} at full size (about {format_inches_near(mm)})"
    if fraction != 1:
        words = f"{words}; {plain_mm(mm * fraction, u95_mm * fraction)} at build size"
    return {"full": mm, "build": mm * fraction, "u95": u95_mm, "unit": "mm", "words": words}


def _area(mm2: float, u95_mm2: float, fraction: float) -> dict[str, Any]:
    build = mm2 * fraction**2
    words = f"{_said_area(mm2, u95_mm2)}, give or take {_said_area(_up(u95_mm2 / 100) * 100, u95_mm2)} at full size"
    if fraction != 1:
        words = f"{words}; {_said_area(build, u95_mm2 * fraction**2)} at build size"
    return {"full": mm2, "build": build, "u95": u95_mm2, "unit": "mm2", "words": words}


def _here(at_px: Point, calibration: Calibration, fraction: float) -> dict[str, Any]:
    """What a length of 100 mm is good to at a place, in the worst direction."""
    middle_mm = calibration.to_plan(np.array([at_px]))
    turns = np.arange(DIRECTIONS) * math.pi / DIRECTIONS
    arms_mm = HERE_MM / 2 * np.column_stack([np.cos(turns), np.sin(turns)])
    starts_px, ends_px = calibration.to_picture(middle_mm - arms_mm), calibration.to_picture(middle_mm + arms_mm)
    _, u95_mm = calibration.lengths_u95(starts_px, ends_px)
    worst_mm = float(u95_mm.max())
    if not math.isfinite(worst_mm):
        raise JobError("That place lies beyond the plan's horizon; nothing is measured there: point at the plan.")
    words = f"100 mm here: {give_or_take(worst_mm)}"
    return {"full": HERE_MM, "build": HERE_MM * fraction, "u95": worst_mm, "unit": "mm", "words": words}


def _sigma_px(points_px: Sequence[Point], landmarks_px: NDArray[np.float64], sigmas_px: NDArray[np.float64]) -> float:
    """The error of the least sure of some marks."""
    if not len(landmarks_px):
        return CLICK_SIGMA_PX
    points = np.array(points_px, dtype=np.float64)
    if len(points) > MOST_COMPARED:
        return CLICK_SIGMA_PX
    far = np.hypot(*(points[:, None] - landmarks_px[None]).transpose(2, 0, 1))
    on_ink = far.min(axis=1) <= SAME_PX
    return float(np.where(on_ink, sigmas_px[far.argmin(axis=1)], CLICK_SIGMA_PX).max())


MOST_COMPARED = 100
"""More marks than this were taken from an outline, not put on landmarks one by one."""


def _needed(least: int, most: int) -> str:
    return str(least) if least == most else f"{least} or more"


def _degree_digits(u95_deg: float) -> int:
    return 0 if u95_deg >= 5 else 1 if u95_deg >= 0.05 else 2


def _said_area(mm2: float, u95_mm2: float) -> str:
    digits = 0 if u95_mm2 >= 500 else 1 if u95_mm2 >= 5 else 2
    return f"{mm2 / 100:.{digits}f} cm²"


def _up(value: float) -> float:
    """Two figures, rounded up, so that no give or take promises too much."""
    if value <= 0 or not math.isfinite(value):
        return value
    unit = 10.0 ** (math.floor(math.log10(value)) - 1)
    return math.ceil(value / unit - 1e-9) * unit
