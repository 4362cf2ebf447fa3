"""Corners of dashed outlines whose pieces are too small to show which way their arms point."""

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.fit_error import line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.bridged_gaps import with_gaps_bridged
from digitize.dash_corners import with_dash_corners
from digitize.dashed_lines import dashed_links
from digitize.lettering import lettering_links
from digitize.loop import Role
from digitize.loops import find_loops
from digitize.strokes import NodeKind, Strokes

Line = NDArray[np.float64]
INKING = Inking(seed=7)
CORNERS = np.array([(20.0, 20.0), (92.0, 20.0), (80.0, 68.0), (28.0, 68.0)])
CORNER_OFF_PX = 0.3  # twice the scatter of a drawn corner here: extensions over five line widths


ROUNDED_MM = 0.8  # thinning cuts a corner from about two line widths before it


def rounded_piece(at: Line, before: Line, after: Line, arm_mm: float) -> Line:
    """A corner's piece as thinning leaves it: one curve from arm to arm that cuts the corner."""
    a, b = at + ROUNDED_MM * before, at + ROUNDED_MM * after
    t = np.linspace(0, 1, 60)[:, None]
    curve = (1 - t) ** 2 * a + 2 * t * (1 - t) * at + t**2 * b
    return np.vstack([at + arm_mm * before, curve, at + arm_mm * after])


def dashed(arm_mm: float) -> list[Line]:
    lines = []
    for number, (a, b) in enumerate(zip(CORNERS, np.roll(CORNERS, -1, axis=0), strict=True)):
        length = float(np.hypot(*(b - a)))
        way = (b - a) / length
        before = (CORNERS[number - 1] - a) / np.hypot(*(CORNERS[number - 1] - a))
        lines.append(rounded_piece(a, before, way, arm_mm))
        pitch = (length - 2 * arm_mm - 1) / round((length - 2 * arm_mm - 1) / 4)
        starts = arm_mm + 1 + pitch * np.arange(round((length - 2 * arm_mm - 1) / pitch))
        lines += [line(a + way * s, a + way * (s + pitch - 1)) for s in starts.tolist()]
    return lines


def none_of(strokes: Strokes) -> NDArray[np.bool_]:
    return np.zeros(len(strokes.links), dtype=np.bool_)


@pytest.mark.parametrize("arm_mm", [1.2, 1.5])
def test_dashes_that_lead_to_a_rounded_piece_meet_where_they_cross(arm_mm: float) -> None:
    strokes = strokes_of(dashed(arm_mm), INKING)

    mended = with_dash_corners(strokes, none_of(strokes))

    corners = mended.nodes_px[mended.kinds == NodeKind.CORNER]
    assert len(corners) == 4
    true_px = INKING.to_picture(CORNERS)
    off_px = np.hypot(*(corners[:, None] - true_px[None]).transpose(2, 0, 1)).min(axis=0)
    assert off_px.max() < CORNER_OFF_PX


def test_an_outline_of_dashes_with_rounded_corner_pieces_is_a_part() -> None:
    strokes = strokes_of(dashed(1.5), INKING)

    mended = with_dash_corners(strokes, none_of(strokes))
    whole = with_gaps_bridged(mended, none_of(mended))

    found = find_loops(whole, lettering=lettering_links(whole), border_px=None)
    areas = [loop.area_px2 * INKING.mm_per_px**2 for loop in found.loops if loop.role is Role.PART]
    assert areas == pytest.approx([(72 + 52) / 2 * 48], rel=0.01)


def test_a_side_whose_gaps_are_closed_but_for_those_beside_the_corners_leads_to_these() -> None:
    lines = dashed(1.5)
    first = CORNERS[0]
    dashes = [n for n, one in enumerate(lines) if (abs(one[:, 1] - first[1]) < 1e-9).all()]
    closed = line(lines[dashes[1]][0], lines[dashes[-2]][-1])
    strokes = strokes_of([one for n, one in enumerate(lines) if n not in dashes[1:-1]] + [closed], INKING)

    mended = with_dash_corners(strokes, none_of(strokes))

    corners = mended.nodes_px[mended.kinds == NodeKind.CORNER]
    off_px = np.hypot(*(corners[:, None] - INKING.to_picture(CORNERS)[None]).transpose(2, 0, 1)).min(axis=0)
    assert off_px.max() < CORNER_OFF_PX


