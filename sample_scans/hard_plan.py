"""Invented plans as hard as drawn ones get: dimensions in many manners, shared edges, gaps, dashes, hatching."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from sample_scans.body import former
from sample_scans.curves import circle, slot, turned
from sample_scans.dimensions import centre_line, line
from sample_scans.lettering import text, text_width_mm
from sample_scans.plan import crosses, plan_of, title_block
from sample_scans.sections import RibCuts, Section, notched_rib
from sample_scans.shelves import on_shelves
from sample_scans.truth import InkStroke, PartTruth, Piece, PlanTruth, Point, Points, joined
from sample_scans.wing import nested_ribs, part, wing_panel

_BORDER_MM = (390.0, 277.0)  # ISO 216 A3 less 30 and 20 mm
_LINE_WIDTHS_MM = (0.25, 0.35, 0.5, 0.7)  # ISO 128
_DIGITS = ("2412", "4412", "6409", "2310", "4409", "2415", "0012")
_PAPER_MM = 5.0  # pitch of squared paper
_PAPER_WIDTH_MM = 0.06  # so thin that every picture shows it pale
_GAP_MM = (0.8, 3.0)  # where ink has faded off an outline
_DASHES_MM = ((3.0, 1.0), (4.0, 1.5), (2.0, 0.8))  # dash and gap of a hidden line

Rng = np.random.Generator


def hard_plan(seed: int) -> PlanTruth:
    """Give an invented hard plan on an A3 sheet, the same for the same seed.

    Every part has its truth; which of the difficulties a plan has is drawn at random, and a good half of its parts
    have one or more.
    """
    rng = np.random.default_rng([seed, 41])
    width, height = _BORDER_MM
    line_mm = float(rng.choice(_LINE_WIDTHS_MM))
    makers: list[Callable[[str, Rng, float], Piece]] = [
        *(
            _panel,
            _nest,
            _shared,
            _dashed,
            _hatched,
            _former,
            _former,
            _rib,
            _rib,
            _rib,
            _plate,
            _plate,
            _plate,
            _gapped,
        ),
        *(_gapped, _touching, _gusset, _words),
    ]
    names = [f"P{number}" for number in range(1, len(makers) + 1)]
    pieces = [make(name, rng, line_mm) for name, make in zip(names, makers, strict=True)]
    placed = on_shelves(pieces, width, height)
    words = [text("TRIM TO FIT", (60.0, 30.0), height_mm=3.0, turn_deg=float(rng.uniform(10, 80)))]
    block = title_block(
        ["HARD CASE", "INVENTED FOR A TRIAL", f"DRAWING {seed}"],
        ["SHEET 1 OF 1", "SCALE 1:1", "MEASURES IN MM"],
        right_mm=width,
    )
    marks = crosses([(8, 8), (8, height - 8), (width - 8, height - 8)])
    squared = [_squared(width, height)] if rng.random() < 0.3 else []
    drawn = joined([*squared, *placed, block, marks, *(words if _is_free(words[0], placed) else [])])
    return plan_of(f"hard-{seed}", drawn, width_mm=width, height_mm=height)


def pattern(kind: str, name: str, rng: Rng, line_mm: float) -> Piece:
    """Draw one piece of a hard plan: a rib or a plate, with what is drawn about it."""
    return {"rib": _rib, "plate": _plate}[kind](name, rng, line_mm)


def _is_free(piece: Piece, placed: list[Piece]) -> bool:
    x0, y0, x1, y1 = piece.bounds_mm()
    others = [other.bounds_mm() for other in placed]
    return all(x1 < a - 3 or c + 3 < x0 or y1 < b - 3 or d + 3 < y0 for a, b, c, d in others)


def _panel(name: str, rng: Rng, line_mm: float) -> Piece:
    """A wing panel with its structure; its own dimensions are those of the plain plans, with any manner added below."""
    length, root = float(rng.uniform(150, 200)), float(rng.uniform(50, 65))
    piece = wing_panel(
        name,
        length_mm=length,
        root_chord_mm=root,
        tip_chord_mm=root * float(rng.uniform(0.6, 0.9)),
        leading_back_mm=float(rng.uniform(0, 8)),
        bays=int(rng.integers(4, 7)),
        width_mm=min(line_mm, 0.5),
    )
    low = piece.parts[0].boundary_mm
    return piece + measured(_point(low[0]), _point(low[1]), rng, away_mm=-11.0)


def _nest(name: str, rng: Rng, line_mm: float) -> Piece:
    chord = float(rng.uniform(95, 120))
    chords = (chord, chord * 0.8, chord * 0.6)
    section = Section.from_digits(str(rng.choice(_DIGITS)))
    return nested_ribs(tuple(f"{name}.{k}" for k in (1, 2, 3)), section, chords_mm=chords, width_mm=min(line_mm, 0.5))


def _rib(name: str, rng: Rng, line_mm: float) -> Piece:
    """A rib with notches and holes for a spar or for lightness, on a chord line, its number inside or beside."""
    section, chord = Section.from_digits(str(rng.choice(_DIGITS[:6]))), float(rng.uniform(80, 115))
    cuts = RibCuts(0.3 * chord, float(rng.uniform(2, 3.2)), float(rng.uniform(2, 3)), 3.0, 2.2)
    boundary = notched_rib(section, chord_mm=chord, cuts=cuts)
    holes = []
    for share in rng.choice([0.16, 0.45, 0.6], size=int(rng.integers(1, 3)), replace=False).tolist():
        near = boundary[np.abs(boundary[:, 0] - share * chord) < 2.0, 1]
        room, middle = float(np.ptp(near)), float((near.min() + near.max()) / 2)
        if room > 5.0:
            holes.append(circle((share * chord, middle), room * float(rng.uniform(0.2, 0.28))))
    piece = part(name, boundary, tuple(holes), width_mm=line_mm)
    style = str(rng.choice(["none", "chain", "solid", "dashed"]))
    piece += _crossing((-5.0, 0.0), (chord + 5.0, 0.0), style)
    return piece + text(name, (chord * 0.7, -9.0), height_mm=3.0, turn_deg=float(rng.choice([0, 0, 15, -10])))


def _former(name: str, rng: Rng, line_mm: float) -> Piece:
    piece = former(
        name,
        width_mm=float(rng.uniform(34, 46)),
        height_mm=float(rng.uniform(40, 54)),
        openings=str(rng.choice(["round", "slots", "pair", "none"])),
        line_mm=min(line_mm, 0.5),
    )
    boundary = piece.parts[0].boundary_mm
    return piece + measured(_point(boundary[0]), _point(boundary[1]), rng, away_mm=-10.0)


def _plate(name: str, rng: Rng, line_mm: float) -> Piece:
    """A plate at any angle that is dimensioned, numbered by a balloon, or crossed by solid lines."""
    across, up = float(rng.uniform(30, 60)), float(rng.uniform(18, 30))
    boundary = np.array([[0, 0], [across, 0], [across, up * 0.8], [across * 0.8, up], [0, up]])
    hole = slot((across * 0.35, up / 2), up * 0.6, up * 0.22)
    piece = part(name, boundary, (hole,) if rng.random() < 0.5 else (), width_mm=line_mm)
    kind = str(rng.choice(["dimension", "balloon", "crossed", "figure"]))
    if kind == "dimension":
        piece += measured((0.0, 0.0), (across, 0.0), rng, away_mm=-9.0)
        piece += measured((0.0, up), (0.0, 0.0), rng, away_mm=-9.0)
    elif kind == "balloon":
        ring = circle((across * 0.72, up * 0.5), 3.6)
        number = text(
            str(rng.integers(1, 20)), (across * 0.72, up * 0.5 - 1.25), height_mm=2.5, anchor=0.5, width_mm=0.25
        )
        leader = line((across * 0.72 + 3.6 * 0.8, up * 0.5 - 3.6 * 0.6), (across + 6.0, -4.0))
        piece += Piece((InkStroke(ring, 0.25, True, "lettering"), leader)) + number
    elif kind == "crossed":
        piece += Piece(
            (line((-8, up * 0.3), (across + 8, up * 0.55)), line((across * 0.6, -6), (across * 0.55, up + 6)))
        )
    else:
        sign = str(rng.choice(["8", "0", "6", "9", "4", "B", "Q"]))
        piece += text(sign, (across * 0.7, up * 0.35), height_mm=3.5, turn_deg=float(rng.uniform(-30, 30)))
    return _turned(piece, float(rng.choice([0, 0, 0, 20, -35])))


def _shared(name: str, rng: Rng, line_mm: float) -> Piece:
    """Three sheet parts cut side by side: neighbours share an edge, whose ends are inward corners of the whole."""
    pieces, x = Piece(), 0.0
    heights = [float(h) for h in rng.permutation([16.0, 22.0, 28.0])]
    edges: list[InkStroke] = []
    for index, up in enumerate(heights):
        across = float(rng.uniform(18, 26))
        corners = np.array([[x, 0], [x + across, 0], [x + across, up], [x, up]])
        pieces += Piece((), (PartTruth(f"{name}.{index + 1}", corners),))
        edges += [line((x, 0), (x + across, 0), width_mm=line_mm, role="outline")]
        edges += [line((x, up), (x + across, up), width_mm=line_mm, role="outline")]
        left = max(up, heights[index - 1]) if index else up
        edges.append(line((x, 0), (x, left), width_mm=line_mm, role="outline"))
        x += across
    edges.append(line((x, 0), (x, heights[-1]), width_mm=line_mm, role="outline"))
    return pieces + Piece(tuple(edges))


def _touching(name: str, rng: Rng, line_mm: float) -> Piece:
    """Two discs whose lines touch: their centre-lines are apart by one line's width."""
    first, second = float(rng.uniform(8, 13)), float(rng.uniform(6, 10))
    piece = part(f"{name}.1", circle((0, 0), first), (circle((0, 0), first * 0.3),), width_mm=line_mm)
    return piece + part(f"{name}.2", circle((first + second + line_mm, 0), second), width_mm=line_mm)


