"""What an adjustment has to say about the cards it rests on."""

import math
from collections.abc import Iterator, Sequence

import numpy as np

from calibration.blunders import Weeded
from calibration.calibration import Calibration
from calibration.card_block import PRINTED_SIGMA
from calibration.card_start import printed_axes
from calibration.kind import Kind
from calibration.observations import Cards, Corners, Observation, PointPx
from drawing.findings import Finding, Level
from drawing.format import format_give, format_mm

NOT_FLAT_TIMES = 3.0
"""Corners this many times further off than blur and noise explain: 0.15 px, or the plan under the cards is not flat."""

PRINTED_WORTH_SAYING = 1.2 * PRINTED_SIGMA
"""A printer further off is a page fitted to other paper, most likely."""

ENOUGH = 3
"""Cards that tell the tilt by where they lie; of fewer their own few centimetres must tell it."""


def card_remarks(
    calibration: Calibration,
    weeded: Weeded,
    *,
    observations: Sequence[Observation],
    times: float,
    left_out: Finding | None,
    longest_px: tuple[PointPx, PointPx],
) -> Iterator[Finding]:
    """Give the findings about cards; `times` is how much further off they are than they were measured to."""
    cards = next((seen for seen in observations if isinstance(seen, Cards)), None)
    if cards is None:
        return
    longest = calibration.length(*longest_px)
    if left_out is not None:
        yield left_out
    if times > NOT_FLAT_TIMES:
        yield Finding(
            "cards-not-flat",
            Level.DECIDE,
            "the cards",
            f"The cards' squares lie {times:.0f} times further off than print and blur explain, as when cards or plan "
            f"do not lie flat: lengths were widened to {format_give(longest.u95_mm)} over the longest part "
            f"({format_mm(longest.mm)}). Press them flat and photograph again.",
        )
    printed = printed_axes(weeded.solution, cards)
    if np.abs(np.log(printed)).max() > PRINTED_WORTH_SAYING:
        yield Finding(
            "cards-printed-off",
            Level.NOTE,
            "the cards",
            f"The cards came out of the printer at {100 * printed[0]:.1f} % across and {100 * printed[1]:.1f} % up the "
            'sheet, as when a page is fitted to the paper; this was taken out. Printed at "actual size" they would '
            "also serve without another length.",
        )
    alone = not any(isinstance(seen, Corners) for seen in observations)
    if calibration.kind is Kind.PHOTO and alone and len(cards.cards) < ENOUGH and math.isfinite(longest.u95_mm):
        count = "One card tells" if len(cards.cards) == 1 else "Two cards tell"
        yield Finding(
            "few-cards",
            Level.NOTE,
            "the cards",
            f"{count} the camera's tilt from a few centimetres of paper: the longest part ({format_mm(longest.mm)}) is "
            f"good to {format_give(longest.u95_mm)}. Lay four cards near the plan's corners and photograph again.",
        )
