"""Corners of dashed outlines on lines whose other gaps the picture has closed: lines that end in a hook.

In a coarse picture the ink of dashes nearly runs together, and some gaps are left while others are not. A corner's
piece is then the end of a long line: a short arm beyond a bend that thinning has rounded off, too short to show that
it points at the line across the gap, or in a sharp corner no arm at all. Where both lines would cross shows the corner,
and the ink there its arm.
"""

from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.dash_corners import ARM_WIDTHS, ASIDE_PX, ASIDE_WIDTHS, LEAST_ARM_WIDTHS, TURNS
from digitize.dashed_lines import over_gaps, sides_at
from digitize.facing_ends import MOST_WIDTHS, Side, clear_of_lines, facing_sides, free_sides, towards
from digitize.link_sizes import link_lengths_px
from digitize.straight_fit import fit_straight
from digitize.strokes import Link, NodeKind, Strokes
from pictures.ridge import profiles

Floats: TypeAlias = NDArray[np.float64]

HOOK_WIDTHS = 6.0
"""A hook's arm is no longer than this, in line widths: it would show its own direction."""

BEND_WIDTHS = 3.0
"""Within this of a bend, in line widths, thinning has pulled a line out of its way."""

BODY_WIDTHS = 4.0, 12.0
"""The line before a hook is straight over the first of these, and its direction is that of the second."""

LEAST_HOOK_WIDTHS = 0.7
"""A hook's end lies this far from its own line: free ends of straight lines lie on it to a third of a width."""

LEAST_ARM_SEEN_WIDTHS, BLUR_PX = 1.0, 1.0
"""An arm that thinning left nothing of shows in the ink for so many line widths beyond the line it begins at, whose
sides blur by so much."""

BOW_WIDTHS = 0.4
"""A straight line keeps to its chord within this, over those widths."""


LEAST_PX = 2.0
"""A line thinner than this, px, wanders on the steps of the picture as one of this width does."""

CORNER_DARK = 0.5
"""The corner and the arm are at least so dark, in parts of what the line before them is."""


def with_hooked_ends(strokes: Strokes, lettering: NDArray[np.bool_], darkness: NDArray[np.uint8]) -> Strokes:
    """Give the strokes with the hooks at line ends put right where another line's end points along them.

    The hook becomes a corner where the two lines cross, and an arm from there that points at the other's end.

    Parameters
    ----------
    strokes : Strokes
        Before any gap is bridged.
    lettering : (L,) array of bool
        Links that are lettering: no end of these is looked at.
    darkness : (H, W) uint8
        Of the ink: the corner and the arm are drawn.
    """
    sides = free_sides(strokes, lettering)
    if not sides:
        return strokes
    found = _found(strokes, sides, lettering, darkness)
    if not found:
        return strokes
    # Most pictures have no hook: which ends face each other is asked where one has.
    over = over_gaps(clear_of_lines(strokes, facing_sides(strokes, sides)))
    kept: list[_Corner] = []
    taken = set(over)
    for corner in sorted(found, key=lambda one: one.aside_px):
        ends = {corner.hook.side, corner.line.side}
        if not taken & ends:
            kept.append(corner)
            taken |= ends
    return _replaced(strokes, kept) if kept else strokes


def _found(
    strokes: Strokes, sides: list[Side], lettering: NDArray[np.bool_], darkness: NDArray[np.uint8]
) -> list["_Corner"]:
    """Where lines whose ends point along hooks would cross the hooks' own."""
    at = sides_at(strokes)
    tree = cKDTree([towards(strokes.links[side >> 1], side)[-1] for side in sides])
    found = []
    for here in at.values():
        side = here[0]
        link = strokes.links[side >> 1]
        if len(here) > 1 or lettering[side >> 1]:
            continue
        reach_px = MOST_WIDTHS * max(link.width_px, LEAST_PX)
        near = [sides[n] for n in sorted(tree.query_ball_point(towards(link, side)[-1], reach_px)) if sides[n] != side]
        hook = _hook(strokes, side, at) if near else None
        if hook is None:
            continue
        lines = [_straight(strokes, other) for other in near if other >> 1 not in hook.arm]
        found += _corners(hook, [line for line in lines if line is not None], darkness)
    return found


