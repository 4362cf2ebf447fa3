"""What cards tell before everything is adjusted, tilt and scale; and after it, how large they were printed."""

import math
from collections.abc import Iterator

import numpy as np

from calibration.card_block import CardsBlock
from calibration.observations import Cards, LaidCard, PointPx
from calibration.plane_map import HORIZON, Floats, PictureSize, plane_from_picture
from calibration.solution import Solution

LEAST_FOR_TILT = 3
"""Cards whose sizes in the picture tell the vanishing line: as many as it and the scale have unknowns."""

LEAST_APART = 0.02
"""Spread of cards, half diagonals, across the direction they lie along: less, and they lie on one line."""


def cards_tilt(cards: Cards, size: PictureSize) -> tuple[float, float] | None:
    """Give (a, b) of the vanishing line a x + b y + 1 = 0 from how large each card is seen, or None where too few tell.

    Areas shrink with the cube of a x + b y + 1 from picture to plane (the Jacobian of a homography).
    """
    if len(cards.cards) < LEAST_FOR_TILT:
        return None
    rows, depths = [], []
    for card in cards.cards:
        affine, *_ = np.linalg.lstsq(
            np.column_stack([card.points_px - card.points_px.mean(axis=0), np.ones(len(card.points_px))]),
            card.places_mm,
            rcond=None,
        )
        x, y = card.points_px.mean(axis=0)
        rows.append(
            [(x - size.middle_px[0]) / size.half_diagonal_px, (size.middle_px[1] - y) / size.half_diagonal_px, 1]
        )
        depths.append(abs(np.linalg.det(affine[:2])) ** (-1 / 3))
    places = np.array(rows)
    if np.linalg.svd(places[:, :2] - places[:, :2].mean(axis=0), compute_uv=False)[-1] < LEAST_APART:
        return None
    (a, b, c), *_ = np.linalg.lstsq(places, np.array(depths), rcond=None)
    if c <= 0 or (places @ np.array([a / c, b / c, 1.0]) < 2 * HORIZON).any():
        return None
    return float(a / c), float(b / c)


def log_scale_of_cards(cards: Cards, values: Floats, size: PictureSize) -> float:
    """Give the log of the cards' own lengths over those that a map makes of them."""
    logs = []
    for card in cards.cards:
        first, last = _far_ends(card)
        ends = plane_from_picture(values, card.points_px[[first, last]], size)
        own = np.hypot(*(card.places_mm[last] - card.places_mm[first])) * cards.full_per_paper
        logs.append(math.log(own / float(np.hypot(*(ends[1] - ends[0])))))
    return float(np.median(logs))


def printed_size(solution: Solution, cards: Cards) -> tuple[float, float]:
    """Give printed over nominal size, as measured on the bars (1 without) and as adjusted; means of x and y."""
    measured = [ratio for _, ratio, _ in cards.bars]
    return float(np.mean(measured)) if measured else 1.0, math.exp(_own(solution, cards)[1][0])


def printed_axes(solution: Solution, cards: Cards) -> Floats:
    """Give printed over nominal length in the cards' x and y, as adjusted."""
    return CardsBlock.printed(_own(solution, cards)[1])


def card_lengths(solution: Solution, cards: Cards) -> Iterator[tuple[LaidCard, float, PointPx, PointPx]]:
    """Give each card, the longest distance between its corners as printed (full size, mm), and its ends."""
    printed = printed_axes(solution, cards) * cards.full_per_paper
    for card in cards.cards:
        first, last = _far_ends(card)
        (x0, y0), (x1, y1) = card.points_px[[first, last]].tolist()
        across = (card.places_mm[last] - card.places_mm[first]) * printed
        yield card, float(np.hypot(*across)), (x0, y0), (x1, y1)


def _far_ends(card: LaidCard) -> tuple[int, int]:
    apart = np.linalg.norm(card.places_mm[:, None] - card.places_mm, axis=2)
    first, last = np.unravel_index(int(apart.argmax()), apart.shape)
    return int(first), int(last)


def _own(solution: Solution, cards: Cards) -> tuple[CardsBlock, Floats]:
    """Give the block of these cards and its own unknowns."""
    at = len(solution.problem.free)
    for block in solution.problem.blocks:
        own = solution.unknowns[at : at + len(block.bounds)]
        at += len(block.bounds)
        if isinstance(block, CardsBlock) and block.cards is cards:
            return block, own
    raise ValueError("these cards are not part of this problem")
