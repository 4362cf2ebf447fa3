"""How far the hook beside a notch is found from where it is: its tip, and the corner of the notch's floor and wall.

Run as `python -m benchmarks.hooks_error [--seed S] [--each N] [--only WORD]`. Plates with a notch that leaves an acute
hook of their edge, straight or bowed, are drawn at any turn by the benchmark itself; errors are of the strokes' nodes,
in px, with all joins of pens on each sheet. A hook shorter than its angle needs to show paper in it is ink all over.
"""

import argparse
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.nodes_error import View, strokes_in, views
from benchmarks.render_lines import TrueLine, photograph
from benchmarks.tips_error import JOINS, LOST_PX, Join
from digitize.strokes import NodeKind

Points = NDArray[np.float64]

OPENINGS_DEG = (10, 15, 20, 30)
LONG_WIDTHS = (2.5, 4.0, 6.0)
PLATE_WIDTHS, LEAST_PLATE_PX = 26.0, 90.0
BOW = 0.0015
"""Of an edge that bends, per px of its length: a rib's nose of 330 px in radius."""


@dataclass(frozen=True, slots=True)
class Hook:
    """A closed outline, the tip and the corner of its hook, px, and what it is."""

    ring_px: Points
    tip_px: Points
    corner_px: Points
    opening_deg: int
    long_widths: float
    join: Join


def hook(opening_deg: int, long_widths: float, join: Join, view: View, at_px: Points, rng: np.random.Generator) -> Hook:
    """Give a plate about a place, bowed or straight, at any turn."""
    long_px, side_px = long_widths * view.width_px, max(PLATE_WIDTHS * view.width_px, LEAST_PLATE_PX)
    along = np.linspace(0.0, long_px + side_px, 120)
    edge = np.column_stack([along - long_px, -math.tan(math.radians(opening_deg)) * along])
    edge[:, 1] += rng.choice([0.0, BOW / 2]) * along**2
    ring = np.concatenate([[[0.0, 0.0]], edge, [[side_px, side_px], [0.0, side_px]]]) - [side_px / 2, side_px / 3]
    turn_rad = rng.uniform(-math.pi, math.pi)
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    placed = (ring * [1.0, rng.choice([-1.0, 1.0])]) @ np.array([[c, s], [-s, c]]) + at_px
    return Hook(placed, placed[1], placed[0], opening_deg, long_widths, join)


def sheet(view: View, each: int, seed: int) -> tuple[NDArray[np.uint8], list[Hook]]:
    """Give a picture of hooks of every opening and length, and what is true of them."""
    rng = np.random.default_rng(seed)
    cell = 1.9 * max(PLATE_WIDTHS * view.width_px, LEAST_PLATE_PX) + 12 * view.width_px
    asked = [(opening, long) for opening in OPENINGS_DEG for long in LONG_WIDTHS for _ in range(each)]
    columns = math.ceil(math.sqrt(len(asked)))
    hooks = []
    for number, (opening, long) in enumerate(asked):
        row, column = divmod(number, columns)
        at = (np.array([column, row]) + 0.5) * cell + rng.uniform(-0.5, 0.5, 2)
        hooks.append(hook(opening, long, JOINS[number % len(JOINS)], view, at, rng))
    lines = [TrueLine(one.ring_px, view.width_px, True, one.join) for one in hooks]
    size = int(columns * cell), int(math.ceil(len(asked) / columns) * cell)
    return photograph(lines, view.camera, width=size[0], height=size[1]), hooks


def misses(view: View, each: int, seed: int) -> tuple[list[Hook], Points]:
    """Give hooks and how far from each one's tip and corner a node lies, (N, 2) px."""
    grey, hooks = sheet(view, each, seed)
    strokes = strokes_in(grey)
    nodes = strokes.nodes_px[np.isin(strokes.kinds, (NodeKind.TIP, NodeKind.CORNER))]
    off = [[np.hypot(*(nodes - place).T).min() for place in (one.tip_px, one.corner_px)] for one in hooks]
    return hooks, np.minimum(off, LOST_PX)


def summed(off: Points) -> str:
    """Of tips and of corners: the middle, what one in ten is beyond, and how many are lost."""
    told = (f"{np.median(one):6.2f} {np.percentile(one, 90):6.2f} {(one > 3.0).mean():5.0%}" for one in off.T)
    return "   ".join(told)


def main() -> None:
    """Print a line for each view, opening and length."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.hooks_error", description=__doc__)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--each", type=int, default=2, metavar="N", help="hooks of each opening and length")
    parser.add_argument("--only", default="", metavar="WORD", help="views with this in their name")
    asked = parser.parse_args()
    print(f"seed {asked.seed}; tips, then corners: middle, 90 %, more than 3 px off")
    hooks: list[Hook] = []
    offs = []
    for view in views(asked.seed):
        if asked.only not in view.name:
            continue
        found, off = misses(view, asked.each, asked.seed)
        hooks += found
        offs.append(off)
        print(f"{view.name:>38} {summed(off)}", flush=True)
    off = np.concatenate(offs)
    for opening in OPENINGS_DEG:
        print(f"{opening:34d} deg {summed(off[[one.opening_deg == opening for one in hooks]])}")
    for long in LONG_WIDTHS:
        print(f"{long:31.1f} widths {summed(off[[one.long_widths == long for one in hooks]])}")
    print(f"{'all':>38} {summed(off)}")


if __name__ == "__main__":
    main()