def _dashed(name: str, rng: Rng, line_mm: float) -> Piece:
    """A part drawn by a dashed outline: it lies behind another."""
    boundary = np.array([[0, 0], [float(rng.uniform(40, 55)), 0], [38, 20], [6, 24]])
    dash, gap = _DASHES_MM[int(rng.integers(len(_DASHES_MM)))]
    sides = zip(boundary, np.roll(boundary, -1, axis=0), strict=True)
    # Every corner is drawn: a side begins and ends with half a dash.
    strokes = [one for a, b in sides for one in _dashes(a, b, dash, gap, min(line_mm, 0.5), role="outline")]
    return Piece(tuple(strokes), (PartTruth(name, boundary),))


def _hatched(name: str, rng: Rng, line_mm: float) -> Piece:
    """A block with its cut face hatched at 45 degrees, thinner than its outline."""
    across, up, pitch = float(rng.uniform(24, 40)), float(rng.uniform(12, 20)), float(rng.uniform(2.0, 3.5))
    strokes = []
    for start in np.arange(-up + pitch, across, pitch).tolist():
        low, high = max(start, 0.0), min(start + up, across)
        strokes.append(line((low, low - start), (high, high - start), width_mm=min(0.25, line_mm * 0.7), role="inside"))
    boundary = np.array([[0, 0], [across, 0], [across, up], [0, up]])
    return part(name, boundary, width_mm=line_mm) + Piece(tuple(strokes))


