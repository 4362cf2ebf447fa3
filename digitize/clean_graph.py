"""The traced graph without what thinning made up: spurs, split crossings, tails of sharp tips, nodes on plain lines."""

from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from digitize.centre_lines import Samples, line_widths
from digitize.headings import Heading, half_opening, heading, is_across, is_one_line
from digitize.line_begins import from_its_straightest, from_node_to_node
from digitize.runs import Floats, parted
from digitize.specks import faint_lines
from digitize.stroke_graph import Chains
from digitize.tails import Tail, merged_tail, shortened_tail
from digitize.thin_ends import finer_end
from digitize.turning_runs import turning_runs

SPUR_WIDTHS = 1.0
"""A branch shorter than this many line widths, plus a pixel, is a bump of the ink's edge: its tip lies within the
line's own half width of the node or little more. A drawn tick is longer."""

SPLIT_WIDTHS = 1.2
"""Two junctions closer than this many line widths are one crossing that thinning split; drawn jogs are longer."""

MERGED_WIDTHS = 12.0
"""Two lines that cross at 5 deg share their ink over this many widths; longer than that, lines run side by side."""

BLUR_PX = 1.0
"""How much farther apart than their width lines must be for paper to show between them, px."""

HOLE_WIDTHS = 1.3
"""Lines side by side and no farther apart than this many widths leave no paper between them but what noise puts
there."""

OPENS_COSINE = float(np.cos(np.radians(60)))
"""A tip's sides come from behind it, each within 60 degrees of its axis: merged ink longer than a line is wide takes
far less."""

VEE_COSINE = np.cos(np.radians(60))
"""The sides of a tip whose ink merges open at less than this; at more they meet within a line width."""

TAIL_WIDTHS = 30.0
"""Sides that meet at 5 deg, mitred, share their ink over this many widths."""

NARROWEST, WIDEST = 0.75, 1.3
"""Between these parts of its line's width a sample sees that one line alone."""


@dataclass(frozen=True, slots=True)
class Graph:
    """Lines between nodes: `lines[i]` (M, 2) runs from node `start[i]` to `end[i]`; `width_px[i]` is its ink's width.

    `tails` holds, by node, the merged part of a sharp tip. A ring has start equal to end and
    that node has no other line.
    """

    nodes_px: Floats
    lines: list[Floats]
    start: list[int]
    end: list[int]
    width_px: list[float]
    tails: dict[int, Tail]


def usual_width(widths_px: Floats, samples: Samples) -> float:
    """The picture's usual line width, px: the middle over all samples, each with its line's width."""
    counts = np.diff(samples.first)
    known = ~np.isnan(widths_px)
    if not known.any():
        return 2.0
    order = np.argsort(widths_px[known])
    total = np.cumsum(counts[known][order])
    return float(widths_px[known][order][np.searchsorted(total, total[-1] / 2)])


def clean_graph(chains: Chains, samples: Samples, *, noise: float) -> Graph:
    """Give the graph of drawn lines.

    Parameters
    ----------
    chains : Chains
        As traced from the skeleton.
    samples : Samples
        Measured along those chains, line for line.
    noise : float
        One sigma of darkness on blank paper.

    Returns
    -------
    Graph
        Its lines run through the measured centres, ends excepted.
    """
    widths = line_widths(samples)
    usual = usual_width(widths, samples)
    work = _Work(chains, samples, np.where(np.isnan(widths), usual, widths))
    for line in np.flatnonzero(faint_lines(chains, samples, usual, noise)):
        work.drop(int(line))
    work.part_finer_ends()
    work.drop_spurs()
    work.contract()
    work.close_holes()
    work.join()
    work.drop_spurs()
    work.take_tails()
    work.join()
    return work.graph()


