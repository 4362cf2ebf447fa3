"""The cards lying on a plan: which they are, and where their chessboards' inner corners are in the picture, px."""

import math
from dataclasses import dataclass, replace
from enum import Enum, auto
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.card_corners import corners_from_sides
from calibration.card_design import DICTIONARY, MARKER_SHARE, CardDesign, design_of

Floats = NDArray[np.float64]
Grey = NDArray[np.uint8]

TRIGGER_PX = 2000
"""Longer side of the picture in which a first card is looked for: a marker's cells are then 2.5 px on a sheet as
wide as 14 cards, and a 12 MP picture without cards costs some 0.05 s."""

FULL_PX = 8000
"""Longer side above which cards are found in a smaller picture; corners are measured in the whole one all the same."""

LEAST_MARKERS = 3
"""Markers that must lie as on one card: drawn lines make one that is none now and then, never three in their places."""

LEAST_CORNERS = 9
"""Of 25: fewer place a card poorly, and hardly tell whether it lies flat."""

PLACED_SQUARES = 0.25
"""How far from its place, in squares, a marker may be found and a corner be refined to."""

CONTRAST_PART = 0.3
"""Around an inner corner the dark squares differ from the white ones by this part of what they do on the whole card, at
least: less, and something lies over it."""

LEAST_CONTRAST = 25
"""The same in grey levels of 255: below it there is no card."""

WINDOW_PX = (2, 12)
"""Least and most half width of the window in which a corner is refined. It may not reach a marker."""

CURLED_PX, CURLED_SQUARES = 0.25, 0.005
"""How far a card's corners may be, root mean square, from those of a flat card: what blur and noise do, and 0.05 mm on
a card of 60 mm. A card lifted by 1 mm in its middle and seen at 20 degrees is off by three times that."""

BESIDE_MM = 2.0
"""Left out around a card: its edge's shadow, and how crookedly it was cut."""


class Laid(Enum):
    """What is to be said of a card that was found."""

    FLAT = auto()
    PARTLY_SEEN = auto()
    CURLED = auto()


@dataclass(frozen=True, slots=True, eq=False)
class FoundCard:
    """A card in the picture.

    `places_mm` (N, 2) are inner corners on the card, nominal mm, y up from its pattern's middle; `points_px` (N, 2) are
    they in the picture. `misfit_px` is how far they are off a flat card's, root mean square of x and of y. `outline_px`
    (K, 2) goes round the whole card. `copy` is 0, or 1 and more where the same number lies there again.
    """

    number: int
    size_mm: float
    places_mm: Floats
    points_px: Floats
    misfit_px: float
    outline_px: Floats
    laid: Laid
    copy: int = 0

    @property
    def label(self) -> str:
        """What it is called."""
        return f"card {self.number}{' again' * self.copy}"


def find_cards(grey: Grey) -> tuple[FoundCard, ...]:
    """Find all cards in a photo or scan, in the order of their sizes and numbers.

    A first look at reduced size tells whether there are any. Markers tell which card is where, and one homography a
    card where its inner corners are to be refined, first near the corner, then from the squares' whole sides.

    Parameters
    ----------
    grey : (H, W) array of uint8
        The whole picture.

    Returns
    -------
    tuple of FoundCard
        Those that cannot be measured among them, as `laid` says: what lies under them is no part of the plan either.
    """
    if not _groups(*_markers(grey, longest_px=TRIGGER_PX, windows_px=(15,))):
        return ()
    ids, corners = _markers(grey, longest_px=FULL_PX, windows_px=(15, 39))
    cards: list[FoundCard] = []
    for design, rough in _groups(ids, corners):
        card = _measured(grey, design, rough)
        if card is not None:
            cards.append(card)
    cards.sort(key=lambda card: (card.size_mm, card.number, -len(card.points_px), *card.outline_px[0]))
    for place, card in enumerate(cards):
        before = sum((other.number, other.size_mm) == (card.number, card.size_mm) for other in cards[:place])
        if before:
            cards[place] = replace(card, copy=before)
    return tuple(cards)


