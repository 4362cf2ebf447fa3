"""How a picture's px become mm on the plan's plane: one closed form for photo, scan and page.

A scan is a photo without lens and without tilt, so one set of parameters serves both; `parameters.py` says
which are free. The steps, picture to plane:

1. n = (px - middle) / half diagonal, y turned up, less the lens centre (cx, cy);
2. undistorting polynomial q = n (1 + K1 r^2 + K2 r^4), r = |n|;
3. a camera of focal length f (half diagonals) looking at a plane with its vanishing line at a x + b y + 1 = 0,
   in-plane axes by the smallest rotation that turns the plane's normal to the camera's axis, so that
   nothing jumps at a frontal view; exp(log s) mm to a half diagonal;
4. a stretch e1 between the axes and e2 between the diagonals, for paper, copier and scanner.

The plane's own turn and shift are left out: no length depends on them; `Calibration` adds them.
"""

import math
from dataclasses import dataclass
from enum import IntEnum
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

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


LENS = (P.K1, P.K2, P.CENTRE_X, P.CENTRE_Y)
"""What the lens does."""


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
    values : (..., 10) array
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
    if values[..., P.K1 :].any():
        x, y = _undistorted(values, x, y)
    h = homography(values)[..., None]
    depth = h[..., 2, 0, :] * x + h[..., 2, 1, :] * y + 1
    depth = np.where(depth > HORIZON, depth, np.nan)
    u = (h[..., 0, 0, :] * x + h[..., 0, 1, :] * y + h[..., 0, 2, :]) / depth
    v = (h[..., 1, 0, :] * x + h[..., 1, 1, :] * y + h[..., 1, 2, :]) / depth
    return np.stack([u, v], axis=-1)


def picture_from_plane(values: Floats, points_mm: Floats, size: PictureSize) -> Floats:
    """Give picture px (N, 2) for mm on the plane (N, 2), the inverse; NaN where no px shows the place."""
    points = np.asarray(points_mm, dtype=np.float64)
    inverse = np.linalg.inv(homography(values))
    p = points @ inverse[:, :2].T + inverse[:, 2]
    # 1 / p[2] is the depth: at or below zero lies what the camera cannot see.
    p[:, 2] = np.where(p[:, 2] > 0, p[:, 2], np.nan)
    q = p[:, :2] / p[:, 2:]
    if values[P.K1 :].any():
        q = _distorted(values, q)
    x = size.middle_px[0] + q[:, 0] * size.half_diagonal_px
    y = size.middle_px[1] - q[:, 1] * size.half_diagonal_px
    return np.column_stack([x, y])


def homography(values: Floats) -> Floats:
    """Give the (..., 3, 3) map of undistorted picture coordinates (half diagonals, y up) to mm on the plane."""
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
    strain = np.zeros_like(plane)
    strain[..., 0, 0] = np.exp(values[..., P.STRETCH] / 2)
    strain[..., 1, 1] = np.exp(-values[..., P.STRETCH] / 2)
    strain[..., 0, 1] = strain[..., 1, 0] = values[..., P.SHEAR] / 2
    strain[..., 2, 2] = 1
    return strain @ plane


def local_scales(values: Floats, points_px: Floats, size: PictureSize) -> Floats:
    """Give the (N, 2, 2) derivative of mm on the plane by px (x right, y down) at each point."""
    points = np.asarray(points_px, dtype=np.float64)
    around = np.concatenate([points + step for step in ((0.5, 0.0), (-0.5, 0.0), (0.0, 0.5), (0.0, -0.5))])
    right, left, down, up = plane_from_picture(values, around, size).reshape(4, -1, 2)
    return np.stack([right - left, down - up], axis=-1)


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
