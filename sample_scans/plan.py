"""The bundled plan: an invented school workshop's rubber-powered cabin monoplane on one A2 sheet.

Everything about it was made up for this project: the aeroplane, its name, the workshop and every dimension.
"""

from sample_scans.body import brace, cabin_side, fin, former, span_dimension, strut, tailplane, wheel
from sample_scans.dimensions import cross, dimension, line
from sample_scans.lettering import text
from sample_scans.sections import RibCuts, Section
from sample_scans.truth import InkStroke, KnownTruth, Piece, PlanTruth, joined, rectangle_corners
from sample_scans.wing import nested_ribs, rib, wing_panel

A2_MM = (594.0, 420.0)
BORDER_WIDTH_MM = 0.7
# The border lies 20 mm inside the sheet's left edge and 10 mm inside the others.
_FILING_MM, _EDGE_MM = 20.0, 10.0
PANEL_MM = 400.0


def school_plan() -> PlanTruth:
    """Give the bundled plan at full size."""
    width, height = A2_MM[0] - _FILING_MM - _EDGE_MM, A2_MM[1] - 2 * _EDGE_MM
    drawn = joined(
        [
            _wing().at(34, 264),
            _tail(),
            _cabin().at(246, 180),
            _ribs().at(428, 176),
            _formers().at(0, 86),
            _small_parts(),
            _notes().at(16, 62),
            check_bar().at(150, 14),
            crosses([(8, 8), (8, height - 8), (width - 8, height - 8), (width - 8, 72)]),
            title_block(
                ["PIPPLEWICK", "CABIN MONOPLANE FOR RUBBER", "HOLLIN TARN SCHOOL WORKSHOP"],
                ["SHEET 1 OF 1", "SCALE 1:1", "MEASURES IN MM"],
                right_mm=width,
            ),
        ]
    )
    return plan_of("pipplewick", drawn, width_mm=width, height_mm=height)


def plan_of(
    name: str, drawn: Piece, *, width_mm: float, height_mm: float, border_width_mm: float = BORDER_WIDTH_MM
) -> PlanTruth:
    """Put a border round a drawing and the paper round both."""
    border = rectangle_corners(0, 0, width_mm, height_mm)
    sheet = rectangle_corners(-_FILING_MM, -_EDGE_MM, width_mm + _EDGE_MM, height_mm + _EDGE_MM)
    strokes = (*drawn.strokes, InkStroke(border, border_width_mm, True, "border"))
    corners = [(float(x), float(y)) for x, y in border]
    known = (
        KnownTruth("border width", corners[3], corners[2]),
        KnownTruth("border height", corners[3], corners[0]),
        *drawn.known,
    )
    return PlanTruth(name, sheet, border, strokes, drawn.parts, known)


def _wing() -> Piece:
    return wing_panel(
        "WING PANEL", length_mm=PANEL_MM, root_chord_mm=110, tip_chord_mm=75, leading_back_mm=12, bays=8
    ) + text("WING - MAKE ONE OF EACH HAND", (130, -3.5), height_mm=3.5)


def _tail() -> Piece:
    tail = tailplane("TAILPLANE", span_mm=190, chord_mm=60)
    tail += span_dimension(tail, below_mm=13)
    fin_piece = fin("FIN", width_mm=75, height_mm=86)
    fin_piece += dimension((0, 0), (67.5, 0), away_mm=-9, name="FIN foot")
    return tail.at(122, 188) + fin_piece.at(474, 288)


def _cabin() -> Piece:
    piece = cabin_side("CABIN SIDE", length_mm=160, height_mm=66)
    return piece + dimension((0, 6.6), (160, 9.24), away_mm=-17, name="CABIN SIDE length", along="x")


def _ribs() -> Piece:
    section = Section.from_digits("4412")
    pieces = []
    for index, y in ((1, 56.0), (4, 31.0), (7, 7.0)):
        chord = 110 - 35 * (index - 1) / 8
        spar = 0.32 * chord - 1.5
        piece = rib(f"R{index}", section, chord_mm=chord, cuts=RibCuts(spar))
        pieces.append(piece.at(0, y))
    return joined(pieces)


