"""Paths for the tests of this room."""

import math

import numpy as np
from hypothesis import strategies as st

from drawing.drawing import Drawing, Kind, Outline
from drawing.paths import Arc, Cubic, Line, Path, polyline

HALF = math.tan(math.pi / 4)
"""Bulge of a half circle."""


def letter_f(*, x_mm: float = 0.0, y_mm: float = 0.0) -> Path:
    """An F, 35 wide and 60 high, counter-clockwise: alike in no mirror and no turn."""
    corners = [(0, 0), (10, 0), (10, 25), (25, 25), (25, 35), (10, 35), (10, 50), (35, 50), (35, 60), (0, 60)]
    return polyline(np.array(corners, dtype=float) + np.array([x_mm, y_mm]), closed=True)


def circle(x_mm: float, y_mm: float, radius_mm: float, *, bulge: float = HALF) -> Path:
    right, left = (x_mm + radius_mm, y_mm), (x_mm - radius_mm, y_mm)
    return Path(right, (Arc(left, bulge), Arc(right, bulge)), True)


def wing_rib(x_mm: float, y_mm: float) -> Path:
    """A rib-like loop of cubics, a line and an arc; counter-clockwise."""
    tail, nose, low = (x_mm + 100, y_mm), (x_mm, y_mm), (x_mm + 100, y_mm - 2)
    return Path(
        tail,
        (
            Cubic((x_mm + 60, y_mm + 14), (x_mm + 5, y_mm + 16), nose),
            Cubic((x_mm - 2, y_mm - 6), (x_mm + 40, y_mm - 5), low),
            Arc(tail, HALF),
        ),
        True,
    )


def outline(number: int, boundary: Path, *holes: Path, kind: Kind = Kind.PART, name: str = "") -> Outline:
    return Outline(number, boundary, holes, (0.0, 0.0), 1.0, kind=kind, name=name)


def parts() -> Drawing:
    """An F away from the origin, a disc with a round hole, a rib, and an open line with an arc."""
    return Drawing(
        (
            outline(1, letter_f(x_mm=-20, y_mm=5), name='rib "A" & <B>'),
            outline(2, circle(60, 40, 20), circle(60, 40, 12.5, bulge=-HALF)),
            outline(3, wing_rib(10, -30)),
        ),
        (Path((0.0, 80.0), (Line((30.0, 80.0)), Arc((40.0, 90.0), math.tan(math.pi / 8))), False),),
    )


# Numbers to 0.01 mm: what lies below is no part of a drawing, and hypothesis loves it.
places = st.integers(-50_000, 50_000).map(lambda hundredths: hundredths / 100)
points = st.tuples(places, places)
bulges = st.one_of(st.just(0.0), st.floats(-3, 3))
segments = st.one_of(st.builds(Line, points), st.builds(Arc, points, bulges), st.builds(Cubic, points, points, points))


@st.composite
def open_paths(draw: st.DrawFn) -> Path:
    return Path(draw(points), tuple(draw(st.lists(segments, min_size=1, max_size=5))), False)


@st.composite
def closed_paths(draw: st.DrawFn) -> Path:
    path = draw(open_paths())
    last = draw(st.one_of(st.just(Line(path.start_mm)), st.builds(Arc, st.just(path.start_mm), bulges)))
    return Path(path.start_mm, (*path.segments, last), True)
