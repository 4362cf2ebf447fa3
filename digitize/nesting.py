"""Which outline inside another is a hole, and which a part of its own drawn there to save paper."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.continuation import LineGraph
from digitize.faces import Walk
from digitize.link_sizes import link_lengths_px
from digitize.not_parts import is_quad, is_round
from digitize.strokes import DASHED_GAPS

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Nested:
    """Where a loop lies: in which other (`parent`, or None), whether as its hole, how sure that is and why."""

    parent: int | None
    is_hole: bool
    confidence: float
    why: str


ALONE = Nested(None, False, 1.0, "")

ALIKE_SHARE = 0.2
"""A loop with less than this share of its part's area is a hole, but for a rib drawn inside another: a slot, a window,
a lightening hole that follows the contour, whatever line passes through."""

EVEN_WALL = 0.2
"""Spread over mean of the wall's thickness below which a loop was drawn at an even distance: a ring or a frame."""


FRAME_HOLDS = 3
"""A frame around parts holds so many outlines at least."""

OWN_OPENINGS = 2
"""... of which so many have openings of their own, as no opening has..."""

NAMED_SHARE = 0.7
"""... or so large a share its own name; one opening in a part may be written in, what is to be cut out or its size."""

FRAME = Nested(None, False, 0.5, "four straight sides around outlines with openings or names of their own: a frame?")


def nest(
    polygons: Sequence[shapely.Polygon],
    walks: Sequence[Walk],
    graph: LineGraph,
    *,
    width_px: float,
    letters_px: Callable[[], Floats],
) -> list[Nested]:
    """Tell for each loop whether it is a hole of the smallest loop around it.

    The rule, for a loop strictly inside a part:

    - drawn in dashes where the part is not, it is none of its holes for sure, and shown as a part of its own;
    - touching the part's outline, it is a part of its own;
    - with a line passing through both and a sharp tip each, as ribs on a datum have, it is a part of its own;
    - shaped like the part, and both with a sharp tip, it is a part of its own, as no opening has one;
    - at an even distance from the outline all round, it is a hole (a ring, a frame);
    - with a line passing through both (a common datum) and shaped like the part it is a part of its own, unless it
      is a circle or has under a fifth of the part's area (a slot, a window); of another shape it is a hole, and the
      line the part's own centre line;
    - shaped like the part (neither circle nor box), with over a fifth of its area, it is a part of its own where it
      has a name of its own;
    - else it is a hole.

    What lies in a hole is a part again. Four straight sides around several outlines with openings or names of their own
    are a frame, or the sheet of wood that parts are printed on: what lies in it is no hole.

    Parameters
    ----------
    polygons : sequence of (M,) shapely polygons, picture px
    walks : sequence of Walk
        The same loops in the graph.
    graph : LineGraph
    width_px : float
        Width of the drawn lines.
    letters_px : callable
        Gives the middles (N, 2) of letters, asked only where they matter.
    """
    if not polygons:
        return []
    simple = np.array(polygons, dtype=object)
    areas_px2 = shapely.area(simple)
    parents = _parents(simple, areas_px2)
    places = [{graph.place_of(side) for side in walk} for walk in walks]
    passing = _passing_lines(graph, walks)
    nested = [ALONE] * len(polygons)
    frames = _frames(simple, parents, letters_px, width_px=width_px)
    for which in frames:
        nested[which] = FRAME
    for which in np.argsort(-areas_px2, kind="stable").tolist():
        parent = parents[which]
        if parent is None or parent in frames or which in frames:
            continue
        if nested[parent].is_hole:
            nested[which] = Nested(parent, False, 0.5, "drawn inside a hole")
            continue
        if _is_dashed(graph, walks[which]) and not _is_dashed(graph, walks[parent]):
            nested[which] = Nested(parent, False, 0.6, BEHIND)
            continue
        share = float(areas_px2[which] / areas_px2[parent])
        touches = bool(places[which] & places[parent])
        joined = bool(passing[which].through & passing[parent].touching)
        is_hole, confidence, why = _judge(
            simple[which],
            simple[parent],
            share,
            touches=touches,
            joined=joined,
            width_px=width_px,
            is_named=partial(_is_named, simple[which], letters_px),
        )
        nested[which] = Nested(parent, is_hole, confidence, why)
    return nested


BEHIND = "drawn in dashes inside another: it may lie behind that, be fixed to it, or be an opening in it"


