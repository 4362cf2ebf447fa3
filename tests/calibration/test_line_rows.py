"""Rows of straight lines against generalised least squares with each line's place and direction solved for."""

import numpy as np
import pytest

from calibration.line_rows import LineRows
from calibration.observations import StraightLine

LOCAL = np.array([[0.2, 0.03], [-0.01, -0.25]])
ROUNDING = 1e-9


def bowed_lines(rng):
    lines, places = [], []
    for count in (7, 12, 7, 4):
        start, end = rng.uniform(0, 800, (2, 2))
        t = np.linspace(0, 1, count)[:, None]
        places.append(start + t * (end - start) + rng.normal(0, 0.5, (count, 2)))
        lines.append(StraightLine(rng.uniform(0, 3000, (count, 2)), rng.uniform(0.1, 0.4), give_mm=rng.uniform(0.1, 1)))
    return lines, places


def test_a_lines_rows_leave_what_its_best_place_and_direction_leave():
    lines, places = bowed_lines(np.random.default_rng(3))
    rows = LineRows.of(lines)
    plane_mm = np.concatenate(places)

    weights = rows.whitening(plane_mm, np.tile(LOCAL, (len(plane_mm), 1, 1)))
    found = rows.rows(plane_mm, weights)

    at = 0
    for line, place in zip(lines, places, strict=True):
        chord = place[-1] - place[0]
        across = np.array([-chord[1], chord[0]]) / np.hypot(*chord)
        misfits = (place - place[0]) @ across
        t = (place - place[0]) @ chord / (chord @ chord)
        sag = 4 * t * (1 - t) * line.give_mm / np.sqrt(3)
        one = (line.sigma_px * np.hypot(*(across @ LOCAL))) ** 2
        white = np.linalg.inv(np.linalg.cholesky(one * np.eye(len(t)) + np.outer(sag, sag)))
        straight = white @ np.column_stack([1 - t, t])
        left = white @ misfits - straight @ np.linalg.lstsq(straight, white @ misfits)[0]
        own = found[at : at + len(t) - 2]
        assert own @ own == pytest.approx(left @ left, rel=ROUNDING)
        at += len(own)
    assert at == len(found) == rows.count


def test_rows_of_lines_move_as_differences_say():
    rng = np.random.default_rng(4)
    lines, places = bowed_lines(rng)
    rows = LineRows.of(lines)
    plane_mm = np.concatenate(places)
    moves = rng.normal(size=(5, *plane_mm.shape))
    weights = rows.whitening(plane_mm, np.tile(LOCAL, (len(plane_mm), 1, 1)))

    slopes = rows.slopes(plane_mm, moves, weights)

    ahead, behind = (rows.rows(plane_mm + way * 1e-5 * moves, weights) for way in (1, -1))
    differences = (ahead - behind).T / 2e-5
    assert slopes == pytest.approx(differences, abs=1e-6 * np.abs(differences).max())
