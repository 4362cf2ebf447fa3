"""How much ink lies across an acute tip, from where its sides are apart to where it ends."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from digitize.runs import Floats
from pictures.ridge import profiles

STEP_PX = 0.5
"""Steps across the ink, px: linear sampling shows no more."""

BLUR_SIGMAS, BESIDE_PX = 2.5, 0.5
"""What a window reaches beyond the ink, in sigma of the blur and px: less cuts off ink, more lets in noise."""

PAPER_PX = 3.0
"""How much paper to either side tells how dark paper is, px."""

SIDE_REACH_PX = 64.0
"""Length of a side that tells how it runs towards the tip, px: a section's rear is a parabola over this."""

FEWEST = 8
"""A side seen at fewer samples, or free of the other at fewer, tells nothing."""

ALIKE = 3.0
"""Neighbouring samples err alike over some three: they are averaged by that much less."""

SYSTEMATIC_PX = 0.03
"""What a side's place errs however many samples were averaged, px."""

UNEVEN_PX = 0.03
"""What ink across a tip errs besides noise, as a width, px (grey scans: 0.035 over ten columns)."""

STAIR_PX = 0.35
"""The same in black and white: two edges each within half a px, of which a column's neighbours share a part."""

GRAIN = 1.3
"""How much more the noise of a photo's ink is than that of its paper alone: JPEG's blocks err alike."""

FARTHEST_WIDTHS = 13.0
"""How far beyond the sides' crossing the ink may run, in line widths: a mitre of 5 deg is 11.5 long."""

ENDED = 0.2
"""Less of one line's ink than this is paper."""

OTHER_SIGMAS, OTHER_DARKNESS = 3.0, 12.0
"""Paper beside the tip that is darker than its noise and this holds other ink."""

MOST_SPOILT = 0.4
"""With more columns than this part beside other ink, the tip is not measured."""

ABOUT_WIDTHS = 1.0
"""How far off the tip may be from where it is thought to be, one sigma, in line widths."""

STRAYS, STRAYS_WIDTHS = 0.01, 8.0
"""By how many line widths, one sigma, a side strays from its parabola so many widths from the tip, growing as the cube:
curves through listed points of a section do, formulas hardly."""

FAIR = 0.3
"""Amounts of ink across a side farther than this part from their middle have seen something else."""

MERGED, OPEN = 1.1, 1.7
"""Between these times one line's ink both sides' ink is one and wider than a line: it is as dark there as ink gets.
Where there is more, paper may show between them."""

SHAPE_SIGMA, BLUR_SIGMA, DARK_SIGMA = 0.03, 0.1, 0.03
"""What is believed, in parts, of a line's profile, of the blur told from the whole picture, and of how dark merged ink
is."""

BLUR_OVERTOLD = 0.95
"""The blur told from the whole picture is some more than that of its lines: noise adds to it."""

MOST_STEPS, SETTLED_PX = 20, 1e-3
"""A line's width and the blur are sought in so many steps, or until one is shorter than this."""

BLACK = 255.0
"""Darkness of ink in a picture of black and white."""

BLACK_SIGMA = 0.02
"""What a line's width errs in black and white, in parts of it."""


@dataclass(frozen=True, slots=True)
class TipInk:
    """Ink across a tip's axis, and how its sides run to it.

    The frame has its origin at `origin_px`, s along the unit `axis` inward, across a quarter turn from x towards y.
    `along_px` (N,) are places on it, falling, from inside out past the ink's end; `times` (N,) the ink across there in
    parts of one line's, of one sigma `sigma` (N,); `aside_px` (N,) its middle. `opening` (4,) is half the sides'
    distance: level, slope, bend and stray by s, of covariance `covariance` (4, 4); `lean` their middle's slope.
    `width_px` is one line's ink width without the blur, of one sigma `width_sigma_px`, `blur_px` that blur's one sigma.
    """

    origin_px: Floats
    axis: Floats
    along_px: Floats
    times: Floats
    sigma: Floats
    aside_px: Floats
    opening: Floats
    covariance: Floats
    lean: float
    width_px: float
    width_sigma_px: float
    blur_px: float

    def at(self, along_px: float, aside_px: float) -> Floats:
        """A place of the frame in the picture, px."""
        x, y = self.axis
        place: Floats = self.origin_px + along_px * self.axis + aside_px * np.array([-y, x])
        return place


