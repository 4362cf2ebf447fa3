"""How a picture's px become mm on the plan's plane: one closed form for photo, scan and page.

A scan is a photo without lens and without tilt, so one set of parameters serves both; `parameters.py` says
which are free. The steps, picture to plane:

1. n = (px - middle) / half diagonal, y turned up, less the lens centre (cx, cy);
2. undistorting polynomial q = n (1 + K1 r^2 + K2 r^4), r = |n|;
3. a camera of focal length f (half diagonals) looking at a plane with its vanishing line at a x + b y + 1 = 0,
   in-plane axes by the smallest rotation that turns the plane's normal to the camera's axis, so that
   nothing jumps at a frontal view; exp(log s) mm to a half diagonal;
4. where the paper curls, from the plane to the paper (`bend`);
5. a stretch e1 between the axes and e2 between the diagonals, for paper, copier and scanner.

The plane's own turn and shift are left out: no length depends on them; `Calibration` adds them.
"""

import math
from dataclasses import dataclass
from enum import IntEnum
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from calibration.bend import HUMPS, POWERS, Bend

Floats: TypeAlias = NDArray[np.float64]

HORIZON = 0.02
"""Smallest a x + b y + 1 that is still on the plane: there a px already spans 50 times its share, and
2500 times along the view."""

LENS_STEPS = 12
"""Newton steps to invert the lens; 4 do for a phone, 12 for a fisheye's edge."""


class P(IntEnum):
    """Places in the parameter vector."""

    LOG_SCALE = 0
    TILT_X = 1
    TILT_Y = 2
    LOG_FOCAL = 3
    STRETCH = 4
    SHEAR = 5
    K1 = 6
    K2 = 7
    CENTRE_X = 8
    CENTRE_Y = 9
    BEND_TURN = 10
    BEND_1 = 11
    BEND_2 = 12
    BEND_3 = 13
    BEND_4 = 14
    BEND_5 = 15
    BEND_6 = 16
    BEND_7 = 17
    BEND_8 = 18
    BEND_9 = 19
    BEND_10 = 20
    BEND_11 = 21
    BEND_12 = 22
    BEND_13 = 23
    BEND_14 = 24
    BEND_15 = 25
    BULGE_1 = 26
    BULGE_2 = 27
    BULGE_3 = 28
    BULGE_4 = 29
    BULGE_5 = 30
    BULGE_6 = 31
    BULGE_7 = 32
    BULGE_8 = 33
    BULGE_9 = 34
    BULGE_10 = 35
    BULGE_11 = 36
    BULGE_12 = 37
    BULGE_13 = 38
    BULGE_14 = 39
    BULGE_15 = 40
    BULGE_16 = 41
    BULGE_17 = 42
    BULGE_18 = 43
    BULGE_19 = 44
    BULGE_20 = 45
    BULGE_21 = 46
    BULGE_22 = 47
    BULGE_23 = 48
    BULGE_24 = 49
    BULGE_25 = 50
    BULGE_26 = 51
    BULGE_27 = 52
    BULGE_28 = 53
    BULGE_29 = 54
    BULGE_30 = 55


LENS = (P.K1, P.K2, P.CENTRE_X, P.CENTRE_Y)
"""What the lens does."""

_LENS = slice(P.K1, P.CENTRE_Y + 1)

CYLINDER = tuple(P)[P.BEND_1 : P.BEND_1 + len(POWERS)]
"""A cylinder's profile; its direction is `P.BEND_TURN`."""

BULGE = tuple(P)[P.BULGE_1 : P.BULGE_1 + HUMPS]
"""What the paper does that is no cylinder."""


@dataclass(frozen=True, slots=True)
class PictureSize:
    """Width and height of a picture in px."""

    width_px: int
    height_px: int

    @property
    def middle_px(self) -> tuple[float, float]:
        """The picture's middle, pixel centres at integers."""
        return (self.width_px - 1) / 2, (self.height_px - 1) / 2

    @property
    def half_diagonal_px(self) -> float:
        """The unit of the lens and camera parameters."""
        return math.hypot(self.width_px, self.height_px) / 2


