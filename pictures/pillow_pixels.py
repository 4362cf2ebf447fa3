"""Pixels of an opened Pillow picture, in strips, so that no second whole copy is made."""

import struct
import zlib
from collections.abc import Iterator
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from pictures.channels import SMALL_SIDE_PX, as_channels, bgr_holds_colour
from pictures.claims import read_claims
from pictures.depth import to_8_bits
from pictures.reading import Channels, Reading
from pictures.upright import put_upright

UNDECODABLE: tuple[type[Exception], ...] = (
    UnidentifiedImageError,
    EOFError,
    OSError,
    ValueError,
    SyntaxError,
    LookupError,
    TypeError,
    AttributeError,
    ArithmeticError,
    RuntimeError,
    MemoryError,
    struct.error,
    zlib.error,
)
"""What parsing a damaged file raises in Pillow's readers."""

STRIP_PIXELS = 1_000_000
"""Pixels turned at a time: 4 MB in the widest form."""

_GREY_MODES = ("1", "L", "LA", "La")
WIDE_MODES = ("I;16", "I;16L", "I;16B", "I;16N", "I", "F")
"""Pillow's names of grey with more than 8 bits."""


def pillow_reading(image: Image.Image, channels: Channels, *, name: str) -> Reading:
    """Decode an opened picture, upright; what is transparent lies over white. `name` is the file's, for messages."""
    claims = read_claims(image)
    image.load()
    # TIFF pictures are turned by the decoder; PNG, WebP and AVIF are not.
    turn = 1 if image.format == "TIFF" else claims.orientation
    wide = wide_samples(image)
    if wide is not None:
        pixels, findings = to_8_bits(wide, name=name)
        return Reading(put_upright(as_channels(pixels, channels), turn), claims, findings=findings)
    return Reading(put_upright(pillow_pixels(image, channels), turn), claims, colour=pillow_colour(image))


def pillow_pixels(image: Image.Image, channels: Channels) -> NDArray[np.uint8]:
    """Give a decoded picture as (H, W) grey or (H, W, 3) RGB uint8; what is transparent lies over white."""
    width, height = image.size
    shape = (height, width) if channels is Channels.GREY else (height, width, 3)
    pixels = np.empty(shape, np.uint8)
    for row, strip in _strips(image):
        part = _over_white(strip, channels)
        pixels[row : row + len(part)] = part
    return pixels


def wide_samples(image: Image.Image) -> NDArray[Any] | None:
    """Give the samples of a grey picture with more than 8 bits; None if it is none."""
    if image.mode not in WIDE_MODES:
        return None
    width, height = image.size
    kind = {"I": np.int32, "F": np.float32}.get(image.mode, np.uint16)
    samples: NDArray[Any] = np.empty((height, width), kind)
    for row, strip in _strips(image):
        part = np.asarray(strip)
        samples[row : row + len(part)] = part
    return samples


def pillow_colour(image: Image.Image) -> bool:
    """Tell whether a decoded picture holds colour beyond its paper's tone."""
    if image.mode in _GREY_MODES or image.mode in WIDE_MODES:
        return False
    width, height = image.size
    # Palettes are turned to colours first, as indices cannot be averaged.
    factor = max(1, max(width, height) // SMALL_SIDE_PX)
    small = []
    for _, strip in _strips(image):
        rgb = _over_white(strip, Channels.COLOUR)
        size = max(1, width // factor), max(1, len(rgb) // factor)
        small.append(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA))
    return bgr_holds_colour(np.asarray(cv2.cvtColor(np.vstack(small), cv2.COLOR_RGB2BGR), np.uint8))


def _strips(image: Image.Image) -> Iterator[tuple[int, Image.Image]]:
    """Cut into strips of full width: (first row, strip)."""
    width, height = image.size
    rows = max(1, STRIP_PIXELS // width)
    for row in range(0, height, rows):
        yield row, image.crop((0, row, width, min(height, row + rows)))


def _over_white(strip: Image.Image, channels: Channels) -> NDArray[np.uint8]:
    """Grey or RGB of one strip, any 8-bit mode."""
    if strip.mode in ("1", "L") and "transparency" not in strip.info:
        return as_channels(np.asarray(strip if strip.mode == "L" else strip.convert("L"), np.uint8), channels)
    if strip.has_transparency_data:
        white = Image.new("RGBA", strip.size, "white")
        white.alpha_composite(strip.convert("RGBA"))
        strip = white
    rgb = np.asarray(strip.convert("RGB"), np.uint8)
    return rgb if channels is Channels.COLOUR else np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8)