def _is_dashed(graph: LineGraph, walk: Walk) -> bool:
    """Whether most of a loop's line is dashed, as of what is hidden (ISO 128)."""
    lengths_px = link_lengths_px(graph.strokes)
    links = {side >> 1 for side in walk}
    of = {link: graph.strokes.links[link] for link in links}
    # Between two corners there may be a gap or two, which elsewhere is lost ink.
    enough = sum(link.gaps for link in of.values()) >= DASHED_GAPS
    dashed_px = sum(lengths_px[n] for n, link in of.items() if link.dashed or (enough and link.gaps))
    return dashed_px > sum(lengths_px[link] for link in links) / 2


def _frames(
    polygons: NDArray[np.object_], parents: list[int | None], letters_px: Callable[[], Floats], *, width_px: float
) -> set[int]:
    """Which loops are four straight sides around several outlines that have openings or names of their own."""
    held: dict[int, list[int]] = {}
    for which, parent in enumerate(parents):
        if parent is not None:
            held.setdefault(parent, []).append(which)
    frames = set()
    for which, inner in held.items():
        # A round figure with another in it is a bush, or an opening with the rim around it.
        figures = [one for one in inner if not is_round(polygons[one], width_px=width_px)]
        if len(figures) < FRAME_HOLDS or not isinstance(polygons[which], shapely.Polygon):
            continue
        if not is_quad(shapely.get_coordinates(polygons[which].exterior), width_px=width_px):
            continue
        if sum(one in held for one in figures) >= OWN_OPENINGS:
            frames.add(which)
            continue
        named = sum(_names_in(polygons[one], letters_px()) for one in figures)
        if named >= max(FRAME_HOLDS, NAMED_SHARE * len(figures)):
            frames.add(which)
    return frames


def _is_named(polygon: shapely.Polygon, letters_px: Callable[[], Floats]) -> bool:
    return _names_in(polygon, letters_px())


def _names_in(polygon: shapely.Polygon, letters_px: Floats) -> bool:
    """Whether there is lettering in a loop."""
    return bool(len(letters_px) and shapely.contains_xy(polygon, *letters_px.T).any())


def _judge(
    inner: shapely.Polygon,
    outer: shapely.Polygon,
    share: float,
    *,
    touches: bool,
    joined: bool,
    width_px: float,
    is_named: Callable[[], bool],
) -> tuple[bool, float, str]:
    if touches:
        return False, 0.7, "drawn inside another, touching it"
    plain = is_round(inner, width_px=width_px)
    if joined and plain:
        return True, 0.8, "a round hole on a line through the part"
    if share < ALIKE_SHARE and not joined:
        return True, 0.95, "a closed line inside the part"
    if joined and has_tip(inner, width_px) and has_tip(outer, width_px):
        return False, 0.85, "drawn inside another on a common line"
    if share < ALIKE_SHARE:
        return True, 0.7, "an opening on a line through the part"
    if not joined and has_tip(inner, width_px) and has_tip(outer, width_px) and alike(inner, outer):
        return False, 0.6, "drawn inside another of its shape"
    if _wall_is_even(inner, outer):
        return True, 0.9 if not joined else 0.6, "an opening at an even distance from the edge"
    if joined and alike(inner, outer, least=ONE_SHAPE):
        return False, 0.85, "drawn inside another of its shape on a common line"
    if joined:
        return True, 0.6, "an opening on a line through the part"
    corners = np.asarray(inner.exterior.coords)[:-1] if isinstance(inner, shapely.Polygon) else None
    boxy = corners is not None and is_quad(corners, width_px=width_px)
    if not plain and not boxy and alike(inner, outer) and is_named():
        return False, 0.6, "drawn inside another of its shape"
    return True, 0.7, "a large closed line inside the part"


TIP_RAD = np.deg2rad(40)
"""A corner sharper than this is a trailing edge's, of which no lightening hole has one."""


TIP_WIDTHS = 1.5
"""A tip is looked for on an outline without bends smaller than this, in line widths: where a line runs through it, its
last widths are blunt or bent."""

BLUNT_WIDTHS, BLUNT_SHARE = 3.0, 0.25
"""... or without those smaller than this, where that is no more than such a share of the outline's own breadth: where
sides and a line run together, the ink's end is blunt. The round end of a slot is half as high as the slot is broad."""


def has_tip(polygon: shapely.Polygon, width_px: float) -> bool:
    """Tell whether an outline has a sharp tip."""
    around_px = shapely.length(polygon)
    breadth_px = 2 * shapely.area(polygon) / around_px if around_px > 0 else 0.0
    slack_px = max(TIP_WIDTHS * width_px, min(BLUNT_WIDTHS * width_px, BLUNT_SHARE * breadth_px))
    ring = shapely.get_coordinates(shapely.simplify(polygon, slack_px).exterior)[:-1]
    before, after = np.roll(ring, 1, axis=0) - ring, np.roll(ring, -1, axis=0) - ring
    lengths = np.hypot(*before.T) * np.hypot(*after.T)
    cosines = (before * after).sum(axis=1) / np.where(lengths > 0, lengths, 1.0)
    return bool((cosines > np.cos(TIP_RAD)).any())


