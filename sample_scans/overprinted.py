"""An invented sheet on which several sets of patterns are printed one over another, each in its own ink."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sample_scans.body import fin, former, tailplane
from sample_scans.camera import camera_for, random_view, scanner_for
from sample_scans.hard_plan import hard_plan, pattern
from sample_scans.photo import PhotoLook, Rgb, photograph_inks
from sample_scans.plan import crosses, plan_of, title_block
from sample_scans.rendered import Rendered, through_jpeg
from sample_scans.scan import scanned_inks
from sample_scans.shelves import on_shelves
from sample_scans.truth import InkStroke, Piece, PlanTruth, joined
from sample_scans.wing import wing_panel

BLACK: Rgb = (0.045, 0.05, 0.075)
"""What an ink leaves of the paper's light, linear, red green blue."""
_INKS: tuple[Rgb, ...] = ((0.62, 0.07, 0.06), (0.07, 0.16, 0.52), (0.08, 0.34, 0.13), (0.45, 0.05, 0.34))
_BORDER_MM = (390.0, 277.0)  # ISO 216 A3 less 30 and 20 mm


@dataclass(frozen=True, slots=True)
class Overprinted:
    """A plan of all that is printed, and its strokes by ink: the black ones first."""

    plan: PlanTruth
    inks: tuple[tuple[tuple[InkStroke, ...], Rgb], ...]


def overprinted_plan(seed: int) -> Overprinted:
    """Give an invented sheet of two to four sets of patterns that lie across one another, the same for the same seed.

    The frame, the title and one set are black. Sets after it stand on rows of their own, some of them on the first
    one's, so that lines of two inks run along each other.
    """
    rng = np.random.default_rng([seed, 43])
    width, height = _BORDER_MM
    block = title_block(
        ["THREE OVER ONE", "INVENTED FOR A TRIAL", f"DRAWING {seed}"],
        ["SHEET 1 OF 1", "SCALE 1:1", "MEASURES IN MM"],
        right_mm=width,
    )
    marks = crosses([(8, 8), (8, height - 8), (width - 8, height - 8)])
    inks: list[Rgb] = [BLACK, *(_INKS[which] for which in rng.permutation(len(_INKS))[: int(rng.integers(1, 4))])]
    sets: list[Piece] = []
    for number in range(len(inks)):
        placed = joined(on_shelves(_pieces(rng, number), width, height))
        # A shift keeps rows apart, or lets them share their datum.
        shift = (0.0, 0.0) if number == 0 else (float(rng.uniform(0, 14)), float(rng.choice([0.0, 0.0, -9.0, 7.0])))
        sets.append(placed.at(*shift))
    sets[0] = joined([sets[0], block, marks])
    plan = plan_of(f"overprinted-{seed}", joined(sets), width_mm=width, height_mm=height)
    border = plan.strokes[-1]
    return Overprinted(
        plan,
        tuple(
            ((*one.strokes, border) if number == 0 else one.strokes, ink)
            for number, (one, ink) in enumerate(zip(sets, inks, strict=True))
        ),
    )


def coloured_plan(seed: int) -> Overprinted:
    """Give the hard plan of that seed with its measures in red and what is drawn on its parts in blue."""
    plan = hard_plan(seed)
    pens = {"dimension": _INKS[0], "centre": _INKS[0], "inside": _INKS[1]}
    inks = (BLACK, *dict.fromkeys(pens.values()))
    return Overprinted(
        plan,
        tuple((tuple(one for one in plan.strokes if pens.get(one.role, BLACK) == ink), ink) for ink in inks),
    )


def scan_of(sheet: Overprinted, seed: int, *, dpi: float) -> Rendered:
    """Give a colour scan of a sheet, (H, W, 3) RGB."""
    rng = np.random.default_rng(seed)
    scanner = scanner_for(
        sheet.plan.sheet_mm,
        dpi=dpi,
        skew_deg=float(rng.uniform(-0.5, 0.5)),
        stretch=(1.0, float(rng.uniform(1, 1.003))),
    )
    return Rendered(scanned_inks(sheet.inks, sheet.plan.sheet_mm, scanner, rng=rng), scanner, sheet.plan)


def photo_of(sheet: Overprinted, seed: int) -> Rendered:
    """Give a phone photo of a sheet, through JPEG once."""
    rng = np.random.default_rng(seed)
    camera = camera_for(sheet.plan.sheet_mm, random_view(rng), width_px=4000, height_px=3000)
    picture = photograph_inks(sheet.inks, sheet.plan.sheet_mm, camera, look=PhotoLook(), rng=rng)
    return Rendered(through_jpeg(picture), camera, sheet.plan)


def _pieces(rng: np.random.Generator, number: int) -> Sequence[Piece]:
    """A set of patterns."""
    line_mm = float(rng.choice([0.25, 0.35, 0.5]))

    def name(count: int) -> str:
        return f"{'ABCD'[number]}{count}"

    pieces = [pattern(kind, name(index), rng, line_mm) for index, kind in enumerate(("rib", "rib", "plate", "plate"))]
    pieces.append(
        fin(name(4), width_mm=float(rng.uniform(45, 75)), height_mm=float(rng.uniform(50, 80)), line_mm=line_mm)
    )
    pieces.append(
        tailplane(name(5), span_mm=float(rng.uniform(120, 190)), chord_mm=float(rng.uniform(40, 60)), line_mm=line_mm)
    )
    pieces.append(
        former(name(6), width_mm=44.0, height_mm=float(rng.uniform(45, 60)), openings="pair", line_mm=line_mm)
    )
    if rng.random() < 0.5:
        panel = wing_panel(
            name(7),
            length_mm=float(rng.uniform(140, 200)),
            root_chord_mm=62.0,
            tip_chord_mm=45.0,
            leading_back_mm=6.0,
            bays=5,
            width_mm=line_mm,
        )
        pieces.append(panel)
    return pieces
