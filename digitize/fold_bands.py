"""Where a fold or a tear has taken the ink: straight bands of bare paper at whose edges lines end.

One gap in a line says little. Gaps of several lines whose middles lie on one straight line, as wide across it as each
other, with nothing drawn between them, vouch for each other.
"""

from dataclasses import dataclass
from itertools import chain
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.dashed_lines import is_straight, sides_at
from digitize.facing_ends import FACING_COSINE, Side, towards
from digitize.line_ends import LineEnd
from digitize.link_lines import line_tree
from digitize.strokes import Strokes

Floats: TypeAlias = NDArray[np.float64]

SLANT_WIDTHS = 30.0
"""Longest gap, in line widths: 3 mm across the band, met at 25 deg by a line of 0.25 mm."""

ASIDE_WIDTHS, ASIDE_SHARE = 1.0, 0.15
"""An end meets the other's line within so many widths and parts of the gap."""

EDGE_WIDTHS, EDGE_SHARE, EDGE_PX = 1.0, 0.15, 1.0
"""How far a band's edge is ragged: in line widths, parts of the band's width, and px."""

LEAST_ACROSS = 0.35
"""A line crosses a band at 20 deg or more; at less its gap says little of where the band lies."""

LEAST_ENDS, LEAST_PAIRS = 4, 2
"""Ends at a band's edges and whole gaps over it, at least. Two lines, alike and with the paper bare from one to the
other, lie on one line by chance the less, the more than so many there are: a single gap never does."""

DASH_GAPS = 6.0
"""What ends free at both its ends and is shorter than so many gaps is a dash, and so is whatever is straight."""

MOST_CANDIDATES = 120
"""More gaps than this are no fold's: they are looked at from the narrowest on, for each two are tried."""

MOST_BANDS = 6
"""A sheet is folded so often, as a rule less."""


@dataclass(frozen=True, slots=True)
class FoldBand:
    """A straight band of lost ink: a place on its middle line, its unit direction, and half its width, px.

    `ragged_px` is how far its edges may be off.
    """

    at_px: Floats
    along: Floats
    half_px: float
    ragged_px: float

    def off(self, points_px: Floats) -> Floats:
        """Signed distances (N,) of points from the middle line, px."""
        away = points_px - self.at_px
        off: Floats = away[..., 1] * self.along[0] - away[..., 0] * self.along[1]
        return off

    def far(self, points_px: Floats) -> Floats:
        """How far along the band points lie, px."""
        far: Floats = (points_px - self.at_px) @ self.along
        return far

    def points_in(self, at_px: Floats, way: Floats) -> bool:
        """Tell whether what lies at an edge points into the band, and not along it or away."""
        into = -np.sign(float(self.off(at_px))) * float(self.off(self.at_px + way))
        return bool(into > LEAST_ACROSS)

    def is_at_edge(self, points_px: Floats) -> NDArray[np.bool_]:
        """Tell which points lie at one edge or the other."""
        at_edge: NDArray[np.bool_] = np.abs(np.abs(self.off(points_px)) - self.half_px) <= self.ragged_px
        return at_edge


def fold_bands(strokes: Strokes, ends: list[LineEnd]) -> list[FoldBand]:
    """Give the bands of lost ink across a picture's lines, the one that most lines end at first.

    Parameters
    ----------
    strokes : Strokes
        Before any gap is bridged.
    ends : list of LineEnd
        The free ends of lines that are no lettering.
    """
    places = np.array([end.at_px for end in ends]).reshape(-1, 2)
    gaps = _gaps(strokes, ends)
    bands: list[FoldBand] = []
    while len(gaps) >= LEAST_PAIRS and len(bands) < MOST_BANDS:
        found = _likeliest(gaps, ends, places)
        if found is None:
            break
        band, on = found
        for _ in range(REFITS):
            band = _refitted(band, places[sorted(_met(band, ends, places))])
        met = places[sorted(_met(band, ends, places))]
        if len(met) >= LEAST_ENDS and _is_bare(strokes, band, met):
            bands.append(band)
        gaps = [gap for at, gap in enumerate(gaps) if at not in on]
    return bands


def is_loose(strokes: Strokes, side: Side, at: dict[int, list[Side]], *, gap_px: float) -> bool:
    """Tell whether what a free end belongs to is a dash, or a straight line that ends free at its other end too."""
    other, points = led_back(strokes, side, at)
    if other is None:
        return False
    long_px = float(np.hypot(*np.diff(points, axis=0).T).sum())
    return long_px < DASH_GAPS * gap_px or is_straight(points, strokes.links[side >> 1].width_px)


def led_back(strokes: Strokes, side: Side, at: dict[int, list[Side]]) -> tuple[Side | None, Floats]:
    """Follow a line from its free end around its corners: its other free end, None where others meet it, and points."""
    points, seen = [], {side >> 1}
    while True:
        points.append(towards(strokes.links[side >> 1], side)[::-1])
        link, far = strokes.links[side >> 1], side ^ 1
        here = [other for other in at[link.end if far & 1 else link.start] if other != far]
        if not here:
            return far, np.concatenate(points)
        if len(here) > 1 or here[0] >> 1 in seen:
            return None, np.concatenate(points)
        side = here[0]
        seen.add(side >> 1)