def plane_from_picture(values: Floats, points_px: Floats, size: PictureSize) -> Floats:
    """Give mm on the plane, y up, for picture px.

    Parameters
    ----------
    values : (..., 56) array
        Parameters in the order of `P`; leading axes are sets of parameters.
    points_px : (N, 2) array
        Picture frame.

    Returns
    -------
    (..., N, 2) array
        NaN at and beyond the horizon.
    """
    points = np.asarray(points_px, dtype=np.float64)
    x = (points[:, 0] - size.middle_px[0]) / size.half_diagonal_px
    y = (size.middle_px[1] - points[:, 1]) / size.half_diagonal_px
    if values[..., _LENS].any():
        x, y = _undistorted(values, x, y)
    curled = is_bent(values)
    h = (camera_matrix(values) if curled else homography(values))[..., None]
    depth = h[..., 2, 0, :] * x + h[..., 2, 1, :] * y + 1
    depth = np.where(depth > HORIZON, depth, np.nan)
    u = (h[..., 0, 0, :] * x + h[..., 0, 1, :] * y + h[..., 0, 2, :]) / depth
    v = (h[..., 1, 0, :] * x + h[..., 1, 1, :] * y + h[..., 1, 2, :]) / depth
    plane = np.stack([u, v], axis=-1)
    if not curled:
        return plane
    scale = np.exp(values[..., P.LOG_SCALE])[..., None, None]
    paper = bend(values, size).paper(plane / scale) * scale
    return np.asarray(paper @ np.swapaxes(strain_matrix(values)[..., :2, :2], -1, -2))


def picture_from_plane(values: Floats, points_mm: Floats, size: PictureSize) -> Floats:
    """Give picture px (N, 2) for mm on the plane (N, 2), the inverse; NaN where no px shows the place."""
    points = np.asarray(points_mm, dtype=np.float64)
    curled = is_bent(values)
    if curled:
        scale = np.exp(values[P.LOG_SCALE])
        paper = points @ np.linalg.inv(strain_matrix(values)[:2, :2]).T
        points = bend(values, size).plane(paper / scale) * scale
    inverse = np.linalg.inv(camera_matrix(values) if curled else homography(values))
    p = points @ inverse[:, :2].T + inverse[:, 2]
    # 1 / p[2] is the depth: at or below zero lies what the camera cannot see.
    p[:, 2] = np.where(p[:, 2] > 0, p[:, 2], np.nan)
    q = p[:, :2] / p[:, 2:]
    if values[_LENS].any():
        q = _distorted(values, q)
    x = size.middle_px[0] + q[:, 0] * size.half_diagonal_px
    y = size.middle_px[1] - q[:, 1] * size.half_diagonal_px
    return np.column_stack([x, y])


def homography(values: Floats) -> Floats:
    """Give the (..., 3, 3) map of undistorted picture coordinates (half diagonals, y up) to mm on the plane."""
    return strain_matrix(values) @ camera_matrix(values)


def moving(values: Floats) -> list[P]:
    """Give the parameters that the map (56,) depends on: those of a bend only where there is one."""
    bent = values[P.BEND_1 :].any()
    return [p for p in P if p < P.BEND_TURN or (bent and (p < P.BULGE_1 or values[P.BULGE_1 :].any()))]


def is_bent(values: Floats) -> bool:
    """Whether the map takes curled paper for curled."""
    return bool(values[..., P.BEND_1 :].any())


def bend(values: Floats, size: PictureSize) -> Bend:
    """Give the bend that the parameters (..., 56) describe."""
    focal = np.exp(values[..., P.LOG_FOCAL])
    lean = np.stack([values[..., P.TILT_X], values[..., P.TILT_Y]], axis=-1) * focal[..., None]
    length = np.sqrt(1 + (lean**2).sum(axis=-1))
    # The axis of the camera, x = y = 0, meets the plane here: the third column of `camera_matrix`.
    middle = -lean * (focal / length)[..., None]
    cylinder = values[..., P.BEND_1 : P.BULGE_1]
    long_axis = int(size.height_px > size.width_px)
    return Bend(values[..., P.BEND_TURN], cylinder, values[..., P.BULGE_1 :], focal / length, middle, long_axis)