def _gapped(name: str, rng: Rng, line_mm: float) -> Piece:
    """A part whose outline has lost one or two short stretches of ink, on straight or gently curved lines."""
    if rng.random() < 0.5:
        boundary = circle((0, 0), float(rng.uniform(12, 18)))
    else:
        boundary = np.array([[0, 0], [float(rng.uniform(40, 55)), 4], [44, 22], [0, 18]])
    return Piece(tuple(_with_gaps(boundary, rng, line_mm, count=int(rng.integers(1, 3)))), (PartTruth(name, boundary),))


def _gusset(name: str, rng: Rng, line_mm: float) -> Piece:
    """A small triangle: a true part hardly larger than lettering."""
    side = float(rng.uniform(9, 14))
    return part(name, np.array([[0, 0], [side, 0], [0, side]]), width_mm=min(line_mm, 0.5))


def _words(name: str, rng: Rng, line_mm: float) -> Piece:
    """Lettering alone, up the sheet: words where a part might be expected."""
    del name, line_mm
    words = str(rng.choice(["BALSA 1.5 MM", "PLY 0.8 MM", "2 OFF", "MAKE 8 OF R6"]))
    return text(words, (0, 0), height_mm=float(rng.uniform(2.5, 4.0)), turn_deg=float(rng.choice([90, 45, -60, 0])))


