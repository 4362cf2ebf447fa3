"""How places on the plane move with each parameter of the map: the derivative of `plane_map`, in closed form.

A search asks for it hundreds of times; differences of the whole map take several times as long.
"""

from collections.abc import Callable, Sequence

import numpy as np

from calibration.bend_moves import Moves, paper_moves
from calibration.plane_map import (
    BULGE,
    CYLINDER,
    HORIZON,
    LENS,
    Floats,
    P,
    PictureSize,
    bend,
    camera_matrix,
    is_bent,
    strain_matrix,
)

LEAN = (P.TILT_X, P.TILT_Y, P.LOG_FOCAL)
"""What the camera's matrix depends on, but for the scale."""

STEP = 1e-5
"""Central differences of a matrix's few terms are good to 1e-10 with it."""

BENDING = (P.BEND_TURN, *CYLINDER, *BULGE)


def plane_slopes(
    values: Floats, points_px: Floats, size: PictureSize, parameters: Sequence[P]
) -> tuple[Floats, Floats]:
    """Give (N, 2) mm on the plane, y up, and (k, N, 2) how they move with each of the parameters.

    Parameters
    ----------
    values : (48,) array
        One set, in the order of `P`.
    points_px : (N, 2) array
        Picture frame.

    Returns
    -------
    two arrays
        NaN at and beyond the horizon.
    """
    unit = values.copy()
    unit[P.LOG_SCALE] = 0.0
    paper, moves = _before_bend(unit, points_px, size)
    names: tuple[P, ...] = (*LEAN, *LENS)
    if is_bent(values) or any(p in BENDING for p in parameters):
        distances, middles = _bend_moves(unit, size)
        bulge = [p for p in BULGE if p in parameters]
        given = Moves(moves, distances, middles)
        paper, moves = paper_moves(bend(unit, size), paper, given, bulge=[p - P.BULGE_1 for p in bulge])
        names += (P.BEND_TURN, *CYLINDER, *bulge)
    by_name = dict(zip(names, moves, strict=True))
    scaled = strain_matrix(values)[:2, :2] * np.exp(values[P.LOG_SCALE])
    plane = paper @ scaled.T
    slopes = np.empty((len(parameters), *plane.shape))
    for place, p in enumerate(parameters):
        if p is P.LOG_SCALE:
            slopes[place] = plane
        elif p in (P.STRETCH, P.SHEAR):
            (turned,) = _differences(strain_matrix, values, (p,))
            slopes[place] = paper @ (turned[:2, :2] * np.exp(values[P.LOG_SCALE])).T
        else:
            slopes[place] = by_name[p] @ scaled.T
    return plane, slopes


def _before_bend(values: Floats, points_px: Floats, size: PictureSize) -> tuple[Floats, Floats]:
    """Give where rays meet the flat (N, 2), and (7, N, 2) how that moves with the lean and the lens."""
    x = (points_px[:, 0] - size.middle_px[0]) / size.half_diagonal_px - values[P.CENTRE_X]
    y = (size.middle_px[1] - points_px[:, 1]) / size.half_diagonal_px - values[P.CENTRE_Y]
    r2 = x * x + y * y
    grow = 1 + r2 * (values[P.K1] + r2 * values[P.K2])
    more = 2 * values[P.K1] + 4 * r2 * values[P.K2]
    q = np.stack([x * grow, y * grow, np.ones_like(x)])
    by_lens = np.zeros((len(LENS), 3, len(x)))
    for place, p in enumerate(LENS):
        match p:
            case P.K1:
                by_lens[place, :2] = x * r2, y * r2
            case P.K2:
                by_lens[place, :2] = x * r2 * r2, y * r2 * r2
            case P.CENTRE_X:
                by_lens[place, :2] = -grow - x * x * more, -x * y * more
            case _:
                by_lens[place, :2] = -x * y * more, -grow - y * y * more
    camera = camera_matrix(values)
    met = camera @ q
    met[2] = np.where(met[2] > HORIZON, met[2], np.nan)
    moved = np.concatenate([_differences(camera_matrix, values, LEAN) @ q, camera @ by_lens])
    w = met[:2] / met[2]
    moves = (moved[:, :2] - w * moved[:, 2:]) / met[2]
    return np.asarray(w.T), np.asarray(np.swapaxes(moves, 1, 2))


def _bend_moves(values: Floats, size: PictureSize) -> tuple[Floats, Floats]:
    """Give how the camera's distance (7,) and the middle (7, 2) move with the lean; a lens moves neither."""
    still = np.zeros(len(LENS))
    distances = _differences(lambda sets: bend(sets, size).distance, values, LEAN)
    middles = _differences(lambda sets: bend(sets, size).middle, values, LEAN)
    return np.concatenate([distances, still]), np.concatenate([middles, np.zeros((len(LENS), 2))])


def _differences(function: Callable[[Floats], Floats], values: Floats, parameters: Sequence[P]) -> Floats:
    steps = STEP * np.eye(len(P))[list(parameters)]
    ahead, behind = np.split(function(np.concatenate([values + steps, values - steps])), 2)
    return np.asarray((ahead - behind) / (2 * STEP))
