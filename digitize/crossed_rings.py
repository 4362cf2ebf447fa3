"""Small round holes that lines cross: each circle is found in the ink and drawn as a ring of its own.

Lines through a small circle cut it into arcs hardly longer than a crossing's ink is wide: no arc can be followed by
itself. The paper inside is what shows the circle: its sectors together have a round hull. Around that, ink lies on one
ellipse (a circle seen at a slant) all the way, which is fitted to the places between the lines. Taken out of the
skeleton, it leaves the lines that cross it running straight through.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, islice

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.ellipse_fit import Ellipse, Ellipses, fit_ellipses, many
from digitize.thinning import local_widths
from pictures.ink import Ink
from pictures.ridge import line_centres, profiles

Floats = NDArray[np.float64]

MOST_RADIUS_WIDTHS, MOST_RADIUS_PX = 12.0, 32.0
"""Larger circles have arcs long enough to be followed one by one."""

LEAST_RADIUS_PX, LEAST_RADIUS_WIDTHS = 4.5, 1.4
"""Smaller circles are hardly more than ink; the insides of small letters are as round."""

MOST_SECTORS = 6
"""Three lines through a circle part its inside into six."""

MOST_NEIGHBOURS = 8
"""Squared paper has more and no circles."""

MOST_GROUPS = 60
"""Groups of sectors tried from one of them."""

WIDTH_PIXELS = 4000
"""Skeleton pixels that tell the picture's usual line width."""

ROUND_HULL = (0.86, 1.10)
"""Area of a sector group's hull over that of the ellipse in its box: a square has 1.27, a triangle 0.64."""

MOST_OVAL = 1.5
"""Long over short axis: a plan photographed at 25 degrees both ways by a wide lens makes up to 1.4 of a circle."""

CLEAR_SHARE = 0.3
"""Part of the way round where the circle is seen alone: two thick lines leave little of the smallest."""

WIDEST_GAP_RAD = np.radians(100)
"""Nothing is measured near a crossing; on the smallest circles that is a quarter."""

OFF_PX, OFF_WIDTHS = 0.12, 0.06
"""Half of the places measured lie within this of the ellipse; on a polygon of arcs, or a letter, they do not..."""

FAR_PX, FAR_WIDTHS = 0.3, 0.2
"""... and nine tenths within this."""

WHOLE_DARK = 0.5
"""Around a circle the ink is nowhere paler than this part of the usual."""

CROSSING_DARK = 0.3
"""A line that comes to a circle is at least this dark beside it, in parts of the circle's own ink."""

AT_ONCE = 200
"""Likely circles measured at a time: many share the cost of a call, and few are measured again that one has told."""

RADIAL = 0.6
"""A line that crosses a circle passes its middle within this part of the radius; an edge that leaves it does not."""


@dataclass(frozen=True, slots=True)
class Ring:
    """A circle that lines cross.

    `width_px` is its ink's width, `seen_px` the same with the blur; `sigma_px` the scatter of the places measured.
    These lie at `angles_rad` (N,), and `clear` (N,) tells which of them see the circle alone.
    """

    ellipse: Ellipse
    width_px: float
    seen_px: float
    sigma_px: float
    angles_rad: Floats
    clear: NDArray[np.bool_]


