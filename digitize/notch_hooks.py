"""Narrow hooks beside a notch: where its floor and the outline beyond share their ink all the way to their tip.

Thinning makes one line of both, from the notch's wall to the tip, and the wall seems to end on the outline. Across two
lines under their width apart lies as much more ink than across one as they are apart, whatever the blur: that gives
both sides back from the middle of their ink, the corner where the floor meets the wall, and the tip where it meets the
outline's own extension.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from digitize.centre_lines import across
from digitize.dashed_lines import sides_at
from digitize.facing_ends import Side, towards
from digitize.link_sizes import link_lengths_px
from digitize.runs import evenly_spaced
from digitize.straight_fit import Straight, straight_through
from digitize.strokes import Link, NodeKind, Strokes
from pictures.ridge import line_centres, profiles

Floats: TypeAlias = NDArray[np.float64]

LEAST_WIDTHS, MOST_WIDTHS = 1.2, 30.0
"""How long the merged ink is, in line widths: a blob on the wall's end is shorter, sides at 5 deg share as much."""

LEAST_SIDE_WIDTHS = 6.0
"""The wall and the outline are at least so long: less shows no direction."""

ALONG_COSINE = np.cos(np.radians(30))
"""The outline runs on into the hook to within this..."""

ACROSS_COSINE = np.cos(np.radians(50))
"""... and the wall stands across it at 50 deg or more."""

HIDDEN_WIDTHS, HIDDEN_PX = 1.0, 1.5
"""Nearer than this to a junction, in line widths and px of blur, ink of other lines lies across a line."""

ROUNDED_WIDTHS = 2.0
"""Thinning rounds the corner of wall and floor: so much more of the wall, in line widths, shows no direction."""

SEEN_WIDTHS = 10.0
"""So much of the outline and of the wall shows where they run."""

MERGED = 0.12, 0.92
"""Between these distances of two lines, in parts of one line's ink, the amount of ink tells how far they are apart:
nearer each other its noise does, farther apart paper shows between them."""

THINNED = 0.35
"""A mitre beyond the tip has thinned out by this part of a line's ink where it counts as ended."""

RUNS_ON_WIDTHS = 1.5
"""A round join and blur reach on for less than this, in line widths."""

STEP_PX = 0.5
"""The merged ink is looked at as often: what of it shows both sides may be 2 px long."""

FEWEST = 3
"""Places along the merged ink that show both sides."""

SHOWN_WIDTHS = 1.5
"""Less of a floor, in line widths, shows no direction: it is taken to be square to its wall, as notches are."""

FLOOR_INK = 0.5
"""Darkness everywhere on the floor found, at least, in parts of a line's."""

LEAST_TURN_SINE = np.sin(np.radians(40))
"""A floor that meets its wall at less has no corner there that can be told."""

BEYOND_WIDTHS = 2.5
"""A tip lies no farther than this beyond the skeleton's end, in line widths: a mitre's ink reaches on."""


