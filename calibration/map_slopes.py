"""How places on the plane move with each parameter of the map: the derivative of `plane_map`, in closed form.

A search asks for it hundreds of times; differences of the whole map take several times as long.
"""

import math
from collections.abc import Sequence

import numpy as np

from calibration.bend_moves import Moves, first_rises, paper_moves
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

BENDING = (P.BEND_TURN, *CYLINDER, *BULGE)


def plane_slopes(
    values: Floats, points_px: Floats, size: PictureSize, parameters: Sequence[P]
) -> tuple[Floats, Floats]:
    """Give (N, 2) mm on the plane, y up, and (k, N, 2) how they move with each of the parameters.

    Parameters
    ----------
    values : (56,) array
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
    lean = LEAN if any(p in LEAN for p in parameters) else ()
    cameras = _camera_moves(unit) if lean else np.zeros((0, 3, 3))
    paper, moves = _before_bend(unit, points_px, size, cameras)
    names: tuple[P, ...] = (*lean, *LENS)
    if is_bent(values) or any(p in BENDING for p in parameters):
        bulge = [p for p in BULGE if p in parameters]
        given = Moves(moves, *_bend_moves(unit, cameras))
        paper, moves = paper_moves(bend(unit, size), paper, given, bulge=[p - P.BULGE_1 for p in bulge])
        names += (P.BEND_TURN, *CYLINDER, *bulge)
    scaled = strain_matrix(values)[:2, :2] * np.exp(values[P.LOG_SCALE])
    plane = paper @ scaled.T
    slopes = np.empty((len(parameters), *plane.shape))
    place = {p: n for n, p in enumerate(names)}
    moved = [(at, place[p]) for at, p in enumerate(parameters) if p in place]
    slopes[[at for at, _ in moved]] = moves[[n for _, n in moved]] @ scaled.T
    for at, p in enumerate(parameters):
        if p is P.LOG_SCALE:
            slopes[at] = plane
        elif p in (P.STRETCH, P.SHEAR):
            slopes[at] = paper @ (_strain_moves(values, p) * np.exp(values[P.LOG_SCALE])).T
    return plane, slopes


def first_cylinders(values: Floats, points_px: Floats, size: PictureSize, turns_rad: Floats) -> Floats:
    """Give (T, 15, N, 2): how places on the plane, mm, move with a cylinder's profile in each of T directions.

    The `values` are of a flat map: to first order nothing but the height above it counts.
    """
    unit = values.copy()
    unit[P.LOG_SCALE] = 0.0
    w, _ = _before_bend(unit, points_px, size, np.zeros((0, 3, 3)))
    flat = bend(unit, size)
    scaled = strain_matrix(values)[:2, :2] * np.exp(values[P.LOG_SCALE])
    return np.asarray(first_rises(flat, w, turns_rad)[..., None] * (w @ scaled.T / -float(flat.distance)))


def local_scales(values: Floats, points_px: Floats, size: PictureSize) -> Floats:
    """Give the (N, 2, 2) derivative of mm on the plane by px (x right, y down) at each point.

    A px to the right is what the lens's centre makes of one to the left.
    """
    _, slopes = plane_slopes(values, points_px, size, (P.CENTRE_X, P.CENTRE_Y))
    right_up = np.moveaxis(slopes, 0, -1) / size.half_diagonal_px
    return np.asarray(right_up * (-1, 1))


def _before_bend(values: Floats, points_px: Floats, size: PictureSize, cameras: Floats) -> tuple[Floats, Floats]:
    """Give where rays meet the flat (N, 2), and (k, N, 2) how that moves with the lean and the lens.

    `cameras` are how the camera's matrix moves with the lean.
    """
    x = (points_px[:, 0] - size.middle_px[0]) / size.half_diagonal_px - values[P.CENTRE_X]
    y = (size.middle_px[1] - points_px[:, 1]) / size.half_diagonal_px - values[P.CENTRE_Y]
    r2 = x * x + y * y
    grow = 1 + r2 * (values[P.K1] + r2 * values[P.K2])
    more = 2 * values[P.K1] + 4 * r2 * values[P.K2]
    q = np.stack([x * grow, y * grow, np.ones_like(x)])
    by_k1 = np.stack([x * r2, y * r2])
    crossed = -x * y * more
    by_centre_x = np.stack([-grow - x * x * more, crossed])
    by_centre_y = np.stack([crossed, -grow - y * y * more])
    by_lens = np.stack([by_k1, by_k1 * r2, by_centre_x, by_centre_y])
    camera = camera_matrix(values)
    met = camera @ q
    met[2] = np.where(met[2] > HORIZON, met[2], np.nan)
    moved = np.concatenate([cameras @ q, camera[:, :2] @ by_lens])
    w = met[:2] / met[2]
    moves = (moved[:, :2] - w * moved[:, 2:]) / met[2]
    return np.asarray(w.T), np.asarray(np.swapaxes(moves, 1, 2))


def _bend_moves(values: Floats, cameras: Floats) -> tuple[Floats, Floats]:
    """Give how the camera's distance (k,) and the middle (k, 2) move with the lean, then the lens, which moves neither.

    The middle is the third column of the camera's matrix; with the vanishing line at a x + b y + 1 = 0 the distance is
    D = f / sqrt(1 + f^2 (a^2 + b^2)).
    """
    still = np.zeros((len(LENS), 2))
    if not len(cameras):
        return still[:, 0], still
    focal, a, b = np.exp(values[P.LOG_FOCAL]), values[P.TILT_X], values[P.TILT_Y]
    distance = focal / np.sqrt(1 + focal**2 * (a * a + b * b))
    distances = np.array([-a * distance**3, -b * distance**3, distance**3 / focal**2])
    return np.concatenate([distances, still[:, 0]]), np.concatenate([cameras[:, :2, 2], still])


def _camera_moves(values: Floats) -> Floats:
    """Give (3, 3, 3): how `camera_matrix` moves with the lean, its scale being 1.

    With l = f (a, b), L = sqrt(1 + l^2) and k = 1 / (L (L + 1)) it is I - k l l' beside -f l / L, over (a, b, 1).
    """
    focal, a, b = math.exp(values[P.LOG_FOCAL]), float(values[P.TILT_X]), float(values[P.TILT_Y])
    x, y = a * focal, b * focal
    length = math.sqrt(1 + x * x + y * y)
    k = 1 / (length * (length + 1))
    moves = np.zeros((3, 3, 3))
    for place, (dx, dy, df) in enumerate(((focal, 0.0, 0.0), (0.0, focal, 0.0), (x, y, focal))):
        longer = (x * dx + y * dy) / length
        dk = -k * k * (2 * length + 1) * longer
        aside = -(dk * x * y + k * (dx * y + x * dy))
        nearer = focal * longer / length - df
        moves[place] = (
            (-dk * x * x - 2 * k * x * dx, aside, (x * nearer - focal * dx) / length),
            (aside, -dk * y * y - 2 * k * y * dy, (y * nearer - focal * dy) / length),
            (float(place == 0), float(place == 1), 0.0),
        )
    return moves


def _strain_moves(values: Floats, p: P) -> Floats:
    """Give (2, 2): how `strain_matrix` moves with stretch or shear."""
    if p is P.SHEAR:
        return np.array([[0.0, 0.5], [0.5, 0.0]])
    half = math.exp(values[P.STRETCH] / 2) / 2
    return np.diag([half, -0.25 / half])
