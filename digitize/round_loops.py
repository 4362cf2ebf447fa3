"""Which closed lines are round, circles or ellipses, and where their ink says that they lie."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from digitize.blur import SCAN_BLUR_PX
from digitize.crossed_rings import MOST_OVAL, WIDEST_GAP_RAD, Ring
from digitize.cut_lines import Cut
from digitize.ellipse_fit import Ellipse, fit_ellipses, many
from digitize.round_lines import RoundLines, fit_round_lines
from digitize.runs import Floats
from digitize.smooth_middles import Middles
from pictures.ink import Ink

LEAST_RADIUS_PX = 2.5
"""What is smaller is a blot with a dent."""

FEWEST_SAMPLES = 8
"""Closed lines of fewer are too small as well."""

MOST_RADIUS_PX = 400.0
"""Larger circles lose nothing where they are followed by their middles, and have many pixels."""

ROUGH_PX = 0.3
"""Middles lie about a round line's ellipse with this rms, besides thrice their noise; else it is not looked at."""

ROUND_PX, BILEVEL_ROUND_PX = 0.06, 0.12
"""The ink of a round line leaves its ellipse by no more than this, rms over stretches a line width long, besides noise:
what drawing it round then errs. In black and white the stairs of a true circle reach 0.11 on thin lines."""

NOISE_TIMES = 1.5
"""What is left of noise may be this many times what is reckoned: stretches are few, and JPEG's noise is uneven."""

OVAL_PX, BILEVEL_OVAL_PX, BILEVEL_OVAL_PX_SQRT = 0.01, 0.05, 0.15
"""How oval a circle's ink may come out besides noise, one sigma, half of long less short axis: stairs are alike across
a small circle, and fewer the smaller it is, which the last over the root of its radius tells."""


@dataclass(frozen=True, slots=True)
class RoundLoop:
    """A closed line's points (N, 2) around its ellipse, the last being the first, and their one sigma."""

    points_px: Floats
    sigma_px: float


def round_loops(ink: Ink, cut: Cut, middles: Middles) -> dict[int, RoundLoop]:
    """Give those closed links of a cut that are round, by number: smooth ones, and such as were cut at one place.

    The noise of a small circle can look like a corner, which the ink all around then denies.
    """
    first = cut.samples.first
    ends = np.bincount(np.concatenate([cut.start, cut.end]), minlength=len(cut.nodes_px))
    closed = (cut.start == cut.end) & (ends[cut.start] == 2) & (np.diff(first) > FEWEST_SAMPLES)
    links = np.flatnonzero(closed).tolist()
    if not links:
        return {}
    parts = [slice(int(first[which]), int(first[which + 1]) - 1) for which in links]
    points = [middles.points_px[part] for part in parts]
    alone = [
        (middles.weights[part] > 0) if cut.loop[w] else cut.samples.good[part]
        for w, part in zip(links, parts, strict=True)
    ]
    begin = np.cumsum([0, *[len(each) for each in points[:-1]]])
    about, found = fit_ellipses(np.concatenate(points), np.concatenate(alone).astype(np.float64), begin)
    likely, clear = [], []
    for row, which in enumerate(links):
        if not found[row]:
            continue
        one = about.one(row)
        away = points[row] - one.centre_px
        ways = np.arctan2(away[:, 1], away[:, 0])
        if _is_likely(one, points[row][alone[row]], ways[alone[row]], middles.miss_px[parts[row]]):
            likely.append((row, which))
            clear.append((ways, alone[row]))
    if not likely:
        return {}
    rows = np.array([row for row, _ in likely])
    fits = fitted_lines(
        ink, [about.one(row) for row in rows.tolist()], cut.width_px[links][rows], clear, middles.blur_px
    )
    is_round = _round(ink, fits)
    loops = {}
    for number, (_, which) in enumerate(likely):
        if is_round[number]:
            ellipse = fits.ellipses.one(number)
            begin_rad = float(np.arctan2(*(middles.points_px[first[which]] - ellipse.centre_px)[::-1]))
            sigma_px = float(np.hypot(fits.sigma_px[number], middles.systematic_px / 2))
            loops[which] = RoundLoop(ellipse.around(begin_rad), sigma_px)
    return loops


def rings_in_ink(ink: Ink, rings: Sequence[Ring], *, blur_px: float) -> list[Ring]:
    """Give rings that lines cross where the pixels between these lines say; as they were where they do not agree.

    `blur_px` is one sigma of the picture's blur, 0 if it is not known.
    """
    if not rings:
        return []
    seen_px = np.array([ring.seen_px for ring in rings])
    fits = fitted_lines(
        ink, [ring.ellipse for ring in rings], seen_px, [(r.angles_rad, r.clear) for r in rings], blur_px
    )
    is_round = _round(ink, fits)
    return [
        replace(ring, ellipse=fits.ellipses.one(which), sigma_px=float(fits.sigma_px[which]))
        if is_round[which]
        else ring
        for which, ring in enumerate(rings)
    ]


def _is_likely(ellipse: Ellipse, points: Floats, ways: Floats, miss_px: Floats) -> bool:
    """Whether middles lie about an ellipse that is no longer than a slanting view makes a circle, most of the way."""
    if not ellipse.short_px > LEAST_RADIUS_PX or ellipse.long_px > min(MOST_RADIUS_PX, MOST_OVAL * ellipse.short_px):
        return False
    seen = np.sort(ways)
    if np.diff(seen, append=seen[0] + 2 * np.pi).max() > WIDEST_GAP_RAD:
        return False
    off2 = float(np.mean(ellipse.off_px(points) ** 2))
    return off2 < ROUGH_PX**2 + 9 * float(np.mean(miss_px**2))


def fitted_lines(
    ink: Ink,
    about: Sequence[Ellipse],
    seen_px: Floats,
    clear: Sequence[tuple[Floats, NDArray[np.bool_]]],
    blur_px: float,
) -> RoundLines:
    """The lines of ink about ellipses, by what is known of the picture: see `fit_round_lines`."""
    about_all = many(about)
    stairs_px = np.maximum(BILEVEL_OVAL_PX, BILEVEL_OVAL_PX_SQRT / np.sqrt(about_all.short_px))
    return fit_round_lines(
        ink.darkness,
        about_all,
        seen_px=seen_px,
        clear=clear,
        blur_px=blur_px,
        oval_px=stairs_px if ink.bilevel else np.full(len(about), OVAL_PX),
        lost_px2=SCAN_BLUR_PX**2 if ink.bilevel else 0.0,
    )


def _round(ink: Ink, fits: RoundLines) -> NDArray[np.bool_]:
    """Which lines the ink follows all around."""
    most_px = np.hypot(BILEVEL_ROUND_PX if ink.bilevel else ROUND_PX, NOISE_TIMES * fits.noise_px)
    is_round: NDArray[np.bool_] = fits.found & (fits.off_px <= most_px)
    return is_round
