"""Print how well parts are found and fitted from strokes of known shapes, beside polygons from OpenCV.

Run from the repository's root: python -m benchmarks.fit_error
"""

import time
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from benchmarks.vector_strokes import Inking, strokes_of
from digitize.draw_outlines import draw_outlines
from digitize.strokes import Strokes
from drawing.drawing import Drawing
from drawing.paths import sampled

Line = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Plan:
    """What is drawn (polylines, mm) and which closed ones are parts, each with its holes."""

    name: str
    parts: tuple[tuple[Line, tuple[Line, ...]], ...]
    other: tuple[Line, ...] = ()

    @property
    def lines(self) -> list[Line]:
        """Everything drawn."""
        return [line for part, holes in self.parts for line in (part, *holes)] + list(self.other)


def naca(code: str, chord_mm: float, at_mm: tuple[float, float]) -> Line:
    """A NACA four-digit section, trailing edge closed (NACA Report 460; last coefficient 0.1036), thickness along y."""
    m, p, t = int(code[0]) / 100, int(code[1]) / 10, int(code[2:]) / 100
    x = (1 - np.cos(np.linspace(0, np.pi, 300))) / 2
    half = 5 * t * (0.2969 * np.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1036 * x**4)
    camber = np.zeros_like(x)
    if m:
        camber = np.where(x < p, m / p**2 * (2 * p * x - x * x), m / (1 - p) ** 2 * (1 - 2 * p + 2 * p * x - x * x))
    upper, lower = np.column_stack([x, camber + half]), np.column_stack([x, camber - half])
    ring = np.vstack([upper[::-1], lower[1:]]) * chord_mm + at_mm
    ring[-1] = ring[0]
    return ring


def notched(rib: Line, *, share: float, size_mm: float) -> Line:
    """A rib with a square spar notch in its top, at a share of its chord."""
    left, right = rib[:, 0].min(), rib[:, 0].max()
    centre = left + share * (right - left)
    top = shapely.Polygon(rib)
    column = shapely.LineString([(centre, -1e4), (centre, 1e4)]).intersection(top)
    y = max(point[1] for point in column.coords)
    cut = top.difference(shapely.box(centre - size_mm / 2, y - size_mm, centre + size_mm / 2, y + size_mm))
    return shapely.get_coordinates(shapely.get_exterior_ring(cut))


def box(x: float, y: float, width: float, height: float) -> Line:
    """A rectangle."""
    return np.array([(x, y), (x + width, y), (x + width, y + height), (x, y + height), (x, y)], dtype=float)


def circle(x: float, y: float, radius: float) -> Line:
    """A circle in steps of half a degree."""
    turn = np.linspace(0, 2 * np.pi, 721)
    ring = np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)])
    ring[-1] = ring[0]
    return ring


def line(*points: tuple[float, float]) -> Line:
    """An open polyline."""
    return np.array(points, dtype=float)


def plans() -> list[Plan]:
    """The cases."""
    ribs = tuple((notched(naca("2412", 180 - 12 * i, (20, 60 + 40 * i)), share=0.3, size_mm=5), ()) for i in range(6))
    nested = tuple((naca("4412", c, (20 + 0.3 * (200 - c), 60)), ()) for c in (200, 160, 125, 95))
    panel = line((20, 20), (420, 45), (420, 110), (20, 140), (20, 20))
    spars = (line((20, 60), (420, 68)), line((20, 65), (420, 72)))
    bays = tuple(line((x, 20 + (x - 20) / 16), (x, 140 - (x - 20) * 0.075)) for x in range(60, 420, 40))
    former = shapely.box(0, 0, 80, 100).difference(
        shapely.union_all([shapely.box(-1, -1, 5, 5), shapely.box(75, -1, 81, 5)])
    )
    formers = tuple(
        (
            shapely.get_coordinates(shapely.get_exterior_ring(former)) + np.array([20 + 110 * i, 20]),
            (circle(60 + 110 * i, 80, 14), circle(60 + 110 * i, 45, 8)),
        )
        for i in range(3)
    )
    cross = tuple(line((60 + 110 * i, 10), (60 + 110 * i, 130)) for i in range(3))
    return [
        Plan("ribs with notches", ribs),
        Plan("ribs, datum through", ribs, tuple(line((10, 60 + 40 * i), (230, 60 + 40 * i)) for i in range(6))),
        Plan("nested ribs on a datum", nested, (line((5, 60), (240, 60)),)),
        Plan("tapered panel, ribs, spars", ((panel, ()),), spars + bays),
        Plan("formers with holes", formers, (*cross, line((10, 80), (370, 80)))),
        Plan("parts sharing an edge", ((box(20, 20, 100, 120), ()), (box(120, 50, 70, 60), ()))),
        Plan("discs", tuple((circle(50 + 70 * i, 60, 8 + 6 * i), ()) for i in range(4))),
    ]


@dataclass(frozen=True, slots=True)
class Score:
    """Errors of all found outlines, and counts."""

    errors_mm: NDArray[np.float64]
    found: int
    missed: int
    false: int
    segments: int


