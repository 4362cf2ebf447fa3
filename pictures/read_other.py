"""Decode BMP, GIF, WebP, AVIF and HEIC."""

import dataclasses
import struct
from typing import Any

from PIL import Image, UnidentifiedImageError

from pictures.claims import read_claims
from pictures.depth import to_8_bits
from pictures.limits import check_page, check_size
from pictures.native_output import captured_messages
from pictures.picture import PictureError
from pictures.pillow_pixels import pillow_colour, pillow_pixels, wide_samples
from pictures.plan_file import FileKind, PlanFile, damaged
from pictures.reading import Channels, Reading
from pictures.upright import put_upright

_UNDECODABLE: tuple[type[Exception], ...]
_UNDECODABLE = (UnidentifiedImageError, EOFError, OSError, ValueError, SyntaxError, KeyError, IndexError, TypeError)
_UNDECODABLE += (AttributeError, RuntimeError, struct.error)
"""What parsing a damaged file raises in Pillow's readers."""


def read_other(file: PlanFile, *, page: int, channels: Channels) -> Reading:
    """Decode a file of one of Pillow's further formats; of an animation the frame `page`.

    Raises
    ------
    PictureError
        If it has no such page, is cut short, damaged, of a form that cannot be decoded, or too large.
    """
    with captured_messages():
        try:
            if file.kind is FileKind.HEIC:
                return _read_heic(file, page, channels)
            with Image.open(file.path, formats=(file.kind.value.upper(),)) as image:
                pages = int(getattr(image, "n_frames", 1))
                check_page(file.path, page=page, pages=pages)
                check_size(file.path, width_px=image.size[0], height_px=image.size[1])
                image.seek(page - 1)
                reading = _decode(file, image, channels)
        except PictureError:
            raise
        except _UNDECODABLE as error:
            raise damaged(file.path, file.kind, "its data cannot be decoded") from error
    return dataclasses.replace(reading, pages=pages)


def _read_heic(file: PlanFile, page: int, channels: Channels) -> Reading:
    """Decode a HEIC file's main picture; its other pictures are previews and depth maps, not pages."""
    import pi_heif

    check_page(file.path, page=page, pages=1)
    container: Any = pi_heif.open_heif(str(file.path), convert_hdr_to_8bit=True)
    main = container[container.primary_index]
    check_size(file.path, width_px=main.size[0], height_px=main.size[1])
    # The container's own turn and mirror are applied by the decoder, which then clears the EXIF orientation.
    return _decode(file, main.to_pillow(), channels)


def _decode(file: PlanFile, image: Image.Image, channels: Channels) -> Reading:
    """Decode an opened picture, upright."""
    claims = read_claims(image)
    image.load()
    wide = wide_samples(image)
    if wide is not None:
        pixels, findings = to_8_bits(wide, name=file.path.name)
        return Reading(put_upright(pixels, claims.orientation), claims, findings=findings)
    pixels = put_upright(pillow_pixels(image, channels), claims.orientation)
    return Reading(pixels, claims, colour=pillow_colour(image))
