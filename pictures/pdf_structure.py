"""What a PDF's own bytes tell that the renderer does not: the size of its unit, and whether the file is whole."""

import re
import zlib
from pathlib import Path

TAIL_BYTES = 65_536
"""Where the end mark is looked for: readers want it in the last 1024 bytes, some writers and mails append more."""

MOST_INFLATED_BYTES = 20_000_000
"""Most that one compressed object stream is inflated to: page objects need far less."""

MOST_STREAMS = 20_000
"""Object streams looked into; each holds some 100 objects."""

_USER_UNIT = re.compile(rb"/UserUnit\s*([0-9]*\.?[0-9]+)")
_OBJECT_STREAM = re.compile(rb"/ObjStm\b")


def user_units(path: Path) -> tuple[float, ...]:
    """Give every `UserUnit` other than 1 written in a PDF: how many 1/72 inch one unit of a page is.

    ISO 32000-1, table 30. Drawings over 5080 mm are written so, and the renderer does not heed it. Looks in plain and
    in deflated object streams; in an encrypted file nothing is found.
    """
    data = path.read_bytes()
    texts = [data]
    for count, found in enumerate(_OBJECT_STREAM.finditer(data)):
        if count >= MOST_STREAMS:
            break
        start = data.find(b"stream", found.end(), found.end() + 2000)
        if start < 0:
            continue
        body = start + len(b"stream")
        body += 2 if data[body : body + 2] == b"\r\n" else 1
        # An object stream is small; its end is where inflating ends.
        try:
            texts.append(zlib.decompressobj().decompress(data[body : body + MOST_INFLATED_BYTES], MOST_INFLATED_BYTES))
        except zlib.error:
            continue
    values = (float(value) for text in texts for value in _USER_UNIT.findall(text))
    return tuple(value for value in values if value > 0 and value != 1)


def page_unit(path: Path, pages: int) -> float:
    """Give how many 1/72 inch a page's unit is; 1 where the file states units for pages that cannot be told."""
    units = set(user_units(path))
    return units.pop() if len(units) == 1 and pages == 1 else 1.0


def has_end_mark(path: Path) -> bool:
    """Tell whether the end mark of a PDF is near its end: a download cut short has none (ISO 32000-1, 7.5.5)."""
    with path.open("rb") as stream:
        size = stream.seek(0, 2)
        stream.seek(max(0, size - TAIL_BYTES))
        return b"%%EOF" in stream.read()