def tip_ink(
    darkness: NDArray[np.uint8],
    tip_px: Floats,
    sides: tuple[Floats, Floats],
    *,
    width_px: float,
    blur_px: float,
    noise: float,
    sigma_px: float,
    bilevel: bool,
) -> TipInk | None:
    """Measure the ink across a tip; None where its sides are too short to tell, or other ink lies beside it.

    The sum of darkness across a line is the same whatever the blur, and so is that across two lines whose ink is one.

    Parameters
    ----------
    darkness : (H, W) uint8
        As in `Ink`.
    tip_px : (2,) float
        About where the tip is, px.
    sides : pair of (M, 2) float
        Measured middles of each side where it is seen alone, from the tip on, about 1 px apart.
    width_px : float
        About one side's ink width without the blur.
    blur_px : float
        One sigma of the picture's blur.
    noise : float
        One sigma of darkness on blank paper.
    sigma_px : float
        One-sigma noise of a sample across its line.
    bilevel : bool
        Whether every pixel of the picture is black or white.
    """
    if min(map(len, sides)) < FEWEST:
        return None
    axis = _axis(tip_px, sides)
    normal = np.array([-axis[1], axis[0]])
    local = [np.column_stack([(side - tip_px) @ axis, (side - tip_px) @ normal]) for side in sides]
    fits = [fit for fit in (_side(places, sigma_px, width_px) for places in local) if fit is not None]
    if len(fits) < 2:
        return None
    (one, one_covariance), (other, other_covariance) = fits
    begin = max(float(places[0, 0]) for places in local)
    half_gap, middle = (one - other) / 2, (one + other) / 2
    if half_gap @ begin ** np.arange(4) < 0:
        half_gap = -half_gap
    if half_gap[1] <= 0:
        return None
    half = width_px / 2 + BLUR_SIGMAS * blur_px + BESIDE_PX
    covariance = (one_covariance + other_covariance) / 4
    near_tip = half_gap[1] * ABOUT_WIDTHS * width_px
    led, led_middle = _led(half_gap, covariance, near_tip), _led(middle, covariance, near_tip)
    alone = _sides_alone(darkness, sides, local, (one, other), led, axis, half)
    if alone is None:
        return None
    x, profile, single_sums, window_px, papers = alone

    merged = (width_px / 2 + blur_px / 2) / led[1]
    inward = min(max(merged, 3 * width_px), 1.3 * merged + 2 * width_px + 6, begin + SIDE_REACH_PX / 2)
    along = np.arange(inward, -FARTHEST_WIDTHS * width_px - 8, -1.0)
    inside = np.maximum(along, 0)
    guess = np.polyval(led_middle[::-1], inside) + (along - inside) * led_middle[1]
    gap = np.maximum(np.polyval(led[::-1], inside), 0)
    reach = gap + half
    across = _steps(float(reach.max()) + PAPER_PX)
    places = tip_px + along[:, None] * axis + guess[:, None] * normal
    dark = _profiles(darkness, places, np.broadcast_to(normal, places.shape), across)
    seen = np.abs(across)[None, :] <= reach[:, None]
    beside = ~seen & (np.abs(across)[None, :] <= reach[:, None] + PAPER_PX)
    blank = np.concatenate([papers, dark[beside]])
    paper = float(np.minimum(blank, np.median(blank) + 4 * noise + 2).mean())
    single = _usual(single_sums - paper * window_px)
    if single is None:
        return None
    inked = np.where(seen, dark - paper, 0)
    times = inked.sum(axis=1) * STEP_PX / single
    ended = np.flatnonzero((times < ENDED) & (along < inward / 2))
    if not len(ended):
        return None
    last = int(ended[0]) + int(np.ceil(BLUR_SIGMAS * blur_px)) + 1
    shade = np.where(beside, dark - paper, 0).sum(axis=1) / np.maximum(beside.sum(axis=1), 1)
    clear = shade[:last] < OTHER_SIGMAS * noise + OTHER_DARKNESS
    if clear.mean() < 1 - MOST_SPOILT:
        return None
    kept = np.flatnonzero(clear)
    inked, times, along = inked[kept], times[kept], along[kept]
    off = (inked @ across) / np.maximum(inked.sum(axis=1), 1)
    if bilevel:
        width, width_sigma, blur = single / BLACK, BLACK_SIGMA * width_px, blur_px
    else:
        core = _cores(inked, times, along, off, across, merged)
        width, width_sigma, blur = _width_and_blur(
            (x, profile - paper), *core, single=single, width_px=width_px, blur_px=blur_px, noise=noise
        )
    grain = 0.0 if bilevel else GRAIN * noise
    uneven = (STAIR_PX if bilevel else UNEVEN_PX) / width_px
    sigma = np.hypot(grain * np.sqrt(2 * reach[kept]) / single, uneven)
    return TipInk(
        tip_px,
        axis,
        along,
        times,
        sigma,
        guess[kept] + off,
        half_gap,
        covariance,
        float(middle[1]),
        width,
        width_sigma,
        blur,
    )


