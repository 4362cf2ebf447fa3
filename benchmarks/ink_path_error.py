"""How far a traced way lies from the line that was drawn, along strokes and by scissors, on the bundled pictures.

    python -m benchmarks.ink_path_error

Clicks are put on the parts' true outlines, each off by one px at random; errors are distances from the nearest drawn
line's true middle, px.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from time import process_time

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.ink_path import ink_graph
from digitize.scissors import faint_way
from digitize.traces import Trace
from job.job import Sheet
from job.progress import Silent
from job.see import Seen, see
from sample_scans.files import sample_path
from sample_scans.generate import cameras
from sample_scans.plan import school_plan
from sample_scans.truth import InkStroke, PlanTruth
from tracing.follow_ink import follow_ink

Floats = NDArray[np.float64]

SEED = 11
CLICK_PX = 1.0
SCISSORS_PX = 250.0
"""Clicks for scissors lie about this far apart."""


@dataclass(slots=True)
class Errors:
    """Distances found, and seconds each way took."""

    far_px: list[Floats] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)

    def say(self, name: str) -> None:
        """Print one row."""
        if not self.far_px:
            print(f"  {name:34} none")
            return
        far = np.concatenate(self.far_px)
        print(
            f"  {name:34} rms {np.sqrt((far**2).mean()):.3f}  95 % {np.percentile(far, 95):.3f}  "
            f"99 % {np.percentile(far, 99):.3f}  most {far.max():.2f} px; "
            f"{len(self.seconds)} ways, {np.median(self.seconds) * 1e3:.1f} ms (most {np.max(self.seconds) * 1e3:.1f})"
        )


def main() -> None:
    """Print a table for each bundled picture."""
    plan = school_plan()
    by = cameras(plan)
    for name, camera in (("plan_scan.png", by.scan), ("plan_photo.jpg", by.photo)):
        seen = see(Sheet(sample_path(name), sha256=""), (), Silent())
        print(f"{name} (seed {SEED})")
        _table(seen, plan, camera.to_picture)


def _table(seen: Seen, plan: PlanTruth, to_picture: Callable[[Floats], Floats]) -> None:
    rng = np.random.default_rng(SEED)
    drawn = shapely.STRtree([shapely.LineString(_line_px(stroke, to_picture)) for stroke in plan.strokes])
    begin = process_time()
    graph = ink_graph(seen.strokes)
    print(f"  made ready in {(process_time() - begin) * 1e3:.0f} ms, {len(seen.strokes.links)} links")
    points, traces, scissors = Errors(), Errors(), Errors()
    missed = 0
    for part in plan.parts:
        around = _dense(to_picture(part.boundary_mm))
        clicks = around[(np.arange(4) * len(around) // 4)] + rng.normal(0, CLICK_PX, (4, 2))
        begin = process_time()
        found = follow_ink(graph, seen.picture, [(float(x), float(y)) for x, y in clicks])
        seconds = process_time() - begin
        if found.way.words != "Along drawn lines.":
            missed += 1
            continue
        _take(points, found.way.points_px, seconds, drawn)
        _take(traces, _trace_points(found.trace), seconds, drawn)
        step = max(1, len(around) // max(1, round(len(around) / SCISSORS_PX)))
        for at in range(0, len(around) - step, step):
            begin = process_time()
            start, end = around[at], around[at + step]
            way = faint_way(seen.picture, (float(start[0]), float(start[1])), (float(end[0]), float(end[1])))
            if way is not None:
                _take(scissors, way.points_px, process_time() - begin, drawn)
    points.say("points along drawn lines")
    traces.say("curves fitted to them")
    scissors.say("points by scissors")
    print(f"  {missed} of {len(plan.parts)} outlines had a stretch without a drawn line")


def _take(errors: Errors, points: Floats, seconds: float, drawn: shapely.STRtree) -> None:
    _, far = drawn.query_nearest(shapely.points(points), all_matches=False, return_distance=True)
    errors.far_px.append(far)
    errors.seconds.append(seconds)


def _line_px(stroke: InkStroke, to_picture: Callable[[Floats], Floats]) -> Floats:
    points = np.vstack([stroke.points_mm, stroke.points_mm[:1]]) if stroke.closed else stroke.points_mm
    return to_picture(_between(points, 0.5))


def _dense(points: Floats) -> Floats:
    """A closed polyline with points about a px apart."""
    return _between(np.vstack([points, points[:1]]), 1.0)


def _between(points: Floats, step: float) -> Floats:
    far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.union1d(np.linspace(0, far[-1], int(far[-1] / step) + 2), far)
    return np.column_stack([np.interp(at, far, points[:, axis]) for axis in (0, 1)])


def _trace_points(trace: Trace) -> Floats:
    """Points along a trace, about a px apart."""
    t = np.linspace(0, 1, 60)[:, None]
    u = 1 - t
    start = np.array(trace.start_px)
    runs = []
    for first, second, end in trace.cubics_px:
        a, b, c = np.array(first), np.array(second), np.array(end)
        runs.append(u**3 * start + 3 * u * u * t * a + 3 * u * t * t * b + t**3 * c)
        start = c
    return _between(np.concatenate(runs), 1.0)


if __name__ == "__main__":
    main()
