"""How far cards are from lying flat on the plan at the size they were printed: their rows of the adjustment."""

from dataclasses import dataclass, field

import numpy as np

from calibration.blocks import difference_slopes
from calibration.observations import Cards
from calibration.plane_map import Floats

PRINTED_SIGMA = 0.01
"""What a home printer makes of a mm, relative: 0.3-1 % off is usual, a page fitted to the paper is 3 % off."""

PRINTED_APART_SIGMA = 0.005
"""The same of its x against its y: what the feed's rollers and the carriage do differently."""

DOUBTED_TIMES = 20.0
"""How much less sure both are where the printed size is what is doubted."""

POSE = 3
"""Where a card lies, x and y, and how it is turned."""


@dataclass(frozen=True, slots=True)
class CardsBlock:
    """Cards; a misfit is a corner's place on its card, as the plane has it, less the nominal one, mm; then come logs
    of the bars over their figures.

    Seen from the cards, nothing is gained by a plane on which everything is small. Where and how each card lies is
    taken out of the rows (variable projection: Golub, Pereyra 1973). Own unknowns: logs of the printed size, mean of x
    and y, then x less y.
    """

    cards: Cards
    doubted: bool = False
    bounds: Floats = field(default_factory=lambda: np.array([0.02, 0.02]))

    @property
    def bars(self) -> tuple[tuple[int, float, float], ...]:
        """The bars that count."""
        return () if self.doubted else self.cards.bars

    @property
    def corner_rows(self) -> int:
        """How many rows are of corners; the bars' follow."""
        return sum(2 * len(card.places_mm) - POSE for card in self.cards.cards)

    @property
    def points_px(self) -> Floats:
        """Every card's corners, card after card."""
        return np.concatenate([card.points_px for card in self.cards.cards])

    @property
    def priors(self) -> tuple[tuple[int, float, float], ...]:
        """What printers do."""
        times = DOUBTED_TIMES if self.doubted else 1.0
        return (0, 0.0, times * PRINTED_SIGMA), (1, 0.0, times * PRINTED_APART_SIGMA)

    def start(self, plane_mm: Floats) -> Floats:
        """Give the printed size as designed."""
        return np.zeros(2)

    def misfits(self, plane_mm: Floats, unknowns: Floats) -> Floats:
        """Give x and y of each corner in turn, the card laid as all its corners lie best, then the bars."""
        printed = self.printed(unknowns)
        off, at = [], 0
        for card in self.cards.cards:
            there = plane_mm[..., at : at + len(card.places_mm), :]
            at += len(card.places_mm)
            nominal = card.places_mm * self.cards.full_per_paper
            turned = _on_card(there, nominal * printed[..., None, :])
            on_card = turned / printed[..., None, :]
            off.append((on_card - nominal + nominal.mean(axis=0)).reshape(*there.shape[:-2], -1))
        off += [np.log(printed[..., axis] / measured)[..., None] for axis, measured, _ in self.bars]
        return np.concatenate(off, axis=-1)

    def slopes(self, plane_mm: Floats, moves_mm: Floats, unknowns: Floats) -> tuple[Floats, Floats]:
        """By differences."""
        return difference_slopes(self, plane_mm, moves_mm, unknowns)

    def whitening(self, plane_mm: Floats, local: Floats) -> Floats:
        """Corners through the local scale, but for what a pose explains: three rows a card fewer; then the bars."""
        rows = self.corner_rows + len(self.bars)
        whole = np.zeros((rows, 2 * len(plane_mm) + len(self.bars)))
        at = row = 0
        for card in self.cards.cards:
            count = len(card.places_mm)
            part = slice(at, at + count)
            nominal = (card.places_mm - card.places_mm.mean(axis=0)) * self.cards.full_per_paper
            turn = _turn(plane_mm[part] - plane_mm[part].mean(axis=0), nominal)
            cos, sin = np.cos(turn), np.sin(turn)
            # Of C = J J' sigma^2, J's own inverse over sigma whitens, and needs no Cholesky factor.
            inverse = np.linalg.inv(np.array([[cos, sin], [-sin, cos]]) @ local[part]) / card.sigma_px
            white = np.zeros((2 * count, 2 * count))
            for n in range(count):
                white[2 * n : 2 * n + 2, 2 * n : 2 * n + 2] = inverse[n]
            pose = np.zeros((2 * count, POSE))
            pose[::2, 0] = pose[1::2, 1] = 1
            pose[::2, 2], pose[1::2, 2] = -nominal[:, 1], nominal[:, 0]
            apart, _ = np.linalg.qr(white @ pose, mode="complete")
            whole[row : row + 2 * count - POSE, 2 * at : 2 * (at + count)] = apart[:, POSE:].T @ white
            at, row = at + count, row + 2 * count - POSE
        for n, (_, _, sigma) in enumerate(self.bars):
            whole[row + n, 2 * at + n] = 1 / sigma
        return whole

    @staticmethod
    def printed(unknowns: Floats) -> Floats:
        """Give (..., 2) printed over nominal length in the cards' x and y."""
        mean, apart = unknowns[..., 0], unknowns[..., 1]
        return np.asarray(np.exp(np.stack([mean + apart / 2, mean - apart / 2], axis=-1)))


def _on_card(there_mm: Floats, printed_mm: Floats) -> Floats:
    """Give places (..., k, 2) on the plane in the axes of the card that lies there, from their own middle."""
    away = there_mm - there_mm.mean(axis=-2, keepdims=True)
    turn = _turn(away, printed_mm - printed_mm.mean(axis=-2, keepdims=True))[..., None]
    cos, sin = np.cos(turn), np.sin(turn)
    x, y = away[..., 0], away[..., 1]
    return np.asarray(np.stack([cos * x + sin * y, cos * y - sin * x], axis=-1))


def _turn(there_mm: Floats, card_mm: Floats) -> Floats:
    """Give the turn (...) that takes a card's places nearest to where they lie, both from their middle (Procrustes)."""
    cross = (card_mm[..., 0] * there_mm[..., 1] - card_mm[..., 1] * there_mm[..., 0]).sum(axis=-1)
    dot = (card_mm * there_mm).sum(axis=(-2, -1))
    return np.asarray(np.arctan2(cross, dot))
