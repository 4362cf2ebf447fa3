"""Small invented pictures for the tests: never square, never symmetric."""

import os
import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

real = pytest.mark.skipif("SCANTLING_REAL" not in os.environ, reason="SCANTLING_REAL names no folder of real pictures")


def real_file(name: str) -> Path:
    return Path(os.environ["SCANTLING_REAL"]) / name


def plan(width: int = 310, height: int = 210, *, paper: int = 235, ink: int = 30, seed: int = 5) -> NDArray[np.uint8]:
    """A sheet with an F in its upper left, which has no symmetry, and smooth-edged lines at chance; grey uint8."""
    rng = np.random.default_rng(seed)
    sheet = np.full((height, width), paper, np.uint8)
    for _ in range(max(6, min(60, width * height // 20_000))):
        ends = [(int(rng.integers(width)), int(rng.integers(height))) for _ in range(2)]
        cv2.line(sheet, ends[0], ends[1], ink, 2, cv2.LINE_AA)
    for start, end in (((20, 20), (20, 90)), ((20, 20), (70, 20)), ((20, 50), (50, 50))):
        cv2.line(sheet, start, end, ink, 3)
    return sheet


def two_tone(width: int = 310, height: int = 210) -> NDArray[np.uint8]:
    """The same in black and white: 0 or 255."""
    return np.where(plan(width, height) < 128, 0, 255).astype(np.uint8)


def png(header: bytes, *chunks: tuple[bytes, bytes]) -> bytes:
    """A PNG from its IHDR body and further chunks, checksums made right (PNG 1.2, 5.3)."""
    data = b"\x89PNG\r\n\x1a\n"
    for name, body in ((b"IHDR", header), *chunks, (b"IEND", b"")):
        data += struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
    return data
