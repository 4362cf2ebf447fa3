"""Random damage to small files of every format: a picture or one sentence, in bounded time; never a crash or a hang."""

import os
import re
import time
import zlib
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from drawing.errors import ScantlingError
from pictures.read import read_colour, read_picture
from tests.pictures.plans import plan, two_tone

CASES = int(os.environ.get("SCANTLING_FUZZ_CASES", "10"))
"""Damaged files of each format and kind of damage: some 10 s for all. Raise it for a longer search."""

SENTENCE = re.compile(r"[^;\n]+; [^;:\n]+: [^\n]+\.")
"""What was found; what was needed: what to do next."""

LONGEST_S = 10.0
"""Most that one small damaged file may take; a sound one takes 0.01 s, and the machine may be busy."""


def saved(image: Image.Image, kind: str, **options: object) -> bytes:
    stored = BytesIO()
    image.save(stored, kind, **options)
    return stored.getvalue()


def pdf(*, scan: bool) -> bytes:
    stored = BytesIO()
    canvas = Canvas(stored, pagesize=(74.4, 50.4), pageCompression=0)
    if scan:
        canvas.drawImage(ImageReader(Image.fromarray(plan())), 0, 0, 74.4, 50.4)
    else:
        canvas.line(3, 4, 60, 40)
        canvas.drawString(5, 6, "RIB 7")
    canvas.showPage()
    canvas.save()
    return stored.getvalue()


grey, rgb = Image.fromarray(plan()), Image.fromarray(np.dstack([plan(), plan(seed=6), plan()]))
bits = Image.fromarray(two_tone()).convert("1")
exif = Image.Exif()
exif.update({271: "Invented", 274: 6, 282: 300.0, 283: 300.0, 296: 2})
SOUND = {
    "jpeg": saved(rgb, "JPEG", exif=exif, dpi=(300, 300)),
    "progressive jpeg": saved(grey, "JPEG", progressive=True),
    "cmyk jpeg": saved(rgb.convert("CMYK"), "JPEG"),
    "png": saved(rgb, "PNG", exif=exif, dpi=(300, 300)),
    "palette png": saved(rgb.quantize(8), "PNG"),
    "16-bit png": saved(Image.fromarray(plan().astype(np.uint16) * 200), "PNG"),
    "raw tiff": saved(grey, "TIFF"),
    "fax tiff": saved(bits, "TIFF", compression="group4"),
    "g3 tiff": saved(bits, "TIFF", compression="group3"),
    "lzw tiff": saved(rgb, "TIFF", compression="tiff_lzw"),
    "jpeg tiff": saved(rgb, "TIFF", compression="jpeg"),
    "two-page tiff": saved(bits, "TIFF", save_all=True, append_images=[bits], compression="packbits"),
    "float tiff": saved(Image.fromarray(plan().astype(np.float32)), "TIFF"),
    "bmp": saved(bits, "BMP"),
    "gif": saved(grey.quantize(16), "GIF"),
    "webp": saved(grey, "WEBP", lossless=True),
    "drawn pdf": pdf(scan=False),
    "scanned pdf": pdf(scan=True),
    "heic": b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + np.random.default_rng(0).bytes(400),
}


def flipped(data: bytes, rng: np.random.Generator) -> bytes:
    changed = bytearray(data)
    for _ in range(int(rng.integers(1, 9))):
        # Half of the hits in the header, where they do most.
        reach = min(len(data), 256) if rng.random() < 0.5 else len(data)
        changed[int(rng.integers(reach))] ^= 1 << int(rng.integers(8))
    return bytes(changed)


def cut(data: bytes, rng: np.random.Generator) -> bytes:
    return data[: int(rng.integers(1, len(data)))]


def spliced(data: bytes, rng: np.random.Generator) -> bytes:
    start, end = sorted(int(place) for place in rng.integers(0, len(data), 2))
    return data[:start] + rng.bytes(int(rng.integers(0, 40))) + data[end:]


def overwritten(data: bytes, rng: np.random.Generator) -> bytes:
    start = int(rng.integers(len(data)))
    odd = [b"\xff\xff\xff\xff", b"\0\0\0\0", b"\x7f\xff\xff\xff", b"\xff\xff\xff\x7f"][int(rng.integers(4))]
    return data[:start] + odd + data[start + 4 :]


def read_or_refuse(path: Path) -> str | None:
    """What the refusal says; None if there is a picture."""
    try:
        picture = read_picture(path)
        read_colour(picture.source)
    except ScantlingError as refused:
        return str(refused)
    assert picture.grey.dtype == np.uint8
    assert min(picture.grey.shape) >= 64
    return None


@pytest.mark.parametrize("name", SOUND)
@pytest.mark.parametrize("damage", [flipped, cut, spliced, overwritten])
def test_damage_gives_a_picture_or_a_sentence(
    tmp_path: Path,
    name: str,
    damage: Callable[[bytes, np.random.Generator], bytes],
    capfd: pytest.CaptureFixture[str],
) -> None:
    rng = np.random.default_rng(zlib.crc32(f"{name} {damage.__name__}".encode()))
    path = tmp_path / "damaged"
    for _ in range(CASES):
        path.write_bytes(damage(SOUND[name], rng))
        begun = time.monotonic()
        refused = read_or_refuse(path)
        assert refused is None or SENTENCE.fullmatch(refused)
        assert time.monotonic() - begun < LONGEST_S
    assert capfd.readouterr() == ("", "")
