"""Where the search for a map starts: from a rectangle's vanishing line, or from several tilts."""

import math
from collections.abc import Sequence

import numpy as np

from calibration.card_start import cards_tilt, log_scale_of_cards
from calibration.kind import Kind
from calibration.observations import CalibrationError, Cards, Corners, GivenScale, KnownDistance, Observation
from calibration.parameters import Prior
from calibration.plane_map import HORIZON, Floats, P, PictureSize, plane_from_picture

TILTS = ((0.0, 0.0), (0.3, 0.0), (-0.3, 0.0), (0.0, 0.3), (0.0, -0.3))
"""Starts per half diagonal where no rectangle tells the tilt; one start alone gave errors of 20-50 % (trials)."""


def starts(
    observations: Sequence[Observation], *, kind: Kind, size: PictureSize, priors: dict[P, Prior]
) -> list[Floats]:
    """Give the maps (10,) to start from, at which every mark lies before the horizon.

    Raises
    ------
    CalibrationError
        If a rectangle is seen so steeply that the picture's middle or a mark lies beyond its horizon.
    """
    expected = np.zeros(len(P))
    for p, prior in priors.items():
        expected[p] = prior.expected
    tilts: Sequence[tuple[float, float]] = TILTS
    if kind is not Kind.PHOTO:
        tilts = TILTS[:1]
    else:
        rectangles = [seen for seen in observations if isinstance(seen, Corners)]
        laid = next((seen for seen in observations if isinstance(seen, Cards)), None)
        if laid is not None and (tilt := cards_tilt(laid, size)) is not None:
            tilts = [tilt]
        elif rectangles:
            # A found border comes last among rectangles; the largest in the picture tells the tilt best.
            tilts = [_vanishing_line(max(rectangles, key=lambda corners: _area_px2(corners)), size)]
            _refuse_beyond_horizon(observations, tilts[0], size)
    maps = []
    for tilt in tilts:
        values = expected.copy()
        values[[P.TILT_X, P.TILT_Y]] = tilt
        values[P.LOG_SCALE] = np.median(list(log_scales(observations, values, size).values()))
        maps.append(values)
    return maps


def _vanishing_line(corners: Corners, size: PictureSize) -> tuple[float, float]:
    """Give (a, b) of the line a x + b y + 1 = 0 where the plane meets infinity (Hartley, Zisserman 2004)."""
    px = np.array(corners.points_px)
    x = (px[:, 0] - size.middle_px[0]) / size.half_diagonal_px
    y = (size.middle_px[1] - px[:, 1]) / size.half_diagonal_px
    p = np.column_stack([x, y, np.ones(4)])
    # Opposite sides of a rectangle meet at infinity.
    across = np.cross(np.cross(p[0], p[1]), np.cross(p[3], p[2]))
    down = np.cross(np.cross(p[0], p[3]), np.cross(p[1], p[2]))
    line = np.cross(across / np.linalg.norm(across), down / np.linalg.norm(down))
    line = line * np.sign((p @ line).sum())
    if line[2] < 2 * HORIZON * np.linalg.norm(line):
        raise CalibrationError(
            f"The {corners.label} make a rectangle whose horizon runs through the picture's middle; no camera can "
            "see the plan so: check the corners' order (upper-left, upper-right, lower-right, lower-left) and "
            "places."
        )
    return float(line[0] / line[2]), float(line[1] / line[2])


def _refuse_beyond_horizon(observations: Sequence[Observation], tilt: tuple[float, float], size: PictureSize) -> None:
    for seen in observations:
        if not isinstance(seen, Corners | KnownDistance):
            continue
        for px in seen.points_px if isinstance(seen, Corners) else (seen.start_px, seen.end_px):
            x = (px[0] - size.middle_px[0]) / size.half_diagonal_px
            y = (size.middle_px[1] - px[1]) / size.half_diagonal_px
            if tilt[0] * x + tilt[1] * y + 1 < 2 * HORIZON:
                raise CalibrationError(
                    f"A mark of {seen.label} at ({px[0]:g}, {px[1]:g}) px lies on or beyond the horizon that the "
                    "corners give the plan; every mark must lie on the paper: check that mark and the corners."
                )


def log_scales(observations: Sequence[Observation], values: Floats, size: PictureSize) -> dict[int, float]:
    """Give, for each observation (by its place) that says a length, the log of given over mapped length."""
    found = {}
    for i, seen in enumerate(observations):
        match seen:
            case KnownDistance():
                pairs = [(seen.start_px, seen.end_px, seen.length_mm)]
            case Corners(width_mm=float() | int() as width, height_mm=float() | int() as height):
                ul, ur, lr, ll = seen.points_px
                pairs = [(ul, ur, width), (ur, lr, height), (lr, ll, width), (ll, ul, height)]
            case GivenScale():
                (x, y), half = size.middle_px, size.half_diagonal_px
                pairs = [((x, y), (x + half, y), seen.mm_per_px_x * half)]
            case Cards():
                found[i] = log_scale_of_cards(seen, values, size)
                continue
            case _:
                continue
        logs = []
        for start, end, mm in pairs:
            ends = plane_from_picture(values, np.array([start, end]), size)
            logs.append(math.log(mm / float(np.hypot(*(ends[1] - ends[0])))))
        found[i] = float(np.mean(logs))
    return found


def _area_px2(corners: Corners) -> float:
    x, y = np.array(corners.points_px).T
    return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2
