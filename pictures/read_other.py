"""Decode BMP, GIF, WebP, AVIF and HEIC."""

import dataclasses
from typing import Any

from PIL import Image

from pictures.limits import check_page, check_size
from pictures.native_output import captured_messages
from pictures.picture import PictureError
from pictures.pillow_pixels import UNDECODABLE, pillow_reading
from pictures.plan_file import FileKind, PlanFile, damaged
from pictures.reading import Channels, Reading


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
                reading = pillow_reading(image, channels, name=file.path.name)
        except PictureError:
            raise
        except UNDECODABLE as error:
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
    return pillow_reading(main.to_pillow(), channels, name=file.path.name)
