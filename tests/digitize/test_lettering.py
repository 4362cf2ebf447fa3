"""Lettering told from drawing, and the landmarks left."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from digitize.landmarks import landmarks_px
from digitize.lettering import lettering_links
from digitize.strokes import Link, NodeKind, Strokes

Floats = NDArray[np.float64]
WIDTH_PX = 2.0


def strokes_of(lines: list[Floats]) -> Strokes:
    """Strokes of polylines that meet where their ends do."""
    nodes: list[tuple[float, float]] = []
    links = []
    for line in lines:
        ends = []
        for point in (line[0], line[-1]):
            place = (round(float(point[0]), 3), round(float(point[1]), 3))
            if place not in nodes:
                nodes.append(place)
            ends.append(nodes.index(place))
        links.append(Link(ends[0], ends[1], line, 0.05, WIDTH_PX))
    count = np.bincount([node for link in links for node in (link.start, link.end)], minlength=len(nodes))
    kinds = np.where(count == 1, NodeKind.END, np.where(count == 2, NodeKind.CORNER, NodeKind.JUNCTION)).astype(
        np.uint8
    )
    for link in links:
        if link.start == link.end and count[link.start] == 2:
            kinds[link.start] = NodeKind.LOOP
    return Strokes(np.array(nodes), kinds, tuple(links))


def run(*points: tuple[float, float]) -> Floats:
    """A polyline with points about every px."""
    parts = []
    for a, b in pairwise(points):
        count = max(2, int(np.hypot(b[0] - a[0], b[1] - a[1])) + 1)
        parts.append(np.linspace(a, b, count))
    return np.concatenate(parts)


def letter_e(x: float, y: float, tall: float) -> list[Floats]:
    return [
        run((x + 0.6 * tall, y), (x, y), (x, y + tall / 2)),
        run((x, y + tall / 2), (x, y + tall), (x + 0.6 * tall, y + tall)),
        run((x, y + tall / 2), (x + 0.5 * tall, y + tall / 2)),
    ]


def letter_s(x: float, y: float, tall: float) -> list[Floats]:
    t = np.linspace(0, 1, 40)
    return [np.column_stack([x + 0.3 * tall * (1 + np.sin(2.2 * np.pi * t)), y + tall * t])]


def letter_o(x: float, y: float, radius: float) -> list[Floats]:
    t = np.linspace(0, 2 * np.pi, 50)
    ring = np.column_stack([x + radius * np.cos(t), y + radius * np.sin(t)])
    ring[-1] = ring[0]
    return [ring]


def turned(lines: list[Floats], angle_rad: float) -> list[Floats]:
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return [line @ np.array([[c, s], [-s, c]]) for line in lines]


def cross(x: float, y: float, arm: float) -> list[Floats]:
    return [run((x, y), (x + dx * arm, y + dy * arm)) for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1))]


OUTLINE = [run((0, 0), (400, 0)), run((400, 0), (400, 200)), run((400, 200), (0, 200)), run((0, 200), (0, 0))]


@pytest.mark.parametrize("angle_deg", [0, 33, 90, 200])
@pytest.mark.parametrize("tall", [10.0, 24.0, 40.0])
def test_a_word_is_lettering_at_any_angle_and_size(angle_deg: float, tall: float) -> None:
    word = letter_s(50, 60, tall) + letter_e(50 + 0.9 * tall, 60, tall) + letter_e(50 + 1.8 * tall, 60, tall)
    strokes = strokes_of(turned(OUTLINE + word, np.radians(angle_deg)))

    letters = lettering_links(strokes)

    assert letters.tolist() == [False] * 4 + [True] * 7


def test_a_hatched_face_with_a_thick_outline_is_no_lettering() -> None:
    """Wide and low, of many short links; ISO 128 has thick lines twice as wide as thin ones."""
    foot = [run((20 * k, 60), (20 * k + 20, 60)) for k in range(8)]
    top = [run((20 * k, 0), (20 * k + 20, 0)) for k in range(8)]
    sides = [run((0, 0), (0, 60)), run((160, 0), (160, 60))]
    hatched = strokes_of([*foot, *top, *sides, *(run((20 * k, 60), (20 * k + 60, 0)) for k in range(6))])
    thick = [replace(link, width_px=2 * WIDTH_PX) for link in hatched.links]
    two_pens = replace(hatched, links=(*thick[:18], *hatched.links[18:]))

    assert lettering_links(replace(hatched, links=tuple(thick))).all()
    assert not lettering_links(two_pens).any()


def test_holes_in_a_row_are_no_lettering() -> None:
    holes = letter_o(60, 60, 8) + letter_o(82, 60, 8) + letter_o(104, 60, 8)

    assert not lettering_links(strokes_of(holes)).any()


def test_a_ring_among_letters_is_a_letter() -> None:
    word = letter_e(40, 50, 16) + letter_o(64, 58, 8) + letter_e(78, 50, 16)

    assert lettering_links(strokes_of(word)).all()


def test_dashes_and_ticks_are_no_lettering() -> None:
    dashes = [run((20 + 22 * k, 50), (35 + 22 * k, 50)) for k in range(8)]
    ticks = [run((20 + 10 * k, 80), (20 + 10 * k, 95)) for k in range(8)]

    assert not lettering_links(strokes_of(dashes)).any()
    assert not lettering_links(strokes_of(ticks)).any()


def test_reference_crosses_are_no_lettering_even_near_letters() -> None:
    lines = cross(50, 50, 12) + letter_e(70, 42, 16) + letter_e(88, 42, 16)

    letters = lettering_links(strokes_of(lines))

    assert letters.tolist() == [False] * 4 + [True] * 6


def test_letters_that_touch_are_lettering() -> None:
    word = []
    for k in range(4):
        x = 50 + 12 * k
        # Each letter's middle bar reaches the next one's back.
        word += [
            run((x + 9, 40), (x, 40), (x, 48)),
            run((x, 48), (x, 56), (x + 9, 56)),
            run((x, 48), (x + 12, 48)),
        ]

    assert lettering_links(strokes_of(OUTLINE + word))[4:].all()


def test_a_box_with_a_centre_line_is_no_row_of_letters() -> None:
    around = [(72, 40), (50, 40), (50, 70), (72, 70), (94, 70), (94, 40), (72, 40)]
    sides = [run(a, b) for a, b in pairwise(around)]
    centre = [run((72, 40), (72, 44)), run((72, 48), (72, 70)), run((72, 70), (72, 72))]

    assert not lettering_links(strokes_of(OUTLINE + sides + centre))[4:].any()


def test_a_slot_and_a_slot_with_centre_lines_are_no_lettering() -> None:
    corners = [(50, 40), (80, 40), (80, 60), (50, 60)]
    middles = [(65, 40), (80, 50), (65, 60), (50, 50)]
    around = [corners[0], *[at for pair in zip(middles, [*corners[1:], corners[0]], strict=True) for at in pair]]
    sides = [run(a, b) for a, b in pairwise(around)]
    centre = [run((65, 34), (65, 40)), run((65, 40), (65, 45)), run((65, 55), (65, 60)), run((65, 60), (65, 66))]
    plain = [run(*[(x, y + 45) for x, y in corners], (50, 85))]

    assert not lettering_links(strokes_of(OUTLINE + sides + centre + plain))[4:].any()


def test_an_r_whose_bowl_has_run_together_is_a_letter() -> None:
    def letter_r(x: float) -> list[Floats]:
        bowl = run((x, 48), (x - 3, 40), (x + 4, 40), (x, 48))
        return [bowl, run((x, 48), (x - 4, 60)), run((x, 48), (x + 6, 60))]

    word = [*letter_r(54), *letter_e(66, 40, 20), *letter_r(88)]

    assert lettering_links(strokes_of(OUTLINE + word))[4:].all()


def test_a_d_and_an_o_that_touch_are_lettering() -> None:
    turn = np.linspace(-np.pi / 2, np.pi / 2, 40)
    bow = np.column_stack([58 + 8 * np.cos(turn), 50 + 10 * np.sin(turn)])
    ring = np.column_stack([74 + 8 * np.cos(np.pi + 2 * turn), 50 + 10 * np.sin(np.pi + 2 * turn)])
    back = [run((58, 40), (50, 40), (50, 50)), run((50, 50), (50, 60), (58, 60)), run((50, 50), (46, 50))]
    word = [*back, bow[:20], bow[19:], ring[:10], ring[9:21], ring[20:]]

    assert lettering_links(strokes_of(OUTLINE + word))[4:].all()


def test_landmarks_are_corners_crossings_and_ends_in_reading_order() -> None:
    lines = [*OUTLINE, *cross(200, 100, 15), *letter_e(60, 40, 16), *letter_e(78, 40, 16)]

    marks = landmarks_px(strokes_of(lines))

    assert marks.tolist() == [
        [0, 0],
        [400, 0],
        [200, 85],
        [185, 100],
        [200, 100],
        [215, 100],
        [200, 115],
        [0, 200],
        [400, 200],
    ]


def test_landmarks_do_not_depend_on_the_links_order() -> None:
    lines = [*OUTLINE, *cross(200, 100, 15), *letter_e(60, 40, 16), *letter_e(78, 40, 16)]

    forward = landmarks_px(strokes_of(lines))
    backward = landmarks_px(strokes_of([line[::-1] for line in lines[::-1]]))

    assert forward.tolist() == backward.tolist()


def test_of_places_too_near_to_tell_apart_the_crossing_stays() -> None:
    lines = [*cross(100, 100, 30), run((131.5, 100), (180, 100))]

    marks = landmarks_px(strokes_of(lines))

    assert [100, 100] in marks.tolist()
    assert len(marks) == 6


def test_no_strokes_have_no_landmarks() -> None:
    nothing = Strokes(np.empty((0, 2)), np.empty(0, np.uint8), ())

    assert landmarks_px(nothing).shape == (0, 2)
    assert lettering_links(nothing).shape == (0,)