@dataclass(frozen=True, slots=True)
class _End:
    """A straight line's free end: where it is and which way it points."""

    side: Side
    end_px: Floats
    way: Floats


@dataclass(frozen=True, slots=True)
class _Hook:
    """A free end off its line: the arm's links, the line's own side there, where that is straight to and whither.

    `end_px` is the arm's end, None where the line ends without one: then it has to be looked for in the ink.
    """

    side: Side
    arm: frozenset[int]
    body: Side
    base_px: Floats
    way: Floats
    arm_px: Floats
    end_px: Floats | None
    width_px: float


@dataclass(frozen=True, slots=True)
class _Corner:
    """Where another line would cross a hook's: there, how far the arm is drawn from it, how far its ink strays."""

    hook: _Hook
    line: _End
    at_px: Floats
    drawn_px: float
    aside_px: float


def _hook(strokes: Strokes, side: Side, at: dict[int, list[Side]]) -> _Hook | None:
    lengths_px = link_lengths_px(strokes)
    arm: list[int] = []
    body = side
    while lengths_px[body >> 1] < HOOK_WIDTHS * strokes.links[body >> 1].width_px:
        arm.append(body >> 1)
        link = strokes.links[body >> 1]
        others = [one for one in at[link.start if body & 1 else link.end] if one >> 1 != body >> 1]
        if len(others) != 1 or others[0] >> 1 in arm:
            return None
        body = others[0]
    width_px = max(strokes.links[body >> 1].width_px, LEAST_PX)
    points = towards(strokes.links[body >> 1], body)
    kept = len(points) - round(BEND_WIDTHS * width_px)
    straight = points[max(0, kept - round(BODY_WIDTHS[1] * width_px)) : max(kept, 0)]
    if len(straight) < BODY_WIDTHS[0] * width_px:
        return None
    line = fit_straight(straight, np.ones(len(straight)))
    end = towards(strokes.links[side >> 1], side)[-1]
    bow_px, aside_px = float(np.abs(line.off(straight)).max()), float(np.abs(line.off(end[None])).max())
    bare = aside_px < LEAST_HOOK_WIDTHS * width_px
    if bow_px > BOW_WIDTHS * width_px or (bare and arm):
        return None
    base = line.foot(straight[-1])
    arms = [points[kept:], *(strokes.links[one].points_px for one in arm)]
    return _Hook(side, frozenset(arm), body, base, line.along, np.concatenate(arms), None if bare else end, width_px)


def _straight(strokes: Strokes, side: Side) -> _End | None:
    link = strokes.links[side >> 1]
    width_px = max(link.width_px, LEAST_PX)
    points = towards(link, side)[-round(BODY_WIDTHS[1] * width_px) :]
    if len(points) < 3:
        return None
    line = fit_straight(points, np.ones(len(points)))
    if float(np.abs(line.off(points)).max()) > BOW_WIDTHS * width_px:
        return None
    return _End(side, line.foot(points[-1]), line.along)


def _corners(hook: _Hook, lines: list[_End], darkness: NDArray[np.uint8]) -> list[_Corner]:
    """Where lines whose extensions run along a hook's arm cross the hook's own."""
    found = []
    for line in lines:
        if not TURNS[0] < -float(line.way @ hook.way) < TURNS[1]:
            continue
        far = np.linalg.solve(np.column_stack([line.way, -hook.way]), hook.base_px - line.end_px)
        at = line.end_px + far[0] * line.way
        drawn = _seen_px(darkness, hook, line, at) if hook.end_px is None else float((at - hook.end_px) @ line.way)
        # The arm's end lies between the corner and the other line's end.
        if not (0 < far[1] < (BEND_WIDTHS + HOOK_WIDTHS) * hook.width_px and 0 < drawn < far[0]):
            continue
        path = shapely.LineString([line.end_px, at, hook.base_px])
        aside = float(shapely.distance(path, shapely.points(hook.arm_px)).max())
        is_near = far[0] > LEAST_ARM_WIDTHS * hook.width_px and aside < ASIDE_WIDTHS * hook.width_px + ASIDE_PX
        if is_near and _is_drawn(darkness, hook, at, at - drawn * line.way):
            found.append(_Corner(hook, line, at, drawn, aside))
    return found


