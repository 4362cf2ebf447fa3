"""Lines carried on over the bands of ink that folds and tears have taken.

In a band that several lines vouch for, an end goes on as the end that continues it: straight or on one arc, across the
band or back out of it, or around a corner where both would meet in the band.
"""

from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from digitize.bridged_gaps import joined
from digitize.dash_turns import Turn, cornered
from digitize.dashed_lines import sides_at
from digitize.facing_ends import FINER, Side, free_sides, towards
from digitize.fold_bands import LEAST_ENDS, FoldBand, fold_bands, is_loose, led_back
from digitize.line_ends import LineEnd, line_ends
from digitize.link_lines import line_tree
from digitize.strokes import Strokes

Floats: TypeAlias = NDArray[np.float64]

LEAST_WIDTHS = 0.7
"""What a band has left of a line beside its edge is a speck if it is shorter than this, in line widths."""

ASIDE_WIDTHS, ASIDE_SHARE = 0.6, 0.15
"""An end meets the other's line within so many widths and parts of the gap; on an arc both meet the chord so alike."""

GENTLE = np.radians(35.0)
"""A line that turns by less over a gap goes on; what turns by more does so only where it was turning before."""

MOST_ARC = np.radians(150.0)
"""A line that comes back out of a band has turned by less, or its arc is a guess."""

LEAST_CORNER, MOST_CORNER = np.radians(20.0), np.radians(165.0)
"""Two lines turn by so much at a corner; between nearly parallel ones the crossing says little."""

BACK_WIDTHS, BACK_PX = 1.5, 1.0
"""A corner lies no farther behind an end than this: where the ink's own thickness has shown the line beyond it."""

MOST_BANDS_FAR = 5.0
"""Nothing is carried on over more than so many of a band's widths: a line that runs along a band is lost in it."""

CORNER_COST, RING_COST, FAR_COST = 0.3, 0.3, 0.05
"""What goes on is likelier than what turns, and the nearer the likelier, per width of the band: in parts of what an
end may lie aside."""


def with_folds_bridged(strokes: Strokes, lettering: NDArray[np.bool_]) -> Strokes:
    """Give the strokes with their lines made whole over folds and tears.

    Parameters
    ----------
    strokes : Strokes
        Before any gap is bridged.
    lettering : (L,) array of bool
        Links that are lettering: no end of these is joined to anything but to another's.

    Returns
    -------
    Strokes
        What goes on over a band is one link; where a corner was lost two links meet in one. Either says that it has
        `gaps`.
    """
    drawn = set(free_sides(strokes, lettering, least_widths=LEAST_WIDTHS))
    if len(drawn) < LEAST_ENDS:
        return strokes
    # What is left of a small hole looks like letters: they show no band, but in one they go on.
    sides = free_sides(strokes, np.zeros_like(lettering), least_widths=LEAST_WIDTHS)
    ends = line_ends(strokes, sides)
    ways: list[_Way] = []
    taken: set[Side] = set()
    for band in fold_bands(strokes, [end for end in ends if end.side in drawn]):
        here = [end for end in _in_band(strokes, ends, band) if end.side not in taken]
        for way in _carried_on(strokes, band, here, lettering & ~_left_of_lines(strokes, band, here, lettering)):
            ways.append(way)
            taken |= {way.one.side, way.other.side}
    return _drawn(strokes, ways) if ways else strokes


@dataclass(frozen=True, slots=True)
class _Way:
    """How two ends go on as each other: by points in between, or around a corner; and what speaks against it."""

    one: LineEnd
    other: LineEnd
    corner_px: Floats | None
    cost: float

    def path(self) -> shapely.LineString:
        """From end to end."""
        if self.corner_px is not None:
            return shapely.LineString([self.one.at_px, self.corner_px, self.other.at_px])
        return shapely.LineString([self.one.at_px, *_over(self.one, self.other), self.other.at_px])