def with_notch_hooks(strokes: Strokes, darkness: NDArray[np.uint8]) -> Strokes:
    """Give the strokes with the floor of a notch and the outline beyond it told apart in their common ink.

    Parameters
    ----------
    strokes : Strokes
        With lines that end free where two share their ink.
    darkness : (H, W) uint8
        Of the ink they were found in.

    Returns
    -------
    Strokes
        Each such end replaced by two links that meet in a tip; the wall ends on the floor.
    """
    at, lengths_px = sides_at(strokes), link_lengths_px(strokes)
    links, nodes, kinds = list(strokes.links), strokes.nodes_px.copy(), strokes.kinds.copy()
    for node, here in at.items():
        tail, *sides = sorted(here, key=lambda side: lengths_px[side >> 1])
        end = _far(strokes.links[tail >> 1], tail)
        if len(here) != 3 or len(at[end]) > 1 or sides[0] >> 1 == sides[1] >> 1:
            continue
        width_px = max(strokes.links[side >> 1].width_px for side in sides)
        is_long = lengths_px[sides[0] >> 1] > max(LEAST_SIDE_WIDTHS * width_px, lengths_px[tail >> 1])
        if not is_long or not LEAST_WIDTHS < lengths_px[tail >> 1] / width_px < MOST_WIDTHS:
            continue
        # As they are by now: a side may lead from one hook to another.
        hook = _hook(links, darkness, tail, sides)
        if hook is None:
            continue
        nodes[node], nodes[end] = hook.wall_px[0], hook.outline_px[0]
        kinds[[node, end]] = NodeKind.CORNER, NodeKind.TIP
        links[tail >> 1] = _put_in(links, hook, corner=node, tip=end)
    for node in np.flatnonzero(np.isin(strokes.kinds, (NodeKind.TIP, NodeKind.CORNER))).tolist():
        sides = at.get(node, [])
        if len(sides) != 2 or sides[0] >> 1 == sides[1] >> 1:
            continue
        hook = _hook_at_tip(links, darkness, *sides) or _hook_at_tip(links, darkness, *sides[::-1])
        if hook is None:
            continue
        corner = len(nodes)
        nodes, kinds = np.concatenate([nodes, hook.wall_px[:1]]), np.append(kinds, np.uint8(NodeKind.CORNER))
        nodes[node], kinds[node] = hook.outline_px[0], NodeKind.TIP
        links.append(_put_in(links, hook, corner=corner, tip=node))
    changed = len(nodes) > len(strokes.nodes_px) or (nodes != strokes.nodes_px).any()
    return Strokes(nodes, kinds, tuple(links)) if changed else strokes


@dataclass(frozen=True, slots=True)
class _Frame:
    """Along a hook from `at` on, square to its wall, and across it along the wall, px."""

    at: Floats
    onward: Floats
    across: Floats

    def local(self, points: Floats) -> tuple[Floats, Floats]:
        """How far along and how far across points (N, 2) lie."""
        away = points - self.at
        return away @ self.onward, away @ self.across

    def points(self, along: Floats, across: NDArray[np.floating]) -> Floats:
        """The same way back."""
        back: Floats = self.at + along[:, None] * self.onward + across[:, None] * self.across
        return back


@dataclass(frozen=True, slots=True)
class _Hook:
    """The sides of the outline's link and the wall's, and their points from the tip and from the corner on, (N, 2)."""

    outline: Side
    wall: Side
    outline_px: Floats
    wall_px: Floats


def _put_in(links: list[Link], hook: _Hook, *, corner: int, tip: int) -> Link:
    """Let the wall's link leave the corner and the outline's the tip, and give the floor from one to the other."""
    outline, wall = links[hook.outline >> 1], links[hook.wall >> 1]
    links[hook.wall >> 1] = _leaving(wall, hook.wall, corner, hook.wall_px)
    links[hook.outline >> 1] = _leaving(outline, hook.outline, tip, hook.outline_px)
    floor, _ = evenly_spaced([np.stack([hook.wall_px[0], hook.outline_px[0]])])
    return replace(outline, start=corner, end=tip, points_px=floor, gaps=0, solid_px2=0.0)


def _hook(links: Sequence[Link], darkness: NDArray[np.uint8], tail: Side, sides: list[Side]) -> _Hook | None:
    """What a line that ends free shows, where two others meet it."""
    merged = towards(links[tail >> 1], tail ^ 1)
    clear = [_clear(links, side) for side in sides]
    shown = [points[: int(SEEN_WIDTHS * links[side >> 1].width_px)] for side, points in zip(sides, clear, strict=True)]
    if min(len(points) for points in shown) < FEWEST:
        return None
    cosines = [_cosine(points[-1] - points[0], merged[-1] - merged[0]) for points in shown]
    one = int(np.argmin(cosines))
    if cosines[one] > -ALONG_COSINE or abs(cosines[1 - one]) > ACROSS_COSINE:
        return None
    width_px = links[sides[one] >> 1].width_px
    wall = clear[1 - one][int(ROUNDED_WIDTHS * width_px) :]
    parted = _parted(darkness, merged, clear[one], wall, width_px)
    return None if parted is None else _Hook(sides[one], sides[1 - one], *parted)


