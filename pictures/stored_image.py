"""The pixels of a PDF's image as stored, where that is the same as drawing the page and three times faster."""

from typing import Any

import cv2
import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium
from numpy.typing import NDArray

from pictures.channels import as_channels
from pictures.page_image import PageImage
from pictures.reading import Channels
from pictures.upright import put_upright

LEAST_LIKENESS = 0.9
"""Least correlation with the page drawn small. The two reductions differ a little: real scans give 0.97 and more; an
exchange of black and white gives less than 0, a wrong turn near 0."""

MOST_SHIFT = 10.0
"""Most that the mean grey level may differ from the page drawn small."""


def stored_pixels(image: PageImage, *, small_bgr: NDArray[np.uint8], channels: Channels) -> NDArray[np.uint8] | None:
    """Give the shown part of an image, turned as the page shows it; None if drawing might give anything else.

    Parameters
    ----------
    image : PageImage
        As found on the page.
    small_bgr : (h, w, 3) uint8
        The same part of the page drawn small: what the pixels are checked against.
    channels : Channels

    Returns
    -------
    (H, W) or (H, W, 3) uint8 of `image.grid`'s size, or None
        None for masks, 1-bit images, transparency, clipping, odd colour spaces and whatever does not look like
        `small_bgr`.
    """
    item = image.item
    if image.turn is None or pdfium.FPDFPageObj_HasTransparency(item):
        return None
    clip = pdfium.FPDFPageObj_GetClipPath(item)
    if clip and pdfium.FPDFClipPath_CountPaths(clip) > 0:
        return None
    bitmap = pdfium.FPDFImageObj_GetBitmap(item)
    if not bitmap:
        return None
    stored: Any = pypdfium2.PdfBitmap.from_raw(bitmap)
    try:
        pixels = _pixels(stored, channels)
        if pixels is None:
            return None
        turned = put_upright(pixels, image.turn)
        grid = image.grid
        first_x, first_y = image.first_px
        shown = turned[first_y : first_y + grid.height_px, first_x : first_x + grid.width_px]
        if shown.shape[:2] != (grid.height_px, grid.width_px) or not _alike(shown, small_bgr):
            return None
        # A copy where the renderer's own memory would be handed out.
        return np.array(shown, np.uint8, order="C")
    finally:
        stored.close()


def _pixels(stored: Any, channels: Channels) -> NDArray[np.uint8] | None:
    """Grey or RGB of the decoder's bitmap; None if it is of another form."""
    samples: NDArray[np.uint8] = stored.to_numpy()
    match stored.format:
        case pdfium.FPDFBitmap_Gray:
            return as_channels(samples.reshape(samples.shape[:2]), channels)
        case pdfium.FPDFBitmap_BGR:
            return as_channels(samples, channels)
        case _:
            return None


def _alike(shown: NDArray[np.uint8], small_bgr: NDArray[np.uint8]) -> bool:
    """Tell whether pixels look like the page drawn small."""
    height, width = small_bgr.shape[:2]
    small = cv2.resize(shown, (width, height), interpolation=cv2.INTER_AREA)
    grey = small if small.ndim == 2 else cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)
    # Blurred alike, so that how each reduces thin lines does not count.
    one, two = (
        cv2.blur(part, (5, 5)).astype(np.float64) for part in (grey, cv2.cvtColor(small_bgr, cv2.COLOR_BGR2GRAY))
    )
    if abs(float(one.mean() - two.mean())) > MOST_SHIFT or min(one.std(), two.std()) < 1:
        return False
    return float(np.corrcoef(one.ravel(), two.ravel())[0, 1]) > LEAST_LIKENESS
