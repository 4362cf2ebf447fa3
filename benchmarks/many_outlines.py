"""What one outline costs on a plan with few and with many: CPU time of the whole job and of its stages, per outline.

Run as `python -m benchmarks.many_outlines [--counts 50 200 2000] [--seed 1]`. Plans are drawn here, as scanned at 254
dpi: plates with lightening holes, sections and brackets, turned at chance, each with as much paper around it as on the
other plans. A first run on the smallest plan loads what is imported and does not count.
"""

import argparse
import math
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

import job.drawn_lines
import job.make
import job.run
import job.see
import job.write_results
from benchmarks.stage_times import watched
from job.job import SheetKind
from job.make import Typed, make
from job.progress import Silent

CELL_PX = 150
"""Side of the paper that each outline has to itself, px of 0.1 mm."""

SUBPIXEL_BITS = 4
DPI = 254
STAGES = (
    (job.make, "see"),
    (job.drawn_lines, "find_strokes"),
    (job.run, "draw_outlines"),
    (job.write_results, "write_results"),
)


def main() -> None:
    """Print a line for each count."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--counts", type=int, nargs="+", default=[50, 200, 2000])
    arguments.add_argument("--seed", type=int, default=1)
    given = arguments.parse_args()
    print(f"seed {given.seed}; CPU ms an outline")
    print(f"{'outlines':>9}{'found':>7}{'MP':>7}{'whole':>8}" + "".join(f"{name:>15}" for _, name in STAGES))
    with tempfile.TemporaryDirectory() as folder, watched(STAGES) as spent:
        for number, count in enumerate([min(given.counts), *given.counts]):
            plan = plan_of(count, np.random.default_rng([given.seed, count]))
            path = Path(folder) / f"{number}.png"
            cv2.imwrite(str(path), plan, [cv2.IMWRITE_PNG_COMPRESSION, 1])
            spent.clear()
            begin = time.process_time()
            made = make(path, Typed(dpi=DPI, kind=SheetKind.SCAN), folder=path.with_suffix(""), progress=Silent())
            whole_s = time.process_time() - begin
            if number == 0:
                continue
            each_ms = [1000 * seconds / count for seconds in (whole_s, *(spent[name] for _, name in STAGES))]
            told = f"{count:>9}{len(made.plan.outlines):>7}{plan.size / 1e6:>7.1f}{each_ms[0]:>8.2f}"
            print(told + "".join(f"{ms:>15.2f}" for ms in each_ms[1:]), flush=True)


def plan_of(count: int, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Draw a scan (H, W) uint8 of that many outlines, row by row in a square."""
    columns = math.ceil(math.sqrt(count))
    rows = math.ceil(count / columns)
    sheet = np.full(((rows + 1) * CELL_PX, (columns + 1) * CELL_PX), 236, np.uint8)
    for number in range(count):
        middle = CELL_PX * (np.array([number % columns, number // columns]) + 1)
        turn = rng.uniform(0, 2 * math.pi)
        towards = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        for loop in _SHAPES[number % len(_SHAPES)](rng):
            points = np.rint((loop @ towards.T + middle) * 2**SUBPIXEL_BITS).astype(np.int32)
            cv2.polylines(sheet, [points], True, 40, 3, cv2.LINE_AA, SUBPIXEL_BITS)
    noisy = cv2.GaussianBlur(sheet, (0, 0), 0.7) + rng.normal(0, 2, sheet.shape)
    return np.clip(np.rint(noisy), 0, 255).astype(np.uint8)


def _plate(rng: np.random.Generator) -> list[NDArray[np.float64]]:
    """A rectangle with a round hole, px about its middle."""
    half = rng.uniform(25, 45, 2)
    around = np.linspace(0, 2 * math.pi, 64, endpoint=False)
    hole = 0.5 * half.min() * np.column_stack([np.cos(around), np.sin(around)])
    return [half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]), hole]


def _section(rng: np.random.Generator) -> list[NDArray[np.float64]]:
    """A wing's section: round in front, sharp behind."""
    along = (1 - np.cos(np.linspace(0, math.pi, 60))) / 2
    thick = rng.uniform(0.6, 1.0) * (0.3 * np.sqrt(along) - 0.13 * along - 0.35 * along**2 + 0.18 * along**3)
    upper, lower = np.column_stack([along, thick]), np.column_stack([along, -0.6 * thick])
    return [110 * (np.concatenate([upper, lower[-2:0:-1]]) - [0.5, 0])]


def _bracket(rng: np.random.Generator) -> list[NDArray[np.float64]]:
    """An L of two arms."""
    wide = rng.uniform(18, 30)
    return [np.array([[-40, -40], [40, -40], [40, wide - 40], [wide - 40, wide - 40], [wide - 40, 40], [-40, 40]])]


_SHAPES = (_plate, _section, _bracket)


if __name__ == "__main__":
    main()