def measured(start_mm: Point, end_mm: Point, rng: Rng, *, away_mm: float) -> Piece:
    """Dimension two places in a manner drawn at random: arrows, ticks or dots, figure above or in the line."""
    a, b = np.array(start_mm), np.array(end_mm)
    length = float(np.hypot(*(b - a)))
    way = (b - a) / length
    left = np.array([-way[1], way[0]]) * math.copysign(1.0, away_mm)
    gap = float(rng.choice([0.0, 0.0, 1.0]))
    past = float(rng.choice([1.0, 2.0, 3.0]))
    feet = [place + left * abs(away_mm) for place in (a, b)]
    strokes = [
        line(_point(place + left * gap), _point(foot + left * past)) for place, foot in zip((a, b), feet, strict=True)
    ]
    figure, high = f"{length:.1f}".removesuffix(".0"), 2.5
    turn = math.degrees(math.atan2(way[1], way[0]))
    turn = turn + 180 if turn > 90.01 or turn <= -89.99 else turn
    up = turned(np.array([[0.0, 1.0]]), turn)[0]
    middle, room = (feet[0] + feet[1]) / 2, text_width_mm(figure, height_mm=high) / 2 + 1.2
    terminator = str(rng.choice(["filled", "open", "tick", "dot"]))
    over = way * (1.5 if terminator in ("tick", "dot") and rng.random() < 0.5 else 0.0)
    if rng.random() < 0.5 and length > 2 * room + 8:
        strokes.append(line(_point(feet[0] - over), _point(middle - way * room)))
        strokes.append(line(_point(middle + way * room), _point(feet[1] + over)))
        at = middle - up * high / 2
    else:
        strokes.append(line(_point(feet[0] - over), _point(feet[1] + over)))
        at = middle + up * 1.1
    for foot, inward in zip(feet, (way, -way), strict=True):
        strokes += _ended(foot, inward, terminator)
    return Piece(tuple(strokes)) + text(figure, _point(at), height_mm=high, turn_deg=turn, anchor=0.5, width_mm=0.25)


def _ended(tip: Points, inward: Points, terminator: str) -> list[InkStroke]:
    left = np.array([-inward[1], inward[0]])
    if terminator == "tick":
        slant = (inward + left) / math.sqrt(2) * 1.5
        return [line(_point(tip - slant), _point(tip + slant), width_mm=0.35)]
    if terminator == "dot":
        return [InkStroke(circle(_point(tip), radius), 0.25, True, "dimension") for radius in (0.15, 0.35)]
    base = tip + inward * 2.5
    sides = [line(_point(tip), _point(base + left * aside)) for aside in (-0.4, 0.4)]
    if terminator == "open":
        return sides
    return [*sides, *(line(_point(tip), _point(base + left * aside)) for aside in (-0.2, 0.0, 0.2))]


