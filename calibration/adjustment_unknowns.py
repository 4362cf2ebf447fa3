"""What was solved for, in units that a person can follow: scale, tilt, lens, stretch."""

import math

from calibration.adjustment import Unit, UnknownRow
from calibration.kind import Kind
from calibration.parameters import FULL_FRAME_HALF_DIAGONAL_MM, Prior, Role
from calibration.plane_map import Floats, P, PictureSize

NAMES = {
    P.LOG_SCALE: "scale in the picture's middle",
    P.TILT_X: "tilt of the camera to the side",
    P.TILT_Y: "tilt of the camera forward",
    P.LOG_FOCAL: "focal length (35 mm equivalent)",
    P.STRETCH: "stretch: x scale over y scale",
    P.SHEAR: "shear: a right angle less 90 degrees",
    P.K1: "lens k1",
    P.K2: "lens k2",
    P.CENTRE_X: "lens's middle, x from the picture's",
    P.CENTRE_Y: "lens's middle, y from the picture's, upwards",
}


def unknown_rows(
    values: Floats, covariance: Floats, priors: dict[P, Prior], *, kind: Kind, size: PictureSize
) -> tuple[UnknownRow, ...]:
    """Give a row for every parameter of the map that was solved for, and for those of the lens.

    Sigmas are carried over to each row's unit by its derivative.
    """
    rows = []
    for p in P:
        prior = priors.get(p, Prior(Role.FIXED))
        solved = prior.role is Role.FREE
        if not solved and (kind is not Kind.PHOTO or p not in NAMES):
            continue
        value, sigma = float(values[p]), math.sqrt(max(float(covariance[p, p]), 0.0))
        focal = math.exp(float(values[P.LOG_FOCAL]))
        match p:
            case P.LOG_SCALE:
                mm_per_px = math.exp(value) / size.half_diagonal_px
                row = (Unit.MM_PER_PX, mm_per_px, mm_per_px * sigma, mm_per_px, math.inf)
            case P.TILT_X | P.TILT_Y:
                # The plane's normal is (a f, b f, 1) in the camera's frame.
                slope = focal / (1 + (value * focal) ** 2)
                row = (Unit.RAD, math.atan(value * focal), slope * sigma, 0.0, focal * prior.sigma)
            case P.LOG_FOCAL:
                mm = FULL_FRAME_HALF_DIAGONAL_MM
                told = mm * math.exp(prior.expected)
                row = (Unit.MM, mm * math.exp(value), mm * math.exp(value) * sigma, told, told * prior.sigma)
            case P.CENTRE_X | P.CENTRE_Y:
                px = size.half_diagonal_px
                row = (Unit.PX, px * value, px * sigma, px * prior.expected, px * prior.sigma)
            case P.STRETCH:
                row = (Unit.PART, value, sigma, prior.expected, prior.sigma)
            case P.SHEAR:
                row = (Unit.RAD, value, sigma, prior.expected, prior.sigma)
            case _:
                row = (Unit.NONE, value, sigma, prior.expected, prior.sigma)
        name = NAMES.get(p, p.name.lower().replace("_", " "))
        unit, shown, shown_sigma, expected, expected_sigma = row
        rows.append(
            UnknownRow(
                name,
                unit,
                shown,
                shown_sigma if solved else 0.0,
                expected,
                expected_sigma if solved and math.isfinite(prior.sigma) else math.inf,
                solved,
            )
        )
    return tuple(rows)
