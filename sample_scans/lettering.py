"""Single-stroke lettering, drawn with one pen like a stencil."""

import math

import numpy as np

from sample_scans.curves import turned
from sample_scans.truth import InkStroke, Piece, Point, Points

# Every letter stands on a grid whose capitals are 6 high. Strokes are parted by ";"; a stroke is a run of corners
# "x,y" and of arcs "@x,y,rx,ry,from,to" (centre, radii, degrees). The width in front is the letter's own.
_LETTERS = {
    "A": (4.0, "0,0 2,6 4,0;0.7,2 3.3,2"),
    "B": (4.0, "0,3.2 2.4,3.2 @2.4,1.6,1.6,1.6,90,-90 0,0 0,6 2.3,6 @2.3,4.6,1.4,1.4,90,-90"),
    "C": (3.8, "@2.2,3,2.2,3,48,312"),
    "D": (4.0, "0,0 0,6 1.4,6 @1.4,3,2.6,3,90,-90 0,0"),
    "E": (3.4, "3.4,0 0,0 0,6 3.4,6;0,3.1 2.7,3.1"),
    "F": (3.4, "0,0 0,6 3.4,6;0,3.1 2.7,3.1"),
    "G": (4.2, "@2.2,3,2.2,3,48,340 4.2,2.8 2.7,2.8"),
    "H": (4.0, "0,0 0,6;4,0 4,6;0,3.1 4,3.1"),
    "I": (0.4, "0.2,0 0.2,6"),
    "J": (3.0, "3,6 3,1.5 @1.5,1.5,1.5,1.5,0,-170"),
    "K": (4.0, "0,0 0,6;4,6 0,2.2;1.3,3.435 4,0"),
    "L": (3.4, "0,6 0,0 3.4,0"),
    "M": (4.8, "0,0 0,6 2.4,1.8 4.8,6 4.8,0"),
    "N": (4.0, "0,0 0,6 4,0 4,6"),
    "O": (4.4, "@2.2,3,2.2,3,90,450"),
    "P": (4.0, "0,0 0,6 2.4,6 @2.4,4.4,1.6,1.6,90,-90 0,2.8"),
    "Q": (4.6, "@2.2,3,2.2,3,90,450;2.7,1.6 4.5,-0.4"),
    "R": (4.0, "0,0 0,6 2.4,6 @2.4,4.4,1.6,1.6,90,-90 0,2.8;2.1,2.8 4,0"),
    "S": (4.0, "@2,4.5,1.8,1.5,30,270 @2,1.5,2,1.5,90,-150"),
    "T": (4.2, "2.1,0 2.1,6;0,6 4.2,6"),
    "U": (4.0, "0,6 0,2 @2,2,2,2,180,360 4,6"),
    "V": (4.0, "0,6 2,0 4,6"),
    "W": (5.6, "0,6 1.4,0 2.8,6 4.2,0 5.6,6"),
    "X": (4.0, "0,0 4,6;0,6 4,0"),
    "Y": (4.0, "0,6 2,3 4,6;2,3 2,0"),
    "Z": (4.0, "0,6 4,6 0,0 4,0"),
    "0": (3.6, "@1.8,3,1.8,3,90,450"),
    "1": (1.8, "0.2,4.7 1.6,6 1.6,0"),
    "2": (3.8, "@1.9,4.2,1.8,1.8,160,-40 0,0 3.8,0"),
    "3": (3.8, "@1.9,4.5,1.6,1.5,150,-90 @1.9,1.5,1.9,1.5,90,-150"),
    "4": (4.0, "3,0 3,6 0,1.8 4,1.8"),
    "5": (3.8, "3.5,6 0.5,6 0.3,3.2 @1.9,2,1.9,2,140,-150"),
    "6": (3.8, "3.1,6 @3.6,2,3.6,4.1,102,180 @1.9,1.9,1.9,1.9,180,540"),
    "7": (3.8, "0,6 3.8,6 1.3,0"),
    "8": (3.8, "@1.9,4.6,1.5,1.4,-90,270;@1.9,1.6,1.9,1.6,90,450"),
    "9": (3.8, "0.7,0 @0.2,4,3.6,4.1,-78,0 @1.9,4.1,1.9,1.9,0,360"),
    ".": (0.4, "0.2,0 0.2,0.25"),
    ",": (0.6, "0.5,0.3 0.1,-1"),
    "-": (2.4, "0,2.8 2.4,2.8"),
    "/": (3.0, "0,-0.4 3,6.4"),
    ":": (0.4, "0.2,0.8 0.2,1.05;0.2,3.8 0.2,4.05"),
    "(": (1.6, "@4.2,3,4.2,5,140,220"),
    ")": (1.6, "@-2.6,3,4.2,5,40,-40"),
    "+": (3.2, "0,2.8 3.2,2.8;1.6,1.2 1.6,4.4"),
    "=": (3.0, "0,2 3,2;0,3.6 3,3.6"),
    "*": (3.0, "0,1.3 3,4.3;0,4.3 3,1.3"),  # the sign between two measures
    "'": (0.4, "0.2,4.6 0.2,6"),
}
_CAPITAL = 6.0
_GAP = 1.9
_SPACE = 3.2
_ARC_STEP_DEG = 5.0  # a letter's own roundness: its chords are the letter, so they may be long


def text_width_mm(text: str, *, height_mm: float) -> float:
    """Give the width of a line of lettering, mm."""
    return _advances(text)[-1] * height_mm / _CAPITAL


def text(
    words: str,
    at_mm: Point,
    *,
    height_mm: float = 3.5,
    turn_deg: float = 0.0,
    anchor: float = 0.0,
    width_mm: float = 0.35,
    role: str = "lettering",
) -> Piece:
    """Letter a line of capitals.

    `at_mm` lies on the line the letters stand on; `anchor` says where along it: 0 its beginning, 0.5 its middle,
    1 its end. KeyError for a sign the lettering does not have.
    """
    size = height_mm / _CAPITAL
    advances = _advances(words)
    strokes = []
    for sign, left in zip(words, advances, strict=False):
        if sign == " ":
            continue
        for stroke in _LETTERS[sign][1].split(";"):
            points = (_stroke_points(stroke) + np.array([left - anchor * advances[-1], 0.0])) * size
            closed = len(points) > 3 and bool(np.hypot(*(points[0] - points[-1])) < 1e-9)
            moved = turned(points[:-1] if closed else points, turn_deg) + np.array(at_mm)
            strokes.append(InkStroke(moved, width_mm, closed, role))
    return Piece(tuple(strokes))


def _advances(words: str) -> list[float]:
    """Left edge of every sign, then the right edge of the last, in grid units."""
    edges = [0.0]
    for sign in words:
        edges.append(edges[-1] + (_SPACE if sign == " " else _LETTERS[sign][0] + _GAP))
    edges[-1] -= 0.0 if words.endswith(" ") else _GAP
    return edges


def _stroke_points(stroke: str) -> Points:
    runs = []
    for word in stroke.split():
        numbers = [float(number) for number in word.removeprefix("@").split(",")]
        if word.startswith("@"):
            x, y, across, up, start, end = numbers
            count = max(3, math.ceil(abs(end - start) / _ARC_STEP_DEG) + 1)
            angles = np.radians(np.linspace(start, end, count))
            runs.append(np.column_stack([x + across * np.cos(angles), y + up * np.sin(angles)]))
        else:
            runs.append(np.array([numbers]))
    points = np.concatenate(runs)
    apart = np.hypot(*np.diff(points, axis=0).T) > 1e-9
    kept: Points = points[np.concatenate([[True], apart])]
    return kept
