"""Pictures of vector lines whose true centre-lines are known: for measuring what finds lines in ink."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

SUPERSAMPLE = 8
"""Samples to a pixel each way: edges are placed to a sixteenth of a pixel, both sides alike."""


@dataclass(frozen=True, slots=True)
class TrueLine:
    """A drawn line: its centre-line (N, 2) px, its width, and how its joins and ends are drawn."""

    points_px: NDArray[np.float64]
    width_px: float
    closed: bool = False
    join: Literal["round", "mitre", "bevel"] = "mitre"
    cap: Literal["round", "square", "flat"] = "flat"
    darkness: float = 1.0

    def moved(self, points_px: NDArray[np.float64]) -> "TrueLine":
        """The same line through other points."""
        return TrueLine(points_px, self.width_px, self.closed, self.join, self.cap, self.darkness)


@dataclass(frozen=True, slots=True)
class Camera:
    """How the lines become a picture: blur (one sigma, px), noise (one sigma, grey levels), light, JPEG, bilevel."""

    blur_px: float = 0.7
    noise: float = 0.0
    paper: float = 245.0
    ink: float = 25.0
    shade: float = 0.0
    jpeg: int | None = None
    bilevel: bool = False
    homography: NDArray[np.float64] = field(default_factory=lambda: np.eye(3))
    seed: int = 1


def through(homography: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Map (N, 2) points by a plane-to-plane map."""
    mapped = np.column_stack([points, np.ones(len(points))]) @ homography.T
    flat: NDArray[np.float64] = mapped[:, :2] / mapped[:, 2:]
    return flat


def ink_of(line: TrueLine) -> shapely.Geometry:
    """The inked region of a line, px."""
    points = np.vstack([line.points_px, line.points_px[:1]]) if line.closed else line.points_px
    shape = shapely.LinearRing(points) if line.closed else shapely.LineString(points)
    return shapely.buffer(
        shape, line.width_px / 2, quad_segs=16, cap_style=line.cap, join_style=line.join, mitre_limit=8.0
    )


def coverage(lines: Sequence[TrueLine], *, width: int, height: int) -> NDArray[np.float32]:
    """How much of each pixel is ink, 0..1, (H, W): lines drawn one over another, never adding up."""
    best = np.zeros((height, width), np.float32)
    levels = sorted({line.darkness for line in lines})
    strip = max(1, 40_000_000 // (SUPERSAMPLE * SUPERSAMPLE * width))
    shapes = [(line.darkness, ink_of(line)) for line in lines]
    for level in levels:
        rings = [_rings(shape) for darkness, shape in shapes if darkness == level]
        boxes = [(min(ring[:, 1].min() for ring in group), max(ring[:, 1].max() for ring in group)) for group in rings]
        for top in range(0, height, strip):
            rows = min(strip, height - top)
            fine = np.zeros((rows * SUPERSAMPLE, width * SUPERSAMPLE), np.uint8)
            for group, (low, high) in zip(rings, boxes, strict=True):
                if high < top - 1 or low > top + rows + 1:
                    continue
                fixed = [
                    np.round((((ring - [0, top]) + 0.5) * SUPERSAMPLE - 0.5) * 256).astype(np.int32) for ring in group
                ]
                # Rings of one shape together: holes stay empty by the even-odd rule; shapes one by one: they unite.
                layer = np.zeros_like(fine) if len(group) > 1 else fine
                cv2.fillPoly(layer, fixed, 255, shift=8)
                if len(group) > 1:
                    np.maximum(fine, layer, out=fine)
            part = cv2.resize(fine, (width, rows), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
            np.maximum(best[top : top + rows], part * level, out=best[top : top + rows])
    return best


def photograph(lines: Sequence[TrueLine], camera: Camera, *, width: int, height: int) -> NDArray[np.uint8]:
    """Give the grey picture (H, W) that a camera or scanner makes of lines given in its own px."""
    ink = coverage(lines, width=width, height=height)
    if camera.blur_px > 0:
        ink = np.asarray(cv2.GaussianBlur(ink, (0, 0), camera.blur_px), np.float32)
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    light = 1 - camera.shade * (0.5 + 0.5 * np.sin(2.5 * x / width + 1.7 * y / height))
    grey = (camera.paper - (camera.paper - camera.ink) * ink) * light
    random = np.random.default_rng(camera.seed)
    if camera.noise > 0:
        grey = grey + random.normal(0, camera.noise, grey.shape)
    if camera.bilevel:
        return np.asarray(np.where(grey < 0.5 * (camera.paper + camera.ink), 0, 255), np.uint8)
    picture = np.clip(np.round(grey), 0, 255).astype(np.uint8)
    if camera.jpeg is not None:
        _, code = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, camera.jpeg])
        picture = np.asarray(cv2.imdecode(code, cv2.IMREAD_GRAYSCALE))
    return np.asarray(picture, np.uint8)


def _rings(shape: shapely.Geometry) -> list[NDArray[np.float64]]:
    """All rings of a region as (N, 2) arrays."""
    rings = []
    for part in shapely.get_parts(shape):
        rings.append(shapely.get_coordinates(part.exterior))
        rings.extend(shapely.get_coordinates(hole) for hole in part.interiors)
    return rings
