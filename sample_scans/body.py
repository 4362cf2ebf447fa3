"""The fuselage's and tail's pieces: formers, cabin side, tailplane, fin, and small parts."""

import math

import numpy as np

from sample_scans.curves import arc, bezier, circle, rounded, slot, turned
from sample_scans.dimensions import centre_line, dimension, line
from sample_scans.lettering import text
from sample_scans.truth import InkStroke, Piece, Points
from sample_scans.wing import OUTLINE_MM, part


def former(
    name: str, *, width_mm: float, height_mm: float, openings: str, notch_mm: float = 3.0, line_mm: float = OUTLINE_MM
) -> Piece:
    """Draw a former with an arched top, notches for four longerons, openings and its centre-lines.

    The origin is the middle of its foot. `openings` is "round", "slots", "pair" or "none".
    """
    half, n = width_mm / 2, notch_mm
    rise = width_mm * 0.16
    shoulder = height_mm - rise
    chord = half - n
    radius = (chord**2 + rise**2) / (2 * rise)
    reach = math.degrees(math.asin(chord / radius))
    top = arc((0.0, height_mm - radius), radius, 90 - reach, 90 + reach)
    boundary = np.concatenate(
        [
            [[-chord, 0], [chord, 0], [chord, n], [half, n], [half, shoulder - n], [chord, shoulder - n]],
            top,
            [[-chord, shoulder - n], [-half, shoulder - n], [-half, n], [-chord, n]],
        ]
    )
    middle = shoulder / 2
    holes: tuple[Points, ...]
    match openings:
        case "round":
            holes = (circle((0.0, middle), min(width_mm, shoulder) * 0.28),)
        case "slots":
            # The centre-line passes between both slots.
            holes = tuple(slot((x, middle), shoulder * 0.55, width_mm * 0.2) for x in (-width_mm * 0.2, width_mm * 0.2))
        case "pair":
            holes = (
                circle((0.0, shoulder * 0.3), width_mm * 0.17),
                circle((0.0, shoulder * 0.72), width_mm * 0.12),
            )
        case _:
            holes = ()
    piece = part(name, boundary, holes, width_mm=line_mm)
    piece += centre_line((0.0, -6.0), (0.0, height_mm + 6.0))
    piece += centre_line((-half - 6.0, middle), (half + 6.0, middle))
    return piece + text(name, (half - 6.0 if openings == "none" else 4.0, height_mm + 3.0), height_mm=3.0)


def cabin_side(name: str, *, length_mm: float, height_mm: float, line_mm: float = OUTLINE_MM) -> Piece:
    """Draw a cabin's side with a raked screen, two windows and a peg hole; the origin is its lower-left corner."""
    nose = height_mm * 0.52
    a, b = length_mm * 0.24, length_mm * 0.36
    boundary = rounded(
        [
            (0.0, height_mm * 0.10),
            (length_mm * 0.12, 0.0),
            (length_mm, height_mm * 0.14),
            (length_mm, height_mm * 0.80),
            (length_mm * 0.74, height_mm),
            (b, height_mm),
            (a, nose),
            (0.0, nose * 0.92),
        ],
        [3.0, 30.0, 0.0, 0.0, 40.0, 5.0, 12.0, 4.0],
    )
    low, high = height_mm * 0.56, height_mm * 0.88
    slope = (b - a) / (height_mm - nose)

    def screen(y: float) -> float:
        return a + (y - nose) * slope + 8.0

    post = length_mm * 0.56
    front = rounded([(screen(low), low), (post, low), (post, high), (screen(high), high)], [3.0, 3.0, 3.0, 3.0])
    rear = rounded(
        [(post + 6, low), (length_mm * 0.80, low), (length_mm * 0.72, high), (post + 6, high)], [3.0, 3.0, 3.0, 3.0]
    )
    peg = circle((length_mm * 0.9, height_mm * 0.34), 2.5)
    piece = part(name, boundary, (front, rear, peg), width_mm=line_mm)
    x, y = length_mm * 0.9, height_mm * 0.34
    piece += centre_line((x - 6.0, y), (x + 6.0, y)) + centre_line((x, y - 6.0), (x, y + 6.0))
    return piece + text(name, (length_mm * 0.3, height_mm * 0.26), height_mm=3.5)


def tailplane(name: str, *, span_mm: float, chord_mm: float, line_mm: float = OUTLINE_MM) -> Piece:
    """Draw a tailplane with curved tips, two spars inside; the origin is the middle of its straight trailing edge."""
    half, straight = span_mm / 2, span_mm / 2 * 0.55
    tip = bezier(
        (straight, chord_mm),
        (half * 0.88, chord_mm),
        (half, chord_mm * 0.72),
        (half, chord_mm * 0.40),
    )
    back = bezier((half, chord_mm * 0.40), (half, chord_mm * 0.16), (half * 0.94, 0.0), (half * 0.80, 0.0))
    right = np.concatenate([tip, back[1:]])[::-1]
    boundary = np.concatenate([right, (right * [-1, 1])[::-1]])
    piece = part(name, boundary, width_mm=line_mm)
    inside: list[InkStroke] = []
    for y in (chord_mm * 0.40, chord_mm * 0.40 + 3.0):
        reach = _reach(boundary, y)
        inside.append(line((-reach, y), (reach, y), width_mm=line_mm, role="inside"))
    for x in (-straight, -straight * 0.5, straight * 0.5, straight):
        inside.append(line((x, 0.0), (x, chord_mm * 0.40), width_mm=line_mm, role="inside"))
        inside.append(line((x, chord_mm * 0.40 + 3.0), (x, chord_mm), width_mm=line_mm, role="inside"))
    piece += Piece(tuple(inside)) + centre_line((0.0, -5.0), (0.0, chord_mm + 5.0))
    return piece + text(name, (straight * 0.75, chord_mm * 0.62), height_mm=2.5, anchor=0.5, width_mm=0.25)