def _seen_px(darkness: NDArray[np.uint8], hook: _Hook, line: _End, corner: Floats) -> float:
    """How far ink runs from a corner towards a line's end, px; 0 where that is no more than the hook's own line."""
    sine = abs(float(line.way[0] * hook.way[1] - line.way[1] * hook.way[0]))
    beside_px = (hook.width_px / 2 + BLUR_PX) / sine + LEAST_ARM_SEEN_WIDTHS * hook.width_px
    along = np.arange(0.0, float((corner - line.end_px) @ line.way), 0.5)
    before = hook.base_px - np.linspace(0, 1, PLACES)[:, None] * BEND_WIDTHS * hook.width_px * hook.way
    places = np.concatenate([before, corner - along[:, None] * line.way])
    dark = profiles(darkness, places[:, 0].astype(np.float32), places[:, 1].astype(np.float32))
    pale = np.flatnonzero(dark[PLACES:] <= CORNER_DARK * np.median(dark[:PLACES]))
    seen_px = float(along[pale[0] - 1]) if len(pale) and pale[0] else 0.0
    return seen_px if seen_px >= beside_px else 0.0


def _is_drawn(darkness: NDArray[np.uint8], hook: _Hook, corner: Floats, end: Floats) -> bool:
    """Whether ink runs round a corner to an arm's end, as dark as a hook's line; that may have gaps of its own."""
    part = np.linspace(0, 1, PLACES)[:, None]
    before = hook.base_px - part * BEND_WIDTHS * hook.width_px * hook.way
    places = np.concatenate([before, corner - part * hook.width_px * hook.way, corner + part * (end - corner)])
    dark = profiles(darkness, places[:, 0].astype(np.float32), places[:, 1].astype(np.float32))
    return bool(dark[PLACES:].min() > CORNER_DARK * np.median(dark[:PLACES]))


PLACES = 9
"""Places along a line where its ink is looked at."""


def _replaced(strokes: Strokes, found: list[_Corner]) -> Strokes:
    links = list(strokes.links)
    gone: set[int] = set()
    nodes, kinds = [*strokes.nodes_px], strokes.kinds.tolist()
    for one in found:
        hook, line, at = one.hook, one.line, one.at_px
        gone |= hook.arm
        corner = len(nodes)
        nodes.append(at)
        kinds.append(NodeKind.CORNER)
        body = links[hook.body >> 1]
        # A line with a hook at both ends may have been cut at its other end already: it is kept by distance.
        points = towards(body, hook.body)
        points = points[((points - hook.base_px) @ hook.way <= 0) | (np.arange(len(points)) < len(points) // 2)]
        count = max(int(np.ceil(np.hypot(*(at - points[-1])))), 1)
        points = np.concatenate([points, points[-1] + (at - points[-1]) * (np.arange(1, count + 1) / count)[:, None]])
        if hook.body & 1:
            links[hook.body >> 1] = replace(body, end=corner, points_px=points)
        else:
            links[hook.body >> 1] = replace(body, start=corner, points_px=points[::-1])
        far = float(np.hypot(*(at - line.end_px)))
        arm = min(max(one.drawn_px, ARM_WIDTHS * hook.width_px), 0.9 * far)
        count = max(int(np.ceil(arm)), 3)
        arm_points = at - line.way * np.linspace(arm, 0, count + 1)[:, None]
        links.append(Link(len(nodes), corner, arm_points, body.sigma_px, body.width_px))
        nodes.append(arm_points[0])
        kinds.append(NodeKind.END)
    links = [link for which, link in enumerate(links) if which not in gone]
    used = np.unique(np.array([node for link in links for node in (link.start, link.end)], dtype=np.int64))
    number = {int(node): at for at, node in enumerate(used)}
    links = [replace(link, start=number[link.start], end=number[link.end]) for link in links]
    return Strokes(np.array(nodes)[used], np.array(kinds, dtype=np.uint8)[used], tuple(links))