def _hook_at_tip(links: Sequence[Link], darkness: NDArray[np.uint8], outline: Side, other: Side) -> _Hook | None:
    """What two lines show that meet in a tip, where one of them turns close by: the floor's and the wall's in one."""
    along, turning = towards(links[outline >> 1], outline ^ 1), towards(links[other >> 1], other ^ 1)
    width_px = links[outline >> 1].width_px
    step, reach = max(int(width_px), 2), int(SEEN_WIDTHS * width_px)
    hidden = int(HIDDEN_WIDTHS * width_px + HIDDEN_PX)
    if min(len(along), len(turning)) < reach + step:
        return None
    back = along[min(3 * step, reach)] - along[0]
    ways = turning[step : reach + step] - turning[:reach]
    turned = np.flatnonzero(ways @ back < ACROSS_COSINE * np.hypot(*ways.T) * np.hypot(*back))
    if not len(turned) or turned[0] == 0:
        return None
    wall = turning[int(turned[0]) + step + hidden :]
    if len(wall) < FEWEST:
        return None
    line = straight_through(wall[:reach])
    if abs(_cosine(line.along, back)) > ACROSS_COSINE:
        return None
    square = np.array([-line.along[1], line.along[0]])
    behind = np.flatnonzero((along - line.at) @ square * np.sign(float(square @ back)) > hidden)
    if not len(behind):
        return None
    merged = along[: int(behind[0])][::-1] + line.along * width_px / 2
    parted = _parted(darkness, merged, along[int(behind[0]) :], wall, width_px)
    return None if parted is None else _Hook(outline, other, *parted)


def _cosine(one: Floats, other: Floats) -> float:
    return float(one @ other) / max(float(np.hypot(*one) * np.hypot(*other)), 1e-9)


