"""Pictures of invented bordered plans with exact truth: drawn lines, a camera, uneven light, noise."""

import itertools
import math
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
Grey = NDArray[np.uint8]

SUPER = 4
"""Samples a pixel each way when lines are drawn: a line's centre is then true to about 0.02 px."""


@dataclass(frozen=True)
class Stripe:
    """A drawn line: (N, 2) mm, y down on the sheet, its width, and whether it is a stroke of a letter."""

    points_mm: Points
    width_mm: float
    lettering: bool = False


@dataclass(frozen=True)
class Scene:
    """A sheet with its lines; `corners_mm` is the true border (UL, UR, LR, LL), None when there is none."""

    sheet_mm: tuple[float, float]
    stripes: list[Stripe]
    corners_mm: Points | None


@dataclass(frozen=True)
class View:
    """Sheet mm to picture px: a pinhole with forward radial distortion, or an affine scan when `k` is None."""

    matrix: Points
    size_px: tuple[int, int]
    focal_px: float = 1.0
    middle_px: tuple[float, float] = (0.0, 0.0)
    k: tuple[float, float] | None = None

    def to_picture(self, points_mm: Points) -> Points:
        mapped = np.column_stack([points_mm, np.ones(len(points_mm))]) @ self.matrix.T
        flat: Points = mapped[:, :2] / mapped[:, 2:]
        if self.k is None:
            return flat
        r2 = (flat**2).sum(axis=1, keepdims=True)
        return np.asarray(flat * (1 + self.k[0] * r2 + self.k[1] * r2**2) * self.focal_px + self.middle_px)


@dataclass
class Sheet:
    """A scene being drawn."""

    rng: np.random.Generator
    width_mm: float
    height_mm: float
    line_mm: float
    stripes: list[Stripe] = field(default_factory=list)

    def line(self, *points: tuple[float, float], width_mm: float | None = None) -> None:
        self.stripes.append(Stripe(np.array(points, float), width_mm or self.line_mm))

    def box(self, x0: float, y0: float, x1: float, y1: float, width_mm: float | None = None) -> None:
        self.line((x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0), width_mm=width_mm)


def plan_scene(rng: np.random.Generator, kind: str) -> Scene:
    """Invent a sheet. Kinds: plain, double, zones, gaps, outside (lettering and trim marks), none, panel, wing."""
    width, height = [(420, 297), (594, 420), (841, 594), (594, 841), (297, 420)][rng.integers(5)]
    sheet = Sheet(rng, width, height, float(rng.uniform(0.25, 0.5)))
    inset = rng.uniform(0.015, 0.04, 4) * min(width, height)
    x0, y0, x1, y1 = inset[0], inset[1], width - inset[2], height - inset[3]
    bordered = kind not in ("none", "panel", "wing")
    thick = float(sheet.line_mm * rng.uniform(1.0, 2.0))
    if bordered:
        _border(sheet, kind, (x0, y0, x1, y1), thick)
    _parts(sheet, (x0, y0, x1, y1), kind)
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]) if bordered else None
    return Scene((width, height), sheet.stripes, corners)


