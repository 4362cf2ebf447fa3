"""Which loops are drawn around lettering: a balloon about a part's number, a box about a title."""

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.lettering import BALLOON, LEAST_FIGURE, MOST_FIGURE, OFF_MIDDLE
from digitize.loop import Loop
from digitize.not_parts import hull_corners, is_quad, is_round

Floats = NDArray[np.float64]

THORN_WIDTHS = 1.5
"""Where a leader meets a balloon, ink pulls the circle towards it: a thorn twice as wide as this, at most, in line
widths."""

LEAST_STROKE = 0.15
"""The longest stroke of a balloon's number is at least this long, in parts of the balloon: half of an 8 is. A name
written across a round part is made of shorter ones."""

LEAST_LED = 0.2
"""A number in a balloon with a leader is at least this large beside it: where its strokes run together, centre lines
show little of it."""

MARK_SHARE = 0.03
"""The lines of a centre mark run this near past the middle of their circle, in parts of its size; the stem of a 1
stands farther off it."""

MARK_BOW = 0.05
"""... and are straight to within this part of their length."""

LEAST_WIDTHS = 3.0
"""A shorter stroke, in line widths, shows no direction: a piece of the crossing in a centre mark's middle."""

LEAST_CURVE = 0.2
"""A bent stroke at least this large, in parts of a circle, that ends free of it is of a figure as large as a balloon's
number: the smaller round of an 8 half as high as the balloon. The bow of a name's letter in a round part is less."""

BOWED = 1.2
"""A bent stroke is this much longer than it reaches: a third of a circle is. A leader is straight, whatever ink pulls
at its end."""

BALLOON_WIDTHS = 10.0
"""A balloon is larger than this, in line widths: figures are five high at least, and fill half of it."""

BOX_SHARES = 0.4, 0.6
"""Lettering fills a box drawn around it to this share of each side, and of its longer one."""


TALL_PERCENT, SPACE_HEIGHTS, FILLS = 80, 0.5, 0.35
"""A letter is as high as most of its strokes are long at most; half its height about it is the line's own space; and
with that a title fills so much of its box, which has room for a line more."""


def is_around(loop: Loop, lettering: Sequence[Floats], others: Sequence[Floats], *, led: bool, width_px: float) -> bool:
    """Tell whether a loop is a balloon around lettering or a box that lettering fills.

    Parameters
    ----------
    loop : Loop
    lettering, others : sequences of (N, 2) float
        Points of the links inside that are lettering, and of those that are not.
    led : bool
        Whether a line ends on the loop from outside: a balloon's leader. Then what is in its middle is its number,
        known as lettering or not: a 1 or a 7 by itself looks like any stroke.
    width_px : float
    """
    if not lettering and not (led and others):
        return False
    if is_quad(loop.points_px, width_px=width_px) and lettering:
        spread_px = np.ptp(np.concatenate(lettering), axis=0)
        box_px = np.ptp(hull_corners(loop.points_px, width_px=width_px), axis=0)
        if not ((spread_px > BOX_SHARES[0] * box_px).all() and spread_px.max() > BOX_SHARES[1] * box_px.max()):
            return False
        return _is_filled(loop.polygon, lettering)
    ring = _without_thorns(loop.polygon, width_px)
    if not is_round(ring, width_px=width_px):
        return False
    low, high = np.array(shapely.bounds(ring)).reshape(2, 2)
    middle, size_px = (low + high) / 2, float((high - low).max())
    if (high - low).min() < BALLOON * size_px:
        return False
    inside = [*lettering, *others]
    if not lettering and any(_is_ring(points) and not (led and _is_oval(points, width_px)) for points in others):
        return False
    showing = [points for points in inside if np.ptp(points, axis=0).max() > LEAST_WIDTHS * width_px]
    # A centre mark is of two lines; one by itself with a leader to its circle is a 1.
    is_one = led and len(showing) == 1
    if not is_one and all(_is_centre_mark(points, middle, size_px) for points in showing):
        return False
    if max(float(np.ptp(points, axis=0).max()) for points in inside) < LEAST_STROKE * size_px:
        return False
    points = np.concatenate(inside)
    first, last = points.min(axis=0), points.max(axis=0)
    off_px = float(np.hypot(*((first + last) / 2 - middle)))
    spread_px = float((last - first).max())
    least = LEAST_LED if led else LEAST_FIGURE
    return off_px < OFF_MIDDLE * size_px and least * size_px < spread_px < MOST_FIGURE * size_px


