"""Samples of any depth as 8 bits: 0 black to 255 white."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from drawing.findings import Finding, Level
from pictures.picture import PictureError

FILLED = 0.25
"""Part of the number range that a scan's tones must span to be taken as they are. Ink on paper spans over half; a
12-bit scan in 16-bit samples spans at most 1/16 and would come out black."""

TAILS = 0.001
"""Part of the samples beyond each end of the span: one hot or dead sensor pixel must not set the tones."""

SAMPLES = 2_000_000
"""Samples looked at for the span."""


def to_8_bits(samples: NDArray[Any], *, name: str) -> tuple[NDArray[np.uint8], tuple[Finding, ...]]:
    """Give 16-bit, 32-bit or float samples as 8 bits, and a finding if they had to be stretched.

    Parameters
    ----------
    samples : (H, W) or (H, W, 3) of an integer or float type
        0 is black. Whole numbers of up to 16 bits run to 65535; others to the least of 1, 255, 65535 and
        2^32 - 1 that holds them.
    name : str
        The file, for the message.

    Raises
    ------
    PictureError
        If samples are not numbers.
    """
    if samples.dtype == np.uint8:
        return samples.astype(np.uint8, copy=False), ()
    step = max(1, int(np.sqrt(samples.size / SAMPLES)))
    some = samples[::step, ::step]
    top = 65535.0
    if samples.dtype != np.uint16:
        # The extremes of a float array are NaN if any sample is: no array of flags is needed.
        low, high = float(samples.min()), float(samples.max())
        if not (np.isfinite(low) and np.isfinite(high)):
            raise PictureError(
                f"{name} holds samples that are not numbers (NaN or infinite); grey values were needed: "
                "save it anew as 8-bit or 16-bit grey."
            )
        tops = (1.0, 255.0, 65535.0) if np.issubdtype(samples.dtype, np.floating) else (255.0, 65535.0)
        top = next((top for top in tops if low >= 0 and high <= top), 4294967295.0)
    dark, light = (float(value) for value in np.quantile(some, [TAILS, 1 - TAILS]))
    if light - dark >= FILLED * top:
        return _mapped(samples, 0.0, top), ()
    if light <= dark:
        # So little is drawn that the tails hold all of it.
        dark, light = float(samples.min()), float(samples.max())
    if light <= dark:
        return np.zeros(samples.shape, np.uint8), ()
    text = (
        f"The tones in {name} span only {dark:g} to {light:g} of a range of 0 to {top:g}; "
        "they were stretched to black and white."
    )
    return _mapped(samples, dark, light), (Finding("tones-stretched", Level.NOTE, name, text),)


def _mapped(samples: NDArray[Any], dark: float, light: float) -> NDArray[np.uint8]:
    """Map dark..light to 0..255 in strips, so that no whole-picture float array is made."""
    eight_bit = np.empty(samples.shape, np.uint8)
    scale = 255 / (light - dark)
    rows = max(1, 4_000_000 // (samples.size // len(samples)))
    for row in range(0, len(samples), rows):
        strip = samples[row : row + rows].astype(np.float32)
        strip -= np.float32(dark)
        strip *= np.float32(scale)
        np.clip(strip, 0, 255, out=strip)
        eight_bit[row : row + rows] = cv2.convertScaleAbs(strip).reshape(strip.shape)
    return eight_bit