def _formers() -> Piece:
    return joined(
        [
            former("F1", width_mm=54, height_mm=64, openings="round").at(46, 0),
            former("F2", width_mm=54, height_mm=66, openings="slots").at(118, 0),
            former("F3", width_mm=48, height_mm=58, openings="pair").at(187, 0),
            former("F4", width_mm=38, height_mm=44, openings="round").at(248, 0),
        ]
    )


def _small_parts() -> Piece:
    nest = nested_ribs(("S1", "S2", "S3"), Section.from_digits("2415"), chords_mm=(124.0, 96.0, 68.0))
    nest += text("S1, S2, S3 FOR THE STUB WING", (-34, -19.0), height_mm=3.0)
    wheels = wheel("WHEEL - 2 OFF", radius_mm=21)
    bent = brace("BRACE", length_mm=120, width_mm=11, bent_deg=6)
    bar = strut("STRUT", length_mm=150, width_mm=9)
    return nest.at(340, 130) + wheels.at(490, 124) + bent.at(302, 22) + bar.at(305, 68)


def _notes() -> Piece:
    words = [
        "NOTES",
        "1. RIBS AND FORMERS 1.5 MM SHEET",
        "2. SPARS 3 * 3 MM, LONGERONS 3 * 3 MM",
        "3. TAILPLANE AND FIN 2 MM SHEET",
        "4. TIPS RAISED 35 MM EACH SIDE",
        "5. PEG HOLE TAKES 5 MM DOWEL",
    ]
    return joined([text(row, (0, -8.0 * index), height_mm=3.5) for index, row in enumerate(words)])


def check_bar(*, length_mm: float = 100.0) -> Piece:
    """Draw a bar with a tick every 10 mm; its whole length is known. The origin is its left end."""
    strokes = [line((0, 0), (length_mm, 0), role="cross")]
    strokes += [
        line((10.0 * index, 0), (10.0 * index, 4.0 if index % 5 == 0 else 2.5), role="cross")
        for index in range(round(length_mm / 10) + 1)
    ]
    words = text(f"{length_mm:.0f} MM WHEN TRUE", (length_mm / 2, 6.0), height_mm=3.0, anchor=0.5, width_mm=0.3)
    return Piece((*strokes, *words.strokes), (), (KnownTruth("check bar", (0.0, 0.0), (length_mm, 0.0)),))


def crosses(places_mm: list[tuple[float, float]]) -> Piece:
    """Draw reference crosses; the first to each of the others becomes a known length."""
    piece = joined([cross(place) for place in places_mm])
    known = tuple(
        KnownTruth(f"cross 1 to cross {index}", places_mm[0], place)
        for index, place in enumerate(places_mm[1:], start=2)
    )
    return Piece(piece.strokes, (), known)


def title_block(rows: list[str], cells: list[str], *, right_mm: float, width_mm: float = 0.35) -> Piece:
    """Draw a title block in the sheet's lower-right corner, three rows above three cells."""
    left, top, low = right_mm - 168, 52.0, 14.0
    strokes = [
        line((left, 0), (left, top), width_mm=width_mm, role="title"),
        line((left, top), (right_mm, top), width_mm=width_mm, role="title"),
        line((left, low), (right_mm, low), width_mm=width_mm, role="title"),
    ]
    strokes += [line((left + x, 0), (left + x, low), width_mm=width_mm, role="title") for x in (56, 112)]
    piece = Piece(tuple(strokes))
    for row, height, y in zip(rows, (7.0, 4.0, 4.0), (38.0, 27.5, 19.0), strict=True):
        piece += text(row, (left + 84, y), height_mm=height, anchor=0.5, width_mm=height / 10)
    for cell, x in zip(cells, (28, 84, 140), strict=True):
        piece += text(cell, (left + x, 5.25), height_mm=3.5, anchor=0.5)
    return piece
