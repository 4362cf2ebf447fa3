"""A sheet of paper that does not lie flat before a camera: where its points stand, and where they land in a picture.

A curled sheet is developable: lengths along the paper are exact along the curve. A bulge is not; its points stand
straight above where they would lie flat.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from sample_scans.camera import Camera
from sample_scans.truth import Points

FINE_MM = 0.25
"""Step of the curve's numerical integration: places are then true to 0.0001 mm."""


class Shape(StrEnum):
    """How a sheet curls along one direction."""

    ARCH = "arch"
    WAVE = "wave"
    LIFT = "lift"
    ROLL = "roll"


Lifted = Callable[[Points], Points]
"""(N, 2) mm on the paper to (N, 3) mm in space, the third towards the camera."""


@dataclass(frozen=True, slots=True)
class CurledCamera:
    """A camera that sees a sheet which stands as `lifted` says."""

    camera: Camera
    lifted: Lifted

    @property
    def width_px(self) -> int:
        """The picture's width."""
        return self.camera.width_px

    @property
    def height_px(self) -> int:
        """The picture's height."""
        return self.camera.height_px

    def to_picture(self, points_mm: Points, /) -> Points:
        """Give picture px of (N, 2) mm on the paper."""
        camera = self.camera
        space = self.lifted(points_mm) @ camera.rotation.T + camera.shift_mm
        tangent = space[:, :2] / space[:, 2:]
        t2 = (tangent**2).sum(axis=1, keepdims=True)
        bent: Points = tangent * (1 + camera.k1 * t2 + camera.k2 * t2**2) * camera.focal_px + np.array(camera.centre_px)
        return bent


def curled(sheet_mm: Points, rng: np.random.Generator, *, shape: Shape, direction_deg: float, rise_mm: float) -> Lifted:
    """Give a sheet curled into a cylinder whose profile runs along `direction_deg` from the paper's x.

    `rise_mm` is the height between its lowest and highest place. An arch bows evenly, a wave has one crest and
    one trough, a lift rises in its last part only, a roll curls up at both ends by different amounts.
    """
    direction = np.array([math.cos(math.radians(direction_deg)), math.sin(math.radians(direction_deg))])
    across = np.array([-direction[1], direction[0]])
    along = sheet_mm @ direction
    low, high = float(along.min()), float(along.max())
    s = np.arange(low - 40, high + 40, FINE_MM)
    part = (s - low) / (high - low)
    height = _profile(part, shape, rng)
    inside = (part >= 0) & (part <= 1)
    height = height * (rise_mm / float(np.ptp(height[inside])))
    slope = np.gradient(height, s)
    # The curve's own length is what lies on the paper; its view from above is shorter.
    seen = np.concatenate([[0.0], np.cumsum(np.sqrt(1 - (np.diff(height) / FINE_MM) ** 2) * FINE_MM)])
    seen += low - float(np.interp(low, s, seen))
    assert np.abs(slope).max() < 0.5

    def lifted(points_mm: Points) -> Points:
        at = points_mm @ direction
        place = np.interp(at, s, seen)[:, None] * direction + (points_mm @ across)[:, None] * across
        return np.column_stack([place, np.interp(at, s, height)])

    return lifted


def bulged(sheet_mm: Points, rng: np.random.Generator, *, rise_mm: float) -> Lifted:
    """Give a sheet with a hump or hollow somewhere that is no cylinder, and a smaller one elsewhere."""
    low, size = sheet_mm.min(axis=0), np.ptp(sheet_mm, axis=0)
    places = low + rng.uniform(0.25, 0.75, (2, 2)) * size
    reaches = rng.uniform(0.45, 0.8, (2, 2)) * size
    amounts = rng.choice([-1.0, 1.0]) * np.array([1.0, rng.uniform(-0.5, 0.5)])

    def raised(points_mm: Points) -> Points:
        humps = [
            amount * np.exp(-0.5 * (((points_mm - place) / (reach / 1.5)) ** 2).sum(axis=1))
            for amount, place, reach in zip(amounts, places, reaches, strict=True)
        ]
        return np.asarray(np.sum(humps, axis=0))

    grid = np.stack(np.meshgrid(np.linspace(0, 1, 40), np.linspace(0, 1, 30)), axis=-1).reshape(-1, 2)
    times = rise_mm / float(np.ptp(raised(low + grid * size)))

    def lifted(points_mm: Points) -> Points:
        return np.column_stack([points_mm, times * raised(points_mm)])

    return lifted


def _profile(part: Points, shape: Shape, rng: np.random.Generator) -> Points:
    sign = rng.choice([-1.0, 1.0])
    match shape:
        case Shape.ARCH:
            return np.asarray(sign * (part - rng.uniform(0.4, 0.6)) ** 2)
        case Shape.WAVE:
            return np.asarray(np.sin(2 * np.pi * rng.uniform(0.5, 0.9) * part + rng.uniform(0, 2 * np.pi)))
        case Shape.LIFT:
            # Paper springs up at an edge, away from the table.
            side = part if sign > 0 else 1 - part
            begin = rng.uniform(0.3, 0.6)
            return np.asarray(np.maximum(side - begin, 0) ** 2)
        case Shape.ROLL:
            ends = rng.uniform(0.3, 1.0, 2)
            return np.asarray(ends[0] * np.maximum(0.45 - part, 0) ** 2 + ends[1] * np.maximum(part - 0.55, 0) ** 2)
