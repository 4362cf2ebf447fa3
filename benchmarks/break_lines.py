"""Break lines that a known distance crosses: how many are found, and how often one is seen where none is drawn.

Run as `python -m benchmarks.break_lines`; `--seeds N` sheets of each kind, `--first SEED`, `--hard N` hard plans
beside the bundled one for false alarms, `--each` a line for every break that is missed. Every sheet holds long parts
of three depths at random angles, shortened by two zigzag or two freehand lines (ISO 128-2), in a scan of 200 to 400
dpi or a photo of 0.13 to 0.3 mm a px. Each is asked about along its edge, through its middle, and from corner to
corner, and once within one of its pieces, where nothing may be found. False alarms elsewhere: ways between landmarks.
"""

import argparse
import tempfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.main_job import trials
from calibration.sheet import find_sheet
from digitize.break_lines import breaks_crossed
from digitize.find_strokes import find_strokes
from digitize.landmarks import landmarks_px
from digitize.strokes import Strokes
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source
from pictures.read import read_picture
from sample_scans.curves import turned
from sample_scans.dimensions import line
from sample_scans.plan import plan_of
from sample_scans.rendered import Rendered, rendered_photo, rendered_scan
from sample_scans.truth import InkStroke, Piece, PlanTruth, Points

BORDER_MM = (277.0, 190.0)
DEPTHS_MM = (6.0, 15.0, 40.0)
LENGTH_MM = 105.0
PLACES_MM = ((70.0, 38.0), (205.0, 38.0), (70.0, 95.0), (205.0, 95.0), (70.0, 152.0), (205.0, 152.0))
DPI = (200.0, 300.0, 400.0)
MM_PER_PX = (0.13, 0.2, 0.3)
OUTLINE_MM, THIN_MM = 0.5, 0.25  # ISO 128: wide and narrow
WAYS = 100
"""Ways between landmarks asked about in each picture without breaks."""


@dataclass(frozen=True, slots=True)
class Broken:
    """A part drawn with its middle left out: what it is, and the ways over its break and within a piece of it, mm."""

    manner: str
    depth_mm: float
    over_mm: tuple[Points, ...]
    within_mm: Points


def main() -> None:
    """Print found k of n, then false alarms."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.break_lines", description=__doc__)
    parser.add_argument("--seeds", type=int, default=3, metavar="N")
    parser.add_argument("--first", type=int, default=0, metavar="SEED")
    parser.add_argument("--hard", type=int, default=2, metavar="N")
    parser.add_argument("--each", action="store_true")
    asked = parser.parse_args()
    for kind in ("scan", "photo"):
        found: Counter[tuple[str, float]] = Counter()
        drawn: Counter[tuple[str, float]] = Counter()
        alarms = 0
        for seed in range(asked.first, asked.first + asked.seeds):
            plan, broken = broken_sheet(seed)
            taken = pictured(kind, seed, plan)
            strokes = strokes_of(taken)
            for part in broken:
                alarms += _crosses(strokes, taken, part.within_mm)
                for way_mm in part.over_mm:
                    seen = _crosses(strokes, taken, way_mm)
                    drawn[part.manner, part.depth_mm] += 1
                    found[part.manner, part.depth_mm] += seen
                    if asked.each and not seen:
                        places = np.round(taken.camera.to_picture(way_mm)).tolist()
                        print(f"  missed: {kind} {seed}, {part.manner}, {part.depth_mm:g} mm deep, {places}")
        for manner in ("zigzag", "freehand"):
            by_depth = ", ".join(f"{d:g} mm deep {found[manner, d]} of {drawn[manner, d]}" for d in DEPTHS_MM)
            print(f"{kind}, {manner}: found {by_depth}", flush=True)
        print(f"{kind}: {alarms} seen on ways within one piece", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        for trial in trials(Path(folder), random_plans=0, hard_plans=asked.hard):
            if trial.name not in ("photo", "scan") and not trial.name.startswith("hard"):
                continue
            seed = sum(trial.name.encode())
            picture = read_picture(trial.picture)
            # As the program looks: not at the table beside the sheet.
            strokes = find_strokes(find_ink(picture), within=find_sheet(picture))
            alarms, asked_ways = false_alarms(strokes, seed)
            print(f"{trial.name}: {alarms} seen on {asked_ways} ways where none is drawn", flush=True)


def false_alarms(strokes: Strokes, seed: int) -> tuple[int, int]:
    """How many of some random ways between landmarks cross a break, and how many ways were asked about."""
    rng = np.random.default_rng(seed)
    marks = landmarks_px(strokes)
    pairs = rng.integers(0, len(marks), (WAYS, 2))
    pairs = pairs[pairs[:, 0] != pairs[:, 1]]
    return sum(bool(breaks_crossed(strokes, marks[a], marks[b])) for a, b in pairs.tolist()), len(pairs)


def pictured(kind: str, seed: int, plan: PlanTruth) -> Rendered:
    """Take a plan's picture, "scan" or "photo", the finest first."""
    if kind == "scan":
        return rendered_scan(seed, plan=plan, dpi=DPI[seed % 3])
    width_px = round(1.15 * float(np.ptp(plan.sheet_mm[:, 0])) / MM_PER_PX[seed % 3])
    return rendered_photo(seed, plan=plan, size_px=(width_px, round(width_px * 0.75)))


def strokes_of(taken: Rendered) -> Strokes:
    """Find the lines of a picture in memory."""
    grey = taken.pixels if taken.pixels.ndim == 2 else np.round(taken.pixels.mean(axis=2)).astype(np.uint8)
    return find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))


