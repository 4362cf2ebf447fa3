"""Sharp tips on a line that runs through them: ribs drawn on a common datum."""

import math
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from digitize.runs import lengths_along
from digitize.straight_fit import straight_through
from digitize.strokes import Link, NodeKind, Strokes

Floats = NDArray[np.float64]

FREE_WIDTHS = 1.6
"""A side is measured where its middle is this far from the line through the tip: nearer, the ink of both has merged."""

FIT_PX = 40.0
"""Length of a side that its direction is taken from: shorter is noise, longer bends."""

LEAST_PX = 12.0
"""A side that is free of the line for less than this has no direction to go by."""

SPARED_WIDTHS = 2.0
"""The first of the free stretch still leans towards the merged ink."""

STRAIGHT_WIDTHS = 0.25
"""How far a side may leave its straight line: a section's rear bows by a tenth of a width in 40 px."""

ASTRAY_WIDTHS = 0.12
"""Points of a side farther from its straight line than this are led astray; noise and bend stay well below."""

LED_WIDTHS = 4.0
"""Merged ink, even that of a line with gaps, leads a side aside by three widths at most. A blunt nose on the line leads
away by more: straight sides farther back meet far ahead of it."""

LEAST_RAD = np.radians(4)
"""Sides that meet at less have their crossing anywhere."""

ACUTE_RAD = np.radians(40)
"""Sides that open wider leave a junction where they meet, and need no help."""

AHEAD_WIDTHS = (1.5, 40.0)
"""How far ahead of the junction the tip may lie, in line widths: the merged ink of an 8 degree tip is 14 long."""

ASIDE_WIDTHS = 0.8
"""The sides meet on the line to within this, or it is another line's crossing."""

BEHIND_RAD = np.radians(60)
"""Sides that plainly come in wider than this are no tip's, and need no measuring; near the node a side may wander."""


IN_INK = 0.85
"""So much of a side's way on to its tip is inked: the merged ink of sides and line, but for that line's gaps."""

OF_OWN_DARKNESS = 0.4
"""That is, at least this part as dark, next to it, as the side is where it is free: half a width beside a line's middle
it is half as dark, and a little less where lines are thin."""

ONE_PEN, ONE_PEN_PX = 1.5, 0.5
"""A tip's sides are drawn with one pen, and their widths told to half a px. Ink so much wider than another side's is
that of two lines that run together: where these part is no tip, and the straight line of one's middle is that of
neither."""

MOST_MET = 5
"""Where more links meet there is no tip: a line's two ways on, both sides, and one line more make five."""


def with_crossed_tips(strokes: Strokes, darkness: NDArray[np.uint8]) -> Strokes:
    """Give the strokes with each sharp tip on a line moved from where ink merges to where its sides meet.

    At such a junction two sides, one from either side of the line, come in at an acute angle; their
    extensions run through ink, `darkness` (H, W) as in `Ink`, and meet farther on, upon that line. The line then passes
    the junction by, and is cut at the tip.
    """
    met = _links_at(strokes)
    for node in np.flatnonzero(strokes.kinds == NodeKind.JUNCTION).tolist():
        if not 3 <= len(met[node]) <= MOST_MET:
            continue
        mended = _mended(strokes, node, met, darkness)
        if mended is not strokes:
            # A tip was put in, which cuts a line: rare, so all are told anew.
            strokes, met = mended, _links_at(mended)
    return strokes


def _links_at(strokes: Strokes) -> list[list[int]]:
    """The links that meet at each node; a ring closed there counts once."""
    met: list[list[int]] = [[] for _ in range(len(strokes.nodes_px))]
    for which, link in enumerate(strokes.links):
        for node in {link.start, link.end}:
            met[node].append(which)
    return met


@dataclass(frozen=True, slots=True)
class _Arm:
    """A way that leads away from a junction: a link there, or one (`side`) beyond a short link (`by`) of merged ink.

    `points_px` run outward from the junction; `foot` is the node that the side itself leaves from; `back_px` is the way
    to the junction from a point near it.
    """

    side: int
    by: int | None
    foot: int
    points_px: Floats
    back_px: tuple[float, float]