def _is_filled(box: shapely.Polygon, lettering: Sequence[Floats]) -> bool:
    """Whether lettering with the usual space about it fills a box: words here and there on a part leave most bare."""
    boxes = np.array([[*points.min(axis=0), *points.max(axis=0)] for points in lettering])
    tall_px = float(np.percentile((boxes[:, 2:] - boxes[:, :2]).max(axis=1), TALL_PERCENT))
    about = shapely.buffer(shapely.box(*boxes.T), SPACE_HEIGHTS * tall_px, cap_style="square", join_style="mitre")
    return bool(shapely.area(shapely.intersection(shapely.union_all(about), box)) > FILLS * shapely.area(box))


def holds_figure(loop: Loop, inside: Sequence[Floats], *, width_px: float) -> bool:
    """Tell whether a loop is a circle with a figure in it, by strokes that bend and end free of the circle.

    Lines that pass a hole run in and out of it, and its centre lines are straight: none is such a stroke. What else
    touches the circle does not matter: an outline drawn through the balloon, a figure that its ink has run into.

    Parameters
    ----------
    loop : Loop
    inside : sequence of (N, 2) float
        Points of the links inside the loop, but for those of openings.
    width_px : float
    """
    size_px = float(np.ptp(loop.points_px, axis=0).max())
    curves = [points for points in inside if np.ptp(points, axis=0).max() > LEAST_CURVE * size_px and _is_bowed(points)]
    if not curves or size_px < BALLOON_WIDTHS * width_px:
        return False
    ring = _without_thorns(loop.polygon, width_px)
    if not is_round(ring, width_px=width_px):
        return False
    free = shapely.buffer(ring, -width_px)
    return any(bool(shapely.contains_xy(free, points[[0, -1]]).any()) and not _is_ring(points) for points in curves)


def _is_bowed(points: Floats) -> bool:
    """Whether a stroke bends as the rounds of figures do."""
    along_px = float(np.hypot(*np.diff(points, axis=0).T).sum())
    return along_px > BOWED * float(np.hypot(*(points[-1] - points[0])))


def _without_thorns(polygon: shapely.Polygon, width_px: float) -> shapely.Polygon:
    """A loop without what is narrower than three line widths, and its dents that narrow filled."""
    by_px = THORN_WIDTHS * width_px
    opened = shapely.buffer(shapely.buffer(shapely.buffer(polygon, -by_px), 2 * by_px), -by_px)
    pieces = [piece for piece in shapely.get_parts(opened) if isinstance(piece, shapely.Polygon)]
    return max(pieces, key=shapely.area, default=shapely.Polygon())


def _is_ring(points: Floats) -> bool:
    """Whether a stroke comes back to its start: an opening, no number."""
    return bool((points[0] == points[-1]).all())


def _is_oval(points: Floats, width_px: float) -> bool:
    """Whether a closed stroke is no circle: a 0, or a 4 or an 8 whose ink has run together."""
    return len(points) > MOST_CORNERS and not is_round(shapely.Polygon(points), width_px=width_px)


MOST_CORNERS = 3
"""A closed stroke of no more points has no shape to tell."""


def _is_centre_mark(points: Floats, middle: Floats, size_px: float) -> bool:
    """Whether a stroke is straight and runs past a circle's middle."""
    if _is_ring(points):
        return False
    way = (points[-1] - points[0]) / np.hypot(*(points[-1] - points[0]))
    off = points - points[0]
    bow_px = float(np.abs(off[:, 0] * way[1] - off[:, 1] * way[0]).max())
    away = middle - points[0]
    past_px = abs(float(away[0] * way[1] - away[1] * way[0]))
    return bow_px < MARK_BOW * size_px and past_px < MARK_SHARE * size_px