def broken_sheet(seed: int) -> tuple[PlanTruth, tuple[Broken, ...]]:
    """Give a sheet of six long parts with their middles left out: each depth with either manner of break line."""
    rng = np.random.default_rng([seed, 47])
    strokes: list[InkStroke] = []
    broken = []
    kinds = [(manner, depth) for depth in DEPTHS_MM for manner in ("zigzag", "freehand")]
    for (manner, depth_mm), place_mm in zip(kinds, rng.permutation(PLACES_MM), strict=True):
        drawn, ways_mm = broken_part(manner, depth_mm, rng)
        # Parts 40 mm deep have room for less.
        turn_deg = float(rng.uniform(-8, 8)) + 180 * int(rng.integers(2))
        middle = np.array([LENGTH_MM, depth_mm]) / 2
        strokes += [
            InkStroke(turned(one.points_mm - middle, turn_deg) + place_mm, one.width_mm, one.closed, one.role)
            for one in drawn
        ]
        ways = tuple(turned(way - middle, turn_deg) + place_mm for way in ways_mm)
        broken.append(Broken(manner, depth_mm, ways[:-1], ways[-1]))
    piece = Piece(tuple(strokes), (), ())
    return plan_of(f"broken-{seed}", piece, width_mm=BORDER_MM[0], height_mm=BORDER_MM[1]), tuple(broken)


def broken_part(manner: str, depth_mm: float, rng: np.random.Generator) -> tuple[list[InkStroke], list[Points]]:
    """Give a part from (0, 0) to (LENGTH_MM, depth) in two pieces: its lines; ways over its break, then one within."""
    at_mm, apart_mm = LENGTH_MM * rng.uniform(0.35, 0.6), rng.uniform(3.0, 8.0)
    lean = rng.uniform(-0.2, 0.2)
    wave = _wave(depth_mm, rng) if manner == "freehand" else _zigzag(depth_mm, min(3.0, 0.6 * apart_mm), rng)
    thin = float(rng.choice([THIN_MM, 0.35]))
    edge = float(rng.choice([OUTLINE_MM, 0.35]))
    strokes = []
    for far_mm, end_mm in ((at_mm, 0.0), (at_mm + apart_mm, LENGTH_MM)):
        middle = np.column_stack([far_mm + wave[:, 0] + lean * (wave[:, 1] - depth_mm / 2), wave[:, 1]])
        strokes.append(InkStroke(middle, thin, False, "inside"))
        order = np.argsort(middle[:, 1])
        low, high = np.interp([0.0, depth_mm], middle[order, 1], middle[order, 0])
        run = np.array([[low, 0.0], [end_mm, 0.0], [end_mm, depth_mm], [high, depth_mm]])
        strokes.append(InkStroke(run, edge, False, "outline"))
    if rng.random() < 0.4:  # a spar's centre line, or a sheet joint, drawn on through the break's pieces
        for start, end in ((2.0, at_mm - 12.0), (at_mm + apart_mm + 12.0, LENGTH_MM - 2.0)):
            strokes.append(line((start, 0.4 * depth_mm), (end, 0.4 * depth_mm), width_mm=THIN_MM, role="centre"))
    ways = [
        np.array([[0.0, 0.0], [LENGTH_MM, 0.0]]),
        np.array([[0.0, depth_mm / 2], [LENGTH_MM, depth_mm / 2]]),
        np.array([[0.0, 0.0], [LENGTH_MM, depth_mm]]),
        np.array([[0.0, 0.0], [at_mm - 8.0, depth_mm]]),
    ]
    return strokes, ways


def _zigzag(depth_mm: float, most_mm: float, rng: np.random.Generator) -> Points:
    """A straight line across a part, a little beyond its edges, with one zigzag about its middle; (x aside, y)."""
    beyond = rng.uniform(0.8, 3.0)
    peak = rng.uniform(0.7, 1.0) * min(most_mm, 0.3 * depth_mm)
    half = peak * rng.uniform(0.6, 1.0)
    y = depth_mm * rng.uniform(0.45, 0.55)
    if rng.random() < 0.3:  # slanting back between two peaks, without returning to the line first
        return np.array([[0, -beyond], [0, y + half], [peak / 2, y - half], [peak / 2, depth_mm + beyond]])
    return np.array(
        [
            [0, -beyond],
            [0, y - half],
            [peak, y - half / 4],
            [-peak, y + half / 4],
            [0, y + half],
            [0, depth_mm + beyond],
        ]
    )


def _wave(depth_mm: float, rng: np.random.Generator) -> Points:
    """A wavy line from edge to edge of a part, its turns uneven as a hand draws them; (x aside, y)."""
    turns = max(1.6, depth_mm / rng.uniform(5.0, 9.0))
    y = np.linspace(0, 1, 400)
    pace = y + 0.04 * np.sin(2 * np.pi * y * rng.uniform(0.7, 1.4) + rng.uniform(0, 6)) / max(1.0, turns / 2)
    swing = rng.uniform(0.5, 1.0) * min(1.0, 0.1 * depth_mm + 0.2)
    aside = (
        swing * (1 + 0.25 * np.sin(5 * y + rng.uniform(0, 6))) * np.sin(2 * np.pi * turns * pace + rng.uniform(0, 6))
    )
    return np.column_stack([aside, depth_mm * y])


def _crosses(strokes: Strokes, taken: Rendered, way_mm: Points) -> bool:
    start, end = taken.camera.to_picture(way_mm)
    return bool(breaks_crossed(strokes, start, end))


if __name__ == "__main__":
    main()
