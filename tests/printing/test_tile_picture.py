import zlib
from fractions import Fraction

import cv2
import numpy as np
import pytest

from drawing.drawing import Drawing, Outline
from drawing.paths import polyline
from pictures.flat import FlatPicture
from printing.ink_under import ink_under
from printing.mirror import mirrored_flat
from printing.part_labels import label_half_mm, part_labels, part_shapes
from printing.plan_pages import plan_pages
from printing.setup import PageSetup, parse_paper
from printing.shown_flat import shown_flat
from printing.tile_picture import Encoding, paper_white, tile_picture

CARD = PageSetup(parse_paper("100x150mm"))

# What the picture may lie off the lines over it.
ALIGNED_MM = 0.05


def shaded(height, width, *, seed=3):
    """Paper lit from one side, 210 to 120, with noise; ink at 30 % of the paper under it."""
    light = np.linspace(210, 120, width)[None, :] * np.ones((height, 1))
    ink = np.ones((height, width))
    ink[::97] = 0.3
    ink[:, ::131] = 0.3
    noise = np.random.default_rng(seed).normal(0, 2.5, (height, width))
    return np.clip(light * ink + noise, 0, 255).astype(np.uint8), ink < 1


def unpacked(picture):
    if picture.encoding is Encoding.JPEG:
        return cv2.imdecode(np.frombuffer(picture.data, np.uint8), cv2.IMREAD_UNCHANGED)
    data = np.frombuffer(zlib.decompress(picture.data), np.uint8)
    if picture.bits == 1:
        bits = np.unpackbits(data.reshape(picture.height_px, -1), axis=1)[:, : picture.width_px]
        return bits * np.uint8(255)
    return data.reshape(picture.height_px, picture.width_px)


def test_unevenly_lit_paper_comes_out_white_and_ink_dark():
    pixels, ink = shaded(900, 1200)
    flat = FlatPicture(pixels, 10_000, (0.0, 0.0))

    picture = tile_picture(flat, paper_white(flat), (0, 0, 120, 90), fraction=Fraction(1))

    shown = unpacked(picture)
    away_from_ink = cv2.erode((~ink).astype(np.uint8), np.ones((9, 9), np.uint8)).astype(bool)
    assert np.mean(shown[away_from_ink] > 250) > 0.99
    assert np.mean(shown[ink] < 100) > 0.95


def test_colour_stays_colour_on_white_paper():
    pixels = np.full((400, 400, 3), (230, 220, 190), np.uint8)
    pixels[100:110, 50:350] = (200, 40, 30)
    flat = FlatPicture(pixels, 10_000, (0.0, 0.0))

    picture = tile_picture(flat, paper_white(flat), (0, 0, 40, 40), fraction=Fraction(1))

    shown = unpacked(picture)[..., ::-1]
    assert picture.channels == 3
    assert (shown[300, 200] > 250).all()
    red, green, blue = shown[105, 200].astype(int)
    assert red > green + 80
    assert red > blue + 80


def test_a_black_and_white_plan_is_packed_a_bit_a_pixel_and_unchanged():
    pixels = np.full((500, 333), 255, np.uint8)
    pixels[40:44] = 0
    pixels[:, 100:103] = 0
    flat = FlatPicture(pixels, 10_000, (0.0, 0.0))

    picture = tile_picture(flat, paper_white(flat), (0, 0, 33.3, 50), fraction=Fraction(1))

    assert (picture.encoding, picture.bits) == (Encoding.FLATE, 1)
    np.testing.assert_array_equal(unpacked(picture), pixels)


def test_a_page_with_white_paper_only_has_no_picture():
    pixels = np.full((500, 500), 255, np.uint8)
    pixels[:10] = 0
    flat = FlatPicture(pixels, 10_000, (0.0, 0.0))

    assert tile_picture(flat, paper_white(flat), (0, 0, 50, 40), fraction=Fraction(1)) is None
    assert tile_picture(flat, paper_white(flat), (60, 60, 90, 90), fraction=Fraction(1)) is None


# By hand: 10 px per mm at half size are 20 per mm; x 10.02 to 20 mm is px 200.4 to 400, taken outward.
def test_a_crop_s_box_is_where_its_whole_pixels_lie():
    pixels = np.random.default_rng(1).integers(0, 256, (600, 800), np.uint8)
    flat = FlatPicture(pixels, 10_000, (0.0, 0.0))

    picture = tile_picture(flat, paper_white(flat), (10.02, 5, 20, 12.49), fraction=Fraction(1, 2))

    assert (picture.width_px, picture.height_px) == (200, 150)
    assert picture.box_mm == pytest.approx((10.0, 5.0, 20.0, 12.5), abs=1e-9)


