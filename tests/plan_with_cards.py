"""The small plan with two cards laid beside it."""

import cv2
import numpy as np

from calibration.card_design import DICTIONARY, MARKER_SHARE, MARKERS, SQUARES, CardDesign
from tests.small_plan import PX_PER_MM, draw_small_plan

CARD_MM = 40.0
ROOM_MM = 60.0
"""To the right of the plan and below it: its frame lies where it does on the plan alone, in px."""

CARDS_MM = ((1, (30.0, 160.0)), (2, (220.0, 40.0)))
"""Numbers and middles, from the picture's upper left corner."""


def board_image(design: CardDesign, px: int) -> np.ndarray:
    """Give OpenCV's own picture of a card (CharucoBoard.generateImage)."""
    ids = np.arange(design.first_marker, design.first_marker + MARKERS)
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    side = design.square_mm
    return cv2.aruco.CharucoBoard((SQUARES, SQUARES), side, MARKER_SHARE * side, dictionary, ids).generateImage(
        (px, px)
    )


def draw_plan_with_cards() -> np.ndarray:
    """Give the sheet as a scanner would show it, (H, W) uint8."""
    plan = draw_small_plan()
    room = round(ROOM_MM * PX_PER_MM)
    sheet = np.full((plan.shape[0] + room, plan.shape[1] + room), 245, np.uint8)
    sheet[: plan.shape[0], : plan.shape[1]] = plan
    size = round(CARD_MM * PX_PER_MM)
    for number, (x, y) in CARDS_MM:
        left, top = round(x * PX_PER_MM) - size // 2, round(y * PX_PER_MM) - size // 2
        # Of whole px a square, six times too fine: at the size wanted OpenCV would round every square.
        fine = board_image(CardDesign(number, CARD_MM), SQUARES * size)
        card = cv2.resize(fine, (size, size), interpolation=cv2.INTER_AREA)
        sheet[top : top + size, left : left + size] = cv2.GaussianBlur(card, (0, 0), 0.7)
    noise = np.random.default_rng(2).normal(0, 2, sheet.shape)
    pixels: np.ndarray = np.clip(sheet + noise, 0, 255).astype(np.uint8)
    return pixels
