"""What is wrong with cards: one that does not go with the others, and a plan drawn smaller than anybody said."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from calibration.naming import capitalised, named
from calibration.observations import CalibrationError, Cards, KnownDistance, Observation
from calibration.plane_map import Floats, PictureSize
from calibration.start import log_scales
from calibration.uncertainty import Agreement
from drawing.findings import Finding, Level

DISAGREE_FACTOR = 4.0
"""Corners that agree only half as well as they were measured make one card suspect; paper alone does less (trials)."""

TELLING = 2.0
"""Without the wrong card the rest must agree this many times better than without any other."""

FEWEST = 3
"""Of two cards either may be the wrong one."""

REDUCTIONS = (2, 48)
"""From half size to a quarter inch to the foot: what plans are drawn at."""

NEAR_WHOLE = 0.06
"""How far from whole times a length may seem before anything is adjusted: perspective is taken out roughly."""


def disagreeing_card(
    observations: Sequence[Observation], agreement: Agreement, agreeing: Callable[[Sequence[Observation]], Agreement]
) -> tuple[list[Observation], Finding | None]:
    """Leave out the one card without which all others agree; give what is left, and what is to be said.

    `agreeing` tells how well observations agree.
    """
    whole = list(observations)
    place = next((i for i, seen in enumerate(whole) if isinstance(seen, Cards)), None)
    if place is None or agreement.card_factor < DISAGREE_FACTOR:
        return whole, None
    cards = whole[place]
    assert isinstance(cards, Cards)
    if len(cards.cards) < FEWEST:
        return whole, None
    factors, without = [], []
    for n in range(len(cards.cards)):
        others = replace(cards, cards=cards.cards[:n] + cards.cards[n + 1 :])
        without.append([*whole[:place], others, *whole[place + 1 :]])
        try:
            factors.append(agreeing(without[-1]).card_factor)
        except CalibrationError:
            factors.append(math.inf)
    order = np.argsort(factors)
    best, second = factors[order[0]], factors[order[1]]
    if best > DISAGREE_FACTOR / 2 or second < TELLING * max(best, 1.0):
        return whole, None
    label = cards.cards[order[0]].label
    # Three that agree prove the fourth wrong; two might agree by chance.
    level = Level.NOTE if len(cards.cards) > FEWEST else Level.DECIDE
    finding = Finding(
        "card-left-out",
        level,
        label,
        f"{capitalised(label)} does not go with the other cards and was left out: it does not lie flat on the plan, or "
        "comes from another printer or sheet. Lay it flat and photograph again, or take it away.",
    )
    return without[order[0]], finding


def refuse_undeclared_reduction(observations: Sequence[Observation], *, start: Floats, size: PictureSize) -> None:
    """Raise if known distances are some whole times as long as cards show them: the plan is drawn smaller.

    Raises
    ------
    CalibrationError
        Naming the length and the drawn scale that would explain it.
    """
    cards = [(i, seen) for i, seen in enumerate(observations) if isinstance(seen, Cards)]
    if not cards or cards[0][1].full_per_paper != 1.0:
        return
    scales = log_scales(observations, start, size)
    for i, seen in enumerate(observations):
        if not isinstance(seen, KnownDistance):
            continue
        times = math.exp(scales[i] - scales[cards[0][0]])
        whole = round(times)
        if REDUCTIONS[0] <= whole <= REDUCTIONS[1] and abs(times / whole - 1) < NEAR_WHOLE:
            raise CalibrationError(
                f"{capitalised(named(seen))} is {times:.3g} times as long as it is on the paper by the cards lying "
                f"there; cards need to know the scale the plan is drawn at: if that is 1/{whole}, add --drawn-at "
                f"1/{whole}, else check the length's unit and marks."
            )
