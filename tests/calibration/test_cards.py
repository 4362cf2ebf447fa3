"""Cards: what is printed, where it is found in a picture, and what it tells the adjustment."""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibration.adjust import adjust
from calibration.calibration import Calibration, Given
from calibration.card_design import DICTIONARY, MARKER_SHARE, MARKERS, NUMBERS, SIZES_MM, SQUARES, CardDesign, design_of
from calibration.card_finder import Laid, find_cards
from calibration.kind import Kind
from calibration.observations import CalibrationError, Cards, KnownDistance, LaidCard, Observation
from drawing.findings import Level
from sample_scans.camera import Camera, View, camera_for

FOUND_PX = 0.05
"""Corners of a sharp noiseless board are found to this; interpolating the picture costs some of it."""

SHEET_MM = np.array([[0.0, 594.0], [841.0, 594.0], [841.0, 0.0], [0.0, 0.0]])


def board(design: CardDesign) -> cv2.aruco.CharucoBoard:
    """Give OpenCV's own board of a card's squares and markers."""
    ids = np.arange(design.first_marker, design.first_marker + MARKERS)
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    side = design.square_mm
    return cv2.aruco.CharucoBoard((SQUARES, SQUARES), side, MARKER_SHARE * side, dictionary, ids)


def board_image(design: CardDesign, *, px: int = 1200, rim_px: int = 120) -> np.ndarray:
    """Give OpenCV's picture of the card on white paper."""
    return cv2.copyMakeBorder(board(design).generateImage((px, px)), *([rim_px] * 4), cv2.BORDER_CONSTANT, value=255)


