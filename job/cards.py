"""Cards found in a picture: what they give the scale, what is said of them, and what lies under them."""

import math
from collections.abc import Sequence

import cv2
import numpy as np

from calibration.card_design import LONG_BAR_MM, SHORT_BAR_MM
from calibration.card_finder import FoundCard, Laid
from calibration.naming import listed
from calibration.observations import Cards, Corners, GivenScale, KnownDistance, LaidCard, Observation
from drawing.errors import DrawingError
from drawing.findings import Finding, Level
from drawing.lengths import parse_length, parse_size
from job.errors import JobError
from job.job import Found, Job
from pictures.ink import Ink

READ_GIVE_MM = 0.2
"""Half width of what a bar is read to on a rule with half mm (trade practice)."""

MOST_OFF = 0.06
"""A printer is 0.3-1 % off, a page fitted to other paper 3 %; a bar further off was misread, or is the other bar."""

LEAST_SIGMA_PX = 0.03
"""One sigma of a corner in the best of pictures (measured on rendered ones: 0.02-0.05 px)."""

POOLED = 10
"""Rows that all cards' scatter counts as beside a card's own."""

SHIFT_BITS = 4


def cards_observed(
    job: Job, found: Sequence[FoundCard], others: Sequence[Observation], *, full_per_paper: float
) -> tuple[Cards | None, list[Finding]]:
    """Give what the flat and wholly seen cards tell, and what is to be said of how large they are.

    Raises
    ------
    JobError
        For bars that cannot be, and for bars without any card.
    """
    bars = () if job.card_bar is None else parse_card_bar(job.card_bar)
    if Found.CARDS in job.ignore:
        return None, []
    flat = [card for card in found if card.laid is Laid.FLAT]
    if not flat:
        if bars:
            raise JobError(
                f"The cards' bar is given as {job.card_bar}, but no card that can be measured was found in "
                f"{job.sheet.file.name}; cards must lie flat and wholly in the picture, sharp and not too small: "
                "photograph again from nearer, or leave --card-bar out."
            )
        return None, []
    spare = [2 * len(card.points_px) - 8 for card in flat]
    squares = sum(n * card.misfit_px**2 for n, card in zip(spare, flat, strict=True))
    # A card's own scatter tells how sharp it is; where few corners are seen, all cards' together tells as much.
    sigmas_px = [
        math.sqrt((n * card.misfit_px**2 + POOLED * squares / sum(spare)) / (n + POOLED))
        for n, card in zip(spare, flat, strict=True)
    ]
    laid = tuple(
        LaidCard(card.label, card.places_mm, card.points_px, max(sigma_px, LEAST_SIGMA_PX))
        for card, sigma_px in zip(flat, sigmas_px, strict=True)
    )
    cards = Cards(laid, full_per_paper, bars)
    told = any(
        isinstance(seen, KnownDistance | GivenScale) or (isinstance(seen, Corners) and seen.width_mm is not None)
        for seen in others
    )
    return cards, list(_size_findings(job, told=told or bool(bars), lengths=told))


def _size_findings(job: Job, *, told: bool, lengths: bool) -> list[Finding]:
    findings = []
    if not told:
        findings.append(
            Finding(
                "cards-size-taken",
                Level.DECIDE,
                "size of the cards",
                "Nothing says how large the cards were printed, so they were taken as drawn, give or take 2 %; a page "
                f"fitted to the paper is 3 % off. Measure the {LONG_BAR_MM:g} mm bar on their sheet and add "
                f'--card-bar "{LONG_BAR_MM:.1f} mm" with what it measures, or give a long known distance.',
            )
        )
    if job.sheet.drawn_at is None and not lengths:
        findings.append(
            Finding(
                "plan-taken-full-size",
                Level.NOTE,
                "drawn scale",
                "The cards tell the size of the paper, and the plan was taken as drawn at full size: if it is drawn "
                "smaller, say so, as with --drawn-at 1/4.",
            )
        )
    return findings


