"""Where the bundled files are."""

import json
from importlib.resources import files
from pathlib import Path

from sample_scans.truth import Point

# The two dimension lines of the plan that a builder would take: the longest along the sheet and the longest up it.
BUILDERS_LENGTHS = ("WING PANEL length", "WING PANEL root chord")


def sample_path(name: str) -> Path:
    """Give the path of a bundled file, such as plan_photo.jpg; FileNotFoundError when there is none of that name.

    The project's wheel is installed unpacked, so that a bundled file is a file on disk.
    """
    path = Path(str(files("sample_scans").joinpath(name)))
    if not path.is_file():
        raise FileNotFoundError(f"There is no bundled file {name}; python -m sample_scans.generate DIR makes them.")
    return path


def known_marks_px(name: str) -> tuple[tuple[Point, Point, float], ...]:
    """Give the lengths a builder would mark in a bundled picture: both ends and the figure on the plan, mm.

    The ends are whole px of the picture, as near as a click comes.
    """
    truth = json.loads(sample_path("truth.json").read_text(encoding="utf-8"))
    marks = []
    for wanted in BUILDERS_LENGTHS:
        known = next(known for known in truth["known"] if known["name"] == wanted)
        (start_x, start_y), (end_x, end_y) = known["marks_px"][name]
        start, end = (float(round(start_x)), float(round(start_y))), (float(round(end_x)), float(round(end_y)))
        marks.append((start, end, float(known["length_mm"])))
    return tuple(marks)