def camera_matrix(values: Floats) -> Floats:
    """Give `homography` before the paper's stretch."""
    scale, focal = np.exp(values[..., P.LOG_SCALE]), np.exp(values[..., P.LOG_FOCAL])
    a, b = values[..., P.TILT_X], values[..., P.TILT_Y]
    # The plane's normal in the camera's frame is (a f, b f, 1).
    length = np.sqrt(1 + (a * focal) ** 2 + (b * focal) ** 2)
    nx, ny = a * focal / length, b * focal / length
    tip = 1 / (1 + 1 / length)
    plane = np.empty((*values.shape[:-1], 3, 3))
    plane[..., 0, 0] = scale * (1 - nx * nx * tip)
    plane[..., 0, 1] = plane[..., 1, 0] = -scale * nx * ny * tip
    plane[..., 1, 1] = scale * (1 - ny * ny * tip)
    plane[..., 0, 2] = -scale * nx * focal
    plane[..., 1, 2] = -scale * ny * focal
    plane[..., 2, 0], plane[..., 2, 1], plane[..., 2, 2] = a, b, 1
    return plane


def strain_matrix(values: Floats) -> Floats:
    """Give the (..., 3, 3) stretch of paper, copier and scanner."""
    strain = np.zeros((*values.shape[:-1], 3, 3))
    strain[..., 0, 0] = np.exp(values[..., P.STRETCH] / 2)
    strain[..., 1, 1] = np.exp(-values[..., P.STRETCH] / 2)
    strain[..., 0, 1] = strain[..., 1, 0] = values[..., P.SHEAR] / 2
    strain[..., 2, 2] = 1
    return strain


def standing(values: Floats, points_px: Floats, size: PictureSize) -> tuple[float, float]:
    """Give how far these places of the paper rise from the lowest to the highest, over the plane nearest them, mm.

    Then the camera's distance from that plane, mm.
    """
    points = np.asarray(points_px, dtype=np.float64)
    scale = float(np.exp(values[P.LOG_SCALE]))
    flat = np.array(values)
    flat[P.BEND_1 :] = 0.0
    w = plane_from_picture(flat, points, size) / scale
    heights = bend(values, size).heights(w)
    plane = np.column_stack([w, np.ones(len(w))])
    off = heights - plane @ np.linalg.lstsq(plane, heights, rcond=None)[0]
    return float(np.ptp(off)) * scale, float(bend(values, size).distance) * scale


def _undistorted(values: Floats, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    x = x - values[..., P.CENTRE_X, None]
    y = y - values[..., P.CENTRE_Y, None]
    r2 = x * x + y * y
    grow = 1 + r2 * (values[..., P.K1, None] + r2 * values[..., P.K2, None])
    return x * grow, y * grow


def _distorted(values: Floats, q: Floats) -> Floats:
    """Invert `_undistorted` by Newton's method on the radius; NaN beyond the radius where the polynomial turns back."""
    k1, k2 = values[P.K1], values[P.K2]
    target = np.hypot(q[:, 0], q[:, 1])
    r = target.copy()
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for _ in range(LENS_STEPS):
            r2 = r * r
            r = r - (r * (1 + r2 * (k1 + k2 * r2)) - target) / (1 + r2 * (3 * k1 + 5 * k2 * r2))
        r2 = r * r
        grow = 1 + r2 * (k1 + k2 * r2)
        good = (np.abs(r * grow - target) < 1e-9) & (r >= 0) & (1 + r2 * (3 * k1 + 5 * k2 * r2) > 0)
    grow = np.where(good, grow, np.nan)
    bent: Floats = q / grow[:, None] + (values[P.CENTRE_X], values[P.CENTRE_Y])
    return bent