class _Work:
    """The graph while it is cleaned: nodes, and lines that come and go."""

    def __init__(self, chains: Chains, samples: Samples, widths: Floats) -> None:
        self.nodes = chains.nodes_px.copy()
        self.start = chains.start.tolist()
        self.end = chains.end.tolist()
        first = samples.first
        self.lines = parted(samples.points_px, first)
        self.ink = parted(samples.width_px, first)
        self.good = parted(samples.good, first)
        self.dark = parted(samples.contrast, first)
        self.amount = parted(samples.amount, first)
        self.normals = parted(samples.normals, first)
        self.thought = parted(samples.thought_px, first)
        self.width: list[float] = widths.tolist()
        self.at: dict[int, set[int]] = {}
        for line, (a, b) in enumerate(zip(self.start, self.end, strict=True)):
            self.at.setdefault(a, set()).add(line)
            self.at.setdefault(b, set()).add(line)
        ends = np.array(self.start + self.end, dtype=np.int64)
        self.degree: list[int] = np.bincount(ends, minlength=len(self.nodes)).tolist()
        self.alive = set(range(len(self.start)))
        self.tails: dict[int, Tail] = {}
        self.two_pens: set[int] = set()
        steps = np.hypot(*np.diff(samples.points_px, axis=0).T)
        self.length = [float(steps[a : b - 1].sum()) for a, b in pairwise(samples.first.tolist())]

    def stores(self) -> tuple[list[NDArray[Any]], ...]:
        """Everything that is known along lines, each as a list by line."""
        return self.lines, self.ink, self.good, self.dark, self.amount, self.normals, self.thought

    def ends_at(self, node: int) -> int:
        """How many line ends meet at a node; a line that returns to it counts twice."""
        return self.degree[node]

    def drop(self, line: int) -> None:
        self.alive.discard(line)
        for node in (self.start[line], self.end[line]):
            self.at[node].discard(line)
            self.degree[node] -= 1

    def part_finer_ends(self) -> None:
        """Give finer lines that thinning has led on from the ends of others a node there."""
        for line in sorted(self.alive):
            for at_end in (False, True):
                node, other = (self.start[line], self.end[line])[:: -1 if at_end else 1]
                # What leads from a junction to a free end nearby may be a mitred tip's merged ink and its spike.
                is_tail = self.ends_at(other) > 2 and self.length[line] < TAIL_WIDTHS * (self.width[line] + BLUR_PX)
                if self.ends_at(node) != 1 or is_tail:
                    continue
                way = slice(None, None, -1) if at_end else slice(None)
                count = finer_end(self.ink[line][way], self.good[line][way], self.width[line])
                if count is not None:
                    line = self.part(line, len(self.lines[line]) - 1 - count if at_end else count, finer_last=at_end)

    def part(self, line: int, at: int, *, finer_last: bool) -> int:
        """Make two lines of one that meet at a sample, the node of two pens, and give the wider one's number."""
        node, whole = len(self.nodes), len(self.lines)
        self.nodes = np.vstack([self.nodes, self.lines[line][at]])
        self.degree.append(0)
        self.at[node] = set()
        self.two_pens.add(node)
        for store in self.stores():
            store += [store[line][: at + 1], store[line][at:]]
        finer = whole + finer_last
        own = self.ink[finer][self.good[finer]]
        for number, (start, end) in enumerate([(self.start[line], node), (node, self.end[line])], start=whole):
            self.start.append(start)
            self.end.append(end)
            self.width.append(float(np.median(own)) if number == finer else self.width[line])
            self.length.append(float(np.hypot(*np.diff(self.lines[number], axis=0).T).sum()))
            self.alive.add(number)
            for place in (start, end):
                self.at[place].add(number)
                self.degree[place] += 1
        self.drop(line)
        return whole + 1 - finer_last

    def drop_spurs(self) -> None:
        """Shortest first, and again, as a node with two of three branches left is none any more."""
        for line in sorted(self.alive, key=lambda line: (self.length[line], line)):
            ends = (self.ends_at(self.start[line]), self.ends_at(self.end[line]))
            if min(ends) != 1 or max(ends) < 3:
                continue
            node = self.start[line] if ends[0] > 1 else self.end[line]
            if self.length[line] < SPUR_WIDTHS * self.width_at(node, line) + 1:
                self.drop(line)

    def width_at(self, node: int, but: int) -> float:
        """Width of the lines that meet at a node, px: the middle of those long enough to show it."""
        others = self.widths_at(node, but)
        return others[len(others) // 2] if others else self.width[but]

    def widths_at(self, node: int, but: int) -> list[float]:
        """Widths of the other lines at a node that are long enough to show them, px, thinnest first."""
        return sorted(
            self.width[line] for line in self.at[node] if line != but and self.length[line] > 2 * self.width[line]
        )

    def contract(self) -> None:
        """Make junctions one that share their ink."""
        for line in sorted(self.alive, key=lambda line: (self.length[line], line)):
            if line not in self.alive:
                continue
            a, b = self.start[line], self.end[line]
            if a == b:
                if self.ends_at(a) > 2 and self.is_hole(line, self.rim_width(a, line)):
                    self.drop(line)
                continue
            if self.ends_at(a) < 3 or self.ends_at(b) < 3:
                continue
            width = max(self.width_at(a, line), self.width_at(b, line))
            merged = self.length[line] < MERGED_WIDTHS * (width + BLUR_PX)
            # A thin centre line between two thicker ones is seen alone at its own width, and so is the outline where
            # two thin ones cross it.
            thickest = min(max(self.widths_at(node, line), default=width) for node in (a, b))
            alone = (width, min(width, self.width[line]), thickest)
            merged = merged and not any(self.clear(line, own).any() for own in alone)
            merged = merged and not self.is_rung(line, width)
            if self.length[line] < SPLIT_WIDTHS * width + 1 or merged or self.crosses(line, width):
                self.unite(a, b, line)

    def is_rung(self, line: int, width: float) -> bool:
        """Whether a link joins two lines that each run straight past its end: too short to be seen alone, yet drawn.

        Merged ink of two lines lies along both of them, never across.
        """
        rung = self.nodes[self.end[line]] - self.nodes[self.start[line]]
        for node in (self.start[line], self.end[line]):
            ways = [self.heading(one, node) for one in self.at[node] if one != line]
            if not any(
                is_one_line(one, other, 0.0, width) and is_across(one, rung) for one, other in combinations(ways, 2)
            ):
                return False
        return True

    def close_holes(self) -> None:
        """Make one line of two between the same nodes that lie side by side: noise opened a hole in merged ink."""
        pairs: dict[tuple[int, int], list[int]] = {}
        for line in sorted(self.alive):
            a, b = sorted((self.start[line], self.end[line]))
            if a != b:
                pairs.setdefault((a, b), []).append(line)
        for (a, b), lines in pairs.items():
            lines.sort(key=lambda line: (self.length[line], line))
            for one, other in pairwise(lines):
                width = max(self.rim_width(node, line) for node, line in ((a, one), (b, one), (a, other), (b, other)))
                middles = [self.lines[line][len(self.lines[line]) // 2] for line in (one, other)]
                apart = float(np.hypot(*(middles[0] - middles[1])))
                if self.length[other] < MERGED_WIDTHS * width and apart < HOLE_WIDTHS * width + 1:
                    self.drop(other)
        for line in sorted(self.alive):
            node = self.start[line]
            if self.end[line] == node and self.ends_at(node) > 2 and self.is_hole(line, self.rim_width(node, line)):
                self.drop(line)

    def rim_width(self, node: int, line: int) -> float:
        """Width of the lines in whose ink there may be a hole that a line runs around, from a node, px.

        Where just one more ends at the node, it is the merged tip of a slender outline, wider than the outline itself.
        """
        width = self.width_at(node, line)
        return min(width, self.width[line]) if self.ends_at(node) == 3 else width

    def is_hole(self, line: int, width: float) -> bool:
        """Whether a line that returns to a node where others meet runs around a hole in their merged ink.

        Both ends of the hole have become one node; its two sides are the two halves of the line.
        """
        if self.length[line] < 2 * SPLIT_WIDTHS * width + 2:
            return True
        if self.length[line] > 2 * MERGED_WIDTHS * width:
            return False
        points = self.lines[line]
        half = len(points) // 2
        apart = np.hypot(*(points[:half] - points[::-1][:half]).T)
        return bool(apart.max(initial=0) < HOLE_WIDTHS * width + 1) or not self.clear(line, width).any()

    def crosses(self, line: int, width: float) -> bool:
        """Whether the four lines at a link's two ends are two that run straight through each other along it."""
        a, b = self.start[line], self.end[line]
        before, after = sorted(self.at[a] - {line}), sorted(self.at[b] - {line})
        if len(before) != 2 or len(after) != 2 or self.length[line] > MERGED_WIDTHS * (width + BLUR_PX):
            return False
        if set(before) & set(after):
            # A line from one end to the other is the other half of a ring, not a line that runs through.
            return False
        ways = [self.heading(one, a) for one in before], [self.heading(one, b) for one in after]
        for order in ((0, 1), (1, 0)):
            if all(
                is_one_line(ways[0][one], ways[1][other], self.length[line], width)
                for one, other in zip((0, 1), order, strict=True)
            ):
                return True
        return False

    def heading(self, line: int, node: int) -> Heading | None:
        """Where a line is heading as it leaves a node; None where it is seen clearly on too little of its way."""
        clear, points = self.clear(line, self.width[line]), self.lines[line]
        if self.end[line] == node:
            clear, points = clear[::-1], points[::-1]
        return heading(points, clear, self.width[line])

    def ring_opening(self, line: int) -> float:
        """At what angle a ring's ends leave their node, as `half_opening`."""
        clear, points, width = self.clear(line, self.width[line]), self.lines[line], self.width[line]
        return half_opening(heading(points, clear, width), heading(points[::-1], clear[::-1], width))

    def clear(self, line: int, width: float) -> NDArray[np.bool_]:
        """Which samples of a line see it alone: of its own width, and not beside its ends."""
        clear = self.good[line] & (self.ink[line] > NARROWEST * width) & (self.ink[line] < WIDEST * width)
        beside = min(int(0.7 * width + 1.5), len(clear) // 2)
        clear[:beside] = False
        clear[len(clear) - beside :] = False
        return clear

    def unite(self, a: int, b: int, line: int) -> None:
        self.drop(line)
        self.nodes[a] = (self.nodes[a] + self.nodes[b]) / 2
        for other in list(self.at[b]):
            if self.start[other] == b:
                self.start[other] = a
            if self.end[other] == b:
                self.end[other] = a
            self.at[a].add(other)
        self.at[b] = set()
        self.degree[a] += self.degree[b]
        self.degree[b] = 0

    def take_tails(self) -> None:
        """A branch that is too wide all along, beside two lines that open like a V, is where those have merged."""
        for line in sorted(self.alive):
            ends = (self.ends_at(self.start[line]), self.ends_at(self.end[line]))
            if min(ends) != 1 or max(ends) != 3:
                continue
            node = self.start[line] if ends[0] == 3 else self.end[line]
            width = self.width_at(node, line)
            if self.length[line] > TAIL_WIDTHS * (width + BLUR_PX):
                continue
            order = slice(None) if ends[0] == 3 else slice(None, None, -1)
            tail = self.tail(node, line, order, width)
            if tail is not None:
                self.drop(line)
                self.tails[node] = tail

    def tail(self, node: int, line: int, order: slice, width: float) -> Tail | None:
        """A branch's merged ink, between the two sides that meet it at a node."""
        sides = sorted(self.at[node] - {line})
        clear = [self.amount[side][self.clear(side, self.width[side])] for side in sides]
        if min(len(one) for one in clear) < 4 or len(self.lines[line]) < 4:
            return None
        ways = [self.heading(side, node) for side in sides]
        if len(sides) == 2 and (ways[0] is None or ways[1] is None or ways[0].way @ ways[1].way < VEE_COSINE):
            return None
        onward = self.lines[line][order][-1] - self.lines[line][order][0]
        onward = onward / max(float(np.hypot(*onward)), 1e-9)
        if any(leaving is not None and leaving.way @ onward > -OPENS_COSINE for leaving in ways):
            # A line across, a circle on a centre line for one, does not come from behind.
            return None
        found = merged_tail(
            self.lines[line][order],
            self.normals[line][order],
            self.amount[line][order],
            self.dark[line][order],
            single=float(np.median(np.concatenate(clear))),
            width_px=width,
            opening=half_opening(*ways) if len(sides) == 2 else self.ring_opening(sides[0]),
        )
        if found is None or len(sides) != 2 or ways[0] is None or ways[1] is None:
            return found
        a, b = ((side.middle_px, side.way) for side in ways if side is not None)
        return shortened_tail(found, a, b, onward=onward, width_px=width)

    def join(self) -> None:
        """Make one line of two that meet at a node where nothing else does."""
        for node in sorted(self.at):
            lines = sorted(self.at[node])
            if len(lines) != 2 or node in self.tails or node in self.two_pens:
                continue
            one, two = lines
            if self.start[one] == self.end[one] or self.start[two] == self.end[two]:
                continue
            before = self.turned(one, self.end[one] == node)
            after = self.turned(two, self.start[two] == node)
            whole = len(self.lines)
            for number, store in enumerate(self.stores()):
                store.append(np.concatenate([before[0][number][:-1], after[0][number]]))
            longer = one if self.length[one] >= self.length[two] else two
            self.width.append(self.width[longer])
            self.length.append(self.length[one] + self.length[two])
            self.start.append(before[1])
            self.end.append(after[2])
            self.drop(one)
            self.drop(two)
            self.alive.add(whole)
            for end in (before[1], after[2]):
                self.at[end].add(whole)
                self.degree[end] += 1

    def turned(self, line: int, forward: bool) -> tuple[list[NDArray[Any]], int, int]:
        """A line's arrays and its nodes, in its own direction or the other."""
        arrays = [store[line] for store in self.stores()]
        if forward:
            return arrays, self.start[line], self.end[line]
        return [array[::-1] for array in arrays], self.end[line], self.start[line]

    def between_nodes(self, line: int) -> Floats:
        """A line's good samples from node to node, without those that other lines' ink at the nodes has led astray."""
        good = self.good[line]
        a, b = self.start[line], self.end[line]
        is_ring = a == b and self.ends_at(a) == 2 and a not in self.tails
        wide = self.ink[line] > WIDEST * self.width[line] + 0.3
        turning = turning_runs(self.thought[line], wide, width_px=self.width[line], is_ring=is_ring)
        points = np.where(turning[:, None], self.thought[line], self.lines[line])
        if is_ring:
            ring = from_its_straightest(points[good] if good.any() else points, self.width[line])
            self.nodes[a] = ring[0]
            return np.concatenate([ring, ring[:1]])
        meets = self.ends_at(a) > 1, self.ends_at(b) > 1
        return from_node_to_node(points, good, self.nodes[[a, b]], meets=meets, width_px=self.width[line])

    def graph(self) -> Graph:
        kept = sorted(self.alive)
        used = sorted({node for line in kept for node in (self.start[line], self.end[line])})
        lines = [self.between_nodes(line) for line in kept]
        number = {node: index for index, node in enumerate(used)}
        return Graph(
            self.nodes[used],
            lines,
            [number[self.start[line]] for line in kept],
            [number[self.end[line]] for line in kept],
            [self.width[line] for line in kept],
            {number[node]: tail for node, tail in self.tails.items() if node in number},
        )