def _arm(side: int, by: int | None, foot: int, points_px: Floats) -> _Arm:
    (x0, y0), (x1, y1) = points_px[0].tolist(), points_px[min(len(points_px) - 1, int(FIT_PX))].tolist()
    return _Arm(side, by, foot, points_px, (x0 - x1, y0 - y1))


def _mended(strokes: Strokes, node: int, met: list[list[int]], darkness: NDArray[np.uint8]) -> Strokes:
    at = met[node]
    if any(strokes.links[which].start == strokes.links[which].end for which in at):
        return strokes
    arms = [_arm(which, None, node, _outward(strokes.links[which], node)) for which in at]
    beyond = [arm for which in at for arm in _arms_beyond(strokes, node, which, met)]
    tips = []
    for one, other in combinations([*arms, *beyond], 2):
        used = {one.side, one.by, other.side, other.by}
        if one.by is not None and one.by == other.by:
            continue
        width_px, other_px = strokes.links[one.side].width_px, strokes.links[other.side].width_px
        if max(width_px, other_px) > ONE_PEN * min(width_px, other_px) + ONE_PEN_PX:
            continue
        for onward in arms:
            if onward.side in used or not _from_behind(one, other, onward.points_px, width_px):
                continue
            # What else meets at the feet of the sides is no side: the line itself, from behind.
            rest = [arm for arm in arms if arm.side not in used]
            rest += [arm for arm in beyond if arm.by in used and arm.side not in used]
            # Each link once: ways on from the end of a short link have that link in common.
            links = sorted({link for arm in rest for link in (arm.side, arm.by) if link is not None})
            through = np.concatenate([strokes.links[link].points_px for link in links])
            found = _tip(one.points_px, other.points_px, onward.points_px, through, width_px)
            if found is not None and _is_drawn(found, darkness):
                tips.append(((one, other), onward.side, found))
    if not tips:
        return strokes
    # The line comes in between its tip's sides: the two that open widest are these, not the line and one of them.
    sides, onward_link, tip = min(tips, key=lambda one: float(one[2].sides[0].way @ one[2].sides[1].way))
    return _moved(strokes, node, sides, onward_link, tip, met)


def _arms_beyond(strokes: Strokes, node: int, by: int, met: list[list[int]]) -> list[_Arm]:
    """The ways on from the far end of a short link: the ink of a line and of one side may merge before the other's."""
    link = strokes.links[by]
    first = _outward(link, node)
    if len(first) > AHEAD_WIDTHS[1] * link.width_px:
        return []
    far = link.end if link.start == node else link.start
    if len(met[far]) > MOST_MET:
        return []
    arms = []
    for which in met[far]:
        other = strokes.links[which]
        if which == by or node in (other.start, other.end) or other.start == other.end:
            continue
        arms.append(_arm(which, by, far, np.concatenate([first, _outward(other, far)[1:]])))
    return arms


def _from_behind(one: _Arm, other: _Arm, onward: Floats, width_px: float) -> bool:
    """Whether both sides may come in at an acute angle on the line that runs on: a first look, two points a side."""
    (x0, y0), (x1, y1) = onward[0].tolist(), onward[min(len(onward) - 1, int(6 * width_px))].tolist()
    ahead_x, ahead_y = x1 - x0, y1 - y0
    least = math.cos(BEHIND_RAD) * math.hypot(ahead_x, ahead_y)
    for back_x, back_y in (one.back_px, other.back_px):
        if back_x * ahead_x + back_y * ahead_y < least * math.hypot(back_x, back_y):
            return False
    return True


def _outward(link: Link, node: int) -> Floats:
    return link.points_px if link.start == node else link.points_px[::-1]


@dataclass(frozen=True, slots=True)
class _Side:
    """A side's free stretch: its middle, its direction towards the node, and on which side of the line it lies."""

    middle_px: Floats
    way: Floats
    across: float

    def off_px(self, points_px: Floats) -> Floats:
        """Distances of (N, 2) points from the side's straight line."""
        away = points_px - self.middle_px
        off: Floats = np.abs(away[:, 0] * self.way[1] - away[:, 1] * self.way[0])
        return off


