"""A family of evenly spaced lines across a whole sheet: where each of them runs, row by row."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pictures.line_numbering import LineNumbering
from pictures.line_peaks import ROW_STEP, Peaks
from pictures.spacing import LEAST_PEAKS, Floats, Spacing, tile_spacing

TILE_PARTS = (1 / 8, 1 / 24)
"""Side of a tile in parts of the picture's longer side: squares of 5 mm on A1 are met eight times in one; those of
1 mm on a tilted A3 change their spacing by more than one across it, and are looked for in smaller ones."""

LEAST_TILE_PX, MOST_TILE_PX = 160.0, 1024.0

SMALL_TILE_PX, LARGE_PART = 320.0, 1 / 4
"""Tiles smaller than this hold too few squares of 5 mm at 300 or 400 dpi, as on a small sheet: then larger ones, such a
part of its longer side, are looked at as well."""

FIRST_LOOK, LEAST_OF_FIRST = 12, 3
"""So many tiles are looked at first, all over the sheet; with fewer than so many full of even lines there are none."""

LINKED_PART = 0.2
"""Part of a spacing by which two neighbouring tiles may disagree on where the lines between them run."""

LIKE_PART = 0.3
"""How much two neighbours' frequencies may differ, in parts: perspective changes them by a tenth."""

LEAST_TILES = 5
"""Tiles that one family must fill, side by side."""

DEGREES = ((25, 4), (12, 3), (8, 2), (0, 1))
"""Degree of the polynomial that bends the numbering, for at least so many tiles: a lens needs three, paper four."""

MOST_POINTS = 12_000
"""Peaks that the numbering is fitted to; more add time only."""

NEAR_PART = 0.15
"""A peak within this part of a spacing of a line is on it, with the whole sheet's lines known."""

FITS_PART = 0.55
"""Part of a tile's peaks that lie on the lines its neighbours' go on as, for it to be the paper's too; chance puts
0.3 of them there, and drawn ink has some of its own."""

CELL_PX = 32
"""Length of the stretches in which a line's place is taken, px."""

CELL_SEEN = 0.5
"""Part of its rows on which a line is met for a stretch of it to count as seen."""

SMOOTHED_STRETCHES = 7
"""Stretches of a line that its place is taken from: paper does not waver in less, and peaks scatter by some tenths of
a px."""

LEAST_SPREAD = 20.0
"""Weighted spread of the stretches seen below which they tell no slope: two neighbours at one side have less."""

AROUND = (5, 9)
"""Lines and stretches whose middle offset tells a line's own from that of ink drawn close by it."""

STRAY_PX = 0.7
"""A stretch whose offset differs by more than this from those around it is not the paper's: printed lines keep their
places to some tenths of a px."""

DRAWN_PERCENT = 90
"""Of a picture's other lines so many are paler than drawn ink: the grain of the paper is among them."""

LEAST_LINES = 8
"""Fewer lines than this are drawn ones: a wing's ribs, a hatched face, a ladder of dimensions."""

LINE_SEEN = 0.5
"""Part of its own length on which a line is seen."""

LINE_LONG = 0.3
"""Length of a line, in parts of the family's longest, to be one of it."""

NONE_MISSING = 0.85
"""Part of the lines between the first and the last that are there."""


