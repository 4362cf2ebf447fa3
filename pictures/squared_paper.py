"""Squared and ruled paper under a drawing: found in the darkness, and taken out of it."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from pictures.ink import Ink, Polygon, roughness
from pictures.line_family import CELL_PX, LineFamily, line_family
from pictures.line_peaks import beside_px, line_peaks
from pictures.spacing import Floats

PALE, PALE_OF_SHEET = 0.75, 0.25
"""Squares paler than this part of the drawn ink are paper where they cover so much of the sheet: less is a table."""

ANY_OF_SHEET = 0.5
"""Squares as dark as the drawing are paper where they cover so much of the sheet: a drawn lattice is one part of it."""

RULED_PALE, RULED_OF_SHEET, RULED_LINES = 0.5, 0.5, 12
"""Lines one way only may be a wing's ribs; ruled paper is paler than any of them, covers the sheet, and has many."""

OTHER_WAY_DEG = 30.0
"""Lines closer in direction than this are one family seen twice: those at 45 degrees cross rows and columns alike."""

REACH_PITCH = 0.4
"""A line's ink is looked for up to this part of the spacing beside it, so that no place belongs to two lines."""

PROFILE_STEP_PX = 0.5
"""How finely the shade across a line is taken, px."""

BESIDE_OTHERS, ALONG_OTHERS = 7, 5
"""Lines and stretches whose middle shade a line's own is compared with: uneven light and blur change slower."""

OWN_LIMITS = (0.75, 1.3)
"""How far the paper's line may be paler or darker on a stretch than its own and its neighbours' shades make it; what
is darker still is drawn along it."""

REPEATS = (1, 2, 4, 5, 10)
"""Every how many lines one may be heavier."""

LIKE_ITS_CLASS = 1.3
"""A line may be darker by this factor than those that are as heavy; a border drawn on a line is darker still."""

REST_PART = 0.35
"""What is left of a paper line's own shade after it is taken out and is still its grain. Drawn ink leaves more: it lies
on top."""

REST_SIGMAS = 3.0
"""The same in sigmas of the picture's noise."""

DRAWN_PART = 1.2
"""What is left on a line and is darker than this part of its own shade is drawn ink, not the paper's grain..."""

LONG_PITCH, NEAR_ROWS = 0.5, 3
"""... and so is what goes on along it for this part of the spacing, or lies so many px from ink beside the line."""

MOST_TAKEN = 250.0
"""Darkest shade that is divided out: black would leave nothing to divide."""

PALE_SHARE = 0.05
"""Part of a line's darkest shade that counts as its ink."""

LEAST_OF_NOISE = 0.25
"""Lines everywhere make noise seem four times larger at most."""

CROSSING_ROUNDS = 12
"""Steps from one line to the other in which a crossing is found: each shrinks what is left by both slopes."""

PLACES_AT_ONCE = 65_536
"""Places on lines worked on at a time: bounds what is needed beside the picture."""


@dataclass(frozen=True, slots=True)
class SquaredPaper:
    """The lines of squared paper that were found: those that run down the picture, and those across (x and y swapped).

    Either is None on ruled paper.
    """

    down: LineFamily | None
    across: LineFamily | None

    @property
    def families(self) -> tuple[tuple[LineFamily, bool], ...]:
        """The families found; the second of each tells that its x and y are swapped."""
        both = ((self.down, False), (self.across, True))
        return tuple((family, swapped) for family, swapped in both if family is not None)

    def crossings_px(self) -> Floats:
        """Where its lines cross, (N, 2) picture px, row by row; none on ruled paper."""
        if self.down is None or self.across is None:
            return np.empty((0, 2))
        row, column = (grid.ravel() for grid in np.indices((len(self.across.number), len(self.down.number))))
        y = self.across.x[row].mean(axis=1)
        x = self.down.at(column, y)
        for _ in range(CROSSING_ROUNDS):
            y = self.across.at(row, x)
            x = self.down.at(column, y)
        runs = self.down.runs_at(column, y) & self.across.runs_at(row, x)
        return np.column_stack([x, y])[runs]

    def steps_px(self) -> list[Floats]:
        """For each family a place on each line and two on the next one, (M, 3, 2) picture px."""
        return [_steps(family, swapped) for family, swapped in self.families]


def _steps(family: LineFamily, swapped: bool) -> Floats:
    both = family.spans[1:, :-1] & family.spans[1:, 1:] & family.spans[:-1, :-1]
    line, stretch = np.nonzero(both & (np.diff(family.number) == 1)[:, None])
    y = (stretch + 0.5) * CELL_PX - 0.5
    here = np.column_stack([family.x[line, stretch], y])
    other = np.column_stack([family.x[line + 1, stretch], y])
    further = np.column_stack([family.x[line + 1, stretch + 1], y + CELL_PX])
    steps = np.stack([here, other, further], axis=1)
    return steps[..., ::-1] if swapped else steps


