"""Path data over the picture: read back by a library that is not ours, and compared with the plan's own path."""

import math
from itertools import pairwise
from time import process_time

import cv2
import numpy as np
import pytest
import shapely
from svgelements import Path as SvgPath

from drawing.paths import Arc, Cubic, Line, Path, sampled
from tracing.picture_paths import path_data

Floats = np.ndarray

DRAWN_WITHIN_PX = 0.1
"""What a screen at 800 % shows as less than one of its pixels."""


class Lens:
    """A phone's view of a plan, through cv2.projectPoints: tilt, perspective and a strong barrel lens."""

    def to_picture(self, points_mm: Floats) -> Floats:
        matrix = np.array([[3000.0, 0, 1999.5], [0, 3000.0, 1499.5], [0, 0, 1]])
        rotation = cv2.Rodrigues(np.radians([14.0, 0, 0]))[0] @ cv2.Rodrigues(np.radians([0, 11.0, 5.0]))[0]
        rotation = rotation @ np.diag([1.0, -1.0, -1.0])
        shift = np.array([0, 0, 900.0]) - rotation @ np.array([420.0, 297.0, 0])
        space = np.column_stack([points_mm, np.zeros(len(points_mm))])
        lens = np.array([-0.12, 0.02, 0, 0])
        return np.asarray(cv2.projectPoints(space, cv2.Rodrigues(rotation)[0], shift, matrix, lens)[0][:, 0])


class Flat:
    """A scan: 10 px a mm."""

    def to_picture(self, points_mm: Floats) -> Floats:
        return np.asarray(points_mm * (10, -10) + (0, 6000))


PLATE = Path(
    (100, 100),
    (
        Line((600, 110)),
        Arc((600, 310), math.tan(math.pi / 4)),
        Cubic((500, 420), (300, 200), (150, 400)),
        Line((100, 100)),
    ),
    True,
)


@pytest.mark.parametrize("camera", [Lens(), Flat()])
def test_what_is_drawn_lies_where_the_plan_does(camera: Lens | Flat) -> None:
    around_mm = sampled(PLATE, tolerance_mm=1e-4)
    true_px = camera.to_picture(_dense(np.vstack([around_mm, around_mm[:1]])))

    (data,) = path_data([PLATE], camera)

    drawn = SvgPath(data)
    assert data.endswith("Z")
    lines = np.concatenate([_points(segment) for segment in drawn])
    assert _farthest(lines, true_px) < DRAWN_WITHIN_PX
    assert _farthest(true_px, lines) < DRAWN_WITHIN_PX


def test_a_straight_line_of_a_scan_stays_one_line() -> None:
    (data,) = path_data([Path((0, 0), (Line((800, 3)),), False)], Flat())

    assert data == "M0 6000L8000 5970"


def test_a_path_beyond_what_the_camera_sees_is_left_out() -> None:
    class Horizon(Flat):
        def to_picture(self, points_mm: Floats) -> Floats:
            return np.where(points_mm[:, 1:] > 200, np.nan, super().to_picture(points_mm))

    seen, hidden = Path((0, 0), (Line((10, 0)),), False), Path((0, 0), (Line((10, 500)),), False)

    assert path_data([hidden, seen], Horizon()) == ["", "M0 6000L100 6000"]


def test_no_paths_give_no_data() -> None:
    assert path_data([], Flat()) == []


def _dense(points: Floats) -> Floats:
    """Straight stretches with points between their ends, which a lens bows."""
    shares = np.linspace(0, 1, 50)[:-1, None]
    runs = [a + (b - a) * shares for a, b in pairwise(points)]
    return np.vstack([*runs, points[-1:]])


def _points(segment: object) -> Floats:
    steps = np.linspace(0, 1, 200)
    return np.array([(point.x, point.y) for point in (segment.point(t) for t in steps)])  # type: ignore[attr-defined]


def _farthest(points: Floats, line: Floats) -> float:
    return float(shapely.distance(shapely.LineString(line), shapely.points(points)).max())


def test_five_hundred_outlines_take_under_two_megabytes_and_a_third_of_a_second() -> None:
    rng = np.random.default_rng(5)
    angles = np.linspace(0, 2 * np.pi, 25)[:-1]

    def blob(x: float, y: float) -> Path:
        points = [
            (float(x + r * math.cos(a)), float(y + r * math.sin(a)))
            for a, r in zip(angles, rng.uniform(8, 15, 24), strict=True)
        ]
        around = [*points[1:], points[0]]
        cubics = tuple(
            Cubic((0.7 * a[0] + 0.3 * b[0], a[1]), (b[0], 0.7 * b[1] + 0.3 * a[1]), b)
            for a, b in zip(points, around, strict=True)
        )
        return Path(points[0], cubics, True)

    paths = [blob(30 + 30 * (k % 25), 20 + 28 * (k // 25)) for k in range(500)]
    begin = process_time()
    data = path_data(paths, Lens())
    seconds = process_time() - begin

    assert sum(map(len, data)) < 2_000_000
    assert seconds < SLOW_TIMES * 0.3


SLOW_TIMES = 4
"""A machine that tests run on may be so much slower, or busy with others."""
