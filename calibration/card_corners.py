"""Where the inner corners of a card's chessboard are, from the whole sides of the squares that meet in each."""

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ALONG_SQUARES = 0.85
"""How far along each of its four sides a corner is looked at: short of the next corner's own blur."""

ACROSS_SQUARES = 0.09
"""Half width of the band along a side, where a marker begins 0.15 squares away: wider, and its blur comes in."""

LEAST_ACROSS_PX = 1.5
"""A blurred side needs so much on either side of its middle, however small the squares."""

PASSES = 3
"""The bands follow the corners; the second pass moves them by hundredths of a px, the third by thousandths."""


def corners_from_sides(grey: NDArray[np.uint8], corners_px: Floats, steps_px: Floats) -> Floats:
    """Refine corners to a few hundredths of a px.

    As in OpenCV's cornerSubPix (Foerstner, Guelch 1987), a corner is the point to which every gradient near it is at
    right angles; but instead of a window round the corner, bands along all four sides are used, up to the next corner.
    That takes in ten times the pixels, and no marker. What moves a side towards its dark or light half, as spread
    ink, a camera's tone curve and blur do, moves opposite sides oppositely and leaves the corner where it is.

    Parameters
    ----------
    grey : (H, W) array of uint8
    corners_px : (N, 2) array
        Good to a px or so.
    steps_px : (N, 2, 2) array
        What one square along the card's x and along its y leads to at each corner, as columns.

    Returns
    -------
    (N, 2) array
        NaN where too little of the sides lies in the picture.
    """
    refined = np.full_like(corners_px, np.nan)
    for n, (corner, step) in enumerate(zip(corners_px, steps_px, strict=True)):
        refined[n] = _from_sides(grey, corner, step)
    return refined


def _from_sides(grey: NDArray[np.uint8], corner_px: Floats, step_px: Floats) -> Floats:
    height, width = grey.shape
    reach = np.abs(step_px).sum(axis=1) * ALONG_SQUARES + 2
    low = np.floor(corner_px - reach).astype(int)
    high = np.ceil(corner_px + reach).astype(int) + 1
    if (low < 1).any() or high[0] > width - 1 or high[1] > height - 1:
        low, high = np.maximum(low, 1), np.minimum(high, [width - 1, height - 1])
    if (high - low < 4).any():
        return np.full(2, np.nan)
    # One px more all round: the derivative needs its neighbours.
    patch = grey[low[1] - 1 : high[1] + 1, low[0] - 1 : high[0] + 1]
    right = cv2.Sobel(patch, cv2.CV_32F, 1, 0, ksize=3)[1:-1, 1:-1].ravel().astype(np.float64)
    down = cv2.Sobel(patch, cv2.CV_32F, 0, 1, ksize=3)[1:-1, 1:-1].ravel().astype(np.float64)
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(low[0], high[0]), np.arange(low[1], high[1])))
    places = np.column_stack([x, y]).astype(np.float64)
    to_squares = np.linalg.inv(step_px)
    # Across a side the narrower of the two directions tells how many px a square is.
    across = np.maximum(ACROSS_SQUARES, LEAST_ACROSS_PX * np.linalg.norm(to_squares, axis=1))
    at = corner_px
    for _ in range(PASSES):
        on_card = np.abs((places - at) @ to_squares.T)
        # Beside the card's x axis what counts is y, and the other way round; the weight fades to none at the rim.
        fade = np.clip(1 - (on_card / across) ** 2, 0, None)
        weight = np.maximum(fade[:, 0] * (on_card[:, 1] < ALONG_SQUARES), fade[:, 1] * (on_card[:, 0] < ALONG_SQUARES))
        a, b, c = (weight * right * right).sum(), (weight * right * down).sum(), (weight * down * down).sum()
        if a * c - b * b <= 1e-6 * (a + c) ** 2:
            return np.full(2, np.nan)
        along = weight * (right * places[:, 0] + down * places[:, 1])
        at = np.linalg.solve(np.array([[a, b], [b, c]]), np.array([(right * along).sum(), (down * along).sum()]))
    return at