def seen_from(image: np.ndarray, warp: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """Give a picture through a homography of px, blurred first as finer px must be."""
    soft = cv2.GaussianBlur(image, (0, 0), 2.0)
    return cv2.warpPerspective(soft, warp, size, flags=cv2.INTER_LINEAR, borderValue=235)


# OpenCV's aruco module: CharucoBoard.getChessboardCorners and getObjPoints, y down from the upper-left corner.
@pytest.mark.parametrize("number", [1, 5])
def test_a_cards_corners_and_markers_are_those_of_opencvs_board(number: int) -> None:
    design = CardDesign(number, 80.0)
    reference = board(design)

    half = design.size_mm / 2
    corners, markers = reference.getChessboardCorners(), np.array(reference.getObjPoints())
    assert np.allclose(
        np.column_stack([corners[:, 0] - half, half - corners[:, 1]]), design.inner_corners_mm(), atol=1e-4
    )
    flipped = np.stack([markers[..., 0] - half, half - markers[..., 1]], axis=-1)
    assert np.allclose(flipped, design.markers_mm(), atol=1e-4)
    assert reference.getIds().ravel().tolist() == list(range(design.first_marker, design.first_marker + MARKERS))


def test_no_marker_is_on_two_cards_and_each_tells_its_card() -> None:
    designs = [CardDesign(number, size) for size in SIZES_MM for number in range(1, NUMBERS + 1)]
    markers = [design.first_marker + place for design in designs for place in range(MARKERS)]

    told = [design_of(marker) for marker in markers]

    assert len(set(markers)) == len(markers)
    assert max(markers) < len(cv2.aruco.getPredefinedDictionary(DICTIONARY).bytesList)
    assert told == [(design, place) for design in designs for place in range(MARKERS)]


# OpenCV draws the card (CharucoBoard.generateImage); its corner k lies at k squares, half a px before a pixel's centre.
def test_corners_of_a_card_seen_straight_are_found_half_a_px_before_pixel_centres() -> None:
    cards = find_cards(np.asarray(cv2.GaussianBlur(board_image(CardDesign(3)), (0, 0), 1.0), np.uint8))

    (card,) = cards
    expected = (card.places_mm * [1, -1] + 30) / 60 * 1200 + 120 - 0.5
    assert (card.number, card.size_mm, card.laid) == (3, 60.0, Laid.FLAT)
    assert np.abs(card.points_px - expected).max() < FOUND_PX


# OpenCV projects the places (projectPoints) and finds the corners by its own CharucoDetector.
def test_corners_of_a_tilted_card_are_where_opencv_projects_and_finds_them() -> None:
    design = CardDesign(2)
    turn, shift = np.array([2.75, 0.25, 0.35]), np.array([4.0, -6.0, 260.0])
    lens = np.array([[2600.0, 0, 800], [0, 2600.0, 600], [0, 0, 1]])
    mm = np.column_stack([design.inner_corners_mm(), np.zeros(25)])
    projected = cv2.projectPoints(mm, turn, shift, lens, np.zeros(4))[0].reshape(-1, 2)
    rim = np.array([[-30.0, 30], [30, 30], [30, -30], [-30, -30]])
    outer = cv2.projectPoints(np.column_stack([rim, np.zeros(4)]), turn, shift, lens, np.zeros(4))[0].reshape(-1, 2)
    image_px = (rim * [1, -1] + 30) / 60 * 1200 + 120 - 0.5
    warp, _ = cv2.findHomography(image_px, outer)
    picture = np.asarray(seen_from(board_image(design), warp, (1600, 1200)), np.uint8)

    (card,) = find_cards(picture)

    where = {tuple(np.round(place, 6)): at for place, at in zip(mm[:, :2], projected, strict=True)}
    off = card.points_px - np.array([where[tuple(np.round(place, 6))] for place in card.places_mm])
    assert len(off) == 25
    assert np.abs(off.mean(axis=0)).max() < FOUND_PX / 2
    assert np.abs(off).max() < 2 * FOUND_PX
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMinAccuracy = 0.001
    corners, ids, _, _ = cv2.aruco.CharucoDetector(board(design), detectorParams=parameters).detectBoard(picture)
    theirs = {int(n): at for n, at in zip(ids.ravel(), corners.reshape(-1, 2), strict=True)}
    ours = {
        int(np.abs(mm[:, :2] - place).sum(axis=1).argmin()): at
        for place, at in zip(card.places_mm, card.points_px, strict=True)
    }
    assert len(theirs) > 20
    assert max(float(np.hypot(*(ours[n] - at))) for n, at in theirs.items()) < 0.15


def test_the_same_number_twice_is_two_cards() -> None:
    image = np.hstack([board_image(CardDesign(1)), board_image(CardDesign(1))])

    cards = find_cards(np.asarray(cv2.GaussianBlur(image, (0, 0), 1.0), np.uint8))

    assert [(card.number, card.copy, len(card.points_px)) for card in cards] == [(1, 0, 25), (1, 1, 25)]
    assert cards[0].label != cards[1].label


def test_what_lies_over_a_card_is_left_out_and_a_card_mostly_hidden_is_said() -> None:
    image = board_image(CardDesign(4))
    image[:, 700:] = 128
    hidden = board_image(CardDesign(5))
    hidden[:, 500:] = 128

    cards = find_cards(np.asarray(cv2.GaussianBlur(np.hstack([image, hidden]), (0, 0), 1.0), np.uint8))

    assert [(card.number, card.laid) for card in cards] == [(4, Laid.FLAT), (5, Laid.PARTLY_SEEN)]
    assert len(cards[0].points_px) < 20


def test_a_card_that_curls_is_not_taken_for_flat() -> None:
    image = cv2.GaussianBlur(board_image(CardDesign(6)), (0, 0), 1.0)
    x, y = np.meshgrid(np.arange(image.shape[1], dtype=np.float32), np.arange(image.shape[0], dtype=np.float32))
    # A cylinder 1 mm (20 px) high seen at 30 degrees shifts its middle by half of that.
    bulge = np.asarray(10 * (1 - ((x - 720) / 600) ** 2), np.float32)
    picture = np.asarray(cv2.remap(image, x, y + bulge, cv2.INTER_LINEAR, borderValue=255), np.uint8)

    (card,) = find_cards(picture)

    assert card.laid is Laid.CURLED


def test_a_picture_without_cards_has_none() -> None:
    rng = np.random.default_rng(5)
    picture = np.asarray(rng.normal(200, 20, (700, 900)).clip(0, 255), np.uint8)
    for n in range(12):
        cv2.rectangle(picture, (30 + 70 * n, 100), (80 + 70 * n, 150), 20, 3 + n)

    assert find_cards(picture) == ()


def camera(**changes: float) -> Camera:
    view = replace(View(tilt_x_deg=14, tilt_y_deg=-11, k1=-0.03, k2=0.01), **changes)
    return camera_for(SHEET_MM, view, width_px=4000, height_px=3000)


CORNERS_MM = ((70.0, 65.0), (770.0, 530.0), (65.0, 535.0), (775.0, 60.0))


def laid(
    camera: Camera, *, printed: tuple[float, float] = (1.0, 1.0), wrong: float = 1.0, noise_px: float = 0.04
) -> Cards:
    """Lay four cards, each turned its own way; the last is printed `wrong` times as large as the others."""
    rng = np.random.default_rng(11)
    cards = []
    for n, at in enumerate(CORNERS_MM):
        mm = CardDesign(n + 1).inner_corners_mm()
        turn = 0.3 + n * 1.7
        cos, sin = math.cos(turn), math.sin(turn)
        size = wrong if n == 3 else 1.0
        on_plan = (mm * printed * size) @ np.array([[cos, sin], [-sin, cos]]) + at
        px = camera.to_picture(on_plan)
        cards.append(LaidCard(f"card {n + 1}", mm, px + rng.normal(0, noise_px, px.shape), noise_px))
    return Cards(tuple(cards))


def adjusted(observations: tuple[Observation, ...], camera: Camera) -> Calibration:
    return adjust(
        observations,
        width_px=camera.width_px,
        height_px=camera.height_px,
        kind=Kind.PHOTO,
        focal_35mm=camera.focal_35mm * 1.02,
    )


def known(camera: Camera, start: tuple[float, float], end: tuple[float, float], *, times: float = 1.0) -> KnownDistance:
    (x0, y0), (x1, y1) = camera.to_picture(np.array([start, end])).tolist()
    return KnownDistance((x0, y0), (x1, y1), times * math.dist(start, end), label="known distance 1")


def lengths(calibration: Calibration, camera: Camera) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give true and fitted lengths and their give or take over sides and diagonals."""
    ends = np.array(
        [[[20, 20], [820, 20]], [[20, 20], [20, 570]], [[20, 20], [820, 570]], [[400, 100], [400, 500]]], float
    )
    true = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    mm, u95 = calibration.lengths_u95(camera.to_picture(ends[:, 0]), camera.to_picture(ends[:, 1]), mark_sigma_px=0.0)
    return true, mm, u95


def test_four_cards_alone_tell_all_lengths() -> None:
    view = camera()

    calibration = adjusted((laid(view),), view)

    true, mm, u95 = lengths(calibration, view)
    assert np.abs(mm / true - 1).max() < 0.0005
    assert (np.abs(mm - true) < u95).all()
    # Nothing says how large they were printed: that is in every give or take.
    assert (u95 / true > 0.015).all()
    cards = [entry for entry in calibration.observed if entry.kind is Given.CARD]
    assert [entry.label for entry in cards] == ["card 1", "card 2", "card 3", "card 4"]
    assert all(abs(entry.residual_mm) < 0.1 for entry in cards)


def test_the_map_is_not_mirrored_and_y_runs_up() -> None:
    view = camera()

    calibration = adjusted((laid(view),), view)

    plan = calibration.to_plan(view.to_picture(np.array([[100.0, 100], [700, 100], [100, 500]])))
    right, up = plan[1] - plan[0], plan[2] - plan[0]
    assert right[0] > 590
    assert up[1] > 390
    assert right[0] * up[1] - right[1] * up[0] > 0


def test_a_long_known_distance_tells_what_the_printer_did() -> None:
    view = camera()
    printed = (0.99, 0.994)

    calibration = adjusted((laid(view, printed=printed), known(view, (40.0, 40.0), (800.0, 540.0))), view)

    true, mm, u95 = lengths(calibration, view)
    assert np.abs(mm / true - 1).max() < 0.0012
    assert (np.abs(mm - true) < u95).all()
    assert calibration.settled


def test_measured_bars_tell_what_the_printer_did() -> None:
    view = camera()
    cards = replace(laid(view, printed=(0.99, 0.994)), bars=((1, 0.994, 0.0005), (0, 0.99, 0.0008)))

    calibration = adjusted((cards,), view)

    true, mm, u95 = lengths(calibration, view)
    assert np.abs(mm / true - 1).max() < 0.0012
    assert (u95 / true < 0.0025).all()


def test_a_page_fitted_to_the_paper_is_taken_out_and_said() -> None:
    view = camera()

    calibration = adjusted((laid(view, printed=(0.97, 0.97)), known(view, (40.0, 40.0), (800.0, 540.0))), view)

    true, mm, _ = lengths(calibration, view)
    assert np.abs(mm / true - 1).max() < 0.0012
    assert "cards-printed-off" in [finding.code for finding in calibration.findings]


def test_a_length_that_does_not_agree_with_measured_bars_is_for_the_builder_to_decide() -> None:
    view = camera()
    cards = replace(laid(view), bars=((1, 1.0, 0.0005), (0, 1.0, 0.0008)))

    calibration = adjusted((cards, known(view, (40.0, 40.0), (800.0, 540.0), times=1.02)), view)

    assert not calibration.settled
    told = " ".join(finding.text for finding in calibration.findings if finding.level is Level.DECIDE)
    assert "nown distance 1" in told
    assert "printed" in told


def test_a_card_of_another_print_is_named_and_left_out() -> None:
    view = camera()

    calibration = adjusted((laid(view, wrong=0.97),), view)

    true, mm, _ = lengths(calibration, view)
    assert [finding.about for finding in calibration.findings if finding.code == "card-left-out"] == ["card 4"]
    assert np.abs(mm / true - 1).max() < 0.001


def test_cards_on_a_reduced_plan_need_its_drawn_scale() -> None:
    view = camera()

    with pytest.raises(CalibrationError, match="--drawn-at 1/4"):
        adjusted((laid(view), known(view, (40.0, 40.0), (800.0, 540.0), times=4.0)), view)

    reduced = replace(laid(view), full_per_paper=4.0)
    calibration = adjusted((reduced, known(view, (40.0, 40.0), (800.0, 540.0), times=4.0)), view)
    true, mm, _ = lengths(calibration, view)
    assert np.abs(mm / (4 * true) - 1).max() < 0.0012


def test_few_cards_say_how_unsure_they_are() -> None:
    view = camera()
    cards = laid(view)

    for count in (1, 2):
        calibration = adjusted((replace(cards, cards=cards.cards[:count]),), view)

        true, mm, u95 = lengths(calibration, view)
        assert (np.abs(mm - true) < u95).all()
        assert "few-cards" in [finding.code for finding in calibration.findings]
