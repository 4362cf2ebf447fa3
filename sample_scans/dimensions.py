"""Dimension lines, centre-lines and reference crosses as a draughtsman draws them."""

import math

import numpy as np

from sample_scans.curves import turned
from sample_scans.lettering import text
from sample_scans.truth import InkStroke, KnownTruth, Piece, Point, Points

THIN_MM = 0.25  # ISO 128: dimension, extension and centre-lines
ARROW_MM = (3.0, 0.5)  # length and half width of an arrowhead
_FIGURE_MM = 3.0
_FIGURE_WIDTH_MM = 0.3
# dash, gap, dot, gap of a centre-line, mm
_CHAIN_MM = (8.0, 1.4, 0.5, 1.4)


def line(start_mm: Point, end_mm: Point, *, width_mm: float = THIN_MM, role: str = "dimension") -> InkStroke:
    """Give one straight stroke."""
    return InkStroke(np.array([start_mm, end_mm], dtype=float), width_mm, False, role)


def dimension(
    start_mm: Point,
    end_mm: Point,
    *,
    away_mm: float,
    name: str,
    along: str = "true",
    gaps_mm: tuple[float, float] = (1.0, 1.0),
) -> Piece:
    """Dimension the distance between two places in the ink.

    The dimension line lies `away_mm` to the left of the way from start to end (negative: to the right). `along` is
    "true" for the straight distance, "x" or "y" for its part across or up the sheet; only a straight distance
    becomes a known length. `gaps_mm` is the paper left between each feature and its extension line.
    """
    a, b = np.array(start_mm, dtype=float), np.array(end_mm, dtype=float)
    way = {"true": b - a, "x": np.array([b[0] - a[0], 0.0]), "y": np.array([0.0, b[1] - a[1]])}[along]
    length = float(np.hypot(*way))
    way = way / length
    left = np.array([-way[1], way[0]])
    side = math.copysign(1.0, away_mm)
    # Both dimension-line ends lie at one distance from the start, whatever the end's own offset is.
    level = float(a @ left) + away_mm
    foot_a, foot_b = a + left * (level - a @ left), b + left * (level - b @ left)
    strokes = [
        line(_point(feature + left * side * gap), _point(foot + left * side * 2.0))
        for feature, foot, gap in zip((a, b), (foot_a, foot_b), gaps_mm, strict=True)
    ]
    strokes.append(line(_point(foot_a), _point(foot_b)))
    strokes += _arrowhead(foot_a, way) + _arrowhead(foot_b, -way)
    figure = f"{length:.1f}".removesuffix(".0")
    turn = math.degrees(math.atan2(way[1], way[0]))
    if turn > 90.01 or turn <= -89.99:
        turn += 180
    up = turned(np.array([[0.0, 1.0]]), turn)[0]
    middle = (foot_a + foot_b) / 2 + up * 1.1
    words = text(figure, _point(middle), height_mm=_FIGURE_MM, turn_deg=turn, anchor=0.5, width_mm=_FIGURE_WIDTH_MM)
    known = (KnownTruth(name, start_mm, end_mm),) if along == "true" else ()
    return Piece(tuple(strokes) + words.strokes, (), known)


def _arrowhead(tip: Points, inward: Points) -> list[InkStroke]:
    """A filled head: its outline and three strokes down its inside leave no paper between them."""
    length, half = ARROW_MM
    left = np.array([-inward[1], inward[0]])
    # The pen's own half width is kept inside the head.
    base = tip + inward * length
    outline = np.array([tip + inward * 0.4, base + left * (half - 0.12), base - left * (half - 0.12)])
    return [
        InkStroke(outline, THIN_MM, True, "dimension"),
        *(
            InkStroke(np.array([tip + inward * 0.4, base + left * aside]), THIN_MM, False, "dimension")
            for aside in (-0.19, 0.0, 0.19)
        ),
    ]


def centre_line(start_mm: Point, end_mm: Point) -> Piece:
    """Give a chain line (long dash, dot), beginning and ending with a dash and balanced about its middle."""
    a, b = np.array(start_mm, dtype=float), np.array(end_mm, dtype=float)
    length = float(np.hypot(*(b - a)))
    dash, gap, dot, _ = _CHAIN_MM
    period = sum(_CHAIN_MM)
    repeats = max(0, round((length - dash) / period))
    unit = (b - a) / (repeats * period + dash)
    marks = [(k * period, k * period + dash) for k in range(repeats + 1)]
    marks += [(k * period + dash + gap, k * period + dash + gap + dot) for k in range(repeats)]
    return Piece(
        tuple(line(_point(a + unit * from_), _point(a + unit * to), role="centre") for from_, to in sorted(marks))
    )


def cross(at_mm: Point, *, arm_mm: float = 3.0) -> Piece:
    """Give a small upright reference cross."""
    x, y = at_mm
    return Piece(
        (
            line((x - arm_mm, y), (x + arm_mm, y), role="cross"),
            line((x, y - arm_mm), (x, y + arm_mm), role="cross"),
        )
    )


def _point(at: Points) -> Point:
    return float(at[0]), float(at[1])