def _axis(tip_px: Floats, sides: tuple[Floats, Floats]) -> Floats:
    """The unit direction from the tip in between its sides."""
    ways = [side[min(12, len(side) - 1)] - tip_px for side in sides]
    one, other = (way / max(float(np.hypot(*way)), 1e-9) for way in ways)
    return np.asarray((one + other) / max(float(np.hypot(*(one + other))), 1e-9))


def _side(places: Floats, sigma_px: float, width_px: float) -> tuple[Floats, Floats] | None:
    """How a side runs: level, slope, bend and stray, and their covariance."""
    s, y = places.T
    ahead = (s > 0) & (s < s[0] + SIDE_REACH_PX)
    count = len(s) if ahead.all() else int(np.argmin(ahead))
    if count < FEWEST or np.ptp(s[:count]) < FEWEST / 2:
        return None
    s, y = s[:count], y[:count]
    rows = np.column_stack([np.ones(count), s, s * s, s**3])
    scale = np.abs(rows).max(axis=0)
    rows = rows / scale
    variance = ALIKE * max(sigma_px, SYSTEMATIC_PX) ** 2
    strays = STRAYS * width_px / (STRAYS_WIDTHS * width_px) ** 3 * scale[3]
    held = np.diag([1e-9, 1e-9, 1e-9, variance / strays**2])
    inverse = np.linalg.inv(rows.T @ rows + held)
    fit = inverse @ (rows.T @ y)
    rest = float(((y - rows @ fit) ** 2).sum()) / (count - 3)
    covariance = max(ALIKE * rest, variance) * inverse / np.outer(scale, scale)
    fit = fit / scale
    covariance[0, 0] += SYSTEMATIC_PX**2
    return fit, covariance


def _led(fit: Floats, covariance: Floats, sigma_px: float) -> Floats:
    """How sides, or their middle, run if at the tip they are at 0, with this one sigma: a parabola seen only far from
    the tip may go astray on its way there, and the ink be looked for beside where it is."""
    led: Floats = fit - covariance[:, 0] * (fit[0] / (covariance[0, 0] + sigma_px**2))
    return led


def _steps(reach_px: float) -> Floats:
    count = int(np.ceil(reach_px / STEP_PX))
    return np.asarray(np.arange(-count, count + 1) * STEP_PX)


def _profiles(darkness: NDArray[np.uint8], places: Floats, normals: Floats, across: Floats) -> Floats:
    x, y = (places[:, axis, None] + across * normals[:, axis, None] for axis in (0, 1))
    return np.asarray(profiles(darkness, x.astype(np.float32), y.astype(np.float32)), np.float64)


def _sides_alone(
    darkness: NDArray[np.uint8],
    sides: tuple[Floats, Floats],
    local: list[Floats],
    fits: tuple[Floats, Floats],
    half_gap: Floats,
    axis: Floats,
    half_px: float,
) -> tuple[Floats, Floats, Floats, float, Floats] | None:
    """Steps and the mean profile across both sides where each is alone; sums of darkness over windows across them, and
    these windows' width; darkness of paper beside them."""
    across = _steps(half_px + PAPER_PX)
    inner = np.abs(across) <= half_px
    shapes, sums, papers = [], [], []
    for side, places, fit in zip(sides, local, fits, strict=True):
        s = places[:, 0]
        apart = half_gap[0] + s * (half_gap[1] + s * (half_gap[2] + s * half_gap[3]))
        far = np.flatnonzero((apart > half_px) & (s < s[0] + 2 * SIDE_REACH_PX))[: int(SIDE_REACH_PX)]
        if len(far) < FEWEST:
            return None
        slope = fit[1] + s[far] * (2 * fit[2] + 3 * s[far] * fit[3])
        way = (axis + slope[:, None] * np.array([-axis[1], axis[0]])) / np.sqrt(1 + slope**2)[:, None]
        dark = _profiles(darkness, side[far], np.column_stack([-way[:, 1], way[:, 0]]), across)
        shapes.append(dark.mean(axis=0))
        sums.append(dark[:, inner].sum(axis=1) * STEP_PX)
        papers.append(dark[:, ~inner].ravel())
    window_px = float(np.count_nonzero(inner)) * STEP_PX
    return across[inner], (shapes[0] + shapes[1])[inner] / 2, np.concatenate(sums), window_px, np.concatenate(papers)


