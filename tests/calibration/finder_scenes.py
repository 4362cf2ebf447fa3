"""Small plans with known geometry, drawn by area of coverage: what the finders are tested on."""

import math
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from pictures.ink import Ink, find_ink
from pictures.picture import Medium, Picture, Source

Points = NDArray[np.float64]
SUPER = 4


@dataclass(frozen=True)
class Camera:
    """Sheet mm (y down) to px: a homography, then a radial bow about the picture's middle."""

    matrix: Points
    bow: float = 0.0
    middle_px: tuple[float, float] = (600.0, 450.0)

    def __call__(self, points_mm: Points) -> Points:
        mapped = np.column_stack([points_mm, np.ones(len(points_mm))]) @ self.matrix.T
        away = mapped[:, :2] / mapped[:, 2:] - self.middle_px
        r2 = (away**2).sum(axis=1, keepdims=True) / 750.0**2
        return np.asarray(away * (1 + self.bow * r2) + self.middle_px)


def turned(angle_deg: float, px_per_mm: float = 2.6, middle_px: tuple[float, float] = (600.0, 450.0)) -> Camera:
    """A scan of a 400 x 300 mm sheet, turned clockwise as seen about its middle."""
    c, s = px_per_mm * math.cos(math.radians(angle_deg)), px_per_mm * math.sin(math.radians(angle_deg))
    x, y = middle_px
    return Camera(np.array([[c, -s, x - 200 * c + 150 * s], [s, c, y - 200 * s - 150 * c], [0, 0, 1]]), 0.0, middle_px)


def tilted(bow: float = -0.012) -> Camera:
    """A hand-held view of the same sheet, its sides converging by some degrees, bowed by about 5 px."""
    base = turned(1.5, 2.5).matrix
    tilt = np.array([[1, 0, 0], [0, 1, 0], [9e-5, -7e-5, 1.0]])
    centre = np.array([[1, 0, -600.0], [0, 1, -450.0], [0, 0, 1]])
    return Camera(np.linalg.inv(centre) @ tilt @ centre @ base, bow)


BORDER_MM = np.array([[12.0, 10], [388, 10], [388, 290], [12, 290]])


def parts() -> list[Points]:
    """A few parts of a plan, well inside the border: polylines in mm."""
    lines = [np.array([[60.0, 60], [330, 60], [330, 95], [60, 95], [60, 60]]), np.array([[40.0, 150], [360, 150]])]
    t = np.linspace(0, 2 * math.pi, 60)
    for x, y in ((60, 190), (180, 200), (290, 185), (100, 240)):
        rib = [x + 35 - 35 * np.cos(t), y + 6 * np.sin(t) * (1.4 - np.cos(t))]
        lines.append(np.column_stack(rib))
    return lines


def closed(points: Points) -> Points:
    """The same with its first point again at the end."""
    return np.vstack([points, points[:1]])


def draw(
    lines: list[Points],
    camera: Camera,
    *,
    size_px: tuple[int, int] = (1200, 900),
    width_mm: float = 0.9,
    paper_mm: Points | None = None,
    table: int = 90,
    seed: int = 4,
) -> Picture:
    """Give a grey picture of lines on paper, slightly blurred and noisy; with `paper_mm`, paper lies on a table."""
    width, height = size_px
    big = np.full((height * SUPER, width * SUPER), 235 if paper_mm is None else table, np.uint8)
    if paper_mm is not None:
        _fill(big, camera(_dense(closed(paper_mm))), 235)
    for line in lines:
        path = _dense(line)
        step = np.diff(path, axis=0)
        along = step / np.hypot(*step.T)[:, None] * width_mm / 2
        across = np.column_stack([-along[:, 1], along[:, 0]])
        a, b = path[:-1] - along, path[1:] + along
        for quad in np.stack([a + across, b + across, b - across, a - across], axis=1):
            _fill(big, camera(quad), 40)
    grey = cv2.GaussianBlur(cv2.resize(big, size_px, interpolation=cv2.INTER_AREA), (0, 0), 0.7)
    noise = np.random.default_rng(seed).normal(0, 1.5, (height, width))
    return picture(np.clip(np.round(grey + noise), 0, 255).astype(np.uint8))


def picture(grey: NDArray[np.uint8], **claims: object) -> Picture:
    """A picture with a plain raster source, changed by `claims`."""
    source = {"path": Path("plan.png"), "sha256": "", "medium": Medium.RASTER} | claims
    return Picture(grey, Source(**source))  # type: ignore[arg-type]


def ink_of(shown: Picture) -> Ink:
    """Its ink."""
    return find_ink(shown)


def _dense(points: Points) -> Points:
    runs = [points[:1]]
    for a, b in zip(points[:-1], points[1:], strict=True):  # noqa: RUF007
        count = max(1, math.ceil(math.hypot(*(b - a)) / 5))
        runs.append(a + (b - a) * (np.arange(1, count + 1) / count)[:, None])
    return np.concatenate(runs)


def _fill(big: NDArray[np.uint8], points_px: Points, level: int) -> None:
    at = points_px * SUPER + (SUPER - 1) / 2
    cv2.fillPoly(big, [np.round(at * 256).astype(np.int32)], level, shift=8)