@dataclass(frozen=True, slots=True)
class LineFamily:
    """Evenly spaced lines that run down the rows; K lines, B stretches of CELL_PX rows each.

    `number` (K,) counts the lines, `x` (K, B) is where each is at the middle of each stretch, picture px; `seen` (K, B)
    tells where it was met and `spans` (K, B) where it is taken to run. `pitch_px` is the middle one of the spacings;
    `shade` how dark the lines are, `drawn_shade` how dark the picture's other lines, of 255.
    """

    number: NDArray[np.int64]
    x: Floats
    seen: NDArray[np.bool_]
    spans: NDArray[np.bool_]
    pitch_px: float
    shade: float
    drawn_shade: float

    @property
    def area_px2(self) -> float:
        """How much of the picture the lines cover with what is between them."""
        return float(self.spans.sum()) * CELL_PX * self.pitch_px

    def at(self, line: NDArray[np.int64], y: Floats) -> Floats:
        """Where lines (rows of `x`) are at heights, px."""
        last = self.x.shape[1] - 1
        place = np.clip((y + 0.5) / CELL_PX - 0.5, 0, last)
        before = np.minimum(place.astype(np.int64), max(0, last - 1))
        part = place - before
        value: Floats = self.x[line, before] * (1 - part) + self.x[line, np.minimum(before + 1, last)] * part
        return value

    def runs_at(self, line: NDArray[np.int64], y: Floats) -> NDArray[np.bool_]:
        """Whether lines run there."""
        cell = np.clip((y // CELL_PX).astype(np.int64), 0, self.x.shape[1] - 1)
        return np.asarray(self.spans[line, cell], np.bool_)


def line_family(peaks: Peaks, *, width_px: int, height_px: int) -> LineFamily | None:
    """Give the evenly spaced lines that a picture's peaks lie on, or None."""
    long_px = max(width_px, height_px)
    sides_px = [float(np.clip(part * long_px, LEAST_TILE_PX, MOST_TILE_PX)) for part in TILE_PARTS]
    if sides_px[0] < SMALL_TILE_PX:
        sides_px.append(LARGE_PART * long_px)
    for side_px in sides_px:
        tiles = _tiles(peaks, side_px, width_px, height_px)
        numbered = {} if tiles is None else _numbered(tiles, side_px)
        if tiles is not None and len(numbered) >= LEAST_TILES:
            numbering, reached = _fitted(peaks, tiles, numbered, side_px, width_px, height_px)
            return _lines(peaks, numbering, reached)
    return None


Tile = tuple[int, int]


def _tiles(peaks: Peaks, side_px: float, width_px: int, height_px: int) -> dict[Tile, Spacing] | None:
    """The spacing of every tile that evenly spaced lines fill."""
    columns, rows = max(1, math.ceil(width_px / side_px)), max(1, math.ceil(height_px / side_px))
    row, column = (peaks.y // side_px).astype(np.int64), (peaks.x // side_px).astype(np.int64)
    order = np.argsort(row * columns + column, kind="stable")
    bounds = np.searchsorted((row * columns + column)[order], np.arange(rows * columns + 1))
    full = np.flatnonzero(np.diff(bounds) > 0)
    # Spread over the sheet: a step that shares no factor with their number meets each tile once.
    step = (
        next(step for step in range(max(1, int(0.382 * len(full))), len(full) + 2) if math.gcd(step, len(full)) == 1)
        if len(full)
        else 1
    )
    found: dict[Tile, Spacing] = {}
    for turn in range(len(full)):
        if turn <= FIRST_LOOK and len(found) + FIRST_LOOK - turn < LEAST_OF_FIRST:
            return None
        tile = int(full[turn * step % len(full)])
        at = order[bounds[tile] : bounds[tile + 1]]
        place = (tile % columns, tile // columns)
        middle = (np.array(place) + 0.5) * side_px
        x, y = peaks.x[at].astype(np.float64) - middle[0], peaks.y[at].astype(np.float64) - middle[1]
        spacing = tile_spacing(x, y, side_px=side_px)
        if spacing is not None:
            found[place] = spacing
    return found


def _numbered(tiles: dict[Tile, Spacing], side_px: float) -> dict[Tile, float]:
    """The largest set of tiles whose lines run on into each other: the line number at each one's middle."""
    best: dict[Tile, float] = {}
    left = set(tiles)
    while left:
        start = left.pop()
        group = {start: tiles[start].phase}
        waiting = [start]
        while waiting:
            here = waiting.pop()
            for step in ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (1, -1), (-1, 1)):
                there = (here[0] + step[0], here[1] + step[1])
                if there not in left:
                    continue
                one, other = tiles[here], tiles[there]
                size = np.hypot(*one.frequency)
                if np.hypot(*(one.frequency - other.frequency)) > LIKE_PART * size:
                    continue
                ahead = group[here] + (one.frequency + other.frequency) / 2 @ np.array(step) * side_px
                whole = round(ahead - other.phase)
                if abs(ahead - other.phase - whole) > LINKED_PART:
                    continue
                group[there] = other.phase + whole
                left.remove(there)
                waiting.append(there)
        if len(group) > len(best):
            best = group
    return best


def _fitted(
    peaks: Peaks, tiles: dict[Tile, Spacing], numbered: dict[Tile, float], side_px: float, width_px: int, height_px: int
) -> tuple[LineNumbering, NDArray[np.bool_]]:
    """What numbers the lines, and which peaks lie in its tiles or next to them."""
    from scipy import ndimage

    x, y = peaks.x.astype(np.float64), peaks.y.astype(np.float64)
    column, row = (x // side_px).astype(np.int64), (y // side_px).astype(np.int64)
    wide, high = int(column.max()) + 3, int(row.max()) + 3
    number = np.full((high, wide), np.nan)
    slope = np.zeros((high, wide, 2))
    for (i, j), middle in numbered.items():
        number[j + 1, i + 1], slope[j + 1, i + 1] = middle, tiles[i, j].frequency
    region = np.isfinite(number)
    here = number[row + 1, column + 1]
    aside = np.column_stack([x - (column + 0.5) * side_px, y - (row + 0.5) * side_px])
    place = here + (aside * slope[row + 1, column + 1]).sum(axis=1)
    tile = (row + 1) * wide + column + 1
    in_tile = np.bincount(tile, minlength=high * wide).reshape(high, wide)
    degree = next(degree for least, degree in DEGREES if len(numbered) >= least)
    while True:
        known = region[row + 1, column + 1] & np.isfinite(place)
        line = np.round(np.where(known, place, 0.5)).astype(np.float64)
        used = np.flatnonzero(known & (np.abs(place - line) < NEAR_PART))
        used = used[:: max(1, len(used) // MOST_POINTS)]
        numbering = LineNumbering.fitted(
            x[used], y[used], line[used], width_px=width_px, height_px=height_px, degree=degree
        )
        place = numbering.at(x, y)
        on = np.abs(place - np.round(place)) < NEAR_PART
        hits = np.bincount(tile[on], minlength=high * wide).reshape(high, wide)
        fits = (hits > FITS_PART * in_tile) & (in_tile >= LEAST_PEAKS)
        grown = region | (ndimage.binary_dilation(region, np.ones((3, 3))) & fits)
        if (grown == region).all():
            break
        region = grown
    reached = ndimage.binary_dilation(region, np.ones((3, 3)))[row + 1, column + 1]
    return numbering, np.asarray(reached, np.bool_)


def _lines(peaks: Peaks, numbering: LineNumbering, reached: NDArray[np.bool_]) -> LineFamily | None:
    """Each line by its own peaks, as far as it is seen."""
    from scipy import ndimage

    x, y = peaks.x[reached].astype(np.float64), peaks.y[reached].astype(np.float64)
    place = numbering.at(x, y)
    line = np.round(place).astype(np.int64)
    if len(line) == 0:
        return None
    first, count = int(line.min()), int(np.ptp(line)) + 1
    stretches = math.ceil(numbering.height_px / CELL_PX)
    cell = (line - first) * stretches + (y // CELL_PX).astype(np.int64)
    smooth, seen = np.zeros((count, stretches)), np.zeros((count, stretches), np.bool_)
    slope = np.abs(numbering.slope(x[::50], y[::50]))
    per_px = float(np.median(slope))
    # Twice: near the picture's corners the numbering is off by more than what counts as near.
    for _ in range(2):
        on = np.abs(place - line - smooth.ravel()[cell]) < NEAR_PART
        off = _middle_of(cell[on], (place - line)[on], count * stretches).reshape(count, stretches)
        rows = np.unique(cell[on] * CELL_PX + y[on].astype(np.int64) % CELL_PX) // CELL_PX
        met = np.bincount(rows, minlength=count * stretches).reshape(count, stretches) * ROW_STEP / CELL_PX
        seen = met >= CELL_SEEN
        around = ndimage.median_filter(np.where(seen, off, smooth), size=AROUND, mode="nearest")
        true = seen & (np.abs(off - around) < STRAY_PX * per_px)
        smooth = _smoothed(np.where(true, off, 0.0), true)
    spans = np.logical_or.accumulate(seen, axis=1) & np.logical_or.accumulate(seen[:, ::-1], axis=1)[:, ::-1]
    length = spans.sum(axis=1)
    good = (length >= LINE_LONG * np.percentile(length, 95)) & (seen.sum(axis=1) >= LINE_SEEN * np.maximum(length, 1))
    good &= length >= 3
    kept = np.flatnonzero(good)
    if len(kept) < LEAST_LINES or len(kept) < NONE_MISSING * (kept[-1] - kept[0] + 1):
        return None
    number = first + kept
    middle = np.broadcast_to((np.arange(stretches) + 0.5) * CELL_PX, (len(kept), stretches))
    at = _solved(numbering, number[:, None] + smooth[kept], middle)
    pitch = np.diff(at, axis=0)[(spans[kept][1:] & spans[kept][:-1]) & (np.diff(number) == 1)[:, None]]
    if len(pitch) == 0:
        return None
    shades = peaks.shade[reached]
    mine = np.zeros(count * stretches, np.bool_)
    mine.reshape(count, stretches)[kept] = True
    own = on & mine[cell]
    others = np.concatenate([shades[~own], peaks.shade[~reached]])
    return LineFamily(
        number,
        at,
        seen[kept],
        spans[kept],
        pitch_px=float(np.median(np.abs(pitch))),
        shade=float(np.median(shades[own])),
        drawn_shade=float(np.percentile(others, DRAWN_PERCENT)) if len(others) else 0.0,
    )


def _middle_of(cell: NDArray[np.int64], value: Floats, cells: int) -> Floats:
    """The median of the values in each cell; 0 where there are none."""
    order = np.lexsort((value, cell))
    bounds = np.searchsorted(cell[order], np.arange(cells + 1))
    size = np.diff(bounds)
    full = size > 0
    out = np.zeros(cells)
    low, high = bounds[:-1][full] + (size[full] - 1) // 2, bounds[:-1][full] + size[full] // 2
    out[full] = (value[order[low]] + value[order[high]]) / 2
    return out


def _smoothed(off: Floats, seen: NDArray[np.bool_]) -> Floats:
    """Offsets along each line by straight pieces through SMOOTHED_STRETCHES of it, where it was seen on any of them."""
    from scipy import ndimage

    half = SMOOTHED_STRETCHES // 2
    step = np.arange(-half, half + 1.0)
    weight = half + 1 - np.abs(step)

    def summed(values: Floats, power: int) -> Floats:
        total: Floats = ndimage.correlate1d(values, weight * step**power, axis=1, mode="constant")
        return total

    met = seen.astype(np.float64)
    count, first, second = (summed(met, power) for power in range(3))
    value, turn = (summed(off * met, power) for power in range(2))
    spread = count * second - first**2
    flat = value / np.maximum(count, 1e-9)
    smooth = np.where(spread > LEAST_SPREAD, (second * value - first * turn) / np.maximum(spread, 1e-9), flat)
    stretches = np.arange(off.shape[1])
    for line, known in enumerate(count > 0):
        if known.any():
            smooth[line] = np.interp(stretches, stretches[known], smooth[line, known])
    return smooth


def _solved(numbering: LineNumbering, number: Floats, y: Floats) -> Floats:
    """Where each line is at each height: the x whose number is the line's, by Newton's steps."""
    flat, height = number.ravel(), np.asarray(y, float).ravel()
    # Begun from numbers on a few columns at each height.
    columns = np.linspace(0, numbering.width_px, 33)
    some = np.unique(height)
    table = numbering.at(np.tile(columns, len(some)), np.repeat(some, 33)).reshape(len(some), 33)
    row = np.searchsorted(some, height)
    x = columns[np.abs(table[row] - flat[:, None]).argmin(axis=1)]
    for _ in range(6):
        slope = numbering.slope(x, height)
        slope = np.where(np.abs(slope) < 1e-6, 1e-6, slope)
        step = (numbering.at(x, height) - flat) / slope
        x = np.clip(x - step, -numbering.width_px, 2 * numbering.width_px)
    solved: Floats = x.reshape(number.shape)
    return solved
