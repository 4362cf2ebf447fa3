"""Ribs digitized by the program and, from the same bitmap, by a general bitmap tracer: nodes, deviation and time.

Run as `python -m benchmarks.general_tracer [--ribs N] [--seed S]`. The tracer is vtracer (from the package registry, at
its default settings, black and white, splines). It follows the boundary of the ink, so that a rib's line gives it two
curves, one along either edge: its deviation is taken from the true edges, the program's from the true middle, which a
cutter is to follow. Two edges take about twice the nodes of a middle; `an edge` is the half.
"""

import argparse
import io
import math
import time

import cv2
import numpy as np
import shapely
import vtracer
from numpy.typing import NDArray
from svgelements import SVG, Close, Move
from svgelements import Path as SvgPath

from benchmarks.nodes_error import (
    RIB_MM,
    Points,
    View,
    in_px,
    is_same,
    off_px,
    outlines_in,
    pictured,
    placed,
    rib_shapes,
    strokes_in,
    views,
)

TOLERANCE_MM = 0.02
STEP_PX = 0.5
LEAST_PX = 50.0
"""Shorter curves of the tracer are specks."""


def traced(grey: NDArray[np.uint8]) -> tuple[int, list[Points], float]:
    """Give the tracer's number of curve segments, its curves sampled (N, 2) px, and the seconds it took."""
    png = bytes(cv2.imencode(".png", grey)[1])
    start = time.perf_counter()
    svg = vtracer.convert_raw_image_to_svg(png, "png", colormode="binary", mode="spline")
    seconds = time.perf_counter() - start
    count, curves = 0, []
    for path in SVG.parse(io.StringIO(svg)).elements(lambda one: isinstance(one, SvgPath)):
        for part in path.as_subpaths():
            whole = SvgPath(part)
            segments = [segment for segment in whole if not isinstance(segment, Move)]
            drawn = [segment for segment in segments if not isinstance(segment, Close) or segment.length() > 1e-6]
            if sum(segment.length(error=0.01) for segment in drawn) < LEAST_PX:
                continue
            count += len(drawn)
            points = [
                segment.point(t)
                for segment in drawn
                for t in np.linspace(0, 1, max(3, math.ceil(segment.length(error=0.01) / STEP_PX)), endpoint=False)
            ]
            # Its pixels begin at whole numbers; ours have their middles there.
            curves.append(np.array([(at.x, at.y) for at in points]) - 0.5)
    return count, curves, seconds


def edges_off_px(curves: list[Points], true: Points, width_px: float) -> NDArray[np.float64]:
    """How far curves lie from the edges of a true line's ink, px."""
    ink = shapely.buffer(shapely.LinearRing(true), width_px / 2, join_style="mitre", mitre_limit=8.0)
    edge = shapely.boundary(ink)
    shapely.prepare(edge)
    return np.asarray(shapely.distance(shapely.points(np.concatenate(curves)), edge))


def tell(view: View, shapes: list[tuple[str, Points]], seed: int) -> None:
    """Print a line for one view."""
    rng = np.random.default_rng(seed)
    ours: list[tuple[int, NDArray[np.float64], float]] = []
    theirs: list[tuple[int, NDArray[np.float64], float]] = []
    lost = 0
    for _, ring in shapes:
        true = placed(ring, chord_mm=RIB_MM, tilt_rad=float(rng.uniform(-math.pi, math.pi)), view=view)
        grey = pictured([true], view)
        start = time.perf_counter()
        outlines = outlines_in(strokes_in(grey), view, TOLERANCE_MM)
        seconds = time.perf_counter() - start
        near = [outline for outline in outlines if is_same(in_px(outline.boundary, view), true)]
        if near:
            path = near[0].boundary
            ours.append((len(path.segments), off_px(in_px(path, view), true), seconds))
        else:
            lost += 1
        count, curves, seconds = traced(grey)
        theirs.append((count, edges_off_px(curves, true, view.width_px), seconds))
    words = [f"{view.name:30}"]
    for name, told in (("ours", ours), ("tracer", theirs)):
        if not told:
            continue
        off = np.concatenate([one[1] for one in told])
        nodes = float(np.mean([one[0] for one in told]))
        words.append(
            f"{name} {nodes:6.1f} nodes{f' ({nodes / 2:5.1f} an edge)' if name == 'tracer' else ''}, "
            f"rms {np.sqrt((off**2).mean()):.3f}, 99 % {np.percentile(off, 99):.3f} px, "
            f"{1000 * float(np.mean([one[2] for one in told])):5.0f} ms;"
        )
    print("  ".join(words) + (f" lost {lost}" if lost else ""), flush=True)


def main() -> None:
    """Print a line for each view."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.general_tracer", description=__doc__)
    parser.add_argument("--ribs", type=int, default=4, metavar="N", help="ribs in each view")
    parser.add_argument("--seed", type=int, default=5)
    asked = parser.parse_args()
    print(f"seed {asked.seed}; {asked.ribs} ribs of {RIB_MM:.0f} mm a view, ours at {TOLERANCE_MM} mm")
    shapes = list(rib_shapes(asked.ribs, asked.seed))
    for view in views(asked.seed):
        tell(view, shapes, asked.seed)


if __name__ == "__main__":
    main()