def _parted(
    darkness: NDArray[np.uint8], merged: Floats, outline: Floats, upright: Floats, width_px: float
) -> tuple[Floats, Floats] | None:
    """The outline from its tip on and the wall from its corner on, by what lies across the ink they share.

    `merged` leads through that to the tip; `outline` and `upright`, of the wall, are told apart from all else.
    """
    shown, rest = outline[: int(SEEN_WIDTHS * width_px)], upright
    upright = upright[: int(SEEN_WIDTHS * width_px)]
    # What is merged may be a straight line of two points.
    if min(len(shown), len(upright)) < FEWEST or len(merged) < 2:
        return None
    merged, _ = evenly_spaced([merged], step_px=STEP_PX)
    wall = straight_through(upright)
    square = np.array([-wall.along[1], wall.along[0]])
    square *= np.sign(float(square @ (merged[-1] - merged[0])))
    merged = merged[(merged - wall.at) @ square > HIDDEN_WIDTHS * width_px / 2 + HIDDEN_PX]
    if len(merged) < FEWEST:
        return None
    # Looked at along the wall, its ink stays out of sight.
    frame = _Frame(merged[0], square, wall.along)
    single = line_centres(darkness, shown, across(np.gradient(shown, axis=0)), half_width_px=width_px + HIDDEN_PX)
    both = line_centres(darkness, merged, np.tile(wall.along, (len(merged), 1)), half_width_px=2 * width_px + HIDDEN_PX)
    if not single.good.any() or not both.good.any():
        return None
    full = float(both.contrast[both.good].max())
    ink_px = float(np.median(single.amount[single.good])) / full
    slope = float(np.polyfit(*frame.local(shown), 1)[0])
    # Half of what each line covers of a profile: the outline at a slant, the floor square to its wall.
    half_outline, half_floor = ink_px / 2 * np.hypot(1.0, slope), ink_px / 2
    apart_px = both.amount / full - half_outline - half_floor
    told = both.good & (apart_px > MERGED[0] * ink_px) & (apart_px < MERGED[1] * ink_px)
    # Before the widest place the skeleton crosses from one line to the other.
    told[: int(np.argmax(np.where(both.good, apart_px, 0.0)))] = False
    if np.count_nonzero(told) < FEWEST:
        return None
    along, middle = frame.local(merged[told])
    middle = middle + both.offset_px[told] + (half_outline - half_floor) / 2
    half = apart_px[told] / 2
    has_way = float(np.ptp(along)) > SHOWN_WIDTHS * width_px
    floor: Floats = np.polyfit(along, middle + half, 1 if has_way else 0)
    if not has_way:
        floor = np.array([0.0, *floor])
    far, aside = frame.local(shown)
    curve: Floats = np.polyfit(np.concatenate([far, along]), np.concatenate([aside, middle - half]), 2)
    most = float(frame.local(merged[-1:])[0][0]) + BEYOND_WIDTHS * width_px
    meet = np.roots(np.polysub(curve, np.concatenate([[0.0], floor])))
    ahead = [float(root.real) for root in meet if abs(root.imag) < 1e-9 and 0 < root.real < most]
    corner = _crossing(wall, frame, floor)
    if not ahead or corner is None:
        return None
    begin, tip = float(frame.local(corner[None])[0][0]), min(ahead)
    # Where a line goes on, its ink does not thin out as fast as the sides close.
    closing = abs(float(np.polyval(np.polyder(curve), tip)) - floor[0])
    drawn = both.good & (apart_px > -THINNED * ink_px)
    drawn[: int(np.flatnonzero(told)[-1])] = False
    ends_px = RUNS_ON_WIDTHS * width_px + (MERGED[0] + THINNED) * ink_px / max(closing, 1e-9)
    if STEP_PX * np.count_nonzero(drawn) > ends_px or tip - begin <= LEAST_WIDTHS * width_px:
        return None
    # A pen that joins lines bluntly leaves no ink at a sharp tip.
    along = np.arange(begin, tip - width_px, 1.0)
    way = frame.points(along, np.polyval(floor, along)).astype(np.float32)
    if profiles(darkness, way[:, :1], way[:, 1:]).min() < FLOOR_INK * float(np.median(single.contrast[single.good])):
        return None
    last = float(frame.local(shown[:1])[0][0])
    along = np.linspace(tip, last, max(int(np.ceil(tip - last)), 1) + 1)[:-1]
    outline_px = np.concatenate([frame.points(along, np.polyval(curve, along)), outline])
    ahead_of_corner = (rest - corner) @ wall.along > HIDDEN_WIDTHS * width_px + HIDDEN_PX
    if not ahead_of_corner.any():
        return None
    return outline_px, np.concatenate([corner[None], rest[int(np.argmax(ahead_of_corner)) :]])


def _clear(links: Sequence[Link], side: Side) -> Floats:
    """A line's points from where it is clear of a junction on, outward."""
    link = links[side >> 1]
    return towards(link, side ^ 1)[int(HIDDEN_WIDTHS * link.width_px + HIDDEN_PX) :]


def _crossing(wall: Straight, frame: _Frame, floor: Floats) -> Floats | None:
    """Where the wall's line crosses the floor's; None where they hardly do."""
    base = frame.points(np.zeros(1), floor[1:])[0]
    way = frame.onward + floor[0] * frame.across
    turn = float(wall.along[0] * way[1] - wall.along[1] * way[0])
    if abs(turn) < LEAST_TURN_SINE:
        return None
    off = float(wall.off(base[None])[0])
    crossing: Floats = base - way * off / turn
    return crossing


def _leaving(link: Link, side: Side, node: int, points: Floats) -> Link:
    """A line that leaves another node than before, over points (N, 2)."""
    return replace(link, end=node, points_px=points[::-1]) if side & 1 else replace(link, start=node, points_px=points)


def _far(link: Link, side: Side) -> int:
    return link.start if side & 1 else link.end
