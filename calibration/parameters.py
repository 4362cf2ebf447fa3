"""Which parameters of the map are solved for, and what is known of each beforehand."""

import math
from dataclasses import dataclass, replace
from enum import Enum, auto

from calibration.kind import Kind
from calibration.plane_map import BULGE, CYLINDER, P


class Role(Enum):
    """What the adjustment does with a parameter."""

    FREE = auto()
    """Solved for, under its prior."""
    FIXED = auto()
    """Left at its expected value, and known to lie there."""


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known of one parameter before any observation; `sigma` is infinite where nothing is."""

    role: Role
    expected: float = 0.0
    sigma: float = math.inf


FULL_FRAME_HALF_DIAGONAL_MM = math.hypot(36, 24) / 2
"""35 mm equivalent focal lengths compare diagonals (24 x 36 mm frame; CIPA DCG-001)."""

USUAL_FOCAL_35MM = 26.0
"""A phone's main camera, where the file says nothing."""

FOCAL_35MM_RANGE = (8.0, 400.0)
"""Outside it a file's focal length is taken for a slip of the camera and not used."""

FOCAL_SIGMA_TOLD = 0.03
"""Relative; what files say is rounded to the mm and was 2 % off in trials."""

FOCAL_SIGMA_UNTOLD = 0.25
"""Relative; main cameras of phones and usual zooms lie from 20 to 35 mm."""

TILT_SIGMA = 0.3
"""Per half diagonal: people hold a phone within some 20 degrees of straight above."""

LENS_SIGMA = {P.K1: 0.02, P.K2: 0.008, P.CENTRE_X: 0.006, P.CENTRE_Y: 0.006}
"""Per powers of the half diagonal; the root mean square over phones' main cameras (forward k1 from -0.06 to 0.02, k2 to
0.02, at 24-28 mm; trials). Half as much again made every interval twice too wide, a third less let 10 % escape."""

WIDE_LENS_35MM = 20.0
WIDE_LENS_TIMES = 4.0
"""Wide lenses bow lines several times more; tight priors made their intervals lie (trials)."""

STRETCH_SIGMA = 0.005
"""x scale against y scale of copies and scans: 0.5-0.8 % was seen (trials), paper alone swells 0.2-0.4 %."""

SHEAR_SIGMA = 0.001
"""Radians: a scanner's or roller's axes are square to 0.06 degrees."""

PAGE_SIGMA = 1e-4
"""Stretch and shear of a page drawn by a program: rounding of its coordinates only."""

BOW_SIGMA = 0.05
"""Curvature of a cylinder's profile, per half diagonal: an A1 sheet that fills the picture then bends with a radius of
10 m, and rises by some 6 mm at its edge."""

WANDER_SIGMAS = (0.05, 0.01, 0.003)
"""By how much the curvature wanders over a half diagonal: paper that lifts or waves, or that bows evenly."""

BULGE_SIGMA = 0.008
"""Half diagonals, of the height anywhere: 5 mm on an A1 sheet that fills the picture."""

BULGE_SIGMAS = (0.01, 0.005, 0.0025)
"""Heights that a bulge may be of; the likeliest is taken. With one for all, 3 mm and 10 mm alike, some bulges of 3 mm
were taken for curls, and eight lines of a plan by machine left errors a sixth larger (trials)."""


def priors(*, kind: Kind, focal_35mm: float | None) -> dict[P, Prior]:
    """Give the role and prior of every parameter for a kind of picture."""
    if kind is Kind.PHOTO:
        return _photo_priors(focal_35mm)
    strain = (STRETCH_SIGMA, SHEAR_SIGMA) if kind is Kind.SCAN else (PAGE_SIGMA, PAGE_SIGMA)
    return {
        P.LOG_SCALE: Prior(Role.FREE),
        P.TILT_X: Prior(Role.FIXED),
        P.TILT_Y: Prior(Role.FIXED),
        P.LOG_FOCAL: Prior(Role.FIXED),
        P.STRETCH: Prior(Role.FREE, sigma=strain[0]),
        P.SHEAR: Prior(Role.FREE, sigma=strain[1]),
        P.K1: Prior(Role.FIXED),
        P.K2: Prior(Role.FIXED),
        P.CENTRE_X: Prior(Role.FIXED),
        P.CENTRE_Y: Prior(Role.FIXED),
    }


def loosened(before: dict[P, Prior]) -> dict[P, Prior]:
    """Give the priors of a wide lens, or of a still wider one, for lines that bow more than the lens expected does."""
    after = dict(before)
    for p, times in ((P.K1, WIDE_LENS_TIMES), (P.K2, WIDE_LENS_TIMES), (P.CENTRE_X, 2.0), (P.CENTRE_Y, 2.0)):
        after[p] = replace(before[p], sigma=times * before[p].sigma)
    focal = before[P.LOG_FOCAL]
    if focal.sigma >= FOCAL_SIGMA_UNTOLD:
        after[P.LOG_FOCAL] = replace(focal, sigma=2 * FOCAL_SIGMA_UNTOLD)
    return after


def with_stretch(before: dict[P, Prior]) -> dict[P, Prior]:
    """Give the same priors with stretch and shear solved for, as paper and copiers have them."""
    return before | {
        P.STRETCH: Prior(Role.FREE, sigma=STRETCH_SIGMA),
        P.SHEAR: Prior(Role.FREE, sigma=STRETCH_SIGMA),
    }


def with_cylinder(before: dict[P, Prior], *, wander_sigma: float = WANDER_SIGMAS[0]) -> dict[P, Prior]:
    """Give the same priors with a cylinder's direction and its profile solved for."""
    bow, *wanders = CYLINDER
    profile = {p: Prior(Role.FREE, sigma=wander_sigma) for p in wanders}
    return before | {P.BEND_TURN: Prior(Role.FREE), bow: Prior(Role.FREE, sigma=BOW_SIGMA)} | profile


def with_bulge(before: dict[P, Prior], *, sigma: float) -> dict[P, Prior]:
    """Give the same priors with a bulge solved for that is so high, half diagonals."""
    return before | {p: Prior(Role.FREE, sigma=sigma) for p in BULGE}


def believable_focal_35mm(focal_35mm: float | None) -> float | None:
    """Give a file's 35 mm equivalent focal length, or None where it says none that can be."""
    if focal_35mm is None or not FOCAL_35MM_RANGE[0] <= focal_35mm <= FOCAL_35MM_RANGE[1]:
        return None
    return focal_35mm


def _photo_priors(focal_35mm: float | None) -> dict[P, Prior]:
    told = believable_focal_35mm(focal_35mm)
    focal = math.log((told or USUAL_FOCAL_35MM) / FULL_FRAME_HALF_DIAGONAL_MM)
    looser = WIDE_LENS_TIMES if told is not None and told < WIDE_LENS_35MM else 1.0
    return {
        P.LOG_SCALE: Prior(Role.FREE),
        P.TILT_X: Prior(Role.FREE, sigma=TILT_SIGMA),
        P.TILT_Y: Prior(Role.FREE, sigma=TILT_SIGMA),
        P.LOG_FOCAL: Prior(Role.FREE, focal, FOCAL_SIGMA_UNTOLD if told is None else FOCAL_SIGMA_TOLD),
        P.STRETCH: Prior(Role.FIXED),
        P.SHEAR: Prior(Role.FIXED),
    } | {p: Prior(Role.FREE, sigma=looser * sigma) for p, sigma in LENS_SIGMA.items()}