@dataclass(frozen=True, slots=True)
class _Tip:
    """Where two sides meet, and the place on the line through it that is nearest."""

    at_px: Floats
    nearest: int
    sides: tuple[_Side, _Side]


def _tip(one: Floats, other: Floats, onward: Floats, through: Floats, width_px: float) -> _Tip | None:
    """The crossing of two sides' extensions upon a line; None where this is no such tip."""
    axis = onward[min(len(onward) - 1, int(6 * width_px))] - onward[0]
    reach = float(np.hypot(*axis))
    if reach < AHEAD_WIDTHS[0] * width_px:
        return None
    axis = axis / reach
    # From either side of the line, and each coming from behind.
    a = _side(one, through, axis, width_px)
    if a is None or a.way @ axis < np.cos(ACUTE_RAD):
        return None
    b = _side(other, through, axis, width_px)
    if b is None or b.way @ axis < np.cos(ACUTE_RAD) or a.across * b.across >= 0:
        return None
    cross = float(a.way[0] * b.way[1] - a.way[1] * b.way[0])
    if abs(cross) < np.sin(LEAST_RAD):
        return None
    gap = b.middle_px - a.middle_px
    tip = a.middle_px + a.way * float(gap[0] * b.way[1] - gap[1] * b.way[0]) / cross
    far = np.hypot(*(onward - tip).T)
    nearest = int(far.argmin())
    ahead = float((tip - onward[0]) @ axis)
    if not AHEAD_WIDTHS[0] * width_px < ahead < AHEAD_WIDTHS[1] * width_px:
        return None
    if far[nearest] > ASIDE_WIDTHS * width_px or not 0 < nearest < len(onward) - 1:
        return None
    return _Tip(tip, nearest, (a, b))


def _side(arm: Floats, through: Floats, axis: Floats, width_px: float) -> _Side | None:
    """The stretch of an arm nearest the node that is free of the line and straight, or None where there is none."""
    window = arm[: int(2 * FIT_PX + (AHEAD_WIDTHS[1] + FREE_WIDTHS) * width_px)]
    free = _first_apart(window, through, FREE_WIDTHS * width_px)
    if free is None:
        return None
    stretch = window[free:]
    along = lengths_along(stretch)
    # Other ink that ends beside a side, a dash of the line for one, leads its next few px astray.
    for begin in SPARED_WIDTHS * width_px + np.arange(0.0, FIT_PX, FIT_PX / 5):
        side = _straight_side(stretch[(along <= begin + FIT_PX) & (along >= begin)], arm[0], axis, width_px)
        if side is not None:
            led = window[: free + 1]
            return side if side.off_px(led).max() < LED_WIDTHS * width_px else None
    return None


def _straight_side(stretch: Floats, node_px: Floats, axis: Floats, width_px: float) -> _Side | None:
    if len(stretch) < 4 or float(np.hypot(*(stretch[-1] - stretch[0]))) < LEAST_PX:
        return None
    line = straight_through(stretch[::-1])
    away = line.at - node_px
    side = _Side(line.at, line.along, float(axis[0] * away[1] - axis[1] * away[0]))
    # A tip's sides are all but straight; a circle's two halves, which a line through it parts, are not.
    return side if side.off_px(stretch).max() < STRAIGHT_WIDTHS * width_px else None


def _is_drawn(tip: _Tip, darkness: NDArray[np.uint8]) -> bool:
    """Whether both sides' straight lines are inked from their free stretches to the tip."""
    for side in tip.sides:
        free = side.middle_px + np.arange(-LEAST_PX / 2, LEAST_PX / 2)[:, None] * side.way
        ahead = np.arange(0.0, max(1.0, float((tip.at_px - side.middle_px) @ side.way)))
        led = _darkest(darkness, side.middle_px + ahead[:, None] * side.way)
        if np.mean(led >= OF_OWN_DARKNESS * np.median(_darkest(darkness, free))) < IN_INK:
            return False
    return True


