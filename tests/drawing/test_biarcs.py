"""Arcs in place of cubics: the tolerance is kept, tangents too, and circles come out as their own arcs."""

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from drawing.arcs import arc_cubics
from drawing.biarcs import arcs_only
from drawing.drawing import Drawing
from drawing.paths import Arc, Cubic, Line, Path, sampled
from tests.drawing.shapes import closed_paths, parts, wing_rib

CHORD_MM = 1e-4


def turned(path: Path, tolerance_mm: float) -> Path:
    (arcs,) = arcs_only(Drawing((), (path,)), tolerance_mm=tolerance_mm).lines
    return arcs


def apart_mm(a: Path, b: Path) -> float:
    """Largest distance of either from the other, by shapely."""
    lines = [shapely.LineString(np.vstack([sampled(path, tolerance_mm=CHORD_MM), path.start_mm])) for path in (a, b)]
    return float(shapely.hausdorff_distance(*lines))


# Law: nothing but lines and arcs is left, none farther from the path than asked, ends where they were.
@settings(max_examples=60, deadline=None)
@given(closed_paths(), st.sampled_from([0.01, 0.1]))
def test_any_path_keeps_the_tolerance_in_arcs(path: Path, tolerance_mm: float) -> None:
    arcs = turned(path, tolerance_mm)

    assert not any(isinstance(segment, Cubic) for segment in arcs.segments)
    assert (arcs.start_mm, arcs.segments[-1].end_mm) == (path.start_mm, path.segments[-1].end_mm)
    assert all(abs(segment.bulge) <= max(1, most_bulge(path)) for segment in arcs.segments if isinstance(segment, Arc))
    there = [_farthest(Path(start, (segment,), False), path) for start, segment in arcs.pieces()]
    back = [_farthest(Path(start, (segment,), False), arcs) for start, segment in path.pieces()]
    assert max(there + back) <= tolerance_mm + 2 * CHORD_MM


def most_bulge(path: Path) -> float:
    return max((abs(segment.bulge) for segment in path.segments if isinstance(segment, Arc)), default=0.0)


def _farthest(piece: Path, whole: Path) -> float:
    line = shapely.LineString(np.vstack([sampled(whole, tolerance_mm=CHORD_MM), whole.segments[-1].end_mm]))
    return float(shapely.distance(line, shapely.points(sampled(piece, tolerance_mm=CHORD_MM))).max())


# Small cases by hand: curves that turn back on themselves, stand still, or close on their start.
@pytest.mark.parametrize(
    ("control1", "control2", "end"),
    [
        ((10.0, 0.0), (10.0, 0.0), (0.0, 0.0)),
        ((10.0, 0.0), (-5.0, 0.0), (3.0, 0.0)),
        ((10.0, 1e-9), (-10.0, 0.0), (1.0, 0.0)),
        ((100.0, 100.0), (0.0, 0.0), (100.0, 100.01)),
        ((300.0, 200.0), (-200.0, 200.0), (1.0, 0.0)),
        ((10.0, 10.0), (-10.0, 10.0), (0.0, 0.0)),
    ],
)
def test_a_curve_that_turns_back_is_followed_there_and_never_the_long_way_round(
    control1: tuple[float, float], control2: tuple[float, float], end: tuple[float, float]
) -> None:
    curve = Path((0.0, 0.0), (Cubic(control1, control2, end),), False)

    arcs = turned(curve, 0.01)

    assert len(arcs.segments) < 60
    assert all(abs(segment.bulge) <= 1 for segment in arcs.segments if isinstance(segment, Arc))
    assert apart_mm(arcs, curve) <= 0.01 + 2 * CHORD_MM


def test_a_curve_without_length_stays_where_it_is() -> None:
    arcs = turned(Path((3.0, 4.0), (Cubic((3.0, 4.0), (3.0, 4.0), (3.0, 4.0)),), False), 0.01)

    assert {segment.end_mm for segment in arcs.segments} == {(3.0, 4.0)}
    assert len(arcs.segments) <= 2


# Law: arcs meet as the curves do, without a kink.
def test_arcs_meet_without_a_kink() -> None:
    rib = wing_rib(0, 0)
    arcs = turned(rib, 0.01)

    ways = [_ways(start, segment) for start, segment in arcs.pieces()]
    turns = [abs(math.remainder(out - into, math.tau)) for (_, into), (out, _) in pairwise(ways)]
    corners = sum(turn > math.radians(1) for turn in turns)
    # The rib's own: at its nose, at the start of its end cap; the loop's start is not counted.
    assert corners == 2
    assert sorted(turns)[-3] < 1e-6


def _ways(start: tuple[float, float], segment: Line | Arc | Cubic) -> tuple[float, float]:
    """Directions at the start and the end: a chord turned by half the sweep either way."""
    assert not isinstance(segment, Cubic)
    chord = math.atan2(segment.end_mm[1] - start[1], segment.end_mm[0] - start[0])
    half = 2 * math.atan(segment.bulge) if isinstance(segment, Arc) else 0.0
    return chord - half, chord + half


# Closed form: cubics on a circle (4/3 tan(sweep/4)) are within 2.725e-4 radii of it, and so are their arcs.
def test_a_circle_in_cubics_comes_back_as_arcs_of_its_radius() -> None:
    half = Arc((-10.0, 0.0), 1.0)
    cubics = arc_cubics((10.0, 0.0), half, tolerance_mm=1e-5)

    arcs = turned(Path((10.0, 0.0), tuple(cubics), False), 1e-3)

    points = sampled(arcs, tolerance_mm=CHORD_MM)
    assert np.abs(np.hypot(*points.T) - 10).max() < 1e-3 + CHORD_MM
    assert len(arcs.segments) <= 2 * len(cubics)


# Law: an arc's error falls with the third power of its length: eight times finer takes about twice the arcs.
def test_arcs_are_no_more_than_the_tolerance_takes() -> None:
    rib = wing_rib(0, 0)

    coarse, fine = (len(turned(rib, tolerance).segments) for tolerance in (0.08, 0.01))

    assert coarse < fine <= 2.6 * coarse
    assert fine <= 40


def test_lines_arcs_and_names_stay() -> None:
    before = parts()

    after = arcs_only(before, tolerance_mm=0.01)

    assert [outline.name for outline in after.outlines] == [outline.name for outline in before.outlines]
    assert after.outlines[:2] == before.outlines[:2]
    assert after.lines == before.lines
    assert apart_mm(after.outlines[2].boundary, before.outlines[2].boundary) == pytest.approx(0, abs=0.01 + CHORD_MM)