def _markers(grey: Grey, *, longest_px: int, windows_px: tuple[int, ...]) -> tuple[NDArray[np.int64], Floats]:
    """Give the numbers (N,) and corners (N, 4, 2), px of the whole picture, of what looks like markers."""
    height, width = grey.shape
    factor = max(1.0, max(height, width) / longest_px)
    small = grey
    if factor > 1:
        small = np.asarray(
            cv2.resize(grey, (round(width / factor), round(height / factor)), interpolation=cv2.INTER_AREA), np.uint8
        )
    small = _only_near_solids(small)
    parameters = cv2.aruco.DetectorParameters()
    # With a thousand markers of 16 cells, a corrected cell makes one out of another.
    parameters.errorCorrectionRate = 0.0
    parameters.minMarkerPerimeterRate = 4 * LEAST_MARKER_PX / max(small.shape)
    parameters.maxMarkerPerimeterRate = 1.0
    found: list[tuple[int, Floats]] = []
    for window in windows_px:
        parameters.adaptiveThreshWinSizeMin = parameters.adaptiveThreshWinSizeMax = window
        detector = cv2.aruco.ArucoDetector(_dictionary(), parameters)
        quads, ids, _ = detector.detectMarkers(small)
        for quad, marker in zip(quads, [] if ids is None else ids.ravel(), strict=True):
            corners = np.asarray(quad, np.float64).reshape(4, 2)
            side_px = float(np.hypot(*(corners[0] - corners[1])))
            again = any(
                other == marker and np.hypot(*(there - corners).mean(axis=0)) < side_px / 2 for other, there in found
            )
            if not again:
                found.append((int(marker), corners))
    if not found:
        return np.zeros(0, np.int64), np.zeros((0, 4, 2))
    scale = np.array([width / small.shape[1], height / small.shape[0]])
    # Pixel centres at integers: the corner of the picture lies half a px before the first of them.
    corners = (np.array([quad for _, quad in found]) + 0.5) * scale - 0.5
    return np.array([marker for marker, _ in found]), corners


def _only_near_solids(grey: Grey) -> Grey:
    """Give the picture with bare paper wherever no dark square is near.

    Drawn lines are thin and a card's squares are not; on squared paper thousands of cells would be tried as markers.
    """
    height, width = grey.shape
    factor = max(1.0, max(height, width) / SOLIDS_PX)
    cells = cv2.resize(
        grey, (max(1, round(width / factor)), max(1, round(height / factor))), interpolation=cv2.INTER_AREA
    )
    paper = cv2.dilate(cells, np.ones((LOCAL_CELLS, LOCAL_CELLS), np.uint8))
    dark = cv2.compare(cells, cv2.convertScaleAbs(paper, alpha=DARK_PART), cv2.CMP_LT)
    solid = cv2.erode(dark, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (SOLID_CELLS, SOLID_CELLS)))
    near = cv2.dilate(solid, np.ones((LOCAL_CELLS, LOCAL_CELLS), np.uint8))
    kept = grey.copy()
    near = cv2.resize(near, (width, height), interpolation=cv2.INTER_NEAREST)
    paper = cv2.resize(paper, (width, height), interpolation=cv2.INTER_LINEAR)
    cv2.copyTo(paper, cv2.bitwise_not(near), kept)
    return kept


SOLIDS_PX = 1000
"""Longer side of the picture in which dark squares are told from drawn lines: the smallest are then 6 px wide."""

SOLID_CELLS, LOCAL_CELLS = 5, 31
"""Least width of a dark square there, and twice how far from one a marker may lie, px: a card's white square has dark
ones beside it."""

DARK_PART = 0.6
"""A dark square is darker than this part of the brightest paper near it: ink leaves a tenth, to which blur adds."""

LEAST_MARKER_PX = 9.0
"""Side of the smallest marker looked for: 1.5 px a cell."""


@lru_cache(maxsize=1)
def _dictionary() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(DICTIONARY)


@dataclass(frozen=True, slots=True, eq=False)
class _Rough:
    """Markers of one card: corners on the card, mm, and in the picture, px; both (4 N, 2)."""

    places_mm: Floats
    points_px: Floats


