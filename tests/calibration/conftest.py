"""A pinhole camera of its own, through OpenCV: foreign to the model that is fitted."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
import pytest

Points = np.ndarray


@dataclass(frozen=True)
class Pinhole:
    """A camera over the plan's middle; plan mm (y up) to picture px through cv2.projectPoints."""

    focal_35mm: float
    tilt_x_deg: float
    tilt_y_deg: float
    turn_deg: float
    k1: float = 0.0
    k2: float = 0.0
    width_px: int = 4000
    height_px: int = 3000
    distance_mm: float = 1000.0
    middle_mm: tuple[float, float] = (420.0, 297.0)

    def __call__(self, points_mm: Points) -> Points:
        focal_px = self.focal_35mm / math.hypot(36, 24) * math.hypot(self.width_px, self.height_px)
        matrix = np.array([[focal_px, 0, (self.width_px - 1) / 2], [0, focal_px, (self.height_px - 1) / 2], [0, 0, 1]])
        turned = [cv2.Rodrigues(np.radians(np.eye(3)[i] * a))[0] for i, a in enumerate(self._angles())]
        rotation = turned[0] @ turned[1] @ turned[2] @ np.diag([1.0, -1.0, -1.0])
        shift = np.array([0, 0, self.distance_mm]) - rotation @ np.array([*self.middle_mm, 0])
        space = np.column_stack([points_mm, np.zeros(len(points_mm))])
        lens = np.array([self.k1, self.k2, 0, 0])
        return cv2.projectPoints(space, cv2.Rodrigues(rotation)[0], shift, matrix, lens)[0][:, 0]

    def _angles(self) -> tuple[float, float, float]:
        return self.tilt_x_deg, self.tilt_y_deg, self.turn_deg


@pytest.fixture
def pinhole() -> Callable[..., Pinhole]:
    """Give a camera from 35 mm focal length, tilts and turn."""

    def make(
        focal_35mm: float = 26, tilt_x_deg: float = 14, tilt_y_deg: float = -11, turn_deg: float = 5, **more: float
    ) -> Pinhole:
        return Pinhole(focal_35mm, tilt_x_deg, tilt_y_deg, turn_deg, **more)

    return make
