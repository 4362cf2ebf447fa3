"""Where a line leads over the gaps in it, and which lines are dashed."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto
from functools import lru_cache
from math import atan2, cos, sin
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from digitize.facing_ends import SEEN_WIDTHS, Side, facing_pairs, towards
from digitize.link_sizes import link_lengths_px
from digitize.strokes import DASHED_GAPS, Strokes

Floats: TypeAlias = NDArray[np.float64]


@lru_cache(maxsize=2)
def dashed_links(strokes: Strokes) -> NDArray[np.bool_]:
    """Tell which links are of straight dashed lines: three gaps or more in one line, each with ends that face it, or
    dashes in one line with one longer than any letter is high, as in a coarse picture where most gaps are closed.

    Lettering has no such thing, and no letter is drawn across such a line. The array is not to be written to: whoever
    asks again about the same strokes is given the same one.
    """
    marked = _dashed(strokes)
    marked.flags.writeable = False
    return marked


def _dashed(strokes: Strokes) -> NDArray[np.bool_]:
    marked = np.zeros(len(strokes.links), dtype=np.bool_)
    pairs = facing_pairs(strokes)
    if not pairs:
        return marked
    over, at = over_gaps(pairs), sides_at(strokes)
    lengths_px = link_lengths_px(strokes)
    for a, b in pairs:
        if marked[[a >> 1, b >> 1]].all():
            continue
        width_px = strokes.links[a >> 1].width_px
        ways = [straight_part(followed(strokes, side, over, at), width_px) for side in (a, b)]
        gaps = sum(way.gaps for way in ways) + 1
        longest = max(lengths_px[link] / strokes.links[link].width_px for way in ways for link in way.links)
        if gaps < DASHED_GAPS and longest < LONG_WIDTHS:
            continue
        whole = np.concatenate([ways[0].points_px[::-1], ways[1].points_px])
        if is_straight(whole, width_px):
            marked[[*ways[0].links, *ways[1].links]] = True
    return marked


LONG_WIDTHS = 30.0
"""No letter has a straight stroke as long as this, in line widths: what is in line with one is of that line."""


def over_gaps(pairs: Sequence[tuple[Side, Side]]) -> dict[Side, Side]:
    """Give for each end that faces another the one it faces."""
    return {one: other for a, b in pairs for one, other in ((a, b), (b, a))}


@lru_cache(maxsize=2)
def sides_at(strokes: Strokes) -> dict[int, list[Side]]:
    """Give the sides of links at each node; not to be changed: the same strokes are asked once."""
    at: dict[int, list[Side]] = {}
    for which, link in enumerate(strokes.links):
        at.setdefault(link.start, []).append(2 * which)
        at.setdefault(link.end, []).append(2 * which + 1)
    return at


def straight_part(way: "Way", width_px: float) -> "Way":
    """Give a way as far as it runs straight: a corner's piece that thinning rounded off leads dashes around it."""
    if len(way.links) == 1 or is_straight(way.points_px, width_px):
        return way
    # Two places are straight, all are not; what bends once leaves its line for good.
    straight, bent = 2, len(way.points_px)
    while bent - straight > 1:
        middle = (straight + bent) // 2
        if is_straight(way.points_px[:middle], width_px):
            straight = middle
        else:
            bent = middle
    count = (straight - 1) // PLACES + 1
    return Way(Stop.FREE, way.gaps_before[:count], way.links[:count], way.points_px[:straight])


PLACES = 3
"""Places along each link by which a line is known: both ends and the middle."""


class Stop(Enum):
    """What a line comes to, followed straight on through crossings and over gaps."""

    FREE = auto()
    CORNER = auto()
    JUNCTION = auto()
    CLOSED = auto()


OPPOSITE_COSINE = -np.cos(np.radians(12))
"""Where others cross it a line carries straight on to within this."""

STRAIGHT_WIDTHS, STRAIGHT_SHARE = 1.0, 0.005
"""A ruled line leaves its chord by no more than this, in line widths and parts of its length (a lens bends it)."""


