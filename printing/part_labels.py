"""Where a part's number is written: inside it, or beside it where it is too thin."""

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from drawing.drawing import Drawing, Kind
from drawing.paths import Point, sampled
from printing.content import Box

# A part's shape only has to be right enough to write inside it.
_SHAPE_MM = 0.1

# Numbers are written this high, capitals 0.7 of it: read at arm's length, and from close by inside a thin rib.
LARGEST_MM = 3.6
SMALLEST_MM = 2.2

# A piece that takes a circle of this radius takes the smallest number.
_INSIDE_RADIUS_MM = 1.5

# A number with a ring around it needs a circle of this radius to stand in.
ROOM_MM = 4.5
RING_GAP_MM = 0.7

# In a strip a number may leave the very middle by this share of its half width, so that it can slide along.
_NEARLY_WIDEST = 0.85

# Places tried inside a piece are a square lattice of this many a side.
_TRIED_A_SIDE = 16

# A number keeps this far from the window's edges, where a page's joints have their marks, if its piece reaches so far.
_FROM_EDGE_MM = 6.0

# A piece smaller than this share of its part needs no number: another page shows more of it.
_SLIVER_SHARE = 0.01

# A number beside its part lies this far off, tried all around.
_BESIDE_MM = (5.0, 7.5, 10.0, 14.0)
_BESIDE_WAYS = 16

# Labels are looked up in squares about as wide as one: a page of thousands then costs each no more than a page of ten.
_SQUARE_MM = 8.0


InkUnder: TypeAlias = Callable[[NDArray[np.float64]], NDArray[np.float64]]
"""Mean darkness 0-1 of the plan's picture in boxes (N, 4) of (x min, y min, x max, y max), build mm."""


@dataclass(frozen=True, slots=True)
class PartShape:
    """A part as a polygon, build mm, with the number people read."""

    number: int
    shape: BaseGeometry


@dataclass(frozen=True, slots=True)
class PartLabel:
    """A part's number, centred at `at_mm`, `size_mm` high; `leader_mm` is the place inside it that a line points to.

    `radius_mm` is that of the largest circle around `at_mm` inside the piece; 0 for a number beside its part.
    """

    number: int
    at_mm: Point
    size_mm: float
    radius_mm: float
    leader_mm: Point | None = None


def part_shapes(drawing: Drawing) -> tuple[PartShape, ...]:
    """Give the drawing's parts, the border left out, as polygons with their holes."""
    shapes = []
    for outline in drawing.outlines:
        if outline.kind is Kind.BORDER:
            continue
        loops = [sampled(path, tolerance_mm=_SHAPE_MM) for path in (outline.boundary, *outline.holes)]
        boundary, *holes = (loop for loop in loops if len(loop) >= 3)
        shape = shapely.make_valid(shapely.Polygon(boundary, holes))
        shapes.append(PartShape(outline.number, shape))
    return tuple(shapes)


def part_labels(shapes: tuple[PartShape, ...], window_mm: Box, *, ink: InkUnder | None = None) -> tuple[PartLabel, ...]:
    """Give a label for each part of which the window shows a piece, in the parts' order.

    A number stands in the widest place of its piece or, where the plan's picture is known, there or nearby
    where it hides least of it. A piece too thin for its number has it beside it, outside all other parts where
    there is room.
    """
    window = shapely.box(*window_mm)
    inner = window.buffer(-_FROM_EDGE_MM)
    labels: list[PartLabel] = []
    thin: list[tuple[PartShape, Point]] = []
    seen = shapely.intersects(np.array([part.shape for part in shapes], dtype=object), window)
    near = [shapes[index] for index in np.flatnonzero(seen)]
    drawn = np.array([part.shape for part in near], dtype=object)
    tree = shapely.STRtree(drawn)
    for part in near:
        own = part.shape
        for index in sorted(tree.query(part.shape, predicate="intersects")):
            other = near[index]
            # A part drawn inside another has the number that stands in it.
            if other is not part and other.shape.area < part.shape.area:
                own = own.difference(other.shape)
        piece = _largest_piece(own.intersection(inner)) or _largest_piece(own.intersection(window))
        if piece is None or piece.area < _SLIVER_SHARE * own.area:
            continue
        circle = shapely.maximum_inscribed_circle(piece, tolerance=0.3)
        (x, y), rim = circle.coords[0], circle.coords[-1]
        radius = math.dist((x, y), rim)
        if radius >= _INSIDE_RADIUS_MM:
            labels.append(_inside(part.number, piece, (x, y), radius, ink))
        else:
            thin.append((part, (x, y)))
    taken = _Taken()
    for label in labels:
        taken.add(_label_box(label.at_mm, label.number, label.size_mm))
    if thin:
        shapely.prepare(drawn)

    def on_a_part(box: Box) -> bool:
        square = shapely.box(*box)
        return bool(shapely.intersects(drawn[tree.query(square)], square).any())

    for part, inside in thin:
        beside = _beside(part.number, inside, window_mm, on_a_part, taken)
        if beside is not None:
            labels.append(PartLabel(part.number, beside, SMALLEST_MM, 0.0, inside))
            taken.add(_label_box(beside, part.number, SMALLEST_MM))
    return tuple(sorted(labels, key=lambda label: label.number))