def test_a_dash_that_bends_around_the_next_corner_leads_back_to_its_own() -> None:
    at, up, across = np.array([20.0, 20.0]), np.array([0.0, 1.0]), np.array([1.0, 0.0])
    dashes = [line(at + across * s, at + across * (s + 3)) for s in range(3, 40, 4)]
    far = np.linspace(7, 22, 80)[:, None]
    last = at + up * far - 0.9 * across * np.maximum((far - 16) / 6, 0) ** 2
    strokes = strokes_of([rounded_piece(at, up, across, 1.5), *dashes, line(at + up * 3, at + up * 6), last], INKING)

    mended = with_dash_corners(strokes, none_of(strokes))

    corners = mended.nodes_px[mended.kinds == NodeKind.CORNER]
    assert np.hypot(*(corners - INKING.to_picture(at[None])).T).min() < CORNER_OFF_PX


def test_dashes_in_one_line_with_one_longer_than_letters_are_known_for_its_own() -> None:
    long, short = line((20, 20), (40, 20)), [line((x, 20), (x + 3, 20)) for x in (41, 45)]
    beside = line((48.5, 20.5), (50.5, 23.5))
    strokes = strokes_of([long, *short, beside], INKING)

    assert dashed_links(strokes).tolist() == [True, True, True, False]


def test_a_letter_beside_the_ends_of_two_dashed_lines_stays_as_it_is() -> None:
    """It lies where the lines would cross, but not along them."""
    across = [line((x, 20), (x + 3, 20)) for x in np.arange(20, 60, 4).tolist()]
    up = [line((66, y), (66, y + 3)) for y in np.arange(26, 66, 4).tolist()]
    t = np.linspace(0, 1.5 * np.pi, 60)
    letter = np.column_stack([66 + 1.5 * np.cos(t), 20 + 1.5 * np.sin(t)])
    strokes = strokes_of([*across, *up, letter], INKING)

    assert with_dash_corners(strokes, none_of(strokes)) is strokes


def test_dashes_are_known_for_a_dashed_line_where_a_rounded_piece_leads_them_around_the_corner() -> None:
    strokes = strokes_of(dashed(3.0), INKING)
    corners_px = INKING.to_picture(CORNERS)
    far_px = [np.hypot(*(link.points_px[:, None] - corners_px).transpose(2, 0, 1)).min() for link in strokes.links]
    dashes = np.array(far_px) > ROUNDED_MM / INKING.mm_per_px

    known = dashed_links(strokes)

    assert np.count_nonzero(~dashes) == len(CORNERS)
    assert known[dashes].all()


def test_a_sharp_corner_of_dashes_is_found_farther_from_what_thinning_left_of_it() -> None:
    at, before, after = np.array([20.0, 20.0]), np.array([np.cos(0.87), np.sin(0.87)]), np.array([1.0, 0.0])
    t = np.linspace(0, 1, 60)[:, None]
    curve = (1 - t) ** 2 * (at + 2 * before) + 2 * t * (1 - t) * at + t**2 * (at + 2 * after)
    piece = np.vstack([at + 2.2 * before, curve, at + 2.2 * after])
    dashes = [line(at + way * s, at + way * (s + 3)) for way in (before, after) for s in range(4, 40, 4)]
    strokes = strokes_of([piece, *dashes], INKING)

    mended = with_dash_corners(strokes, none_of(strokes))

    corners = mended.nodes_px[mended.kinds == NodeKind.CORNER]
    assert np.hypot(*(corners - INKING.to_picture(at[None])).T) == pytest.approx([0], abs=CORNER_OFF_PX)
