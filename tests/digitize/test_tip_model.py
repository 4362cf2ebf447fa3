"""The ink across a tip against areas reckoned another way, and its slopes against differences."""

import math

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from digitize.tip_fit import fit_tips
from digitize.tip_ink import TipInk
from digitize.tip_joins import tip_places
from digitize.tip_model import CAP_STEP_PX, TIP, WIDTH, Join, columns_of, misses

Floats = NDArray[np.float64]
WIDTH_PX, BLUR_PX, TIP_PX = 4.0, 0.8, 1.3
STYLES = {Join.ROUND: "round", Join.MITRE: "mitre", Join.BEVEL: "bevel"}


def seen_of(opening_deg: float, join: Join, outermost_px: float = -45.0) -> TipInk:
    """Ink across the axis of two straight sides, by clipping their outline as a polygon: no formula of ours."""
    slope = math.tan(math.radians(opening_deg / 2))
    far = 400.0
    line = shapely.LineString([(TIP_PX + far, slope * far), (TIP_PX, 0), (TIP_PX + far, -slope * far)])
    ink = line.buffer(WIDTH_PX / 2, cap_style="flat", join_style=STYLES[join], mitre_limit=50, quad_segs=64)
    along = np.arange(60.0, outermost_px, -1.0)
    # Blurred along the axis: the area under a bell, in thin slices.
    shifts = np.linspace(-4, 4, 81) * BLUR_PX
    bell = np.exp(-((shifts / BLUR_PX) ** 2) / 2)
    slices = shapely.box(*np.array([[s - 0.01, -200, s + 0.01, 200] for s in (along[:, None] + shifts).ravel()]).T)
    across = shapely.area(shapely.intersection(slices, ink)).reshape(len(along), -1) @ bell / bell.sum() / 0.02
    ended = np.flatnonzero(across < 0.01 * WIDTH_PX)
    last = int(ended[0]) + 3
    return TipInk(
        np.zeros(2),
        np.array([1.0, 0.0]),
        along[:last],
        across[:last] / WIDTH_PX,
        np.full(last, 0.02),
        np.zeros(last),
        np.array([-TIP_PX * slope, slope, 0.0, 0.0]),
        np.diag([0.05, 1e-3, 1e-5, 1e-7]) ** 2,
        0.0,
        WIDTH_PX,
        0.02,
        BLUR_PX,
    )


@pytest.mark.parametrize("join", list(Join))
@pytest.mark.parametrize("opening_deg", [6.0, 11.0, 20.0])
def test_the_tip_of_clean_ink_is_found_whatever_joins_its_sides(join: Join, opening_deg: float) -> None:
    (place,) = tip_places([seen_of(opening_deg, join)], bilevel=False)

    assert place is not None
    assert place.join is join
    assert place.at_px[0] == pytest.approx(TIP_PX, abs=0.1)


@pytest.mark.parametrize("bilevel", [False, True])
def test_slopes_are_those_of_the_misses(bilevel: bool) -> None:
    joins = list(Join)
    seen = columns_of([seen_of(11.0, join) for join in joins])
    rng = np.random.default_rng(4)
    slope = math.tan(math.radians(5.5))
    for _ in range(8):
        at = np.array([[rng.uniform(-3, 3), slope, 1e-4, 1e-6, rng.uniform(3.7, 4.3), 1.01, 7.0] for _ in joins])
        here, slopes = misses(at, seen, np.array(joins), bilevel=bilevel)
        for which, step in enumerate([1e-6, 1e-7, 1e-9, 1e-11, 1e-6, 1e-6, 1e-6]):
            moved = np.zeros(7)
            moved[which] = step
            more, less = (misses(at + sign * moved, seen, np.array(joins), bilevel=bilevel)[0] for sign in (1, -1))
            by, loose = (more - less) / (2 * step), np.full((len(joins), 1), 1e-4)
            if which in (TIP, WIDTH):
                # A round cap's slope has no bound where the cap ends: asked is its mean over a step.
                moved[which] = CAP_STEP_PX
                over = (misses(at + moved, seen, np.array(joins), bilevel=bilevel)[0] - here) / CAP_STEP_PX
                by[joins.index(Join.ROUND)], loose[joins.index(Join.ROUND)] = over[joins.index(Join.ROUND)], 0.03
            wrong = np.count_nonzero(np.abs(slopes[:, which] - by) > loose * np.abs(by).max(), axis=1)
            # Over such a step a column may pass the tip, where black and white leaps.
            assert (wrong <= np.where(loose[:, 0] > 1e-4, 1, 0)).all()


def test_a_tip_is_the_same_alone_and_among_others() -> None:
    tips = [seen_of(opening, join) for opening in (6.0, 9.0, 14.0, 20.0, 24.0, 28.0) for join in Join]

    together = tip_places(tips, bilevel=False)

    for one, among in zip(tips, together, strict=True):
        (alone,) = tip_places([one], bilevel=False)
        assert alone is not None
        assert among is not None
        assert among.at_px == pytest.approx(alone.at_px, abs=1e-6)


def test_the_cost_is_least_where_the_fit_ends() -> None:
    seen = seen_of(11.0, Join.ROUND)
    begin = np.array([[0.0, float(seen.opening[1]), 0.0, 0.0, WIDTH_PX, 1.0, WIDTH_PX]])

    fitted = fit_tips([seen], np.array([0]), np.array([Join.ROUND]), begin, bilevel=False)

    rng = np.random.default_rng(7)
    sigmas = np.sqrt(np.diagonal(fitted.covariance[0]))
    for away in rng.normal(size=(40, 7)) * sigmas:
        missed, _ = misses(fitted.at + away, columns_of([seen]), np.array([Join.ROUND]), bilevel=False)
        # A fit ends where a step would gain less than this.
        assert float((missed**2).sum()) > fitted.cost[0] - 0.3
