"""Areas of colour that draw a line: thin four-sided fills, as some programs write every line."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from digitize.own_curve import Floats
from pictures.page_paths import PagePath

MOST_WIDTH_PX = 12.0
"""Wider than this (1 mm at 300 dpi) a four-sided fill is a bar or a part, not a line."""

LEAST_LENGTHS = 4.0
"""A line is at least so many times as long as it is wide."""


@dataclass(frozen=True, slots=True)
class Thin:
    """Fills told apart: `lines` run down the middle of thin ones, `areas` are the runs of all others.

    `left_out` counts the paths of `areas`.
    """

    lines: tuple[PagePath, ...]
    areas: tuple[PagePath, ...]
    left_out: int


def thin_lines(fills: Sequence[PagePath]) -> Thin:
    """Tell fills that draw a line from other areas of colour.

    A path of one run with four straight sides is a line if two opposite sides are at most MOST_WIDTH_PX long and the
    others, nearly parallel, at least four times as long. The line joins the middles of its short sides.
    """
    lines: list[PagePath] = []
    areas: list[PagePath] = []
    left_out = 0
    for _, group in groupby(fills, key=lambda path: path.number):
        runs = list(group)
        line = _line(runs[0]) if len(runs) == 1 else None
        if line is None:
            areas += runs
            left_out += 1
        else:
            lines.append(line)
    return Thin(tuple(lines), tuple(areas), left_out)


def _line(path: PagePath) -> PagePath | None:
    corners = path.controls_px[:, 0]
    if not path.straight.all():
        return None
    if not path.closed:
        # A fill closes itself.
        corners = np.vstack([corners, path.controls_px[-1, 3]])
    if len(corners) != 4:
        return None
    sides = np.roll(corners, -1, axis=0) - corners
    long = np.hypot(sides[:, 0], sides[:, 1])
    first = 0 if long[0] + long[2] < long[1] + long[3] else 1
    short = max(long[first], long[first + 2])
    other = (first + 1, (first + 3) % 4)
    if short > MOST_WIDTH_PX or min(long[other[0]], long[other[1]]) < LEAST_LENGTHS * short:
        return None
    start = (corners[first] + corners[first + 1]) / 2
    end = (corners[(first + 2) % 4] + corners[(first + 3) % 4]) / 2
    width_px = float(long[first] + long[first + 2]) / 2
    return replace(path, controls_px=_straight(start, end), straight=np.array([True]), width_px=width_px)


def _straight(start: Floats, end: Floats) -> Floats:
    control: Floats = np.array([[start, start + (end - start) / 3, start + (end - start) * (2 / 3), end]])
    return control
