"""Where the plan's points land in a picture: a camera with a real lens, and a scanner.

Neither is the model that the program fits. The camera bends rays forward, with k1 and k2 on the tangent of the
angle and its own principal point, where the program undoes a polynomial on the radius in the picture.
"""

import math
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sample_scans.truth import Points

FILM_DIAGONAL_MM = math.hypot(36.0, 24.0)  # "35 mm equivalent" focal lengths refer to this diagonal
MM_PER_INCH = 25.4


class Picturing(Protocol):
    """What every picture's geometry can do."""

    @property
    def width_px(self) -> int:
        """The picture's width."""

    @property
    def height_px(self) -> int:
        """The picture's height."""

    def to_picture(self, points_mm: Points, /) -> Points:
        """Give picture px (y down, pixel centres at integers) of (N, 2) plan mm."""


@dataclass(frozen=True, slots=True)
class Camera:
    """A pinhole with forward radial distortion looking at the plan.

    `focal_px` and `centre_px` belong to the pinhole. `rotation` (3 x 3) and `shift_mm` (3,) take plan points
    (x, y, 0) to the camera's frame: x right, y down, z ahead. The distorted tangent is t (1 + k1 t^2 + k2 t^4).
    """

    width_px: int
    height_px: int
    focal_px: float
    centre_px: tuple[float, float]
    k1: float
    k2: float
    rotation: NDArray[np.float64]
    shift_mm: NDArray[np.float64]

    def to_picture(self, points_mm: Points, /) -> Points:
        """Give picture px of (N, 2) plan mm."""
        space = points_mm @ self.rotation[:, :2].T + self.shift_mm
        tangent = space[:, :2] / space[:, 2:]
        t2 = (tangent**2).sum(axis=1, keepdims=True)
        bent: Points = tangent * (1 + self.k1 * t2 + self.k2 * t2**2) * self.focal_px + np.array(self.centre_px)
        return bent

    def without_lens(self) -> "Camera":
        """Give the same camera with a lens that bends nothing."""
        return replace(self, k1=0.0, k2=0.0)

    @property
    def focal_35mm(self) -> float:
        """The focal length as a phone would state it."""
        return self.focal_px * FILM_DIAGONAL_MM / math.hypot(self.width_px, self.height_px)


@dataclass(frozen=True, slots=True)
class View:
    """How a photo is taken: lens and pose. Tilts lean the camera about the picture's axes, turn is in its plane."""

    focal_35mm: float = 26.0
    tilt_x_deg: float = 0.0
    tilt_y_deg: float = 0.0
    turn_deg: float = 0.0
    k1: float = 0.0
    k2: float = 0.0
    off_centre: tuple[float, float] = (0.004, -0.004)
    """Principal point from the picture's middle, as parts of its width."""
    margin: float = 0.03
    """Picture left free round the sheet, as a part of its width and height."""


def camera_for(sheet_mm: Points, view: View, *, width_px: int, height_px: int) -> Camera:
    """Give the camera that sees the whole sheet, in the middle and as near as the margin lets it."""
    focal = view.focal_35mm * math.hypot(width_px, height_px) / FILM_DIAGONAL_MM
    middle = np.array([(width_px - 1) / 2, (height_px - 1) / 2])
    centre = middle + np.array(view.off_centre) * width_px
    a, b, c = (math.radians(angle) for angle in (view.tilt_x_deg, view.tilt_y_deg, view.turn_deg))
    about_x = np.array([[1, 0, 0], [0, math.cos(a), -math.sin(a)], [0, math.sin(a), math.cos(a)]])
    about_y = np.array([[math.cos(b), 0, math.sin(b)], [0, 1, 0], [-math.sin(b), 0, math.cos(b)]])
    about_z = np.array([[math.cos(c), -math.sin(c), 0], [math.sin(c), math.cos(c), 0], [0, 0, 1]])
    # The plan's y is up and the camera's down, so a frontal view is diag(1, -1, -1).
    rotation = about_x @ about_y @ about_z @ np.diag([1.0, -1.0, -1.0])
    # Edges bow outwards under a barrel-free lens: their middles count as well as the corners.
    rim = np.concatenate([sheet_mm + (np.roll(sheet_mm, -1, axis=0) - sheet_mm) * t for t in (0.0, 0.25, 0.5, 0.75)])
    target = rotation[:, :2] @ sheet_mm.mean(axis=0)
    free = np.array([width_px, height_px]) * (1 - 2 * view.margin)
    aim, distance = np.zeros(2), float(np.ptp(sheet_mm, axis=0).max()) * focal / width_px
    # Few steps of a plain fixed point: distance by the extent, aim by the extent's middle.
    for _ in range(60):
        shift = np.array([aim[0], aim[1], distance]) - target
        camera = Camera(
            width_px, height_px, focal, (float(centre[0]), float(centre[1])), view.k1, view.k2, rotation, shift
        )
        seen = camera.to_picture(rim)
        low, high = seen.min(axis=0), seen.max(axis=0)
        distance *= float(((high - low) / free).max())
        aim = aim - ((low + high) / 2 - middle) / focal * distance
    return camera


def random_view(rng: np.random.Generator) -> View:
    """Give a view as builders take them: 24-28 mm equivalent, tilted to 25 degrees both ways, held a little askew."""
    return View(
        focal_35mm=float(rng.uniform(24, 28)),
        tilt_x_deg=float(rng.uniform(-25, 25)),
        tilt_y_deg=float(rng.uniform(-25, 25)),
        turn_deg=float(rng.uniform(-4, 4)),
        k1=float(rng.uniform(-0.06, 0.02)),
        k2=float(rng.uniform(0.0, 0.02)),
        off_centre=(float(rng.choice([-0.004, 0.004])), float(rng.choice([-0.004, 0.004]))),
    )


@dataclass(frozen=True, slots=True)
class Scanner:
    """A sheet-fed scan: px = A (x, y) + shift, with its own stretch along and across and the sheet fed askew."""

    width_px: int
    height_px: int
    matrix: NDArray[np.float64]
    shift_px: NDArray[np.float64]
    dpi: float

    def to_picture(self, points_mm: Points, /) -> Points:
        """Give picture px of (N, 2) plan mm."""
        placed: Points = points_mm @ self.matrix.T + self.shift_px
        return placed


def scanner_for(
    sheet_mm: Points,
    *,
    dpi: float,
    skew_deg: float = 0.0,
    stretch: tuple[float, float] = (1.0, 1.0),
    margin_mm: float = 4.0,
) -> Scanner:
    """Give the scanner whose picture holds the sheet, turned counter-clockwise by `skew_deg`, then stretched."""
    a = math.radians(skew_deg)
    turn = np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])
    matrix = np.diag([stretch[0], -stretch[1]]) @ turn * (dpi / MM_PER_INCH)
    corners = sheet_mm @ matrix.T
    low, high = corners.min(axis=0), corners.max(axis=0)
    margin_px = margin_mm * dpi / MM_PER_INCH
    width, height = (math.ceil(side + 2 * margin_px) for side in high - low)
    return Scanner(width, height, matrix, margin_px - low, dpi)


def page_of(sheet_mm: Points, *, dpi: float = 300.0) -> Scanner:
    """Give the geometry of a PDF page of the sheet's size: no margin, its outer corner half a px before pixel 0."""
    scanner = scanner_for(sheet_mm, dpi=dpi, margin_mm=0.0)
    return replace(scanner, shift_px=scanner.shift_px - 0.5)