def _usual(sums: Floats) -> float | None:
    """The mean of those sums that are much like their middle."""
    middle = float(np.median(sums))
    fair = sums[np.abs(sums - middle) < FAIR * middle]
    return float(fair.mean()) if len(fair) >= FEWEST else None


def _cores(
    inked: Floats, times: Floats, along: Floats, off: Floats, across: Floats, merged_px: float
) -> tuple[Floats, Floats]:
    """How many times one line's ink there is where both sides' is one, and how dark it is in its middle."""
    even = (times + np.append(times[1:], times[-1]) + np.append(times[0], times[:-1])) / 3
    opened = np.flatnonzero(even > OPEN)
    until = along[opened[-1]] if len(opened) else merged_px
    columns = np.flatnonzero((times > MERGED) & (along < until))
    middle = np.clip(np.rint(off[columns] / STEP_PX).astype(np.int64) + len(across) // 2, 1, len(across) - 2)
    dark = (inked[columns, middle - 1] + inked[columns, middle] + inked[columns, middle + 1]) / 3
    return np.minimum(times[columns], 2.0), dark


def _width_and_blur(
    shape: tuple[Floats, Floats],
    times: Floats,
    dark: Floats,
    *,
    single: float,
    width_px: float,
    blur_px: float,
    noise: float,
) -> tuple[float, float, float]:
    """A line's width without the blur, its one sigma, and the blur's: least squares over what both do.

    A line's profile tells what both are together; merged ink, wide enough to be nearly full, tells them apart: a line's
    width is its sum of darkness over full ink's.
    """
    x, profile = shape
    core = np.array([-STEP_PX, 0.0, STEP_PX])
    core_sigma = float(np.hypot(noise * width_px / (single * np.sqrt(1.5)), DARK_SIGMA))

    def misses(width: float, blur: float) -> tuple[Floats, Floats]:
        # A line's edges from each step across it, and merged ink's from its core, then slopes by width and by blur.
        one, by_width, by_blur = _between(np.stack([width / 2 - x, width / 2 + x]), blur)
        many, by_half, many_by_blur = _between((times[:, None] * width / 2 - core).T, blur)
        by_darkness = np.concatenate([profile / SHAPE_SIGMA, dark / core_sigma]) / single
        told = np.concatenate([one / SHAPE_SIGMA, many / core_sigma])
        by = np.stack(
            [
                np.concatenate([by_width / SHAPE_SIGMA, times * by_half / core_sigma]) - by_darkness,
                np.concatenate([by_blur / SHAPE_SIGMA, many_by_blur / core_sigma]),
            ]
        )
        usual = BLUR_OVERTOLD * blur_px
        missed = np.append(told - by_darkness * width, (blur / usual - 1) / BLUR_SIGMA)
        return missed, np.column_stack([by, [0.0, 1 / (usual * BLUR_SIGMA)]])

    at = np.array([0.85 * width_px, blur_px])
    low, high = np.array([0.4 * width_px, 0.5 * blur_px]), np.array([1.1 * width_px, 1.3 * blur_px])
    missed, by = misses(*at)
    for _ in range(MOST_STEPS):
        normal = by @ by.T + 1e-6 * np.eye(2)
        step = np.clip(at - np.linalg.solve(normal, by @ missed), low, high) - at
        tried, tried_by = misses(*(at + step))
        # Merged ink that is never full leaves a bend in the valley: a step across it is halved until it leads down.
        while tried @ tried > missed @ missed and np.abs(step).max() > SETTLED_PX:
            step /= 2
            tried, tried_by = misses(*(at + step))
        at, missed, by = at + step, tried, tried_by
        if np.abs(step).max() <= SETTLED_PX:
            break
    return float(at[0]), float(np.sqrt(np.linalg.inv(normal)[0, 0])), float(at[1])


def _between(edges: Floats, blur: float) -> tuple[Floats, Floats, Floats]:
    """How dark ink is that has its edges (K, N) so far to K sides, px, in parts of full ink, the mean of these; its
    slopes by the ink's width and by the blur."""
    root = np.sqrt(2) * blur
    by_edge = np.exp(-((edges / root) ** 2)) / (np.sqrt(np.pi) * root)
    return erf(edges / root).mean(axis=0), by_edge.mean(axis=0), -2 * (by_edge * edges).mean(axis=0) / blur