def _groups(ids: NDArray[np.int64], corners_px: Floats) -> list[tuple[CardDesign, _Rough]]:
    """Put markers together that lie as on one card; a number that lies there twice makes two."""
    by_card: dict[int, list[tuple[int, Floats]]] = {}
    designs: dict[int, CardDesign] = {}
    for marker, corners in zip(ids.tolist(), corners_px, strict=True):
        if (known := design_of(marker)) is not None:
            design, place = known
            designs[design.first_marker] = design
            by_card.setdefault(design.first_marker, []).append((place, corners))
    groups: list[tuple[CardDesign, _Rough]] = []
    for first, markers in by_card.items():
        places_mm = designs[first].markers_mm()
        left = list(markers)
        while len(left) >= LEAST_MARKERS:
            best = max((_beside(one, left, places_mm) for one in left), key=len)
            if len(best) < LEAST_MARKERS:
                break
            mm = np.concatenate([places_mm[left[n][0]] for n in best])
            groups.append((designs[first], _Rough(mm, np.concatenate([left[n][1] for n in best]))))
            left = [marker for n, marker in enumerate(left) if n not in best]
    return groups


def _beside(one: tuple[int, Floats], markers: list[tuple[int, Floats]], places_mm: Floats) -> list[int]:
    """Give which markers lie where `one` says, by the map that its own four corners make; each place once."""
    place, corners = one
    side_mm = float(places_mm[0, 1, 0] - places_mm[0, 0, 0])
    # An affine map: the homography of four corners that are a px off is wild a card's width away.
    design = np.column_stack([places_mm[place] - places_mm[place].mean(axis=0), np.ones(4)])
    affine, *_ = np.linalg.lstsq(design, corners, rcond=None)
    chosen: dict[int, tuple[float, int]] = {}
    for n, (other, there) in enumerate(markers):
        away = places_mm[other].mean(axis=0) - places_mm[place].mean(axis=0)
        expected = away @ affine[:2] + affine[2]
        far_mm = float(np.hypot(*away))
        # A marker is 10 px wide or more and its corners good to one: direction and size are out by a tenth.
        reach = float(np.abs(np.linalg.det(affine[:2]))) ** 0.5 * (0.3 * side_mm + 0.2 * far_mm)
        off = float(np.hypot(*(there.mean(axis=0) - expected)))
        if off < reach and (other not in chosen or off < chosen[other][0]):
            chosen[other] = (off, n)
    return sorted(n for _, n in chosen.values())


def _measured(grey: Grey, design: CardDesign, rough: _Rough) -> FoundCard | None:
    """Refine a card's inner corners where they are seen; None where there is no card."""
    height, width = grey.shape
    to_picture = _homography(rough.places_mm, rough.points_px, reach_px=_placed_px(design, rough))
    if to_picture is None:
        return None
    mm, square_mm = design.inner_corners_mm(), design.square_mm
    seen = np.zeros(len(mm), dtype=bool)
    points = np.zeros_like(mm)
    # The second time from where the first put the whole card, which markers' corners place to a px only.
    for _ in range(2):
        expected = _through(to_picture, mm)
        steps = _steps_px(to_picture, mm, square_mm)
        least = np.linalg.svd(steps, compute_uv=False)[:, -1]
        seen = _crossed(grey, expected, steps)
        narrowest = float(least[seen].min()) if seen.any() else 0.0
        window = int(np.clip(math.floor((1 - MARKER_SHARE) / 2 * narrowest - 0.5), *WINDOW_PX))
        seen &= ((expected > window + 1) & (expected < np.array([width, height]) - 2 - window)).all(axis=1)
        if seen.any():
            rough_px = _refined(grey, expected[seen], window)
            points[seen] = corners_from_sides(grey, rough_px, steps[seen])
        # NaN is not near.
        seen &= np.hypot(*(points - expected).T) < PLACED_SQUARES * least
        again = _homography(mm[seen], points[seen], reach_px=math.inf) if _spread(mm[seen]) else None
        if again is None:
            # Too little to measure; where it lies its markers tell.
            return _card(design, mm[seen], points[seen], to_picture)
        to_picture = again
    # One corner off its place is something lying over it; many are a card that is not flat.
    off = np.hypot(*(_through(to_picture, mm[seen]) - points[seen]).T)
    stray = off > max(5 * float(np.median(off)), CURLED_PX)
    if 0 < stray.sum() <= 0.2 * len(off):
        seen[np.flatnonzero(seen)[stray]] = False
        again = _homography(mm[seen], points[seen], reach_px=math.inf) if _spread(mm[seen]) else None
        to_picture = to_picture if again is None else again
    return _card(design, mm[seen], points[seen], to_picture)


def _spread(places_mm: Floats) -> bool:
    """Tell whether places are enough, and not on one line, for a homography."""
    return len(places_mm) >= 4 and int(np.linalg.matrix_rank(places_mm - places_mm.mean(axis=0))) == 2