@dataclass(frozen=True, slots=True)
class _Gap:
    """Two ends that point at each other: their numbers, the middle between them, and from one to the other."""

    ends: tuple[int, int]
    middle_px: Floats
    over_px: Floats
    width_px: float


def _gaps(strokes: Strokes, ends: list[LineEnd]) -> list[_Gap]:
    """Every gap between lines that go on from each other, the narrowest first; of an end there may be several."""
    if len(ends) < LEAST_ENDS:
        return []
    at = sides_at(strokes)
    places = np.array([end.at_px for end in ends])
    ways = np.array([end.way for end in ends])
    shown = np.array([not end.is_short for end in ends])
    widths_px = np.array([end.width_px for end in ends])
    # Each as far as its own width lets it: a blot of a table's grain may reach across a whole sheet.
    near = cKDTree(places).query_ball_point(places, SLANT_WIDTHS * widths_px)
    a = np.repeat(np.arange(len(ends)), [len(others) for others in near])
    b = np.fromiter(chain.from_iterable(near), np.int64, len(a))
    a, b = a[(a < b) & shown[a] & shown[b]], b[(a < b) & shown[a] & shown[b]]
    over = places[b] - places[a]
    far_px = np.hypot(over[:, 0], over[:, 1])
    width_px = np.minimum(widths_px[a], widths_px[b])
    wide_px = ASIDE_WIDTHS * width_px + ASIDE_SHARE * far_px
    fits = ((ways[a] * ways[b]).sum(axis=1) < FACING_COSINE) & (far_px <= SLANT_WIDTHS * width_px)
    for way, sign in ((ways[a], 1), (ways[b], -1)):
        fits &= np.abs(over[:, 0] * way[:, 1] - over[:, 1] * way[:, 0]) <= wide_px
        fits &= sign * (over * way).sum(axis=1) > 0
    order = np.flatnonzero(fits)[np.argsort(far_px[fits], kind="stable")]
    gaps: list[_Gap] = []
    for which in order.tolist():
        one, other = int(a[which]), int(b[which])
        gap_px = float(far_px[which])
        if len(gaps) < MOST_CANDIDATES and all(
            _vouches(strokes, ends[end].side, at, gap_px=gap_px) for end in (one, other)
        ):
            middle = (places[one] + places[other]) / 2
            gaps.append(_Gap((one, other), middle, over[which], float(width_px[which])))
    return gaps


VOUCHING_GAPS = 3.0
"""A line vouches for a band if it leads to it by itself over so many gaps: pieces of dimensions, arrows and their
extension lines end near each other in all ways."""


def _vouches(strokes: Strokes, side: Side, at: dict[int, list[Side]], *, gap_px: float) -> bool:
    """Whether a free end's line is long enough, and no dash, to show where a band lies."""
    points = led_back(strokes, side, at)[1]
    long_px = float(np.hypot(*np.diff(points, axis=0).T).sum())
    return long_px >= VOUCHING_GAPS * gap_px and not is_loose(strokes, side, at, gap_px=gap_px)


def _likeliest(gaps: list[_Gap], ends: list[LineEnd], places: Floats) -> tuple[FoldBand, set[int]] | None:
    """The band that most ends lie at the edges of, and the gaps that are over it; None without one."""
    best: tuple[int, FoldBand, set[int]] | None = None
    middles = np.array([gap.middle_px for gap in gaps])
    for one, other in _likely_pairs(gaps, ends, places):
        band = _through(gaps, [one, other])
        if band is None:
            continue
        on = _over(band, gaps, middles)
        better = _through(gaps, sorted(on)) if len(on) > LEAST_PAIRS else None
        band = band if better is None else better
        on = _over(band, gaps, middles)
        pairs = {end for at in on for end in gaps[at].ends}
        if len(pairs) < 2 * LEAST_PAIRS:
            continue
        met = len(_met(band, ends, places))
        if met >= LEAST_ENDS and (best is None or met > best[0]):
            best = met, band, on
    return None if best is None else best[1:]


MOST_TRIED = 12
"""Of all bands through two gaps, so many that the most ends point into are looked at closely."""


