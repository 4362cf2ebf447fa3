import numpy as np
import pytest
import shapely

from sample_scans.plan import school_plan
from sample_scans.random_plan import random_plan
from sample_scans.sections import RibCuts, Section, notched_rib, plain_rib
from sample_scans.truth import PlanTruth


# Abbott and von Doenhoff's tables of ordinates in % chord; from memory, they agree with the formula within 0.02.
@pytest.mark.parametrize(
    ("digits", "at", "upper", "lower"),
    [
        ("0012", 5, 3.555, -3.555),
        ("0012", 30, 6.002, -6.002),
        ("0012", 60, 4.563, -4.563),
        ("2412", 10, 5.63, -3.75),
        ("2412", 30, 7.88, -4.12),
        ("2412", 50, 7.24, -3.34),
        ("4412", 10, 6.59, -2.86),
        ("4412", 30, 9.76, -2.26),
        ("4412", 50, 9.19, -1.40),
    ],
)
def test_a_section_has_the_published_ordinates(digits, at, upper, lower):
    top, bottom = Section.from_digits(digits).surfaces()

    assert 100 * np.interp(at / 100, *top.T) == pytest.approx(upper, abs=0.025)
    assert 100 * np.interp(at / 100, *bottom.T) == pytest.approx(lower, abs=0.025)


# AeroSandbox's own generator of NACA sections stands for a second opinion.
def test_a_plain_rib_is_the_section_that_another_library_draws():
    asb = pytest.importorskip("aerosandbox")
    theirs = shapely.Polygon(asb.Airfoil("naca4412").repanel(400).coordinates * 110)

    ours = shapely.Polygon(plain_rib(Section.from_digits("4412"), chord_mm=110))

    # Theirs has a blunt trailing edge of 0.25 % or a rounded spline through it: 0.1 mm here.
    assert ours.hausdorff_distance(theirs) < 0.15
    assert ours.area == pytest.approx(theirs.area, rel=0.01)


def test_a_notched_rib_lacks_its_notches_and_nose_only():
    section, cuts = Section.from_digits("4412"), RibCuts(33.0)
    whole = shapely.Polygon(plain_rib(section, chord_mm=110))

    rib = shapely.Polygon(notched_rib(section, chord_mm=110, cuts=cuts))

    assert rib.is_valid
    assert rib.difference(whole).area < 1e-3
    # A millionth of a millimetre keeps slivers of rounding out of what is lost.
    lost = whole.difference(rib.buffer(1e-6))
    boxes = sorted(piece.bounds for piece in lost.geoms)
    assert [box[2] - box[0] for box in boxes[1:]] == pytest.approx([3.0, 3.0], abs=1e-5)
    # The nose to 3 mm and its notch 2.5 mm deeper.
    assert boxes[0][2] == pytest.approx(5.5, abs=1e-5)
    assert rib.exterior.coords[:][0][0] == pytest.approx(3.0)


def plans() -> list[PlanTruth]:
    return [school_plan(), *(random_plan(seed) for seed in range(12))]


@pytest.mark.parametrize("plan", plans(), ids=lambda plan: plan.name)
def test_parts_are_true_shapes_apart_from_one_another_or_nested(plan):
    solids = []
    for part in plan.parts:
        solid = shapely.Polygon(part.boundary_mm, part.holes_mm)
        assert solid.is_valid, part.name
        assert solid.area > 0
        # Counter-clockwise, y up.
        assert solid.exterior.is_ccw, part.name
        solids.append(solid)
    border = shapely.Polygon(plan.border_mm)
    for index, solid in enumerate(solids):
        assert border.contains(solid)
        for other in solids[index + 1 :]:
            # Apart by more than two line widths, or one inside the other's outline without touching it.
            assert solid.exterior.distance(other.exterior) > 0.9


@pytest.mark.parametrize("plan", plans(), ids=lambda plan: plan.name)
def test_lettering_collides_with_no_line(plan):
    lines = shapely.union_all(
        [
            shapely.LineString(np.vstack([s.points_mm, s.points_mm[:1]] if s.closed else [s.points_mm]))
            for s in plan.strokes
            if s.role not in {"lettering"}
        ]
    )
    words = [shapely.LineString(s.points_mm) for s in plan.strokes if s.role == "lettering"]

    nearest_mm = min(lines.distance(word) for word in words)

    # The thickest pen and the boldest letter leave paper between them.
    assert nearest_mm > 0.5


@pytest.mark.parametrize("plan", plans(), ids=lambda plan: plan.name)
def test_dimension_lines_keep_off_the_parts(plan):
    loops = [shapely.LinearRing(loop) for part in plan.parts for loop in (part.boundary_mm, *part.holes_mm)]
    edges = shapely.union_all(loops)

    nearest_mm = min(edges.distance(shapely.LineString(s.points_mm)) for s in plan.strokes if s.role == "dimension")

    # ISO 129 (from memory) lets extension lines touch an outline; here a gap wider than the pens is drawn.
    assert nearest_mm > 0.8


@pytest.mark.parametrize("plan", plans(), ids=lambda plan: plan.name)
def test_known_lengths_end_in_ink(plan):
    ink = shapely.union_all(
        [
            shapely.LineString(np.vstack([s.points_mm, s.points_mm[:1]] if s.closed else [s.points_mm]))
            for s in plan.strokes
        ]
    )

    for known in plan.known:
        for end in (known.start_mm, known.end_mm):
            if "pins" not in known.name:  # a strut's are the centres of its pin holes
                assert ink.distance(shapely.Point(end)) < 0.01, known.name


def test_the_bundled_sheet_is_a2():
    plan = school_plan()

    # ISO 216: A2 is 420 x 594 mm.
    assert np.ptp(plan.sheet_mm, axis=0) == pytest.approx([594, 420])
    inside = np.abs(plan.sheet_mm - plan.border_mm)
    assert ((inside >= 10) & (inside <= 20)).all()
    assert plan.border_mm[3] == pytest.approx([0, 0])
    assert plan.known_named("WING PANEL length").length_mm == pytest.approx(400)


def test_curves_keep_within_two_thousandths_of_their_chords():
    for part in school_plan().parts:
        for loop in (part.boundary_mm, *part.holes_mm):
            # Sagitta of a chord from its two neighbours' turn: length * angle / 8 for a smooth curve.
            side = np.roll(loop, -1, axis=0) - loop
            length = np.hypot(*side.T)
            turn = np.abs(np.angle(np.exp(1j * np.diff(np.angle(side @ [1, 1j]), append=np.nan))))[:-1]
            smooth = turn < np.radians(4)
            sagitta = (np.minimum(length[:-1], length[1:]) * turn / 8)[smooth]
            assert sagitta.max(initial=0) < 0.002, part.name