def parse_card_bar(text: str) -> tuple[tuple[int, float, float], ...]:
    """Read what the sheet's long bar measures, `199.4 mm`, or both, `199.4 x 149.7 mm`.

    Returns
    -------
    tuple of (axis, ratio, sigma)
        Of the cards' y (1), and x (0) where both are given: printed over drawn, and one sigma of it.

    Raises
    ------
    JobError
        In one sentence.
    """
    try:
        give_mm = READ_GIVE_MM
        if any(sign in text for sign in "x×X"):
            measured = list(parse_size(text))
        else:
            length = parse_length(text)
            measured = [length.mm]
            give_mm += length.give_mm or 0.0
    except DrawingError as error:
        raise JobError(
            f'The cards\' bar is given as "{text}"; what the long bar measures is needed, or long and short: write it '
            f'as "{LONG_BAR_MM - 0.6:.1f} mm" or "{LONG_BAR_MM - 0.6:.1f} x {SHORT_BAR_MM - 0.4:.1f} mm".'
        ) from error
    bars = []
    drawn = ((1, LONG_BAR_MM, "long"), (0, SHORT_BAR_MM, "short"))
    for mm, (axis, drawn_mm, name) in zip(measured, drawn, strict=False):
        ratio = mm / drawn_mm
        if abs(ratio - 1) > MOST_OFF:
            raise JobError(
                f"The cards' {name} bar is given as {mm:.6g} mm where {drawn_mm:g} mm were drawn; a printer is at most "
                f"some {100 * MOST_OFF:.0f} % off: measure the {name} bar again (the long one comes first), or print "
                'the cards anew at "actual size".'
            )
        bars.append((axis, ratio, give_mm / math.sqrt(3) / drawn_mm))
    return tuple(bars)


def blanked(ink: Ink, cards: Sequence[FoundCard]) -> Ink:
    """Give the ink without what cards cover; the darkness, just made and nobody else's yet, is changed in place."""
    for card in cards:
        outline = np.round(card.outline_px * (1 << SHIFT_BITS)).astype(np.int32)
        cv2.fillPoly(ink.darkness, [outline], 0, cv2.LINE_8, SHIFT_BITS)
    return ink


def cards_noted(cards: Sequence[FoundCard]) -> tuple[Finding, ...]:
    """Say which cards lie in the picture, and what is wrong with any."""
    if not cards:
        return ()
    flat = [card for card in cards if card.laid is Laid.FLAT]
    sizes = sorted({card.size_mm for card in cards})
    names = listed([_names([card for card in cards if card.size_mm == size_mm]) for size_mm in sizes])
    counted = "One card lies" if len(cards) == 1 else f"{len(cards)} cards lie"
    used = "what is under it was" if len(cards) == 1 else "what is under them was"
    notes = [
        Finding(
            "cards-found",
            Level.NOTE,
            "cards",
            f"{counted} on the plan ({names}): {used} left out of parts, lines and the flat picture.",
        )
    ]
    for card in cards:
        what = f"{card.label[:1].upper()}{card.label[1:]}"
        if card.laid is Laid.PARTLY_SEEN:
            notes.append(
                Finding(
                    "card-partly-seen",
                    Level.NOTE,
                    card.label,
                    f"{what} shows {len(card.points_px)} of its 25 corners, too few to measure, and was not used: lay "
                    "it wholly into the picture, with nothing on it, and photograph again.",
                )
            )
        elif card.laid is Laid.CURLED:
            notes.append(
                Finding(
                    "card-not-flat",
                    Level.NOTE,
                    card.label,
                    f"{what} is no flat chessboard in the picture ({card.misfit_px:.1f} px off) and was not used: it "
                    "curls or is blurred; press it flat and photograph again.",
                )
            )
    again = [card for card in flat if card.copy]
    if again:
        notes.append(
            Finding(
                "card-twice",
                Level.NOTE,
                again[0].label,
                f"Card {again[0].number} lies on the plan more than once, so there are cards of two sheets; all were "
                "taken as printed alike: if two printers made them, take one sheet's cards away.",
            )
        )
    return tuple(notes)


def _names(cards: Sequence[FoundCard]) -> str:
    """Name cards of one size: `cards 1, 2 and 4 of 60 mm`."""
    labels = [card.label.removeprefix("card ") for card in cards]
    return f"{'card' if len(cards) == 1 else 'cards'} {listed(labels)} of {cards[0].size_mm:g} mm"


def seen_by_camera(cards: Sequence[FoundCard]) -> bool:
    """Tell whether cards are seen as only a camera sees them: at different sizes, or larger on one side."""
    flat = [card for card in cards if card.laid is Laid.FLAT]
    sizes = []
    for card in flat:
        lifted = np.column_stack([card.places_mm, np.ones(len(card.places_mm))])
        affine, *_ = np.linalg.lstsq(lifted, card.points_px, rcond=None)
        off_px = math.sqrt(float(((lifted @ affine - card.points_px) ** 2).mean()))
        if off_px > AFFINE_PX + 3 * card.misfit_px:
            return True
        sizes.append(math.log(abs(float(np.linalg.det(affine[:2])))) / 2)
    return len(sizes) > 1 and max(sizes) - min(sizes) > SIZES_APART


AFFINE_PX = 0.2
"""How far a scanner puts a card's corners off straight and parallel rows, root mean square."""

SIZES_APART = 0.01
"""A scanner shows all cards equally large to 0.1 %."""