def _likely_pairs(gaps: list[_Gap], ends: list[LineEnd], places: Floats) -> list[tuple[int, int]]:
    """Pairs of gaps alike across the line through their middles, at first those that most ends lie and point along."""
    one, other = np.triu_indices(len(gaps), 1)
    own = np.array([gap.ends for gap in gaps])
    middles, over = np.array([gap.middle_px for gap in gaps]), np.array([gap.over_px for gap in gaps])
    width_px = np.array([gap.width_px for gap in gaps])
    apart = middles[other] - middles[one]
    far_px = np.hypot(apart[:, 0], apart[:, 1])
    alone = (own[one][:, :, None] != own[other][:, None]).all(axis=(1, 2)) & (far_px > 0)
    one, other, apart, far_px = one[alone], other[alone], apart[alone], far_px[alone]
    normal = np.column_stack([-apart[:, 1], apart[:, 0]]) / far_px[:, None]
    across = np.abs(np.array([(over[which] * normal).sum(axis=1) for which in (one, other)]))
    half_px = across.mean(axis=0) / 2
    ragged_px = EDGE_WIDTHS * (width_px[one] + width_px[other]) / 2 + EDGE_SHARE * 2 * half_px + EDGE_PX
    long_px = np.hypot(over[:, 0], over[:, 1])
    alike = (across[0] > LEAST_ACROSS * long_px[one]) & (across[1] > LEAST_ACROSS * long_px[other])
    alike &= (np.abs(across[0] - across[1]) <= 4 * ragged_px) & (far_px >= 2 * half_px)
    pairs = np.flatnonzero(alike)
    ways = np.array([end.way for end in ends])
    level = (middles[one] * normal).sum(axis=1)
    met = np.zeros(len(pairs), dtype=np.int64)
    for at, which in enumerate(pairs.tolist()):
        off = places @ normal[which] - level[which]
        at_edge = np.abs(np.abs(off) - half_px[which]) <= ragged_px[which]
        met[at] = np.count_nonzero(at_edge & (-np.sign(off) * (ways @ normal[which]) > LEAST_ACROSS))
    best = pairs[np.argsort(-met, kind="stable")[:MOST_TRIED]]
    return list(zip(one[best].tolist(), other[best].tolist(), strict=True))


def _through(gaps: list[_Gap], which: list[int]) -> FoldBand | None:
    """The band whose middle line runs through the middles of gaps, which are alike across it; None where not."""
    middles = np.array([gaps[at].middle_px for at in which])
    centre = middles.mean(axis=0)
    axes = np.linalg.svd(middles - centre, full_matrices=False)[2]
    along = axes[0]
    over = np.array([gaps[at].over_px for at in which])
    across_px = np.abs(over[:, 1] * along[0] - over[:, 0] * along[1])
    if not (across_px > LEAST_ACROSS * np.hypot(over[:, 0], over[:, 1])).all():
        return None
    wide_px = float(np.median(across_px))
    ragged_px = EDGE_WIDTHS * float(np.mean([gaps[at].width_px for at in which])) + EDGE_SHARE * wide_px + EDGE_PX
    if np.abs(across_px - wide_px).max() > 2 * ragged_px or np.ptp((middles - centre) @ along) < wide_px:
        return None
    return FoldBand(centre, along, wide_px / 2, ragged_px)


def _over(band: FoldBand, gaps: list[_Gap], middles: Floats) -> set[int]:
    on = set()
    for at in np.flatnonzero(np.abs(band.off(middles)) <= band.ragged_px).tolist():
        half = gaps[at].over_px / 2
        across_px = abs(float(half[1] * band.along[0] - half[0] * band.along[1]))
        if across_px > LEAST_ACROSS * np.hypot(*half) and abs(across_px - band.half_px) <= band.ragged_px:
            on.add(at)
    return on


def _met(band: FoldBand, ends: list[LineEnd], places: Floats) -> set[int]:
    """The ends at a band's edges that point into it."""
    at_edge = np.flatnonzero(band.is_at_edge(places)).tolist()
    return {at for at in at_edge if band.points_in(places[at], ends[at].way)}


REFITS = 2
"""A band known by two gaps near each other leads farther off; each time, more ends are found along it."""


def _refitted(band: FoldBand, met: Floats) -> FoldBand:
    """The band whose edges are nearest to the ends that lie at them: two parallel lines, by least squares."""
    far, off = band.far(met), band.off(met)
    centre, side = far.mean(), np.sign(off)
    if not (side.min() < 0 < side.max()):
        return band
    design = np.column_stack([np.ones(len(met)), far - centre, side])
    level, slope, half_px = np.linalg.lstsq(design, off, rcond=None)[0]
    normal = np.array([-band.along[1], band.along[0]])
    along = (band.along + slope * normal) / np.hypot(1.0, slope)
    return FoldBand(band.at_px + centre * band.along + level * normal, along, float(half_px), band.ragged_px)


def _is_bare(strokes: Strokes, band: FoldBand, met: Floats) -> bool:
    """Whether nothing is drawn in a band between the first and the last of the ends that it is known by."""
    far = band.far(met)
    half_px = max(band.half_px - band.ragged_px, band.half_px / 4)
    normal = np.array([-band.along[1], band.along[0]])
    corners = [(far.min(), -1), (far.max(), -1), (far.max(), 1), (far.min(), 1)]
    core = shapely.Polygon([band.at_px + t * band.along + side * half_px * normal for t, side in corners])
    crossing = line_tree(strokes).query(core, predicate="intersects")
    spans_px = []
    for which in crossing.tolist():
        inside = shapely.intersection(core, shapely.LineString(strokes.links[which].points_px))
        spans_px.append(float(np.ptp(band.far(shapely.get_coordinates(inside)))))
    return len(crossing) <= MOST_CROSSING * len(met) and sum(spans_px) <= MOST_CROSSING * float(np.ptp(far))


MOST_CROSSING = 0.15
"""For each end at a band, so many lines may cross it, and run along so much of it: specks, and a line that was drawn
over the fold later."""
