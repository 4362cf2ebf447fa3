"""How well borders, turns and sheets are found, and how true and fast the flat picture is.

Run with `python -m benchmarks.find_error`.
Every picture is drawn by `benchmarks.bordered_plans` with its truth. Times are ratios to a plain library call on the
same picture, since milliseconds do not last.
"""

import argparse
import math
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks.bordered_plans import Scene, View, photo_view, plan_scene, scan_view, take
from calibration.border import Border, find_border
from calibration.flatten import flatten
from calibration.sheet import find_sheet
from calibration.skew import find_skew
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

KINDS = ["plain", "double", "zones", "gaps", "outside", "none", "panel", "wing"]
Points = NDArray[np.float64]


def main() -> None:
    """Print everything."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--each", type=int, default=4, help="pictures of each kind of plan")
    parser.add_argument("--memory", action="store_true", help="also measure peak memory, in processes of their own")
    parser.add_argument("--one-flat", type=int, default=0, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one_flat:
        _flatten_once(options.one_flat)
        return
    # First: a process begins with the peak of the one that started it.
    for megapixels in (12, 140) if options.memory else ():
        _peak_memory(megapixels)
    _borders("12 MP photos", options.each, _photo)
    _borders("scans", options.each, _scan)
    _flat_picture()


def _photo(rng: np.random.Generator, scene: Scene) -> tuple[View, int, float | None]:
    return photo_view(rng, scene.sheet_mm, width_px=4000, tilt_deg=25), int(rng.integers(50, 150)), None


def _scan(rng: np.random.Generator, scene: Scene) -> tuple[View, int, float | None]:
    turn_deg = float(rng.uniform(-4, 4))
    px_per_mm = float(rng.choice([5.906, 7.874, 11.811])) if max(scene.sheet_mm) < 600 else 5.906
    return scan_view(scene.sheet_mm, px_per_mm=px_per_mm, turn_deg=turn_deg), 248, turn_deg


def _borders(
    name: str, each: int, view_of: Callable[[np.random.Generator, Scene], tuple[View, int, float | None]]
) -> None:
    corner, side, stated, skew, sheet, ratio = [], [], [], [], [], []
    found = missed = false = none = sheets = 0
    for kind in KINDS:
        for number in range(each):
            rng = np.random.default_rng([number, KINDS.index(kind), 11])
            scene = plan_scene(rng, kind)
            view, table, turn_deg = view_of(rng, scene)
            picture = Picture(take(rng, scene, view, table=table), Source(Path(kind), "", Medium.RASTER))
            ink = find_ink(picture)
            began = time.perf_counter()
            edge = find_sheet(picture)
            border = find_border(ink, sheet_px=edge)
            took = time.perf_counter() - began
            ratio.append(took / _plain_seconds(picture.grey))
            if turn_deg is None:
                sheets += edge is not None
                sheet += [] if edge is None else [_sheet_error(edge, scene, view)]
            else:
                turn = find_skew(ink)
                skew += [] if turn is None else [abs(math.degrees(turn.angle_rad) - turn_deg)]
            if scene.corners_mm is None:
                false += border is not None
                none += border is None
            elif border is None:
                missed += 1
                print(f"  missed: {kind} {number}")
            else:
                found += 1
                off = np.hypot(*(border.corners_px - view.to_picture(scene.corners_mm)).T)
                corner += off.tolist()
                stated += (off / border.sigma_px).tolist()
                side.append(_side_error(border, scene.corners_mm, view))
    print(f"{name}: borders found {found}, missed {missed}; plans without one: right {none}, false {false}")
    print(f"  corner error px: {_figures(corner)}; over its stated sigma, rms {_rms(stated):.2f}")
    print(f"  side point error px: {_figures(side)}")
    if sheet:
        print(f"  paper's edge found {sheets} of {len(KINDS) * each}; plan cut off by it, px: {_figures(sheet)}")
    if skew:
        print(
            f"  turn found {len(skew)} of {len(KINDS) * each}; error deg: mean {np.mean(skew):.4f}, max {max(skew):.4f}"
        )
    print(f"  paper's edge and border: {np.median(ratio):.1f} times one Gaussian blur and one adaptive threshold")


def _plain_seconds(grey: NDArray[np.uint8]) -> float:
    began = time.perf_counter()
    cv2.adaptiveThreshold(
        cv2.GaussianBlur(grey, (5, 5), 1.0), 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, 31, 10
    )
    return time.perf_counter() - began


def _sheet_error(sheet_px: Points, scene: Scene, view: View) -> float:
    """How much of the paper the polygon cuts off, px: the deepest true edge point outside of it."""
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * scene.sheet_mm
    t = np.linspace(0, 1, 50)[:, None]
    edge = np.concatenate([a + t * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)])
    polygon = sheet_px.astype(np.float32).reshape(-1, 1, 2)
    return max(-cv2.pointPolygonTest(polygon, (float(x), float(y)), True) for x, y in view.to_picture(edge))


def _side_error(border: Border, corners_mm: Points, view: View) -> float:
    """Rms distance of the side points from the true sides, px."""
    off = []
    for n, side in enumerate(border.sides):
        a, b = corners_mm[n], corners_mm[(n + 1) % 4]
        line = view.to_picture(a + (b - a) * np.linspace(0, 1, 4001)[:, None])
        for point in side:
            at = min(max(int(np.hypot(*(line - point).T).argmin()), 1), len(line) - 2)
            along = line[at + 1] - line[at - 1]
            off.append(float((point - line[at]) @ [-along[1], along[0]] / math.hypot(*along)))
    return _rms(off)


def _figures(values: list[float]) -> str:
    if not values:
        return "none"
    return f"rms {_rms(values):.3f}, 95 % {np.percentile(values, 95):.3f}, max {max(values):.3f}"


def _rms(values: list[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values)))) if values else math.nan


class Tilted:
    """A photo's map for flattening: a homography with an inverse, and a lens undone by Newton's method as fits do."""

    def __init__(self, width_px: int, height_px: int) -> None:
        self.mm_per_px = 0.25
        scale = self.mm_per_px
        shear = np.array([[1, 0.05, 0], [0.02, 1, 0], [4e-5 * 4000 / width_px, 6e-5 * 4000 / width_px, 1.0]])
        place = np.array([[scale, 0, 0], [0, -scale, scale * height_px], [0, 0, 1]])
        self.matrix = place @ shear

    def to_plan(self, points_px: Points, /) -> Points:
        return _project(self.matrix, points_px)

    def to_picture(self, points_mm: Points, /) -> Points:
        return _project(np.linalg.inv(self.matrix), points_mm)


def _project(matrix: Points, points: Points) -> Points:
    mapped = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(mapped[:, :2] / mapped[:, 2:])


def _flat_picture() -> None:
    """Geometry of flattened dots, and time against cv2.warpPerspective to the same size."""
    size = (4000, 3000)
    tilted = Tilted(*size)
    corner_mm = tilted.to_plan(np.array([[0, 0], [3999, 0], [3999, 2999], [0, 2999.0]]))
    low, high = np.sort(corner_mm, axis=0)[1], np.sort(corner_mm, axis=0)[2]
    bounds = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    x, y = np.meshgrid(np.arange(bounds[0] + 10, bounds[2] - 10, 23.7), np.arange(bounds[1] + 10, bounds[3] - 10, 19.3))
    marks_mm = np.column_stack([x.ravel(), y.ravel()])
    source = np.full(size[::-1], 255, np.uint8)
    kept = []
    for mark, (cx, cy) in zip(marks_mm, tilted.to_picture(marks_mm), strict=True):
        if 12 < cx < size[0] - 12 and 12 < cy < size[1] - 12:
            kept.append(mark)
            _dot(source, cx, cy)
    began = time.perf_counter()
    flat = flatten(source, tilted, bounds_mm=bounds)
    took = time.perf_counter() - began
    off = []
    for cx, cy in flat.plan_to_flat_px(np.array(kept)):
        left, top = round(cx) - 10, round(cy) - 10
        if left < 0 or top < 0 or left + 21 > flat.pixels.shape[1] or top + 21 > flat.pixels.shape[0]:
            continue
        dark = 255.0 - flat.pixels[top : top + 21, left : left + 21]
        gy, gx = np.mgrid[top : top + 21, left : left + 21]
        off.append(math.hypot((dark * gx).sum() / dark.sum() - cx, (dark * gy).sum() / dark.sum() - cy))
    height, width = flat.pixels.shape
    to_flat = np.array(
        [
            [1 / flat.mm_per_px, 0, -bounds[0] / flat.mm_per_px - 0.5],
            [0, -1 / flat.mm_per_px, height - 0.5 + bounds[1] / flat.mm_per_px],
            [0, 0, 1],
        ]
    )
    began = time.perf_counter()
    cv2.warpPerspective(source, to_flat @ tilted.matrix, (width, height), flags=cv2.INTER_LINEAR)
    plain = time.perf_counter() - began
    print(f"flat picture: {len(off)} dots off by px: {_figures(off)}; {took / plain:.1f} times cv2.warpPerspective")


def _dot(source: NDArray[np.uint8], cx: float, cy: float) -> None:
    """A Gaussian dot, sigma 2.2 px, whose centroid is exact."""
    left, top = round(cx) - 11, round(cy) - 11
    gy, gx = np.mgrid[top : top + 23, left : left + 23]
    dark = 220 * np.exp(-((gx - cx) ** 2 + (gy - cy) ** 2) / (2 * 2.2**2))
    source[top : top + 23, left : left + 23] = np.round(255 - dark).astype(np.uint8)


def _flatten_once(megapixels: int) -> None:
    """Flatten one picture of about `megapixels`, grey, and print peak bytes a px of the source."""
    import resource

    width = round(math.sqrt(megapixels * 1e6 * 4 / 3))
    source = np.full((width * 3 // 4, width), 200, np.uint8)
    tilted = Tilted(width, width * 3 // 4)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    middle = tilted.to_plan(np.array([[width * 0.1, width * 0.65], [width * 0.95, width * 0.1]]))
    bounds = (float(middle[0, 0]), float(middle[0, 1]), float(middle[1, 0]), float(middle[1, 1]))
    flat = flatten(source, tilted, bounds_mm=bounds)
    peak = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024
    over = (peak - flat.pixels.size) / 1e6
    print(
        f"flattening {source.size / 1e6:.0f} MP to {flat.pixels.size / 1e6:.0f} MP: "
        f"{peak / flat.pixels.size:.2f} bytes a flat px beside the source, {over:.0f} MB beside both"
    )


def _peak_memory(megapixels: int) -> None:
    subprocess.run([sys.executable, "-m", "benchmarks.find_error", "--one-flat", str(megapixels)], check=True)


if __name__ == "__main__":
    main()