def _border(sheet: Sheet, kind: str, box: tuple[float, float, float, float], thick_mm: float) -> None:
    x0, y0, x1, y1 = box
    rng = sheet.rng
    if kind == "gaps":
        corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
        for (ax, ay), (bx, by) in zip(corners, corners[1:] + corners[:1], strict=True):
            at, gap = rng.uniform(0.1, 0.8), rng.uniform(0.04, 0.12)
            for s, t in ((0.0, at), (at + gap, 1.0)):
                start, end = (ax + s * (bx - ax), ay + s * (by - ay)), (ax + t * (bx - ax), ay + t * (by - ay))
                sheet.line(start, end, width_mm=thick_mm)
    else:
        sheet.box(x0, y0, x1, y1, width_mm=thick_mm)
    if kind in ("double", "zones"):
        step = float(rng.uniform(1.5, 3.0) if kind == "double" else rng.uniform(5, 8))
        sheet.box(x0 + step, y0 + step, x1 - step, y1 - step)
        if kind == "zones":
            for x in np.linspace(x0, x1, 9)[1:-1]:
                sheet.line((x, y0), (x, y0 + step))
                sheet.line((x, y1 - step), (x, y1))
                _word(sheet, (x + 8, y0 + step * 0.7), step * 0.45, 1)
            for y in np.linspace(y0, y1, 7)[1:-1]:
                sheet.line((x0, y), (x0 + step, y))
                sheet.line((x1 - step, y), (x1, y))
    if kind == "outside":
        _word(sheet, (x0 + 20, y0 - 1.2), min(3.0, y0 * 0.5), 25)
        for x, y, sx, sy in ((x0, y0, -1, -1), (x1, y0, 1, -1), (x1, y1, 1, 1), (x0, y1, -1, 1)):
            reach = 0.7 * min(x0, y0, sheet.width_mm - x1, sheet.height_mm - y1)
            sheet.line((x + sx * 2, y), (x + sx * reach, y))
            sheet.line((x, y + sy * 2), (x, y + sy * reach))
    # Title block, touching the border.
    sheet.line((x1 - 90, y1), (x1 - 90, y1 - 35), (x1, y1 - 35))
    sheet.line((x1 - 90, y1 - 18), (x1, y1 - 18))


def _word(sheet: Sheet, at: tuple[float, float], size_mm: float, letters: int) -> None:
    x, y = at
    for _ in range(letters):
        u = sheet.rng.uniform(0, 1, (4, 2)) * [0.6 * size_mm, size_mm]
        letter = np.array([(x + float(a), y - float(b)) for a, b in u])
        sheet.stripes.append(Stripe(letter, min(sheet.line_mm, size_mm / 8), lettering=True))
        x += 0.85 * size_mm


def _parts(sheet: Sheet, box: tuple[float, float, float, float], kind: str) -> None:
    """Ribs, a fuselage side, strips, circles, dimension figures; a big panel for `panel`, a tapered one for `wing`."""
    rng = sheet.rng
    x0, y0, x1, y1 = box
    width, height = x1 - x0, y1 - y0
    if kind in ("panel", "wing"):
        # A wing panel with its ribs and spars: nearly as large as the sheet, with a few small things beside it.
        left, right = x0 + 0.03 * width, x1 - rng.uniform(0.03, 0.08) * width
        top, bottom = y0 + 0.05 * height, y1 - rng.uniform(0.2, 0.3) * height
        drop = (bottom - top) * (rng.uniform(0.1, 0.3) if kind == "wing" else 0.0)
        sheet.line((left, top), (right, top + drop), (right, bottom - drop), (left, bottom), (left, top))
        for x in np.linspace(left, right, int(rng.integers(8, 16)))[1:-1]:
            t = (x - left) / (right - left)
            sheet.line((float(x), top + t * drop), (float(x), bottom - t * drop))
        middle = (top + bottom) / 2
        sheet.line((left, middle), (right, middle))
        sheet.line((left, middle + 3), (right, middle + 3))
        _word(sheet, (left + 10, bottom + 0.08 * height), 5, 20)
        y_low = bottom + 0.1 * height
    else:
        y_low = y0 + 0.05 * height
    for _ in range(int(rng.integers(6, 14))):
        length = rng.uniform(0.12, 0.3) * width
        x, y = rng.uniform(x0 + 0.03 * width, x1 - length - 0.03 * width), rng.uniform(y_low, y1 - 0.06 * height)
        t = np.linspace(0, 2 * math.pi, 80)
        rib = np.column_stack(
            [x + length * (0.5 - 0.5 * np.cos(t)), y + 0.05 * length * np.sin(t) * (1.4 - np.cos(t)) / 2]
        )
        turn = rng.uniform(-0.3, 0.3) if rng.random() < 0.3 else 0.0
        c, s = math.cos(turn), math.sin(turn)
        rib = (rib - [x, y]) @ np.array([[c, s], [-s, c]]) * min(1.0, (y1 - y) / (0.2 * length)) + [x, y]
        rib = np.clip(rib, [x0 + 3, y0 + 3], [x1 - 3, y1 - 3])
        sheet.stripes.append(Stripe(rib, sheet.line_mm))
        _word(sheet, (x, min(y + 0.09 * length, y1 - 3)), 3.5, int(rng.integers(2, 7)))
    if kind not in ("panel", "wing"):
        y = y0 + rng.uniform(0.2, 0.7) * height
        sheet.box(x0 + 0.05 * width, y, x0 + 0.75 * width, y + 0.12 * height)
        sheet.line((x0 + 0.05 * width, y + 0.03 * height), (x0 + 0.75 * width, y + 0.05 * height))
        sheet.line((x0 + 0.04 * width, y + 0.2 * height), (x0 + 0.9 * width, y + 0.2 * height))