def _parents(polygons: NDArray[np.object_], areas_px2: NDArray[np.float64]) -> list[int | None]:
    """For each polygon the smallest larger one that holds it (all but a sliver)."""
    tree = shapely.STRtree(polygons)
    inner, outer = tree.query(shapely.point_on_surface(polygons), predicate="within")
    larger = areas_px2[outer] > areas_px2[inner]
    inner, outer = inner[larger], outer[larger]
    common_px2 = shapely.area(shapely.intersection(polygons[inner], polygons[outer]))
    holds = common_px2 > 0.98 * areas_px2[inner]
    parents: list[int | None] = [None] * len(polygons)
    for which, around in zip(inner[holds].tolist(), outer[holds].tolist(), strict=True):
        known = parents[which]
        if known is None or areas_px2[around] < areas_px2[known]:
            parents[which] = around
    return parents


@dataclass(frozen=True, slots=True)
class _Lines:
    """Lines (by number) that pass straight through a loop, and all that touch it."""

    through: set[int]
    touching: set[int]


def _passing_lines(graph: LineGraph, walks: Sequence[Walk]) -> list[_Lines]:
    line_of = _line_numbers(graph)
    at: dict[int, list[int]] = {}
    for side in np.flatnonzero(~np.isnan(graph.leaving_rad)).tolist():
        at.setdefault(graph.place_of(side), []).append(side)
    found = []
    for walk in walks:
        own = {side >> 1 for side in walk}
        through: set[int] = set()
        touching: set[int] = set()
        for side in walk:
            for other in at.get(graph.place_of(side), ()):
                if other >> 1 in own:
                    continue
                touching.add(line_of[other >> 1])
                mate = int(graph.mate[other])
                # Ribs share a datum drawn whole; dashes are a part's own centre line.
                if mate >= 0 and mate >> 1 not in own and not graph.strokes.links[other >> 1].dashed:
                    through.add(line_of[other >> 1])
        found.append(_Lines(through, touching))
    return found


def _line_numbers(graph: LineGraph) -> NDArray[np.int64]:
    """One number for all links of a line that carries on from each to the next."""
    root = np.arange(len(graph.mate) // 2)

    def find(link: int) -> int:
        while root[link] != link:
            root[link] = root[root[link]]
            link = int(root[link])
        return link

    for side, mate in enumerate(graph.mate.tolist()):
        if mate >= 0:
            root[find(side >> 1)] = find(mate >> 1)
    return np.array([find(link) for link in range(len(root))], dtype=np.int64)


def _wall_is_even(inner: shapely.Polygon, outer: shapely.Polygon) -> bool:
    at = np.linspace(0, 1, 64, endpoint=False)
    points = shapely.line_interpolate_point(inner.exterior, at, normalized=True)
    wall_px = shapely.distance(outer.boundary, points)
    return bool(wall_px.std() < EVEN_WALL * wall_px.mean())


ALIKE, ONE_SHAPE = 0.85, 0.92
"""What two loops of like shape share, each stretched to a unit box, and what formers of one body drawn one in another
on their centre line do. A box in a bevelled or tapering former shares up to 0.9 with it."""


def alike(inner: shapely.Polygon, outer: shapely.Polygon, *, least: float = ALIKE) -> bool:
    """Tell whether two loops have one shape, each stretched to a unit box."""
    boxes = np.array([shapely.bounds(inner), shapely.bounds(outer)])
    sizes = boxes[:, 2:] - boxes[:, :2]
    aspect = (sizes[0, 0] / sizes[0, 1]) / (sizes[1, 0] / sizes[1, 1])
    if not 0.7 < aspect < 1.4 or not all(isinstance(shape, shapely.Polygon) for shape in (inner, outer)):
        return False
    units = [
        shapely.Polygon((shapely.get_coordinates(shape.exterior) - box[:2]) / size)
        for shape, box, size in zip((inner, outer), boxes, sizes, strict=True)
    ]
    if not all(shapely.is_valid(unit) for unit in units):
        return False
    common = shapely.area(shapely.intersection(units[0], units[1]))
    return bool(common / (shapely.area(units[0]) + shapely.area(units[1]) - common) > least)