def find_squared_paper(ink: Ink, *, within: Polygon | None) -> SquaredPaper | None:
    """Give the evenly spaced lines printed on a sheet, or None.

    Parameters
    ----------
    ink : Ink
    within : (K, 2) float or None
        The sheet in picture px; a table's grain beside it is no paper.
    """
    sheet = None
    if within is not None:
        sheet = np.zeros_like(ink.darkness)
        cv2.fillPoly(sheet, [np.round(np.asarray(within)).astype(np.int32)], 1)
    down = _family(ink.darkness, ink.noise, sheet)
    # Turned once: a column's pixels lie a row apart, and picking them is ten times as slow.
    turned = np.asarray(cv2.transpose(ink.darkness), np.uint8)
    across = _family(turned, ink.noise, None if sheet is None else sheet.T)
    del turned
    sheet_px2 = float(ink.darkness.size if sheet is None else np.count_nonzero(sheet))
    if down is not None and across is not None and _other_ways(down, across):
        if all(_is_squares(family, sheet_px2) for family in (down, across)):
            return SquaredPaper(down, across)
        return None
    ruled = max((family for family in (down, across) if family is not None), key=_count, default=None)
    if ruled is None or not _is_ruled(ruled, sheet_px2):
        return None
    return SquaredPaper(down if ruled is down else None, across if ruled is across else None)


def _count(family: LineFamily) -> int:
    return len(family.number)


def _is_squares(family: LineFamily, sheet_px2: float) -> bool:
    covers = family.area_px2 / sheet_px2
    return covers >= ANY_OF_SHEET or (covers >= PALE_OF_SHEET and family.shade <= PALE * family.drawn_shade)


def _is_ruled(family: LineFamily, sheet_px2: float) -> bool:
    pale = family.shade <= RULED_PALE * family.drawn_shade
    return pale and family.area_px2 >= RULED_OF_SHEET * sheet_px2 and len(family.number) >= RULED_LINES


def _other_ways(down: LineFamily, across: LineFamily) -> bool:
    """Whether two families cross: the second has x and y swapped."""
    lean, rise = (np.arctan(np.median(np.diff(family.x, axis=1)) / CELL_PX) for family in (down, across))
    return bool(abs(np.pi / 2 - lean - rise) > np.radians(OTHER_WAY_DEG))


def without_squared_paper(ink: Ink, paper: SquaredPaper) -> Ink:
    """Give the ink with the paper's own lines taken out, and what is drawn over and along them left."""
    darkness = ink.darkness.copy()
    for family, swapped in paper.families:
        _take_out(darkness.T if swapped else darkness, family, ink.noise)
    # Fine lines everywhere had been part of what seemed noise.
    before, after = roughness(ink.darkness), roughness(darkness)
    part = float(np.clip(after / before, LEAST_OF_NOISE, 1)) if before > 0 else 1.0
    return replace(ink, darkness=darkness, noise=part * ink.noise)


def _family(darkness: NDArray[np.uint8], noise: float, sheet: NDArray[np.uint8] | None) -> LineFamily | None:
    height, width = darkness.shape
    return line_family(line_peaks(darkness, noise=noise, sheet=sheet), width_px=width, height_px=height)