def photo_view(rng: np.random.Generator, sheet_mm: tuple[float, float], *, width_px: int, tilt_deg: float) -> View:
    """Invent a hand-held view of a sheet: tilt up to `tilt_deg` on both axes, 24-28 mm equivalent, lens bow."""
    width, height = sheet_mm
    size = (width_px, width_px * 3 // 4) if width >= height else (width_px * 3 // 4, width_px)
    diagonal = math.hypot(*size)
    focal = rng.uniform(24, 28) / 43.27 * diagonal
    # The forward coefficients of phone lenses, as in the trials that the calibration was designed on.
    k1, k2 = rng.uniform(-0.06, 0.02), rng.uniform(0, 0.02)
    a, b, turn = np.radians([rng.uniform(-tilt_deg, tilt_deg), rng.uniform(-tilt_deg, tilt_deg), rng.uniform(-6, 6)])
    rotation = np.array(cv2.Rodrigues(np.array([0, 0, turn]))[0] @ cv2.Rodrigues(np.array([a, b, 0.0]))[0], float)
    middle = np.array(size) / 2 - 0.5 + rng.normal(0, 0.004, 2) * size[0]
    outline = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
    low, high = 0.3, 10.0
    for _ in range(40):
        distance = math.sqrt(low * high)
        view = _camera(rotation, (width, height), distance, focal, middle, (k1, k2), size)
        at = view.to_picture(outline)
        fits = (at > 0.015 * diagonal).all() and (at < np.array(size) - 0.015 * diagonal).all()
        low, high = (low, distance) if fits else (distance, high)
    return _camera(rotation, (width, height), high * rng.uniform(1.0, 1.1), focal, middle, (k1, k2), size)


def _camera(
    rotation: Points,
    sheet_mm: tuple[float, float],
    distance: float,
    focal: float,
    middle: Points,
    k: tuple[float, float],
    size: tuple[int, int],
) -> View:
    away = distance * max(sheet_mm)
    matrix = np.column_stack([rotation[:, 0], rotation[:, 1], -rotation[:, :2] @ (np.array(sheet_mm) / 2)])
    matrix[2, 2] += away
    # Aim so that the sheet's corners are centred.
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * sheet_mm
    for _ in range(4):
        flat = View(matrix, size).to_picture(corners.astype(float))
        shift = (flat.min(axis=0) + flat.max(axis=0)) / 2
        matrix[:2, 2] -= shift * away
    return View(matrix, size, focal, (float(middle[0]), float(middle[1])), k)


def scan_view(sheet_mm: tuple[float, float], *, px_per_mm: float, turn_deg: float) -> View:
    """Lay a sheet on a scanner, turned clockwise as seen, with 3 mm of lid around it."""
    t = math.radians(turn_deg)
    turn = np.array([[math.cos(t), -math.sin(t)], [math.sin(t), math.cos(t)]])
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * sheet_mm @ turn.T
    low, high = corners.min(axis=0) - 3, corners.max(axis=0) + 3
    matrix = np.eye(3)
    matrix[:2, :2] = px_per_mm * turn
    matrix[:2, 2] = -px_per_mm * low
    size = np.ceil((high - low) * px_per_mm).astype(int)
    return View(matrix, (int(size[0]), int(size[1])))


def take(rng: np.random.Generator, scene: Scene, view: View, *, table: int, quality: int = 90) -> Grey:
    """Give the picture (H, W) uint8: lines, uneven light and a shadow (photos), blur, noise, JPEG."""
    width, height = view.size_px
    big = np.full((height * SUPER, width * SUPER), table, np.uint8)
    outline = np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]) * scene.sheet_mm
    _fill(big, view.to_picture(_dense(outline)), 235)
    for stripe in scene.stripes:
        path = _dense(stripe.points_mm)
        for quad in _quads(path, stripe.width_mm):
            _fill(big, view.to_picture(quad), 45)
    grey = cv2.resize(big, (width, height), interpolation=cv2.INTER_AREA)
    del big
    grey = cv2.GaussianBlur(grey, (0, 0), rng.uniform(0.6, 1.0))
    if view.k is not None:
        coarse = rng.uniform(0.75, 1.0, (3, 4)).astype(np.float32)
        light = np.asarray(cv2.resize(coarse, (width // 8, height // 8), interpolation=cv2.INTER_CUBIC))
        if rng.random() < 0.6:
            shade = np.ones_like(light)
            y, x = np.mgrid[: light.shape[0], : light.shape[1]]
            edge = (x - rng.uniform(0.2, 0.8) * light.shape[1]) * math.cos(rng.uniform(0, 6.3)) + (
                y - light.shape[0] / 2
            ) * math.sin(rng.uniform(0, 6.3))
            shade -= (0.35 / (1 + np.exp(-edge / 4))).astype(np.float32)
            light = np.asarray(light * shade)
        light8 = np.clip(light * 255, 0, 255).astype(np.uint8)
        grey = cv2.multiply(grey, cv2.resize(light8, (width, height), interpolation=cv2.INTER_LINEAR), scale=1 / 255)
    sigma = rng.uniform(1.5, 4.0) if view.k is not None else 1.5
    cv2.setRNGSeed(int(rng.integers(1 << 30)))
    noise = cv2.randn(np.empty(grey.shape, np.int16), np.zeros(1), np.array([sigma]))
    grey = cv2.add(grey, noise, dtype=cv2.CV_8U)
    _, data = cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_GRAYSCALE), dtype=np.uint8)


def _dense(points_mm: Points) -> Points:
    """Points at most 4 mm apart, so that a chord follows the lens."""
    runs = [points_mm[:1]]
    for a, b in itertools.pairwise(points_mm):
        count = max(1, math.ceil(math.hypot(*(b - a)) / 4))
        runs.append(a + (b - a) * (np.arange(1, count + 1) / count)[:, None])
    return np.concatenate(runs)


def _quads(path_mm: Points, width_mm: float) -> list[Points]:
    """A stripe's pieces as quadrilaterals, each lengthened by half a width so that corners are square."""
    step = np.diff(path_mm, axis=0)
    along = step / np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-12)[:, None] * width_mm / 2
    across = np.column_stack([-along[:, 1], along[:, 0]])
    a, b = path_mm[:-1] - along, path_mm[1:] + along
    return list(np.stack([a + across, b + across, b - across, a - across], axis=1))


def _fill(big: Grey, points_px: Points, level: int) -> None:
    # Pixel (x, y) covers super-samples SUPER x .. SUPER x + SUPER - 1, whose middle is SUPER x + (SUPER - 1) / 2.
    at = points_px * SUPER + (SUPER - 1) / 2
    cv2.fillPoly(big, [np.round(at * 256).astype(np.int32)], level, shift=8)
