"""Other invented plans: other parts, sizes, line widths, sheets and layouts, for trials beside the bundled one."""

from collections.abc import Callable

import numpy as np

from sample_scans.body import brace, cabin_side, fin, former, span_dimension, strut, tailplane, wheel
from sample_scans.plan import check_bar, crosses, plan_of, title_block
from sample_scans.sections import RibCuts, Section
from sample_scans.shelves import on_shelves
from sample_scans.truth import Piece, PlanTruth, joined
from sample_scans.wing import nested_ribs, rib, wing_panel

# Border width and height, mm: ISO 216 A3, A2 and A1 sheets less 30 and 20 mm.
_BORDERS_MM = ((390.0, 277.0), (564.0, 400.0), (811.0, 574.0))
_LINE_WIDTHS_MM = (0.25, 0.35, 0.5)  # ISO 128
_NAMES = ("LARCHWING", "MOORTITCH", "DUNNOCKET", "SALLOWKITE", "BRACKENJAY", "FELLHOPPER", "REEDSKIP", "TARNWISP")


def random_plan(seed: int) -> PlanTruth:
    """Give an invented plan, the same for the same seed.

    Pieces are put on shelves from the top left, the tall first, and whatever finds no room is left out; nothing
    overlaps. The largest piece is always there.
    """
    rng = np.random.default_rng([seed, 7])
    width, height = _BORDERS_MM[int(rng.choice(3, p=[0.3, 0.5, 0.2]))]
    line_mm = float(rng.choice(_LINE_WIDTHS_MM, p=[0.25, 0.5, 0.25]))
    pieces = _pieces(rng, size=width / 564.0, line_mm=line_mm)
    placed = on_shelves(pieces, width, height)
    name = _NAMES[seed % len(_NAMES)]
    block = title_block(
        [name, "INVENTED FOR A TRIAL", f"DRAWING {seed}"],
        ["SHEET 1 OF 1", "SCALE 1:1", "MEASURES IN MM"],
        right_mm=width,
    )
    marks = crosses([(8, 8), (8, height - 8), (width - 8, height - 8)])
    return plan_of(
        f"{name.lower()}-{seed}",
        joined([*placed, block, marks]),
        width_mm=width,
        height_mm=height,
        border_width_mm=float(rng.choice([0.5, 0.7, 1.0])),
    )


def _pieces(rng: np.random.Generator, *, size: float, line_mm: float) -> list[Piece]:
    """A set of pieces whose measures are drawn at random about `size` times the bundled plan's."""

    def about(value: float, spread: float = 0.2) -> float:
        # Tenths of a millimetre: what a draughtsman would write.
        return round(value * size * float(rng.uniform(1 - spread, 1 + spread)), 1)

    digits = str(rng.choice(["2412", "4412", "6409", "2310", "4409"]))
    section, root = Section.from_digits(digits), about(105)
    taper = float(rng.uniform(0.55, 0.9))
    panel = wing_panel(
        "PANEL",
        length_mm=about(380, 0.1),
        root_chord_mm=root,
        tip_chord_mm=round(root * taper, 1),
        leading_back_mm=about(8, 0.9),
        bays=int(rng.integers(5, 9)),
        width_mm=line_mm,
    )
    tail = tailplane("TAIL", span_mm=about(180), chord_mm=about(58), line_mm=line_mm)
    tail += span_dimension(tail, below_mm=13)
    pieces = [panel, tail, cabin_side("CABIN", length_mm=about(150), height_mm=about(68, 0.1), line_mm=line_mm)]
    pieces.append(fin("FIN", width_mm=about(70), height_mm=about(80), line_mm=line_mm))
    openings = ("round", "slots", "pair", "none")
    pieces += [
        former(
            f"F{index + 1}",
            width_mm=about(46),
            height_mm=about(58),
            openings=str(rng.choice(openings)),
            notch_mm=round(max(2.0, 3.0 * size), 1),
            line_mm=line_mm,
        )
        for index in range(int(rng.integers(2, 6)))
    ]
    spar = round(max(2.0, 3.0 * size), 1)
    for index in range(int(rng.integers(2, 5))):
        chord = round(root * (1 - (1 - taper) * index / 4), 1)
        cuts = RibCuts(0.3 * chord, spar, spar * 0.8, max(2.0, 3.0 * size), max(1.5, 2.2 * size))
        pieces.append(rib(f"R{index + 1}", section, chord_mm=chord, cuts=cuts, width_mm=line_mm))
    largest = about(120)
    chords = (largest, round(largest * 0.77, 1), round(largest * 0.55, 1))
    pieces.append(nested_ribs(("S1", "S2", "S3"), Section.from_digits("2415"), chords_mm=chords, width_mm=line_mm))
    makers: list[Callable[[], Piece]] = [
        lambda: wheel("WHEEL", radius_mm=about(20), line_mm=line_mm),
        lambda: brace(
            "BRACE", length_mm=about(110), width_mm=about(11), bent_deg=float(rng.uniform(3, 9)), line_mm=line_mm
        ),
        lambda: strut("STRUT", length_mm=about(140), width_mm=about(9), line_mm=line_mm),
        check_bar,
    ]
    return pieces + [make() for make in makers]
