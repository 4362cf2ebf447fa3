"""Read a plan file into a picture."""

import logging
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from drawing.findings import Finding, Level
from pictures.picture import Picture, PictureError, Source
from pictures.plan_file import FileKind, PlanFile, open_plan_file
from pictures.reading import Channels, Reading
from pictures.tones import Levels, grey_levels, has_light_lines

_log = logging.getLogger(__name__)


def read_picture(path: Path | str, *, page: int = 1, progress: Callable[[float], None] | None = None) -> Picture:
    """Read a plan file (JPEG, PNG, TIFF, HEIC, PDF, BMP, GIF or WebP) into a picture, upright, grey, dark on light.

    Parameters
    ----------
    path : path of the file
        Its format is told by its first bytes, not by its name.
    page : int
        Page of a PDF or TIFF, counted from 1.
    progress : function of the part done, 0..1

    Raises
    ------
    PictureError
        If there is no such file or page, it is no picture, damaged, cut short, too large, too small, or blank.
    """
    tell = progress or _silent
    tell(0.0)
    file = open_plan_file(Path(path))
    tell(0.1)
    reading = _read(file, page=page, channels=Channels.GREY)
    tell(0.8)
    grey = reading.pixels
    levels = grey_levels(grey)
    if levels.blank:
        raise PictureError(
            f"{_named(file, page, reading.pages)} is blank (grey levels {levels.darkest} to {levels.lightest} of 255); "
            "a picture with lines was needed: choose another page, or scan it again with more contrast."
        )
    findings = reading.findings
    inverted = has_light_lines(grey)
    grey = _two_tones(grey, levels) if levels.two else grey
    if inverted:
        grey = np.asarray(cv2.bitwise_not(grey), np.uint8)
        text = f"The lines in {file.path.name} are light on a dark ground, so light and dark were exchanged."
        findings = (*findings, Finding("blueprint", Level.NOTE, file.path.name, text))
    source = Source(
        path=file.path,
        sha256=file.sha256,
        medium=reading.medium,
        page=page,
        pages=reading.pages,
        tag_dpi=reading.claims.upright_dpi,
        render_dpi=reading.render_dpi,
        focal_35mm=reading.claims.focal_35mm,
        camera=reading.claims.camera,
        orientation=reading.claims.orientation,
        colour=reading.colour and not inverted,
        bilevel=levels.two,
        inverted=inverted,
    )
    tell(1.0)
    _log.info("%s: %d x %d px, %s", file.path.name, grey.shape[1], grey.shape[0], source.medium)
    return Picture(np.ascontiguousarray(grey), source, findings)


def read_colour(source: Source) -> NDArray[np.uint8]:
    """Read the same page again in colour: (H, W, 3) uint8 RGB, upright, with the pixels of `Picture.grey`.

    A blueprint's colours are exchanged as its greys were.

    Raises
    ------
    PictureError
        If the file is gone, or is no longer the one that was read.
    """
    file = open_plan_file(source.path)
    if file.sha256 != source.sha256:
        raise PictureError(
            f"{source.path.name} has changed since it was read; the same picture was needed: run again from the start."
        )
    pixels = _read(file, page=source.page, channels=Channels.COLOUR).pixels
    return np.asarray(cv2.bitwise_not(pixels), np.uint8) if source.inverted else pixels


def _read(file: PlanFile, *, page: int, channels: Channels) -> Reading:
    """Decode with the reader of the file's kind; each loads only the libraries it needs."""
    match file.kind:
        case FileKind.JPEG:
            from pictures.read_jpeg import read_jpeg as reader
        case FileKind.PNG:
            from pictures.read_png import read_png as reader
        case FileKind.TIFF:
            from pictures.read_tiff import read_tiff as reader
        case FileKind.PDF:
            from pictures.read_pdf import read_pdf as reader
        case _:
            from pictures.read_other import read_other as reader
    return reader(file, page=page, channels=channels)


def _two_tones(grey: NDArray[np.uint8], levels: Levels) -> NDArray[np.uint8]:
    """Make a picture of two levels black and white, whatever its palette's two colours were."""
    if (levels.darkest, levels.lightest) == (0, 255):
        return grey
    return np.asarray(cv2.threshold(grey, levels.darkest, 255, cv2.THRESH_BINARY)[1], np.uint8)


def _named(file: PlanFile, page: int, pages: int) -> str:
    """The file, and the page if it has several."""
    return file.path.name if pages == 1 else f"Page {page} of {file.path.name}"


def _silent(part: float) -> None:
    """Tell nobody."""