def test_a_finer_picture_than_printers_show_is_reduced_in_place():
    pixels = np.random.default_rng(1).integers(0, 256, (2000, 2000), np.uint8)
    flat = FlatPicture(pixels, 20_000, (0.0, 0.0))

    picture = tile_picture(flat, paper_white(flat), (0, 0, 25, 25), fraction=Fraction(1, 4))

    # 25 mm at 600 dpi.
    assert (picture.width_px, picture.height_px) == (591, 591)
    assert picture.box_mm == pytest.approx((0, 0, 25, 25), abs=1e-9)


def test_mirroring_twice_gives_the_picture_back():
    pixels = np.random.default_rng(1).integers(0, 256, (60, 81), np.uint8)
    flat = FlatPicture(pixels, 9_999, (3.3, -7.7))

    twice = mirrored_flat(mirrored_flat(flat))

    np.testing.assert_array_equal(twice.pixels, pixels)
    assert twice.origin_mm == pytest.approx(flat.origin_mm, abs=1e-12)


def test_a_mirrored_picture_shows_a_mark_at_minus_x():
    pixels = np.full((50, 80), 255, np.uint8)
    pixels[10, 70] = 0
    flat = FlatPicture(pixels, 1000, (100.0, 0.0))

    mirrored = mirrored_flat(flat)

    ((row, col),) = np.argwhere(mirrored.pixels == 0)
    at = mirrored.flat_px_to_plan(np.array([[float(col), float(row)]]))[0]
    np.testing.assert_allclose(at, flat.flat_px_to_plan(np.array([[70.0, 10.0]]))[0] * (-1, 1))


# Pictures are snapped to device px by the reader, so they are measured at 1200 dpi, where a px is 0.021 mm.
@pytest.mark.parametrize("fraction", [Fraction(1), Fraction(1, 2), Fraction(3, 7)])
@pytest.mark.parametrize("mirrored", [False, True])
def test_the_picture_lies_under_the_lines_within_a_twentieth_of_a_mm(printed, fraction, mirrored):
    # Black bars of 8 px at uneven places in the picture; true edges known from whole px.
    px_per_m, origin = 8000, (-31.07, 12.9)
    height, width = 1900, 2400
    pixels = np.full((height, width), 255, np.uint8)
    cols, rows = np.arange(60, 2300, 331) + np.arange(7) ** 2, np.arange(80, 1800, 287) + np.arange(6) ** 2
    for col in cols:
        pixels[:, col : col + 8] = 0
    for row in rows:
        pixels[row : row + 8] = 0
    flat = FlatPicture(pixels, px_per_m, origin)
    middle_x = (cols + 4) / 8 + origin[0]
    middle_y = (height - rows - 4) / 8 + origin[1]
    span = polyline(np.array([[origin[0], origin[1]], [origin[0] + 300.0, origin[1] + 237.5]]), closed=False)
    drawing = Drawing((), (span,)).scaled(fraction)
    if mirrored:
        flat, drawing, middle_x = mirrored_flat(flat), drawing.mirrored(), -middle_x
    plan = plan_pages(drawing, CARD)

    pdf = printed(plan, drawing, flat, fraction=fraction)

    off_mm = []
    for tile in plan.tiles[:4]:
        ink, px_per_mm = pdf.darkness(tile.page, dpi=1200)
        shift = np.array(tile.at_page_mm) - tile.origin_mm
        x0, y0, x1, y1 = plan.core_mm(tile.row, tile.col)
        for axis, places, others in ((0, middle_x, middle_y), (1, middle_y, middle_x)):
            for place in places * float(fraction):
                for other in (others[:-1] + others[1:]) / 2 * float(fraction):
                    at = np.array([place, other] if axis == 0 else [other, place])
                    if not (x0 + 6 < at[0] < x1 - 6 and y0 + 6 < at[1] < y1 - 6):
                        continue
                    x, y = (at + shift) * px_per_mm
                    y = ink.shape[0] - y
                    reach = round(1.2 * px_per_mm[axis])
                    start = round((x, y)[axis]) - reach
                    line = (
                        ink[int(y), start : start + 2 * reach] if axis == 0 else ink[start : start + 2 * reach, int(x)]
                    )
                    profile = np.where(line > 60, line, 0).astype(float)
                    middle = (np.arange(2 * reach) + start + 0.5) @ profile / profile.sum()
                    off_mm.append((middle - (x, y)[axis]) / px_per_mm[axis])
    assert len(off_mm) >= 8
    assert np.abs(off_mm).max() < ALIGNED_MM