def score(plan: Plan, drawing: Drawing) -> Score:
    """Match outlines and holes to the truth by overlap and measure their distance, both ways."""
    truth = [ring for part, holes in plan.parts for ring in (part, *holes)]
    polygons = [shapely.Polygon(ring) for ring in truth]
    paths = [path for outline in drawing.outlines for path in (outline.boundary, *outline.holes)]
    seen = set()
    errors = [np.zeros(0)]
    false = segments = 0
    for path in paths:
        ring = shapely.Polygon(sampled(path, tolerance_mm=0.001))
        share = [shapely.intersection(ring, p).area / shapely.union(ring, p).area for p in polygons]
        best = int(np.argmax(share))
        if share[best] < 0.9 or best in seen:
            false += 1
            continue
        seen.add(best)
        segments += len(path.segments)
        errors += list(distances_mm(ring, polygons[best]))
    return Score(np.concatenate(errors), len(seen), len(truth) - len(seen), false, segments)


def distances_mm(found: shapely.Polygon, true: shapely.Polygon) -> Iterator[NDArray[np.float64]]:
    """Distances of points every 0.2 mm along each ring from the other."""
    for one, other in ((found.exterior, true.exterior), (true.exterior, found.exterior)):
        along = np.arange(0, one.length, 0.2)
        yield np.asarray(shapely.distance(other, shapely.line_interpolate_point(one, along)))


def plain_errors(plan: Plan, strokes: Strokes, inking: Inking, *, tolerance_mm: float) -> tuple[float, int, float]:
    """The plain route on the very loops: OpenCV's polygon at the tolerance. 95 % error, corners, seconds."""
    errors, corners, spent = [], 0, 0.0
    rng = np.random.default_rng(7)
    for ring in (ring for part, holes in plan.parts for ring in (part, *holes)):
        smooth = inking.to_picture(ring)
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(smooth, axis=0).T))])
        at = np.arange(0, along[-1], 1.0)
        noisy = np.column_stack([np.interp(at, along, smooth[:, axis]) for axis in (0, 1)])
        noisy += rng.normal(0, inking.sigma_px, noisy.shape)
        start = time.perf_counter()
        polygon = cv2.approxPolyDP(noisy.astype(np.float32), tolerance_mm / inking.mm_per_px, True)[:, 0]
        spent += time.perf_counter() - start
        corners += len(polygon)
        found = shapely.Polygon(inking.to_plan(polygon.astype(float)))
        errors += list(distances_mm(found, shapely.Polygon(ring)))
    return float(np.quantile(np.concatenate(errors), 0.95)), corners, spent


def main() -> None:
    """Print one row a plan and noise."""
    print("error in mm at 0.18 mm/px, tolerance 0.05 mm; plain: cv2.approxPolyDP of the true loop's noisy points")
    print(f"{'plan':28}{'sigma px':>9}{'rms':>8}{'95 %':>8}{'max':>8}{'found':>7}{'missed':>7}{'false':>6}", end="")
    print(f"{'pieces':>7}{'s':>7} | {'plain 95 %':>10}{'corners':>8}{'ratio':>6}")
    for plan in plans():
        for sigma_px in (0.05, 0.1, 0.2):
            inking = Inking(sigma_px=sigma_px, seed=3)
            strokes = strokes_of(plan.lines, inking)
            start = time.perf_counter()
            drawn = draw_outlines(strokes.mapped(inking.to_plan), tolerance_mm=0.05)
            spent = time.perf_counter() - start
            result = score(plan, drawn.drawing)
            plain, corners, _ = plain_errors(plan, strokes, inking, tolerance_mm=0.05)
            e = result.errors_mm if len(result.errors_mm) else np.array([np.nan])
            tail = float(np.quantile(e, 0.95))
            print(
                f"{plan.name:28}{sigma_px:9.2f}{np.sqrt((e**2).mean()):8.4f}{tail:8.4f}{e.max():8.3f}"
                f"{result.found:7}{result.missed:7}{result.false:6}{result.segments:7}{spent:7.2f} | "
                f"{plain:10.4f}{corners:8}{plain / tail:6.1f}"
            )
    for number in (50, 200, 800):
        print_speed(number)


def print_speed(number: int) -> None:
    """Print the time for many ribs with a hole and a datum line each."""
    lines = []
    for i in range(number):
        x, y = 200.0 * (i % 25), 60.0 * (i // 25) + 30
        lines += [naca("2412", 150, (20 + x, y)), circle(70 + x, y + 3, 6), line((10 + x, y), (190 + x, y))]
    inking = Inking(height_px=60.0 * (number // 25 + 2) / 0.18)
    plan = strokes_of(lines, inking).mapped(inking.to_plan)
    start = time.perf_counter()
    drawn = draw_outlines(plan, tolerance_mm=0.05)
    spent = time.perf_counter() - start
    print(f"{number} ribs: {len(drawn.drawing.outlines)} found, {spent:.2f} s, {1000 * spent / number:.1f} ms each")


if __name__ == "__main__":
    main()