@dataclass(frozen=True, slots=True)
class Way:
    """Where a line leads: what it comes to, by which links, over how many gaps to each, and places along it."""

    stop: Stop
    gaps_before: tuple[int, ...]
    links: tuple[int, ...]
    points_px: Floats

    @property
    def gaps(self) -> int:
        """Gaps it leads over."""
        return self.gaps_before[-1]


def followed(strokes: Strokes, side: Side, over: dict[Side, Side], at: dict[int, list[Side]]) -> Way:
    """Follow a line back from its free end, straight on through crossings and over gaps."""
    gaps = [0]
    points: list[Floats] = []
    seen: list[int] = []
    while True:
        link = strokes.links[side >> 1]
        way = towards(link, side)[::-1]
        seen.append(side >> 1)
        points.append(way[[0, len(way) // 2, -1]])
        stop, onward = _onward(strokes, side ^ 1, over, at)
        if onward is not None and onward >> 1 in seen:
            stop, onward = Stop.CLOSED, None
        if onward is None:
            return Way(stop, tuple(gaps), tuple(seen), np.concatenate(points))
        gaps.append(gaps[-1] + (side ^ 1 in over))
        side = onward


def _onward(strokes: Strokes, far: Side, over: dict[Side, Side], at: dict[int, list[Side]]) -> tuple[Stop, Side | None]:
    """The side by which a line goes on beyond its end, or what it ends at."""
    if far in over:
        return Stop.JUNCTION, over[far]
    here = _others(strokes, far, at)
    if len(here) < 2:
        return (Stop.CORNER if here else Stop.FREE), None
    return Stop.JUNCTION, straight_on(strokes, far, at)


def straight_on(strokes: Strokes, far: Side, at: dict[int, list[Side]]) -> Side | None:
    """Give the side by which a line goes on beyond its end: around a corner, or straight on where others meet it."""
    here = _others(strokes, far, at)
    if len(here) < 2:
        return here[0] if here else None
    ways = _ways_leaving(strokes)
    x, y = ways[far]
    cosines = [x * ways[side][0] + y * ways[side][1] for side in here]
    best = cosines.index(min(cosines))
    return here[best] if cosines[best] < OPPOSITE_COSINE else None


def _others(strokes: Strokes, far: Side, at: dict[int, list[Side]]) -> list[Side]:
    link = strokes.links[far >> 1]
    return [side for side in at[link.end if far & 1 else link.start] if side >> 1 != far >> 1]


@lru_cache(maxsize=2)
def _ways_leaving(strokes: Strokes) -> list[tuple[float, float]]:
    """The unit direction in which each side's link leaves its node for that link's other end."""
    count = np.array([len(link.points_px) for link in strokes.links])
    widths_px = np.array([link.width_px for link in strokes.links])
    points = np.concatenate([link.points_px for link in strokes.links])
    last = np.cumsum(count) - 1
    first = last + 1 - count
    far = np.minimum(count - 1, np.maximum(2, (SEEN_WIDTHS * widths_px).astype(np.int64)))
    ways = np.stack([points[first + far] - points[first], points[last - far] - points[last]], axis=1).reshape(-1, 2)
    x, y = (ways / np.maximum(np.hypot(ways[:, 0], ways[:, 1]), 1e-9)[:, None]).T.tolist()
    return list(zip(x, y, strict=True))


def is_straight(points: Floats, width_px: float) -> bool:
    """Tell whether points lie on one ruled line."""
    x, y = (points - points.sum(axis=0) / len(points)).T
    # The direction of largest scatter, from the second moments: for so few numbers in a tenth of an SVD's time.
    angle = 0.5 * atan2(2 * float(x @ y), float(x @ x) - float(y @ y))
    cosine, sine = cos(angle), sin(angle)
    along, aside = cosine * x + sine * y, cosine * y - sine * x
    off_px = max(float(aside.max()), -float(aside.min()))
    return off_px < STRAIGHT_WIDTHS * width_px + STRAIGHT_SHARE * float(along.max() - along.min())
