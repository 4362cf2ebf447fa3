"""How far acute tips are found from where their sides meet: by picture, angle, and how the pen joined the sides.

Run as `python -m benchmarks.tips_error [--seed S] [--each N] [--only WORD] [--pen JOIN]`. Blades with straight, bowed
and cambered sides are drawn at any turn by the benchmark itself, so every tip is known; errors are of the strokes'
nodes, in px. A plan is drawn with one pen or program, which joins all its lines alike: `--pen` draws such sheets;
without it each sheet holds all joins, so that no tip tells of another.
"""

import argparse
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchmarks.nodes_error import View, strokes_in, views
from benchmarks.render_lines import TrueLine, photograph
from digitize.strokes import NodeKind

Points = NDArray[np.float64]
Join = Literal["round", "mitre", "bevel"]

OPENINGS_DEG = (5, 7, 9, 12, 16, 22, 30)
JOINS: tuple[Join, ...] = ("round", "mitre", "bevel")
LEAST_LONG_PX, LONG_WIDTHS = 230.0, 34.0
WANTED_PX = 0.4
"""A tip nearer to its truth than this is as good as wanted."""

LOST_PX = 20.0
"""No node within this of a tip: it is lost, and counts as this far off."""


@dataclass(frozen=True, slots=True)
class Blade:
    """A closed outline with one acute tip: where it is, the unit way out of it along its axis, and what it is."""

    ring_px: Points
    tip_px: Points
    outward: Points
    opening_deg: int
    join: Join
    shape: str


def blade(opening_deg: int, join: Join, shape: str, long_px: float, at_px: Points, turn_rad: float) -> Blade:
    """Give a blade about a place."""
    along = np.linspace(0, long_px, 240)
    slope = math.tan(math.radians(opening_deg / 2))
    part = along / long_px
    # A section's rear: its thickness grows ever more slowly towards the nose, its middle line is an arc.
    half = slope * along * (1 - (0.3 * part if shape != "straight" else 0))
    middle = 0.06 * long_px * part * (1 - part) if shape == "cambered" else 0 * part
    ring = np.concatenate(
        [np.column_stack([along, middle + half]), np.column_stack([along, middle - half])[:0:-1]], axis=0
    ) - [long_px / 2, 0]
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    turn = np.array([[c, s], [-s, c]])
    way = np.array([-1.0, -0.06 if shape == "cambered" else 0.0])
    outward = way @ turn / np.hypot(*way)
    placed = ring @ turn + at_px
    return Blade(placed, placed[0], outward, opening_deg, join, shape)


def sheet(view: View, each: int, seed: int, joins: tuple[Join, ...] = JOINS) -> tuple[NDArray[np.uint8], list[Blade]]:
    """Give a picture of blades of every opening and of some joins, and what is true of them."""
    rng = np.random.default_rng(seed)
    long_px = max(LEAST_LONG_PX, LONG_WIDTHS * view.width_px)
    cell = long_px + 12 * view.width_px + 30
    asked = [(opening, join) for opening in OPENINGS_DEG for join in joins for _ in range(each)]
    columns = math.ceil(math.sqrt(len(asked)))
    blades = []
    for number, (opening, join) in enumerate(asked):
        row, column = divmod(number, columns)
        at = (np.array([column, row]) + 0.5) * cell + rng.uniform(-0.5, 0.5, 2)
        shape = ("straight", "bowed", "cambered")[number % each % 3]
        blades.append(blade(opening, join, shape, long_px, at, float(rng.uniform(-math.pi, math.pi))))
    lines = [TrueLine(one.ring_px, view.width_px, True, one.join) for one in blades]
    size = int(columns * cell), int(math.ceil(len(asked) / columns) * cell)
    return photograph(lines, view.camera, width=size[0], height=size[1]), blades


def misses(view: View, each: int, seed: int, joins: tuple[Join, ...] = JOINS) -> tuple[list[Blade], Points]:
    """Give blades and how far each one's node lies beyond its tip and beside it, (N, 2) px."""
    grey, blades = sheet(view, each, seed, joins)
    strokes = strokes_in(grey)
    nodes = strokes.nodes_px[np.isin(strokes.kinds, (NodeKind.TIP, NodeKind.CORNER, NodeKind.END))]
    off = []
    for one in blades:
        away = nodes - one.tip_px
        nearest = away[np.hypot(*away.T).argmin()]
        x, y = one.outward
        miss = np.array([nearest @ one.outward, nearest @ [-y, x]])
        off.append(miss if np.hypot(*miss) < LOST_PX else np.array([LOST_PX, 0.0]))
    return blades, np.array(off)


def summed(off: Points) -> str:
    """Bias and spread along, and what part is within the wanted distance."""
    far = np.hypot(*off.T)
    return (
        f"{np.sqrt((far**2).mean()):6.2f} {np.percentile(far, 95):6.2f} {(far < WANTED_PX).mean():5.0%} "
        f"{off[:, 0].mean():+6.2f} {off[:, 0].std():5.2f} {np.sqrt((off[:, 1] ** 2).mean()):5.2f}"
        f"  lost {int((far >= LOST_PX).sum())}"
    )


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.tips_error", description=__doc__)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--each", type=int, default=3, metavar="N", help="blades of each opening and join")
    parser.add_argument("--only", default="", metavar="WORD", help="views with this in their name")
    parser.add_argument("--pen", choices=JOINS, help="draw all tips with this join, three times as many")
    parser.add_argument("--worst", type=int, default=0, metavar="N", help="list the N worst of each view")
    asked = parser.parse_args()
    joins: tuple[Join, ...] = (asked.pen,) * len(JOINS) if asked.pen else JOINS
    head = f"{'':>38} {'rms':>6} {'95 %':>6} {'<0.4':>5} {'bias':>6} {'along':>5} {'aside':>5}"
    print(f"seed {asked.seed}\n{head}")
    everything: list[tuple[View, Blade]] = []
    offs = []
    for view in views(asked.seed):
        if asked.only not in view.name:
            continue
        blades, off = misses(view, asked.each, asked.seed, joins)
        offs.append(off)
        everything += [(view, one) for one in blades]
        print(f"{view.name:>38} {summed(off)}", flush=True)
        for which in np.argsort(-np.hypot(*off.T))[: asked.worst].tolist():
            one = blades[which]
            print(f"    {one.opening_deg} deg {one.join} {one.shape} at {one.tip_px.round(0)}: {off[which].round(2)}")
    off = np.concatenate(offs)
    kinds = {view.name: "bilevel" if view.camera.bilevel else view.name.split()[0] for view, _ in everything}
    for kind in dict.fromkeys(kinds.values()):
        for opening in OPENINGS_DEG:
            chosen = [kinds[view.name] == kind and one.opening_deg == opening for view, one in everything]
            print(f"{kind:>30} {opening:3d} deg {summed(off[chosen])}")
    for kind in dict.fromkeys(kinds.values()):
        for join in dict.fromkeys(joins):
            chosen = [kinds[view.name] == kind and one.join == join for view, one in everything]
            print(f"{kind:>32} {join:>5} {summed(off[chosen])}")
    for shape in sorted({one.shape for _, one in everything}):
        print(f"{shape:>38} {summed(off[[one.shape == shape for _, one in everything]])}")
    print(f"{'all':>38} {summed(off)}")


if __name__ == "__main__":
    main()
