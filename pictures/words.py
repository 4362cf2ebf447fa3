"""Words that a picture shows, read by an optical reader where one is installed (the extra `names`)."""

import importlib
import importlib.util
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

READ_PX = 2400
"""Longest side that is read: letters 2.5 mm high on an A2 sheet are 10 px high there, which the reader still knows."""

LEAST_SCORE = 0.8
"""The reader's own confidence below which a word is left alone: circles and crossings come out as letters below it."""

NEEDED = ("rapidocr", "onnxruntime")
"""The reader, and what runs its models."""


@dataclass(frozen=True, slots=True)
class Word:
    """A line of lettering: what it says, and its box, (4, 2) px, in the order in which the reader turns round it."""

    text: str
    corners_px: NDArray[np.float64]


def reader_installed() -> bool:
    """Whether an optical reader is there."""
    return all(importlib.util.find_spec(name) is not None for name in NEEDED)


def read_words(grey: NDArray[np.uint8]) -> tuple[Word, ...]:
    """Read all lettering of a picture (H, W), dark on light; `reader_installed` tells whether that can be done.

    The reader finds lines of text, turns those upside down round, and reads them (RapidOCR, which runs the PP-OCR
    models that its package holds); nothing is fetched from anywhere.
    """
    factor = max(1.0, max(grey.shape) / READ_PX)
    size = (max(1, round(grey.shape[1] / factor)), max(1, round(grey.shape[0] / factor)))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA) if factor > 1 else grey
    reader = importlib.import_module("rapidocr").RapidOCR(
        params={"Global.max_side_len": READ_PX, "Global.log_level": "critical", "Global.text_score": LEAST_SCORE}
    )
    found = reader(cv2.cvtColor(small, cv2.COLOR_GRAY2BGR))
    if found.boxes is None or found.txts is None:
        return ()
    scale = np.array([grey.shape[1] / size[0], grey.shape[0] / size[1]])
    boxes = (np.asarray(found.boxes, dtype=np.float64) + 0.5) * scale - 0.5
    return tuple(Word(text.strip(), box) for text, box in zip(found.txts, boxes, strict=True) if text.strip())