def _inside(number: int, piece: shapely.Polygon, widest: Point, radius_mm: float, ink: InkUnder | None) -> PartLabel:
    """The label inside a piece, at its widest place or where there is less ink under it."""
    size = min(LARGEST_MM, max(SMALLEST_MM, radius_mm * 0.9))
    room = min(_NEARLY_WIDEST * radius_mm, ROOM_MM)
    if ink is None:
        return PartLabel(number, widest, size, radius_mm)
    x0, y0, x1, y1 = piece.bounds
    across, up = (np.linspace(low, high, _TRIED_A_SIDE) for low, high in ((x0, x1), (y0, y1)))
    tried = np.stack(np.meshgrid(across, up), axis=-1).reshape(-1, 2)
    free = piece.buffer(-room)
    tried = np.vstack([[widest], tried[shapely.contains_xy(free, tried[:, 0], tried[:, 1])]])
    half = max(label_half_mm(number, size)) + (RING_GAP_MM if radius_mm >= ROOM_MM else 0.0)
    dark = ink(np.column_stack([tried - half, tried + half]))
    far = np.hypot(*(tried - widest).T)
    # Ink is compared in hundredths, so that of places as clean as each other the nearest is taken.
    best = int(np.lexsort((far, np.round(dark, 2)))[0])
    radius = radius_mm if best == 0 else room
    return PartLabel(number, (float(tried[best, 0]), float(tried[best, 1])), size, radius)


def _largest_piece(shape: BaseGeometry) -> shapely.Polygon | None:
    pieces = [piece for piece in shapely.get_parts(shape) if isinstance(piece, shapely.Polygon) and piece.area > 0]
    return max(pieces, key=lambda piece: float(piece.area)) if pieces else None


class _Taken:
    """Boxes that labels stand in, each listed in every square of the page it reaches into."""

    def __init__(self) -> None:
        self._boxes: dict[tuple[int, int], list[Box]] = {}

    def add(self, box: Box) -> None:
        """Take a box."""
        for square in _squares(box):
            self._boxes.setdefault(square, []).append(box)

    def touches(self, box: Box) -> bool:
        """Say whether a box overlaps or meets one that is taken."""
        x0, y0, x1, y1 = box
        return any(
            left <= x1 and right >= x0 and low <= y1 and top >= y0
            for square in _squares(box)
            for left, low, right, top in self._boxes.get(square, ())
        )


def _squares(box: Box) -> Iterator[tuple[int, int]]:
    x0, y0, x1, y1 = (math.floor(side / _SQUARE_MM) for side in box)
    return itertools.product(range(x0, x1 + 1), range(y0, y1 + 1))


def _beside(
    number: int, inside: Point, window_mm: Box, on_a_part: Callable[[Box], bool], taken: _Taken
) -> Point | None:
    """The nearest place around a point that no label has and no part; where all touch a part, the nearest of them."""
    x0, y0, x1, y1 = window_mm
    fallback = None
    for far in _BESIDE_MM:
        for turn in np.arange(_BESIDE_WAYS) * (2 * math.pi / _BESIDE_WAYS) + math.pi / 4:
            at = (inside[0] + far * math.cos(turn), inside[1] + far * math.sin(turn))
            box = _label_box(at, number, SMALLEST_MM)
            if box[0] < x0 or box[1] < y0 or box[2] > x1 or box[3] > y1:
                continue
            if taken.touches(box):
                continue
            fallback = fallback or at
            if not on_a_part(box):
                return at
    return fallback


def _label_box(at: Point, number: int, size_mm: float) -> Box:
    half_width, half_height = label_half_mm(number, size_mm)
    return at[0] - half_width, at[1] - half_height, at[0] + half_width, at[1] + half_height


def label_half_mm(number: int, size_mm: float) -> tuple[float, float]:
    """Give half the width and height that a number and its white ground take."""
    # Figures of the page's typefaces are 0.556 of their size wide.
    return 0.278 * size_mm * len(str(number)) + 0.5, 0.36 * size_mm + 0.5