def _card(design: CardDesign, places_mm: Floats, points_px: Floats, to_picture: Floats) -> FoundCard:
    """Judge a card by how many corners are seen, and how they lie."""
    squares = float(((_through(to_picture, places_mm) - points_px) ** 2).sum())
    misfit_px = math.sqrt(squares / max(2 * len(places_mm) - 8, 1))
    steps = _steps_px(to_picture, design.inner_corners_mm(), design.square_mm)
    square_px = float(np.median(np.linalg.svd(steps, compute_uv=False)))
    laid = Laid.FLAT
    if len(places_mm) < LEAST_CORNERS or not _spread(places_mm):
        laid = Laid.PARTLY_SEEN
    elif misfit_px > math.hypot(CURLED_PX, CURLED_SQUARES * square_px):
        laid = Laid.CURLED
    left, lower, right, upper = design.outline_mm()
    box = np.array([[left, upper], [right, upper], [right, lower], [left, lower]])
    box += BESIDE_MM * np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])
    outline_px = _through(to_picture, box)
    return FoundCard(design.number, design.size_mm, places_mm, points_px, misfit_px, outline_px, laid)


def _placed_px(design: CardDesign, rough: _Rough) -> float:
    spread = np.ptp(rough.points_px, axis=0).max() / max(np.ptp(rough.places_mm, axis=0).max(), 1e-9)
    return float(PLACED_SQUARES * design.square_mm * spread)


def _homography(places_mm: Floats, points_px: Floats, *, reach_px: float) -> Floats | None:
    """Give the map of a card's mm to px; points farther than `reach_px` from where the others put them do not count."""
    if math.isfinite(reach_px):
        found, _ = cv2.findHomography(places_mm, points_px, cv2.RANSAC, reach_px)
    else:
        found, _ = cv2.findHomography(places_mm, points_px)
    return None if found is None else np.asarray(found, np.float64)


def _through(homography: Floats, points: Floats) -> Floats:
    lifted = points @ homography[:, :2].T + homography[:, 2]
    through: Floats = lifted[:, :2] / lifted[:, 2:]
    return through


def _steps_px(homography: Floats, points_mm: Floats, square_mm: float) -> Floats:
    """Give (N, 2, 2): how far in the picture half a square either way leads at each point; columns are x and y."""
    half = square_mm / 2
    along = [
        _through(homography, points_mm + step) - _through(homography, points_mm - step)
        for step in (np.array([half, 0.0]), np.array([0.0, half]))
    ]
    return np.stack(along, axis=-1)


def _crossed(grey: Grey, points_px: Floats, steps_px: Floats) -> NDArray[np.bool_]:
    """Tell where two dark and two white squares meet as on a chessboard: nothing lies over the corner."""
    # Between the corner and the markers, which begin 0.15 of a square from it.
    apart = 0.5 * (1 - MARKER_SHARE) / 2 * 1.3
    signs = np.array([[1, 1], [-1, -1], [1, -1], [-1, 1]])
    at = points_px[:, None, :] + apart * np.einsum("nij,kj->nki", steps_px, signs)
    height, width = grey.shape
    inside = ((at > 1) & (at < np.array([width, height]) - 2)).all(axis=(1, 2))
    levels = np.zeros(at.shape[:2])
    if inside.any():
        x, y = np.rint(at[inside]).astype(np.intp).transpose(2, 0, 1)
        levels[inside] = grey[y, x]
    one, other = levels[:, :2], levels[:, 2:]
    # Signed so that it is the same for every corner of a card: neighbours change sides.
    apart_by = np.where(
        one.mean(axis=1) > other.mean(axis=1), one.min(axis=1) - other.max(axis=1), other.min(axis=1) - one.max(axis=1)
    )
    usual = float(np.median(apart_by[inside])) if inside.any() else 0.0
    crossed: NDArray[np.bool_] = inside & (apart_by > max(CONTRAST_PART * usual, LEAST_CONTRAST * CONTRAST_PART))
    return crossed


def _refined(grey: Grey, points_px: Floats, window: int) -> Floats:
    """Move points to the saddle of brightness near each."""
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 100, 1e-4)
    start = points_px.astype(np.float32).reshape(-1, 1, 2)
    moved = cv2.cornerSubPix(grey, start, (window, window), (-1, -1), stop)
    return np.asarray(moved, np.float64).reshape(-1, 2)