def _darkest(darkness: NDArray[np.uint8], places_px: Floats) -> NDArray[np.uint8]:
    """The darkest pixel at or next to each of (N, 2) places; the picture's edge goes on beyond it."""
    height, width = darkness.shape
    x, y = np.rint(places_px).astype(np.int64).T
    steps = (-1, 0, 1)
    seen = [darkness[np.clip(y + dy, 0, height - 1), np.clip(x + dx, 0, width - 1)] for dx in steps for dy in steps]
    return np.asarray(np.max(seen, axis=0), np.uint8)


AT_ONCE = 32
"""Points looked at together: a side is most often free within so many, and what lies near them is little."""

APART_PARTS = 8
"""Points are looked at in steps of such a part of the distance sought: it comes out within 1 %, and blots of a table's
grain, hundreds of px wide, take no longer than lines."""


def _first_apart(points_px: Floats, others_px: Floats, least_px: float) -> int | None:
    """The number of the first point that lies farther than this from all the others, or None; about 1 px apart."""
    step = max(1, int(least_px / APART_PARTS))
    points_px, others_px = points_px[::step], others_px[::step]
    x, y = others_px[:, 0], others_px[:, 1]
    for first in range(0, len(points_px), AT_ONCE):
        some = points_px[first : first + AT_ONCE]
        (x0, y0), (x1, y1) = (some.min(axis=0) - least_px).tolist(), (some.max(axis=0) + least_px).tolist()
        near = others_px[(x >= x0) & (x <= x1) & (y >= y0) & (y <= y1)]
        if not len(near):
            return first * step
        away = some[:, None, :] - near
        apart = np.flatnonzero((away * away).sum(axis=2).min(axis=1) > least_px**2)
        if len(apart):
            return (first + int(apart[0])) * step
    return None


def _moved(
    strokes: Strokes, node: int, sides: tuple[_Arm, _Arm], onward: int, tip: _Tip, met: list[list[int]]
) -> Strokes:
    """The sides carried on to the tip, and the line through it cut there."""
    new = len(strokes.nodes_px)
    links = list(strokes.links)
    for arm, side in zip(sides, tip.sides, strict=True):
        links[arm.side] = _carried_on(links[arm.side], arm.foot, new, tip.at_px, side)
    cut = links[onward]
    line = _outward(cut, node)
    far_end = cut.end if cut.start == node else cut.start
    links[onward] = replace(cut, start=node, end=new, points_px=np.vstack([line[: tip.nearest], tip.at_px]))
    links.append(replace(cut, start=new, end=far_end, points_px=np.vstack([tip.at_px, line[tip.nearest + 1 :]])))
    # A link that led to a side alone leads nowhere now; the ink of a line and a side stays as the line's.
    gone = {arm.by for arm in sides if arm.by is not None and len(met[arm.foot]) == 2}
    kept = tuple(link for which, link in enumerate(links) if which not in gone)
    kinds = np.append(strokes.kinds, np.uint8(NodeKind.JUNCTION))
    return Strokes(np.vstack([strokes.nodes_px, tip.at_px]), kinds, kept)


def _carried_on(link: Link, node: int, new: int, tip_px: Floats, side: _Side) -> Link:
    """A side from where it is free and straight, and straight on from there to the tip."""
    points = _outward(link, node)
    # What lies before the side's own stretch and off its line has been led astray by the other ink; farther on, a curve
    # may come round to ahead of it.
    before = points[: int(np.hypot(*(points - side.middle_px).T).argmin()) + 1]
    ahead = (before - side.middle_px) @ side.way > 0
    astray = np.flatnonzero(ahead & (side.off_px(before) > ASTRAY_WIDTHS * link.width_px))
    first = int(astray[-1]) + 1 if len(astray) else int(np.argmax(side.off_px(points) <= ASTRAY_WIDTHS * link.width_px))
    kept = points[first:]
    count = max(1, int(np.hypot(*(kept[0] - tip_px))))
    bridge = tip_px + (kept[0] - tip_px) * (np.arange(count) / count)[:, None]
    carried = np.vstack([bridge, kept])
    if link.start == node:
        return replace(link, start=new, points_px=carried)
    return replace(link, end=new, points_px=carried[::-1])