def crossed_rings(
    ink: Ink, mask: NDArray[np.uint8], pixels: NDArray[np.int32], inner: Sequence[NDArray[np.int32]]
) -> list[Ring]:
    """Give the small circles that lines cross.

    Parameters
    ----------
    ink : Ink
    mask : (H, W) uint8
        1 where there is ink.
    pixels : (N, 2) int32
        Its skeleton.
    inner : sequence of (N, 2) int32
        The edges of paper shut in by it.
    """
    if len(pixels) == 0:
        return []
    some = pixels[:: max(1, len(pixels) // WIDTH_PIXELS)]
    width_px = float(np.median(local_widths(mask, some)))
    most_px = max(MOST_RADIUS_PX, MOST_RADIUS_WIDTHS * width_px)
    rings: list[Ring] = []
    hulls = (_round_hull(group) for group in _groups(inner, width_px, most_px))
    # The hull's points are the ink's innermost: its middle lies farther out.
    likely = (_grown(hull, (width_px - 1) / 2) for hull in hulls if hull is not None)
    while some_of := list(islice(likely, AT_ONCE)):
        left = [about for about in some_of if not any(_same(about, ring.ellipse) for ring in rings)]
        left = [about for about, inked in zip(left, _are_inked(mask, left, width_px), strict=True) if inked]
        for about, ring in zip(left, _measured(ink.darkness, many(left), width_px), strict=True):
            if any(_same(about, other.ellipse) for other in rings):
                continue
            if ring is not None and not any(_same(ring.ellipse, other.ellipse) for other in rings):
                rings.append(ring)
    return rings


def _are_inked(mask: NDArray[np.uint8], about: Sequence[Ellipse], width_px: float) -> list[bool]:
    """Whether there is ink near each ellipse most of the way round: a first look, before its ink is measured."""
    if not about:
        return []
    ellipses = many(about)
    turn = np.linspace(0, 2 * np.pi, LOOKED_AT, endpoint=False)
    of = np.repeat(np.arange(len(about)), LOOKED_AT)
    around, angles = ellipses.spread(of), np.tile(turn, len(about))
    places, normals = around.at(angles), around.normals(angles)
    reach = (width_px / 2 + 1 + LOOK_SHARE * ellipses.short_px)[of]
    height, width = mask.shape
    seen = np.zeros(len(of), np.bool_)
    for part in np.linspace(-1, 1, LOOKS_ACROSS):
        x, y = np.round(places + (part * reach)[:, None] * normals).astype(np.int64).T
        seen |= mask[np.clip(y, 0, height - 1), np.clip(x, 0, width - 1)] > 0
    enough: list[bool] = (seen.reshape(-1, LOOKED_AT).mean(axis=1) >= INKED).tolist()
    return enough


LOOKED_AT, LOOKS_ACROSS, INKED = 48, 13, 0.85
"""Ink is looked for at so many places around, and across each; so much of a circle is seen there."""

LOOK_SHARE = 0.12
"""The box about a circle's inside tells where it runs to within this part of its radius."""


def _groups(inner: Sequence[NDArray[np.int32]], width_px: float, most_px: float) -> Iterator[NDArray[np.int32]]:
    """Boundaries of paper shut in by ink, alone and together with those across a line, as points."""
    inner = [points for points in inner if len(points) > 3 and np.ptp(points, axis=0).max() < 2 * most_px]
    if not inner:
        return
    beside = _neighbours(inner, 1.5 * width_px + 2)
    for first in range(len(inner)):
        if len(beside[first]) > MOST_NEIGHBOURS:
            continue
        tried = 0
        groups: list[tuple[int, ...]] = [(first,)]
        known = set(groups)
        for group in groups:
            points = np.concatenate([inner[which] for which in group])
            if np.ptp(points, axis=0).max() >= 2 * most_px:
                continue
            yield points
            tried += 1
            if tried > MOST_GROUPS:
                break
            if len(group) == MOST_SECTORS:
                continue
            for more in sorted(set().union(*(beside[which] for which in group))):
                # Each group once: from its first sector.
                larger = tuple(sorted((*group, more)))
                if more > first and more not in group and larger not in known:
                    known.add(larger)
                    groups.append(larger)


def _neighbours(inner: Sequence[NDArray[np.int32]], near_px: float) -> list[set[int]]:
    points = np.concatenate(inner)
    owner = np.repeat(np.arange(len(inner)), [len(one) for one in inner])
    pairs = owner[cKDTree(points).query_pairs(near_px, output_type="ndarray")]
    beside: list[set[int]] = [set() for _ in inner]
    for a, b in np.unique(pairs[pairs[:, 0] != pairs[:, 1]], axis=0).tolist():
        beside[a].add(b)
        beside[b].add(a)
    return beside


def _round_hull(points: NDArray[np.int32]) -> Ellipse | None:
    """About where a circle runs whose inside has these boundary points, if their hull is round."""
    low, high = points.min(axis=0), points.max(axis=0)
    across, down = (high - low).tolist()
    if min(across, down) < 3 or max(across, down) > MOST_OVAL * min(across, down) + 1:
        return None
    hull = cv2.convexHull(points.astype(np.int32))
    share = cv2.contourArea(hull) / (np.pi / 4 * across * down)
    if not ROUND_HULL[0] < share < ROUND_HULL[1]:
        return None
    return Ellipse((low + high) / 2, max(across, down) / 2, min(across, down) / 2, 0.0 if across >= down else np.pi / 2)


def _grown(ellipse: Ellipse, by_px: float) -> Ellipse:
    return replace(ellipse, long_px=ellipse.long_px + by_px, short_px=ellipse.short_px + by_px)


def _same(one: Ellipse, other: Ellipse) -> bool:
    apart = float(np.hypot(*(one.centre_px - other.centre_px)))
    return apart < 0.3 * other.short_px and abs(one.short_px - other.short_px) < 0.3 * other.short_px


def _measured(darkness: NDArray[np.uint8], about: Ellipses, width_px: float) -> list[Ring | None]:
    """The circle of ink near each ellipse, or None where there is none or no line crosses it."""
    counts = np.maximum(32, (2 * np.pi * about.long_px).astype(np.int64))
    angles = [np.linspace(0, 2 * np.pi, count, endpoint=False) for count in counts.tolist()]
    rings: list[Ring | None] = [None] * len(counts)
    left, ellipses, look = np.arange(len(counts)), about, np.full(len(counts), width_px + 3.0)
    for turn in range(MOST_TURNS):
        if not len(left):
            break
        here = np.concatenate([angles[which] for which in left.tolist()])
        first = np.concatenate([[0], np.cumsum(counts[left])])
        of = np.repeat(np.arange(len(left)), counts[left])
        seen = _seen(darkness, ellipses, here, of, look)
        fitted, found = _fitted(seen.points_px, seen.clear, first[:-1])
        low, high = 0.5 * about.short_px[left], 1.5 * about.long_px[left]
        found &= seen.any_good & (seen.clear_share >= CLEAR_SHARE) & (low < fitted.short_px) & (fitted.short_px < high)
        moved = np.hypot(*(fitted.spread(of).at(here) - ellipses.spread(of).at(here)).T)
        moved = np.maximum.reduceat(moved, first[:-1])
        done = found & (((turn > 0) & (moved < 0.05)) | (turn == MOST_TURNS - 1))
        for row in np.flatnonzero(done).tolist():
            part = slice(first[row], first[row + 1])
            rings[left[row]] = _judged(
                darkness,
                fitted.one(row),
                here[part],
                seen.points_px[part],
                seen.clear[part],
                seen.amount[part],
                float(seen.width_px[row]),
                float(seen.contrast[row]),
            )
        on = found & ~done
        left, ellipses, look = left[on], fitted.spread(on), seen.width_px[on] + 2.0
    return rings


@dataclass(frozen=True, slots=True)
class _Seen:
    """What the ink shows about ellipses: the middle of it across each of N places, which of these see a line alone.

    `width_px`, `contrast`, `any_good` and `clear_share` are of each ellipse.
    """

    points_px: Floats
    clear: NDArray[np.bool_]
    amount: Floats
    width_px: Floats
    contrast: Floats
    any_good: NDArray[np.bool_]
    clear_share: Floats


def _seen(
    darkness: NDArray[np.uint8], ellipses: Ellipses, angles: Floats, of: NDArray[np.int64], look: Floats
) -> _Seen:
    around = ellipses.spread(of)
    normals, places = around.normals(angles), around.at(angles)
    reach = np.minimum(look, 0.8 * ellipses.short_px)
    found = line_centres(darkness, places, normals, half_width_px=reach[of])
    count = len(look)
    width_px = _shares(found.width_px[found.good], of[found.good], count, 0.35)
    contrast = _shares(found.contrast[found.good], of[found.good], count, 0.5)
    clear = found.good & (np.abs(found.width_px - width_px[of]) < 0.25 * width_px[of] + 0.2)
    any_good = np.bincount(of[found.good], minlength=count) >= 6
    share = np.bincount(of[clear], minlength=count) / np.bincount(of, minlength=count)
    points = places + found.offset_px[:, None] * normals
    return _Seen(points, clear, found.amount, width_px, contrast, any_good, share)


def _shares(values: Floats, of: NDArray[np.int64], count: int, share: float) -> Floats:
    """The value that this share of each owner's values (`of`, below `count`) is no larger than; 0 where it has none."""
    order = np.lexsort((values, of))
    number = np.bincount(of, minlength=count)
    begin = np.cumsum(number) - number
    at = np.maximum(number - 1, 0) * share
    low = at.astype(np.int64)
    high = np.minimum(low + 1, np.maximum(number - 1, 0))
    ranked = np.append(values[order], 0.0)
    below, above = ranked[np.where(number > 0, begin + low, -1)], ranked[np.where(number > 0, begin + high, -1)]
    shares: Floats = below + (at - low) * (above - below)
    return shares


def _fitted(points: Floats, clear: NDArray[np.bool_], first: NDArray[np.int64]) -> tuple[Ellipses, NDArray[np.bool_]]:
    """The ellipses that most of the clear points lie on, and which were found."""
    of = np.repeat(np.arange(len(first)), np.diff(first, append=len(points)))
    ellipses, found = fit_ellipses(points, clear.astype(np.float64), first)
    for _ in range(4):
        off = np.abs(ellipses.spread(of).off_px(points))
        usual = np.maximum(_shares(off[clear], of[clear], len(first), 0.5), 0.03)
        weights = clear / (1 + (off / (2 * usual[of])) ** 2) ** 2
        ellipses, again = fit_ellipses(points, weights, first)
        found &= again
    return ellipses, found


def _judged(
    darkness: NDArray[np.uint8],
    ellipse: Ellipse,
    angles: Floats,
    points: Floats,
    clear: NDArray[np.bool_],
    amount: Floats,
    seen_px: float,
    contrast: float,
) -> Ring | None:
    if np.sqrt(ellipse.long_px * ellipse.short_px) < max(LEAST_RADIUS_PX, LEAST_RADIUS_WIDTHS * seen_px):
        return None
    if ellipse.long_px > MOST_OVAL * ellipse.short_px or clear.mean() < CLEAR_SHARE:
        return None
    off = np.abs(ellipse.off_px(points[clear]))
    if np.median(off) > OFF_PX + OFF_WIDTHS * seen_px or np.percentile(off, 90) > FAR_PX + FAR_WIDTHS * seen_px:
        return None
    seen = angles[clear]
    if np.diff(seen, append=seen[0] + 2 * np.pi).max() > WIDEST_GAP_RAD:
        return None
    if _dark(darkness, ellipse, angles, (-0.5, 0.0, 0.5)).min() < WHOLE_DARK * contrast:
        return None
    if not _is_crossed(darkness, ellipse, angles, clear, seen_px, contrast):
        return None
    full = max(contrast, float(np.percentile(_dark(darkness, ellipse, angles, (0.0,)), 90)))
    width_px = min(seen_px, float(np.median(amount[clear])) / full)
    return Ring(ellipse, width_px, seen_px, float(np.sqrt(np.mean(off**2))), angles, clear)


def _dark(darkness: NDArray[np.uint8], ellipse: Ellipse, angles: Floats, out_px: Sequence[float]) -> Floats:
    """The darkest of a few places across the ellipse, in each direction."""
    normals, places = ellipse.normals(angles), ellipse.at(angles)
    at = places[:, None, :] + np.asarray(out_px)[None, :, None] * normals[:, None, :]
    dark = profiles(darkness, at[..., 0].astype(np.float32), at[..., 1].astype(np.float32))
    darkest: Floats = dark.max(axis=1).astype(np.float64)
    return darkest


def _is_crossed(
    darkness: NDArray[np.uint8],
    ellipse: Ellipse,
    angles: Floats,
    clear: NDArray[np.bool_],
    seen_px: float,
    contrast: float,
) -> bool:
    """Whether lines cross a circle, and none but such as pass near its middle come to it."""
    beside = 0.5 * seen_px + 1.5
    outside = _dark(darkness, ellipse, angles, (beside,)) > CROSSING_DARK * contrast
    farther = _dark(darkness, ellipse, angles, (beside + seen_px,)) > CROSSING_DARK * contrast
    within = min(beside, 0.6 * ellipse.short_px)
    inside = _dark(darkness, ellipse, angles, (-within,)) > CROSSING_DARK * contrast
    exits = _runs(outside)
    entries = [_mean_rad(angles[run]) for run in _runs(inside)]
    ways = [_mean_rad(angles[run]) for run in exits]
    # What ends on a circle from outside does not cut it up, as a letter's strokes do; a line with a gap inside does.
    if not entries and not any(abs(_apart(a, b + np.pi)) < IN_LINE_RAD for a, b in combinations(ways, 2)):
        return False
    onward = [_mean_rad(angles[run]) for run in _runs(farther)]
    slack = 2.0 * seen_px / ellipse.short_px + 0.2
    widest = (WIDEST_EXIT * seen_px + 1.5) / (ellipse.short_px + beside)
    turned = 2 * np.pi / len(angles)
    if any(len(run) * turned > widest for run in exits):
        return False
    for way in ways:
        # Farther out a line through the middle keeps its direction; an edge that leaves a circle turns away.
        turns = [abs(_apart(way, other)) for other in onward]
        nearest = min(turns, default=0.0)
        reach = (ellipse.short_px + beside, ellipse.short_px + beside + seen_px)
        straight = RADIAL * ellipse.short_px * (1 / reach[0] - 1 / reach[1]) + 0.12
        if nearest > straight and nearest < 1.0:
            return False
        others = [*entries, *[other + np.pi for other in (*entries, *ways, *onward)]]
        if len(ways) > 1 and not any(abs(_apart(way, other)) < slack for other in others):
            return False
    return True


MOST_TURNS = 4
"""Times that a circle is measured about where it was last found."""

IN_LINE_RAD = 0.25
"""Two pieces of one line, to either side of a circle, lie this nearly opposite each other as seen from its middle."""

WIDEST_EXIT = 1.6
"""A line that comes to a circle from outside covers no more of it than this, in line widths; a tangent does."""


def _runs(marked: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """Runs of marked places on a closed way."""
    if not marked.any():
        return []
    if marked.all():
        return [np.arange(len(marked))]
    first = int(np.flatnonzero(~marked)[0])
    order = np.roll(np.arange(len(marked)), -first)
    at = np.flatnonzero(marked[order])
    return [order[run] for run in np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)]


def _mean_rad(angles: Floats) -> float:
    return float(np.arctan2(np.sin(angles).mean(), np.cos(angles).mean()))


def _apart(one: float, other: float) -> float:
    return (one - other + np.pi) % (2 * np.pi) - np.pi
