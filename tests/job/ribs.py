"""A rib drawn for these tests on a framed sheet, at 8 px per mm, from the published formula."""

import math
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

PX_PER_MM = 8.0
WIDTH_MM, HEIGHT_MM = 210.0, 120.0
FRAME_MM = (8.0, 8.0, 202.0, 112.0)
FINE = 4
"""Drawn so many times finer and averaged, so that a line's middle is true to a few thousandths of a px."""

CHORD_MM = 160.0


def naca(digits: str, *, count: int = 2000) -> tuple[np.ndarray, np.ndarray]:
    """Give the upper and lower surface of unit chord, (N, 2) from nose to tail, of a NACA four-digit section.

    Jacobs, Ward and Pinkerton, NACA Report 460 (1933): thickness laid off square to the mean line, with the last
    figure 0.1036 in place of 0.1015, which closes the tail.
    """
    m, p, t = int(digits[0]) / 100, int(digits[1]) / 10, int(digits[2:]) / 100
    x = (1 - np.cos(np.linspace(0, math.pi, count))) / 2
    y_t = 5 * t * (0.2969 * np.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1036 * x**4)
    ahead = x < p
    if m == 0:
        y_c = turn = np.zeros_like(x)
    else:
        y_c = np.where(ahead, m / p**2 * (2 * p * x - x**2), m / (1 - p) ** 2 * (1 - 2 * p + 2 * p * x - x**2))
        turn = np.arctan(np.where(ahead, 2 * m / p**2 * (p - x), 2 * m / (1 - p) ** 2 * (p - x)))
    upper = np.column_stack([x - y_t * np.sin(turn), y_c + y_t * np.cos(turn)])
    lower = np.column_stack([x + y_t * np.sin(turn), y_c - y_t * np.cos(turn)])
    return upper, lower


def rib_ring(digits: str) -> np.ndarray:
    """Give the section as one ring (N, 2), nose at the origin and tail at (1, 0)."""
    upper, lower = naca(digits, count=600)
    return np.concatenate([upper[::-1], lower[1:-1]])


@dataclass(frozen=True)
class RibPlan:
    """The picture's file and where a point of the rib's own frame (chords, nose at the origin) lies in it."""

    path: Path
    nose_mm: tuple[float, float]
    turn_deg: float
    faces_right: bool

    def px(self, points: np.ndarray) -> np.ndarray:
        """Give picture px (N, 2)."""
        x, y = CHORD_MM * np.asarray(points, dtype=float).T
        x = -x if self.faces_right else x
        cos, sin = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        at = np.column_stack([self.nose_mm[0] + cos * x - sin * y, self.nose_mm[1] + sin * x + cos * y])
        return np.column_stack([at[:, 0], HEIGHT_MM - at[:, 1]]) * PX_PER_MM - 0.5

    def typed(self, x: float, y: float) -> str:
        """Give a point of the rib as it is typed."""
        ((px, py),) = self.px(np.array([[x, y]]))
        return f"{px:.3f},{py:.3f}"

    @property
    def known(self) -> str:
        """The frame's upper side, as --known takes it."""
        y = (HEIGHT_MM - FRAME_MM[3]) * PX_PER_MM - 0.5
        ends = [f"{x * PX_PER_MM - 0.5:.2f},{y:.2f}" for x in (FRAME_MM[0], FRAME_MM[2])]
        return f"{ends[0]} {ends[1]} = {FRAME_MM[2] - FRAME_MM[0]} mm"

    @property
    def known_down(self) -> str:
        """The frame's left side."""
        x = FRAME_MM[0] * PX_PER_MM - 0.5
        ends = [f"{x:.2f},{(HEIGHT_MM - y) * PX_PER_MM - 0.5:.2f}" for y in (FRAME_MM[3], FRAME_MM[1])]
        return f"{ends[0]} {ends[1]} = {FRAME_MM[3] - FRAME_MM[1]} mm"


def draw_rib(path: Path, ring: np.ndarray, *, turn_deg: float = 0.0, faces_right: bool = False) -> RibPlan:
    """Draw a ring given in chords, and the sheet's frame; `faces_right` puts the nose to the right."""
    plan = RibPlan(path, (185.0 if faces_right else 25.0, 60.0 - (30 if turn_deg else 0)), turn_deg, faces_right)
    sheet = np.full((round(HEIGHT_MM * PX_PER_MM * FINE), round(WIDTH_MM * PX_PER_MM * FINE)), 245, np.uint8)
    width = round(0.35 * PX_PER_MM * FINE) | 1
    x0, y0, x1, y1 = FRAME_MM
    frame = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    frame_px = np.column_stack([frame[:, 0], HEIGHT_MM - frame[:, 1]]) * PX_PER_MM - 0.5
    for ring_px in (frame_px, plan.px(ring)):
        # Pixel centres lie at whole numbers; a fine pixel's at (n + 0.5) / FINE - 0.5 of a coarse one. Four bits finer.
        fine = ((ring_px + 0.5) * FINE - 0.5) * 16
        cv2.polylines(sheet, [np.rint(fine).astype(np.int32)], True, 30, width, cv2.LINE_AA, 4)
    small = cv2.resize(sheet, None, fx=1 / FINE, fy=1 / FINE, interpolation=cv2.INTER_AREA).astype(float)
    noise = np.random.default_rng(5).normal(0, 2, small.shape)
    Image.fromarray(np.clip(cv2.GaussianBlur(small, (0, 0), 0.7) + noise, 0, 255).astype(np.uint8)).save(path)
    return plan