def _in_band(strokes: Strokes, ends: list[LineEnd], band: FoldBand) -> list[LineEnd]:
    """The ends at a band's edges, but those of dashes; what lies beside a band with both its ends at it is none."""
    at = sides_at(strokes)
    places = np.array([end.at_px for end in ends])
    at_edge = {ends[which].side for which in np.flatnonzero(band.is_at_edge(places)).tolist()}
    return [
        end
        for end in ends
        if end.side in at_edge
        and (
            led_back(strokes, end.side, at)[0] in at_edge
            or not is_loose(strokes, end.side, at, gap_px=2 * band.half_px)
        )
    ]


def _left_of_lines(
    strokes: Strokes, band: FoldBand, ends: list[LineEnd], lettering: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Links taken for lettering that a band has left of lines: drawn lines go on as two ends of their piece."""
    left = np.zeros_like(lettering)
    letters = [end for end in ends if lettering[end.side >> 1] and not end.is_short]
    drawn = [end for end in ends if not lettering[end.side >> 1] and not end.is_short]
    goes_on: dict[Side, set[Side]] = {}
    for one in letters:
        for other in drawn:
            across = band.off(one.at_px) * band.off(other.at_px) < 0
            if across and _straight_on(band, one, other) is not None:
                goes_on.setdefault(one.side, set()).add(other.side)
    if len(goes_on) < LEAST_GOING_ON:
        return left
    nodes = np.array([(link.start, link.end) for link in strokes.links])
    count = len(strokes.nodes_px)
    pieces = connected_components(coo_matrix((np.ones(len(nodes)), nodes.T), shape=(count, count)), directed=False)[1]
    of_link = pieces[nodes[:, 0]]
    for piece in {int(of_link[side >> 1]) for side in goes_on}:
        own = [others for side, others in goes_on.items() if of_link[side >> 1] == piece]
        if len(own) >= LEAST_GOING_ON and len(set[Side]().union(*own)) >= LEAST_GOING_ON:
            left |= of_link == piece
    return left


LEAST_GOING_ON = 2
"""A letter has one end beside a band that points at a line's by chance, hardly two at two."""


def _carried_on(strokes: Strokes, band: FoldBand, ends: list[LineEnd], lettering: NDArray[np.bool_]) -> list[_Way]:
    """How the ends at a band go on, each once, the likeliest first and none across another or across a line."""
    found: list[_Way] = []
    for n, one in enumerate(ends):
        for other in ends[n + 1 :]:
            letters = lettering[[one.side >> 1, other.side >> 1]]
            if letters[0] != letters[1]:
                continue
            way = _straight_on(band, one, other)
            if way is None and not letters.any():
                way = _around(band, one, other)
            if way is not None:
                found.append(way)
    found += _rings_parted(strokes, band, ends)
    found.sort(key=lambda way: way.cost)
    paths = [way.path() for way in found]
    clear = _clear(strokes, found, paths)
    kept: list[int] = []
    taken: set[Side] = set()
    for at, way in enumerate(found):
        if clear[at] and not {way.one.side, way.other.side} & taken:
            if any(shapely.intersects(paths[at], paths[other]) for other in kept):
                continue
            taken |= {way.one.side, way.other.side}
            kept.append(at)
    return [found[at] for at in kept]


def _straight_on(band: FoldBand, one: LineEnd, other: LineEnd) -> _Way | None:
    """The way from one end to another on a straight line or a single arc; None where they do not go on so."""
    if one.is_short and other.is_short:
        return None
    one, other = _shown_by(one, other), _shown_by(other, one)
    chord = other.at_px - one.at_px
    far_px = float(np.hypot(*chord))
    width_px = min(one.width_px, other.width_px)
    if not 0 < far_px <= MOST_BANDS_FAR * 2 * band.half_px + width_px:
        return None
    turn, first, last = (_angle(*ways) for ways in ((one.way, -other.way), (one.way, chord), (chord, -other.way)))
    # Beyond a right angle to its chord, an arc is more than a half circle.
    if abs(turn) > MOST_ARC or max(abs(first), abs(last)) > np.pi / 2:
        return None
    crosses = band.off(one.at_px) * band.off(other.at_px) < 0
    if not crosses and abs(turn) < LEAST_CORNER:
        # Two lines along a band's edge that point at each other have lost nothing in it.
        return None
    wide_px = ASIDE_WIDTHS * width_px + ASIDE_SHARE * far_px
    off_px = min(_on_arc_px(one, other), _on_arc_px(other, one))
    if crosses and abs(turn) < GENTLE:
        aside_px = far_px * np.abs(np.sin([first, last]))
        off_px = min(off_px, float(aside_px.max()), 2 * far_px * abs(np.sin((first - last) / 2)))
    if off_px > wide_px:
        return None
    return _Way(one, other, None, off_px / wide_px / 2 + FAR_COST * far_px / (2 * band.half_px))


def _rings_parted(strokes: Strokes, band: FoldBand, ends: list[LineEnd]) -> list[_Way]:
    """The ways over a band from both ends of one line to both ends of another: a ring that the band has parted.

    Beside the band such a ring may bend more than before it, as an ellipse does at its ends: what counts is that each
    way bends about alike at both its ends, and that both ways close the ring.
    """
    by_side = {end.side: end for end in ends if not end.is_short}
    at = sides_at(strokes)
    pieces = []
    for side in by_side:
        far = led_back(strokes, side, at)[0]
        if far in by_side and side < far:
            pieces.append((by_side[side], by_side[far]))
    found: list[_Way] = []
    for n, (a, b) in enumerate(pieces):
        for c, d in pieces[n + 1 :]:
            for others in ((c, d), (d, c)):
                ways = [_ring_way(band, one, other) for one, other in zip((a, b), others, strict=True)]
                found += [way for way in ways if way is not None] if None not in ways else []
    return found


def _ring_way(band: FoldBand, one: LineEnd, other: LineEnd) -> _Way | None:
    chord = other.at_px - one.at_px
    far_px = float(np.hypot(*chord))
    if not 0 < far_px <= MOST_BANDS_FAR * 2 * band.half_px or band.off(one.at_px) * band.off(other.at_px) > 0:
        return None
    first, last = _angle(one.way, chord), _angle(chord, -other.way)
    if max(abs(first), abs(last)) > MOST_ARC / 2 or abs(first - last) > ARC_TURN:
        return None
    turn = first + last
    bends = one.bend_per_px, -other.bend_per_px
    # Two straight sides meet in a corner.
    if abs(turn) > LEAST_CORNER and min(np.sign(turn) * bend * far_px for bend in bends) < LEAST_BEND * abs(turn):
        return None
    return _Way(one, other, None, RING_COST + FAR_COST * far_px / (2 * band.half_px))


LEAST_BEND = 0.1
"""A ring's line bends before a band by this part at least of what it would have to bend by over it."""


def _shown_by(end: LineEnd, other: LineEnd) -> LineEnd:
    """An end, pointing as another that it may be of one line with shows, if too little is left of it to show that."""
    if not end.is_short or float(end.way @ -other.way) < np.cos(SHORT_TURN):
        return end
    return replace(end, way=-other.way)


SHORT_TURN = np.radians(60.0)
"""The rest of a line that is hardly longer than wide may point elsewhere than the line did by so much."""


def _on_arc_px(one: LineEnd, other: LineEnd) -> float:
    """How far an end lies off the arc on which another bends, px; where it points elsewhere than that, infinitely."""
    chord = other.at_px - one.at_px
    far_px = float(np.hypot(*chord))
    bend = one.bend_per_px
    # A chord leaves its arc's tangent by half of the angle that the arc turns by.
    half = float(np.arcsin(np.clip(bend * far_px / 2, -1, 1)))
    if abs(_angle(one.way, -other.way) - 2 * half) > ARC_TURN:
        return np.inf
    return float(2 * far_px * abs(np.sin((_angle(one.way, chord) - half) / 2)))


ARC_TURN = np.radians(25.0)
"""An end points along the arc on which another bends to within this: a fold bends what is left beside it."""


def _around(band: FoldBand, one: LineEnd, other: LineEnd) -> _Way | None:
    """The way from one end to another around a corner in the band; None where they do not meet there."""
    turn = abs(_angle(one.way, -other.way))
    if not LEAST_CORNER < turn < MOST_CORNER or not any(band.points_in(end.at_px, end.way) for end in (one, other)):
        return None
    width_px = max(one.width_px, other.width_px)
    far = np.linalg.solve(np.column_stack([one.way, -other.way]), other.at_px - one.at_px)
    corner = one.at_px + far[0] * one.way
    wide_px = 2 * band.half_px
    if far.min() < -(BACK_WIDTHS * width_px + BACK_PX) or far.sum() > MOST_BANDS_FAR * wide_px + width_px:
        return None
    if abs(float(band.off(corner))) > band.half_px + width_px:
        return None
    return _Way(one, other, corner, CORNER_COST + FAR_COST * float(np.abs(far).sum()) / wide_px)


def _angle(way: Floats, other: Floats) -> float:
    """The signed angle from one direction to another."""
    return float(np.arctan2(way[0] * other[1] - way[1] * other[0], way @ other))


def _clear(strokes: Strokes, ways: list[_Way], paths: list[shapely.LineString]) -> list[bool]:
    """For each way whether nothing is drawn across it but lines of a finer pen."""
    clear = [True] * len(ways)
    if not ways:
        return clear
    at, which = line_tree(strokes).query(paths, predicate="intersects")
    for n, link in zip(at.tolist(), which.tolist(), strict=True):
        own = {ways[n].one.side >> 1, ways[n].other.side >> 1}
        if link not in own and strokes.links[link].width_px > FINER * ways[n].one.width_px:
            clear[n] = False
    return clear


def _over(one: LineEnd, other: LineEnd) -> Floats:
    """Points about 1 px apart from one end to another, both left out: Hermite's cubic, as fast as it needs to be to
    keep to an arc (Goldapp 1991: handles of 4/3 tan of a fourth of the angle)."""
    chord = other.at_px - one.at_px
    far_px = float(np.hypot(*chord))
    speed = far_px / np.cos(_angle(one.way, -other.way) / 4) ** 2
    count = max(int(np.ceil(speed)), 1)
    t = (np.arange(1, count) / count)[:, None]
    points: Floats = (
        (1 + 2 * t) * (1 - t) ** 2 * one.at_px
        + t**2 * (3 - 2 * t) * other.at_px
        + speed * t * (1 - t) ** 2 * one.way
        + speed * t**2 * (1 - t) * other.way
    )
    return points


def _drawn(strokes: Strokes, ways: list[_Way]) -> Strokes:
    links, nodes = list(strokes.links), strokes.nodes_px.copy()
    pairs, turns = [], []
    for way in ways:
        side = way.one.side
        link = links[side >> 1]
        if way.corner_px is not None:
            links[side >> 1] = replace(link, gaps=link.gaps + 1)
            turns.append(Turn((side, way.other.side), way.corner_px, way.path().length))
            continue
        points = np.concatenate([towards(link, side), _over(way.one, way.other)])
        links[side >> 1] = replace(link, points_px=points if side & 1 else points[::-1])
        nodes[link.end if side & 1 else link.start] = points[-1]
        pairs.append((side, way.other.side))
    # Corners add nodes and take the ends away, but leave the links their numbers.
    strokes = Strokes(nodes, strokes.kinds, tuple(links))
    strokes = cornered(strokes, turns) if turns else strokes
    return joined(strokes, pairs) if pairs else strokes