def _crossing(start_mm: Point, end_mm: Point, style: str) -> Piece:
    if style == "none":
        return Piece()
    if style == "chain":
        return centre_line(start_mm, end_mm)
    if style == "solid":
        return Piece((line(start_mm, end_mm, width_mm=0.25, role="centre"),))
    return Piece(tuple(_dashes(np.array(start_mm), np.array(end_mm), 3.0, 1.2, 0.25, role="centre")))


def _dashes(a: Points, b: Points, dash: float, gap: float, width_mm: float, *, role: str) -> list[InkStroke]:
    """A dashed line with a whole number of periods, beginning and ending within a dash."""
    length = float(np.hypot(*(b - a)))
    count = max(1, round(length / (dash + gap)))
    period = length / count
    drawn = period * dash / (dash + gap)
    unit = (b - a) / length
    marks = [(0.0, drawn / 2), *((k * period - drawn / 2, k * period + drawn / 2) for k in range(1, count))]
    marks.append((length - drawn / 2, length))
    return [line(_point(a + unit * s), _point(a + unit * e), width_mm=width_mm, role=role) for s, e in marks]


def _with_gaps(boundary: Points, rng: Rng, line_mm: float, *, count: int) -> list[InkStroke]:
    """A closed line's ink in pieces; gaps keep clear of corners, where no two ends would point at each other."""
    ring = np.vstack([boundary, boundary[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    total = float(along[-1])
    corners = along if len(boundary) < 12 else np.empty(0)
    gaps: list[tuple[float, float]] = []
    while len(gaps) < count:
        size = float(rng.uniform(*_GAP_MM))
        start = float(rng.uniform(0, total - size))
        clear = all(not start - 4 < corner < start + size + 4 for corner in corners.tolist())
        if clear and start > 4 and start + size < total - 4 and all(abs(start - other) > 12 for other, _ in gaps):
            gaps.append((start, start + size))
    gaps.sort()
    strokes = []
    for (_, begin), (end, _) in zip(gaps, [*gaps[1:], (gaps[0][0] + total, 0.0)], strict=True):
        inner = np.concatenate([along[:-1], along[:-1] + total])
        stations = np.concatenate([[begin], inner[(inner > begin) & (inner < end)], [end]])
        wrapped = stations % total
        points = np.column_stack([np.interp(wrapped, along, ring[:, axis]) for axis in (0, 1)])
        strokes.append(InkStroke(points, line_mm, False, "outline"))
    return strokes


def _squared(width_mm: float, height_mm: float) -> Piece:
    """Squared paper inside the border."""
    strokes = [
        line((x, 1), (x, height_mm - 1), width_mm=_PAPER_WIDTH_MM, role="paper")
        for x in np.arange(_PAPER_MM, width_mm - 1, _PAPER_MM).tolist()
    ]
    strokes += [
        line((1, y), (width_mm - 1, y), width_mm=_PAPER_WIDTH_MM, role="paper")
        for y in np.arange(_PAPER_MM, height_mm - 1, _PAPER_MM).tolist()
    ]
    return Piece(tuple(strokes))


def _turned(piece: Piece, degrees: float) -> Piece:
    return Piece(
        tuple(replace(stroke, points_mm=turned(stroke.points_mm, degrees)) for stroke in piece.strokes),
        tuple(
            replace(
                one,
                boundary_mm=turned(one.boundary_mm, degrees),
                holes_mm=tuple(turned(hole, degrees) for hole in one.holes_mm),
            )
            for one in piece.parts
        ),
    )


def _point(at: Points) -> Point:
    return float(at[0]), float(at[1])