def span_dimension(tail: Piece, *, below_mm: float) -> Piece:
    """Dimension a tailplane's span on a line `below_mm` under its trailing edge.

    Extension lines begin where the rounded tip has drawn back from them, so that they do not run along it.
    """
    boundary = tail.parts[0].boundary_mm
    half, widest = boundary[boundary[:, 0].argmax()]
    near = boundary[(boundary[:, 0] > half - _CLEAR_MM) & (boundary[:, 1] < widest)]
    gap = float(widest - near[:, 1].min())
    return dimension(
        (-float(half), float(widest)),
        (float(half), float(widest)),
        away_mm=-float(widest) - below_mm,
        name=f"{tail.parts[0].name} span",
        gaps_mm=(gap, gap),
    )


_CLEAR_MM = 1.2  # paper between an extension line and the tip it runs beside


def _reach(boundary: Points, y_mm: float) -> float:
    """The largest x at which a boundary crosses a height."""
    a, b = boundary, np.roll(boundary, -1, axis=0)
    crossing = (a[:, 1] - y_mm) * (b[:, 1] - y_mm) <= 0
    a, b = a[crossing], b[crossing]
    rise = b[:, 1] - a[:, 1]
    t = np.divide(y_mm - a[:, 1], rise, out=np.zeros_like(rise), where=rise != 0)
    return float((a[:, 0] + t * (b[:, 0] - a[:, 0])).max())


def fin(name: str, *, width_mm: float, height_mm: float, line_mm: float = OUTLINE_MM) -> Piece:
    """Draw a fin with a curved leading edge and top, its rudder line ending on its edge; origin lower left."""
    lead = bezier(
        (0.0, 0.0), (width_mm * 0.16, height_mm * 0.42), (width_mm * 0.30, height_mm), (width_mm * 0.66, height_mm)
    )
    top = bezier(
        (width_mm * 0.66, height_mm),
        (width_mm * 0.90, height_mm),
        (width_mm, height_mm * 0.84),
        (width_mm, height_mm * 0.62),
    )
    foot = np.array([[width_mm, height_mm * 0.62], [width_mm * 0.90, 0.0]])
    boundary = np.concatenate([lead, top[1:], foot[1:]])[::-1]
    piece = part(name, boundary, width_mm=line_mm)
    hinge = width_mm * 0.62
    high = float(np.interp(hinge, lead[:, 0], lead[:, 1]))
    piece += Piece((line((hinge, 0.0), (hinge, high), width_mm=line_mm, role="inside"),))
    return piece + text(name, (width_mm * 0.36, height_mm * 0.36), height_mm=3.0, anchor=0.5)


def wheel(name: str, *, radius_mm: float, line_mm: float = OUTLINE_MM) -> Piece:
    """Draw a wheel with its axle hole and three lightening holes; the origin is its centre."""
    holes = [circle((0.0, 0.0), 1.5)]
    for angle in (90, 210, 330):
        x, y = (turned(np.array([[radius_mm * 0.58, 0.0]]), angle))[0]
        holes.append(circle((float(x), float(y)), radius_mm * 0.22))
    piece = part(name, circle((0.0, 0.0), radius_mm), tuple(holes), width_mm=line_mm)
    reach = radius_mm + 5
    piece += centre_line((-reach, 0.0), (reach, 0.0)) + centre_line((0.0, -reach), (0.0, reach))
    return piece + text(name, (radius_mm * 0.75, -radius_mm - 3.5), height_mm=3.0)


def brace(name: str, *, length_mm: float, width_mm: float, bent_deg: float, line_mm: float = OUTLINE_MM) -> Piece:
    """Draw a brace bent upwards in its middle; the origin is the middle of its lower edge."""
    half, slope = length_mm / 2, math.tan(math.radians(bent_deg))
    boundary = np.array(
        [
            [-half, half * slope],
            [0.0, 0.0],
            [half, half * slope],
            [half, half * slope + width_mm],
            [0.0, width_mm],
            [-half, half * slope + width_mm],
        ]
    )
    piece = part(name, boundary, width_mm=line_mm)
    return piece + text(name, (3.0, width_mm / 2 - 1.0), height_mm=2.5, width_mm=0.25, turn_deg=bent_deg)


def strut(name: str, *, length_mm: float, width_mm: float, line_mm: float = OUTLINE_MM) -> Piece:
    """Draw a strut with round ends and two pin holes, and the distance of the holes; the origin is its middle."""
    reach = (length_mm - width_mm) / 2
    boundary = turned(slot((0.0, 0.0), length_mm, width_mm), 90)
    holes = tuple(circle((x, 0.0), width_mm * 0.18) for x in (-reach, reach))
    piece = part(name, boundary, holes, width_mm=line_mm)
    piece += text(name, (0.0, -1.25), height_mm=2.5, width_mm=0.25, anchor=0.5)
    for x in (-reach, reach):
        piece += centre_line((x, -width_mm / 2 - 3), (x, width_mm / 2 + 3))
    drawn = dimension((-reach, -width_mm / 2 - 3), (reach, -width_mm / 2 - 3), away_mm=-6, name=f"{name} pins")
    return piece + drawn