def test_a_number_moves_aside_for_words_inside_its_part():
    # A strip of 120 x 8 mm with a word of 24 x 3 mm in its middle, where the number would otherwise stand.
    pixels = np.full((300, 1400), 255, np.uint8)
    pixels[135:165, 580:820] = 40
    flat = FlatPicture(pixels, 10_000, (0.0, 0.0))
    strip = polyline(np.array([[10.0, 11], [130, 11], [130, 19], [10, 19]]), closed=True)
    shapes = part_shapes(Drawing((Outline(3, strip, (), (0.0, 0.0), 0.0),), ()))
    under = ink_under(shown_flat(flat), fraction=Fraction(1))

    (label,) = part_labels(shapes, (0, 0, 140, 30), ink=under)

    half_width, half_height = label_half_mm(3, label.size_mm)
    x, y = label.at_mm
    assert 10 + half_width < x < 130 - half_width
    assert 11 + half_height < y < 19 - half_height
    assert x + half_width < 58 or x - half_width > 82


def test_numbers_of_nested_parts_stand_apart():
    loops = [np.array([[-r, -r], [r, -r], [r, r], [-r, r]], float) for r in (40.0, 25.0, 10.0)]
    outlines = tuple(Outline(n, polyline(loop, closed=True), (), (0.0, 0.0), 0.0) for n, loop in enumerate(loops, 1))

    labels = part_labels(part_shapes(Drawing(outlines, ())), (-60, -60, 60, 60))

    reach = [max(map(abs, label.at_mm)) for label in labels]
    assert 25 < reach[0] < 40
    assert 10 < reach[1] < 25
    assert reach[2] < 10


def test_a_part_too_thin_for_its_number_has_it_beside_with_a_leader():
    strip = polyline(np.array([[0.0, 0], [50, 0], [50, 1], [0, 1]]), closed=True)
    shapes = part_shapes(Drawing((Outline(12, strip, (), (0.0, 0.0), 0.0),), ()))

    (label,) = part_labels(shapes, (-40, -40, 90, 40))

    assert label.leader_mm is not None
    assert 0 < label.leader_mm[1] < 1
    assert abs(label.at_mm[1]) > 1 + label_half_mm(12, label.size_mm)[1]


def test_numbers_of_many_small_parts_keep_apart():
    chip = np.array([[0.0, 0], [3, 0], [3, 1], [0, 1]])
    places = np.array([(5.0 * column, 4.0 * row) for row in range(20) for column in range(12)])
    places += np.random.default_rng(4).uniform(0, 1, places.shape)
    loops = [polyline(chip + place, closed=True) for place in places]
    outlines = tuple(Outline(n, loop, (), (0.0, 0.0), 0.0) for n, loop in enumerate(loops, 1))

    labels = part_labels(part_shapes(Drawing(outlines, ())), (-20, -20, 80, 100))

    half = np.array([label_half_mm(label.number, label.size_mm) for label in labels])
    at = np.array([label.at_mm for label in labels])
    meet = ((at - half)[:, None] <= at + half) & ((at + half)[:, None] >= at - half)
    assert len(labels) > 100
    assert meet.all(axis=2).sum() == len(labels)


def test_a_file_is_hardly_larger_than_its_picture_alone(printed):
    rng = np.random.default_rng(8)
    pixels, _ = shaded(4800, 6600)
    for _ in range(500):
        at, axes = rng.integers(0, 6600, 2).tolist(), rng.integers(40, 900, 2).tolist()
        cv2.ellipse(pixels, at, axes, float(rng.uniform(0, 180)), 0, 360, 60, 4, cv2.LINE_AA)
    flat = FlatPicture(pixels, 10_000, (0.0, 0.0))
    drawing = Drawing((), (polyline(np.array([[0.0, 0.0], [660.0, 480.0]]), closed=False),))
    plan = plan_pages(drawing, PageSetup(parse_paper("A4")), ink_boxes_mm=[(0, 0, 660, 480)])

    pdf = printed(plan, drawing, flat)

    white = paper_white(flat)
    whole = tile_picture(flat, white, (0, 0, 660, 480), fraction=Fraction(1))
    assert len(pdf.data) < 1.3 * len(whole.data)
