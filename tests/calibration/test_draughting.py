"""Whether a machine or a hand drew the plan, as its straight lines show."""

import math

import numpy as np
import pytest

from calibration.adjust import adjust
from calibration.draughting import as_by_machine
from calibration.evidence import whole_log_evidence
from calibration.kind import Kind
from calibration.observations import Corners, KnownDistance, StraightLine
from calibration.parameters import priors
from calibration.plane_map import PictureSize
from calibration.problem import build
from calibration.solution import solve_from
from calibration.start import starts

BORDER_MM = np.array([[40.0, 560.0], [800.0, 560.0], [800.0, 40.0], [40.0, 40.0]])


def bordered(camera, rng, *, sag_mm):
    """A sized border as the finder gives it, and six lines inside; all sag."""

    def seen(points_mm, sigma_px):
        return camera(points_mm) + rng.normal(0, sigma_px, points_mm.shape)

    t = (np.arange(24) + 0.5)[:, None] / 24
    (left, top), (right, bottom) = BORDER_MM[0], BORDER_MM[2]
    sides = [(BORDER_MM[i], BORDER_MM[(i + 1) % 4]) for i in range(4)]
    inside = [
        ((left + part * (right - left), top), (left + part * (right - left), bottom)) for part in (0.25, 0.5, 0.75)
    ]
    inside += [
        ((left, top + part * (bottom - top)), (right, top + part * (bottom - top))) for part in (0.25, 0.5, 0.75)
    ]
    lines = []
    for i, (start, end) in enumerate([*sides, *np.array(inside)]):
        along = end - start
        across = np.array([-along[1], along[0]]) / math.hypot(*along)
        lines.append(StraightLine(seen(start + t * along + 4 * t * (1 - t) * sag_mm[i % 4] * across, 0.1), 0.1))
    corners = tuple((float(x), float(y)) for x, y in seen(BORDER_MM, 0.1))
    return [Corners(corners, 760.0, 520.0, sigma_px=0.1), *lines]


def photo(given):
    return adjust(given, width_px=4000, height_px=3000, kind=Kind.PHOTO, focal_35mm=26.0)


def u95_mm(calibration, camera):
    ends_px = camera(np.array([[100.0, 100.0], [750.0, 520.0]]))
    return calibration.lengths_u95(ends_px[:1], ends_px[1:], mark_sigma_px=0.0)[1][0]


def test_sides_as_straight_as_a_machines_make_lengths_surer(pinhole):
    straight, sagging = [], []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        camera = pinhole(26, *rng.uniform(-20, 20, 2), 3, distance_mm=1350, k1=-0.04, k2=0.01)
        straight.append(u95_mm(photo(bordered(camera, rng, sag_mm=(0.0, 0.0, 0.0, 0.0))), camera))
        # Two opposite sides sag the same way, and one of the others: no lens does that.
        sagging.append(u95_mm(photo(bordered(camera, rng, sag_mm=(0.19, -0.17, -0.18, -0.1))), camera))

    parts = np.divide(straight, sagging)
    # By chance lines may look as if the paper were a little curled: then lengths are less sure again.
    assert np.median(parts) < 0.5
    assert parts.max() < 1


def test_evidence_is_that_of_a_line_through_one_length(pinhole):
    """One length and one scale: the evidence is the normal density that is written down by hand."""
    size = PictureSize(1000, 1000)
    told = priors(kind=Kind.SCAN, focal_35mm=None)

    def evidence(give_mm):
        given = [
            KnownDistance((100, 500), (900, 500), 200.0, give_mm=give_mm),
            KnownDistance((100, 600), (900, 600), 201.0, give_mm=give_mm),
        ]
        begin = starts(given, kind=Kind.SCAN, size=size, priors=told)
        return whole_log_evidence(solve_from(build(given, size=size, priors=told), begin)[0])

    def by_hand(give_mm):
        # Two equal lengths of variance v, one unknown scale: exp(-d^2 / 4v) / v^(1/2), d = 1 mm.
        variance = give_mm**2 / 3 + 2 * (0.5 * 0.25) ** 2
        return -1 / (4 * variance) - 0.5 * math.log(variance)

    assert evidence(0.6) - evidence(1.5) == pytest.approx(by_hand(0.6) - by_hand(1.5), abs=0.01)


def test_a_length_in_a_machines_plan_keeps_its_figures_rounding_and_half_the_variance_of_draughting():
    rounded = KnownDistance((0, 0), (900, 0), 300.0, give_mm=3.4, drawn_mm=0.4)
    exact = KnownDistance((0, 0), (900, 0), 300.0, give_mm=0.0)

    truer, still_exact = as_by_machine([rounded, exact])

    # Half of 0.4 mm squared, half of a tenth of it squared: by hand.
    assert truer.give_mm == pytest.approx(3.0 + math.sqrt((0.4**2 + 0.04**2) / 2))
    assert still_exact == exact