def _take_out(darkness: NDArray[np.uint8], family: LineFamily, noise: float) -> None:
    """Divide a family's lines out of a picture's darkness, in place."""
    from scipy import ndimage

    height, width = darkness.shape
    reach = int(min(2 * beside_px(darkness.shape), max(2.0, REACH_PITCH * family.pitch_px)))
    rows = np.arange(height)
    x = family.at(np.arange(len(family.number))[:, None], rows.astype(np.float64)[None])
    runs = ndimage.binary_dilation(family.spans, np.ones((1, 3)))[:, np.minimum(rows // CELL_PX, family.x.shape[1] - 1)]
    runs &= (x > reach + 1) & (x < width - reach - 2)
    line, row = np.nonzero(runs)
    if len(line) == 0:
        return
    place = x[line, row]
    shades = _shades(darkness, family, line, row, place, noise)
    profile = _profile(darkness, row, place, shades, reach)
    middle = np.round(place).astype(np.int64)
    left = np.empty((len(line), 2 * reach + 1), np.uint8)
    flags = np.zeros((2, *runs.shape), np.bool_)
    for start in range(0, len(line), PLACES_AT_ONCE):
        some = slice(start, start + PLACES_AT_ONCE)
        columns = middle[some, None] + np.arange(-reach, reach + 1)
        share = np.interp(np.abs(columns - place[some, None]) / PROFILE_STEP_PX, np.arange(len(profile)), profile)
        shade = shades[some, None]
        there = darkness[row[some, None], columns].astype(np.float64)
        rest = 255 - (255 - there) * 255 / (255 - np.minimum(shade * share, MOST_TAKEN))
        least = np.maximum(REST_PART * shade, REST_SIGMAS * noise + 1)
        own = share > PALE_SHARE
        rest[own & (rest < least)] = 0
        left[some] = np.clip(np.round(rest), 0, 255)
        flags[0, line[some], row[some]] = ((rest > 0) & own).any(axis=1)
        flags[1, line[some], row[some]] = (rest >= np.where(own, DRAWN_PART * shade, least)).any(axis=1)
    kept = _drawn_rows(*flags, long_px=max(2, round(LONG_PITCH * family.pitch_px)))[line, row]
    for start in range(0, len(line), PLACES_AT_ONCE):
        some = slice(start, start + PLACES_AT_ONCE)
        columns = middle[some, None] + np.arange(-reach, reach + 1)
        near = np.abs(columns - place[some, None]) / PROFILE_STEP_PX
        own = np.interp(near, np.arange(len(profile)), profile) > PALE_SHARE
        darkness[row[some, None], columns] = np.where(own & ~kept[some, None], 0, left[some])


def _drawn_rows(rest: NDArray[np.bool_], drawn: NDArray[np.bool_], *, long_px: int) -> NDArray[np.bool_]:
    """On which rows of each line what is left is drawn ink: dark or beside the line near by, or long along it."""
    from scipy import ndimage

    near = ndimage.binary_dilation(drawn, np.ones((1, 2 * NEAR_ROWS + 1)))
    long = ndimage.binary_opening(rest, np.ones((1, long_px)))
    return np.asarray(near | long, np.bool_)


def _shades(
    darkness: NDArray[np.uint8],
    family: LineFamily,
    line: NDArray[np.int64],
    row: NDArray[np.int64],
    place: Floats,
    noise: float,
) -> Floats:
    """The darkness of the paper's own line at each place on it."""
    from scipy import ndimage

    count, stretches = family.x.shape
    left = np.floor(place).astype(np.int64)
    part = place - left
    here = darkness[row, left] * (1 - part) + darkness[row, left + 1] * part
    cell = line * stretches + np.minimum(row // CELL_PX, stretches - 1)
    table = _middles(cell, here, count * stretches).reshape(count, stretches)
    table[~family.spans] = np.nan
    # A line at the picture's edge may have no place of its own: it must not spoil what is said of its like.
    seen = np.isfinite(table).any(axis=1)
    own = np.full(count, np.median(here))
    own[seen] = np.nanmedian(table[seen], axis=1)
    like = np.zeros(count)
    for every in REPEATS:
        for first in range(every):
            heavy = ((family.number - first) % every == 0) & seen
            if heavy.sum() >= 3:
                like[heavy] = np.maximum(like[heavy], np.median(own[heavy]))
    own = np.clip(own, 1.0, np.maximum(LIKE_ITS_CLASS * like, 1.0))
    relative = table / own[:, None]
    known = np.isfinite(relative)
    filled = np.where(known, relative, 1.0)
    field = ndimage.median_filter(filled, size=(BESIDE_OTHERS, ALONG_OTHERS), mode="nearest")
    usual = own[:, None] * np.clip(field, 0.2, 2.0)
    lengthwise = ndimage.median_filter(np.where(known, table, usual), size=(1, ALONG_OTHERS), mode="nearest")
    shade = np.clip(lengthwise, OWN_LIMITS[0] * usual, OWN_LIMITS[1] * usual)
    return np.asarray(shade.ravel()[cell], np.float64)


def _profile(darkness: NDArray[np.uint8], row: NDArray[np.int64], place: Floats, shades: Floats, reach: int) -> Floats:
    """The shade across a line in parts of its middle's, every PROFILE_STEP_PX from it.

    A fine line's middle, between two pixels more often than on one, is seen paler than a pixel that lies on it.
    """
    some = slice(None, None, max(1, len(row) // 20_000))
    middle = np.round(place[some]).astype(np.int64)
    columns = middle[:, None] + np.arange(-reach, reach + 1)
    far = np.abs(columns - place[some, None])
    part = darkness[row[some, None], columns] / np.maximum(shades[some, None], 1.0)
    bins = np.round(far / PROFILE_STEP_PX).astype(np.int64).ravel()
    profile = np.minimum.accumulate(_middles(bins, part.ravel(), int(bins.max()) + 1))
    return np.asarray(profile - profile[-1], np.float64)


def _middles(cell: NDArray[np.int64], value: Floats, cells: int) -> Floats:
    """The median of the values in each cell; NaN where there are none."""
    order = np.lexsort((value, cell))
    bounds = np.searchsorted(cell[order], np.arange(cells + 1))
    full = np.diff(bounds) > 0
    out = np.full(cells, np.nan)
    out[full] = value[order[(bounds[:-1][full] + bounds[1:][full] - 1) // 2]]
    return out
