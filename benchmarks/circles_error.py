"""How true the radii of small circles come out, in pictures that hold other lines as well.

Run as `python -m benchmarks.circles_error [--seed N] [--each N]`. A line for every way of taking a picture: for each
radius the mean error over its circles with its standard error, px, and how many were lost or did not come out as
circles. A circle with less than a px of paper inside is left out: its picture is a blot.
"""

import argparse
import math
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from benchmarks.nodes_error import strokes_in
from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.continuation import line_graph
from digitize.fit import Contour, fit_contours
from digitize.sections import closed_sections
from drawing.paths import Arc

Floats = NDArray[np.float64]

RADII_PX = (3.0, 3.5, 4.0, 5.0, 6.0, 8.0, 12.0, 20.0, 30.0, 50.0)
TOLERANCE_PX = 0.1
SCAN = Camera(blur_px=0.7, noise=3)
PHOTO = Camera(blur_px=0.9, noise=5, shade=0.4, jpeg=88)
NOISY = Camera(blur_px=1.2, noise=12, shade=0.5, jpeg=80)
BILEVEL = Camera(blur_px=0.6, noise=8, bilevel=True)
VIEWS = (
    *(("grey scan", SCAN, width_px) for width_px in (1.3, 2.0, 3.0, 6.0)),
    *(("photo", PHOTO, width_px) for width_px in (1.5, 2.5)),
    *(("noisy photo", NOISY, width_px) for width_px in (2.0, 3.0)),
    *(("bilevel", BILEVEL, width_px) for width_px in (1.6, 2.2, 3.0, 6.0)),
)


@dataclass(slots=True)
class _Told:
    """What circles of one radius came out as."""

    bias_px: list[float]
    lost: int = 0
    other: int = 0


def main() -> None:
    """Print the lines."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.circles_error", description=__doc__)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--each", type=int, default=16, metavar="N", help="circles of each radius in a picture")
    asked = parser.parse_args()
    print(f"seed {asked.seed}, {asked.each} circles of each radius; mean error of the radius, px")
    for name, camera, width_px in VIEWS:
        rng = np.random.default_rng(asked.seed)
        view = replace(camera, seed=asked.seed)
        told = _circles(rng, view, width_px, asked.each)
        texts = [
            f"{radius:g}: {np.mean(one.bias_px):+.3f} ± {np.std(one.bias_px) / math.sqrt(len(one.bias_px)):.3f}"
            for radius, one in told.items()
            if one.bias_px
        ]
        lost, other = (sum(getattr(one, which) for one in told.values()) for which in ("lost", "other"))
        count = asked.each * len(told)
        print(f"{name:12} {width_px:g} px  {'; '.join(texts)}; of {count} {lost} lost, {other} no circles", flush=True)


def _circles(rng: np.random.Generator, camera: Camera, width_px: float, each: int) -> dict[float, _Told]:
    """Draw and measure circles of all radii in one picture, a row each, and a frame."""
    radii = [radius for radius in RADII_PX if radius - width_px / 2 > 1]
    pitch = [2 * radius + 4 * width_px + 24 for radius in radii]
    across, down = max(pitch) * each + 120, sum(pitch) + 120
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    unit = np.column_stack([np.cos(turn), np.sin(turn)])
    frame = np.array([[30.2, 31.1], [across - 32.3, 35.4], [across - 35.1, down - 31.7], [33.6, down - 36.2]])
    lines, places = [TrueLine(frame, width_px, True, "mitre")], []
    top = 60.0
    for radius, step in zip(radii, pitch, strict=True):
        for number in range(each):
            middle = np.array([60 + (number + 0.5) * max(pitch), top + step / 2]) + rng.uniform(0, 1, 2)
            lines.append(TrueLine(middle + radius * unit, width_px, True, "mitre"))
            places.append((radius, middle))
        top += step
    strokes = strokes_in(photograph(lines, camera, width=int(across), height=int(down)))
    closed = [number for number, link in enumerate(strokes.links) if link.start == link.end]
    middles = np.array([strokes.links[number].points_px[:-1].mean(axis=0) for number in closed]).reshape(-1, 2)
    flip = np.array([1.0, -1.0])
    plan = strokes.mapped(lambda points: points * flip)
    graph = line_graph(strokes, np.zeros(len(strokes.links), dtype=bool))
    told = {radius: _Told([]) for radius in radii}
    for radius, middle in places:
        apart = np.hypot(*(middles - middle).T) if len(middles) else np.array([np.inf])
        if apart.min() > 1:
            told[radius].lost += 1
            continue
        number = closed[int(apart.argmin())]
        contour = Contour(closed_sections(graph, plan, [2 * number]), True)
        path = fit_contours([contour], tolerance_mm=TOLERANCE_PX)[0].path
        arcs = [segment for segment in path.segments if isinstance(segment, Arc)]
        if len(path.segments) == 2 and len(arcs) == 2:
            told[radius].bias_px.append(math.dist(path.start_mm, arcs[0].end_mm) / 2 - radius)
        else:
            told[radius].other += 1
            area = shapely.Polygon(strokes.links[number].points_px).area
            told[radius].bias_px.append(math.sqrt(area / math.pi) - radius)
    return told


if __name__ == "__main__":
    main()
