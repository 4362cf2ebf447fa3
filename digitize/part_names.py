"""Which lettering names which part: what stands in it, or alone beside it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

from drawing.drawing import Outline
from drawing.paths import sampled

Floats: TypeAlias = NDArray[np.float64]

LONGEST_NAME = 24
"""Signs; longer lines of text are notes."""

SHORTEST_NAME = 2
"""A single sign is as often a figure's balloon, a hole or a corner."""

TALLER = 1.25
"""Of several words in a part the name is the tallest, by this much: dimensions and notes are smaller."""

BESIDE_HEIGHTS = 2.0
"""A name beside its part stands within so many of its own heights..."""

AWAY_TIMES = 2.0
"""... and so many times farther from every other part."""

CHORD_MM = 0.2


@dataclass(frozen=True, slots=True)
class Lettered:
    """A line of lettering on the plan: what it says, and its box, (4, 2) mm."""

    text: str
    corners_mm: Floats


def part_names(outlines: Sequence[Outline], words: Sequence[Lettered]) -> dict[int, str]:
    """Give the names that lettering tells, by the outlines' places in their row.

    A word inside a part belongs to the smallest part that it is in, and not in a hole. A word outside of all belongs to
    the one part near it, if there is one. A part with two words that could be its name gets none: nothing is guessed.

    Parameters
    ----------
    outlines : sequence of Outline
        At one size.
    words : sequence of Lettered
        At the same size.
    """
    named = [word for word in words if _could_name(word.text)]
    if not named or not len(outlines):
        return {}
    wood = [_wood(outline) for outline in outlines]
    whole = [shapely.Polygon(piece.exterior) for piece in wood]
    inside: dict[int, list[Lettered]] = {}
    beside: dict[int, list[Lettered]] = {}
    for word in named:
        box = shapely.Polygon(word.corners_mm)
        middle = box.centroid
        holding = [number for number, piece in enumerate(whole) if piece.contains(middle)]
        if holding:
            smallest = min(holding, key=lambda number: whole[number].area)
            if wood[smallest].contains(middle):
                inside.setdefault(smallest, []).append(word)
            continue
        away_mm = np.array([piece.distance(box) for piece in whole])
        nearest = int(away_mm.argmin())
        others_mm = np.delete(away_mm, nearest)
        high_mm = _height_mm(word)
        alone = not len(others_mm) or others_mm.min() > AWAY_TIMES * max(away_mm[nearest], high_mm)
        if away_mm[nearest] < BESIDE_HEIGHTS * high_mm and alone:
            beside.setdefault(nearest, []).append(word)
    names = {number: name for number, found in inside.items() if (name := _tallest(found))}
    names |= {number: found[0].text for number, found in beside.items() if number not in inside and len(found) == 1}
    return names


def _could_name(text: str) -> bool:
    letters = sum(sign.isalpha() for sign in text)
    return SHORTEST_NAME <= len(text) <= LONGEST_NAME and letters > 0 and "," not in text and text[-1] != "."


def _wood(outline: Outline) -> shapely.Polygon:
    boundary, *holes = (sampled(path, tolerance_mm=CHORD_MM) for path in (outline.boundary, *outline.holes))
    polygon = shapely.make_valid(shapely.Polygon(boundary, [hole for hole in holes if len(hole) > 2]))
    # A boundary that crosses itself falls into pieces: its largest is the part.
    pieces = [piece for piece in shapely.get_parts(polygon) if isinstance(piece, shapely.Polygon)]
    return max(pieces, key=lambda piece: piece.area, default=shapely.Polygon())


def _height_mm(word: Lettered) -> float:
    sides = np.hypot(*(np.roll(word.corners_mm, -1, axis=0) - word.corners_mm).T)
    return float(min(sides[0] + sides[2], sides[1] + sides[3]) / 2)


def _tallest(words: list[Lettered]) -> str:
    """The one word, or the tallest by far; else nothing."""
    by_height = sorted(words, key=_height_mm, reverse=True)
    if len(by_height) == 1 or _height_mm(by_height[0]) > TALLER * _height_mm(by_height[1]):
        return by_height[0].text
    return ""
