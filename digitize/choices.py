"""What a person decided about outlines: which to take, drop or name, and which regions of the picture count."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.strokes import DigitizeError
from drawing.findings import Finding, Level
from drawing.paths import Point


class Action(StrEnum):
    """What to do with the outline a choice points at."""

    TAKE = "take"
    """It is a part, whatever the program thought; a hole taken becomes a part of its own."""
    DROP = "drop"
    """It is no part; a hole dropped is wood again."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A decision about one outline, found again by a point inside it and its area in the picture.

    `inside_px` is (x, y), picture frame; `area_px2` the area inside the outline, holes
    not taken off. `name` is what the builder calls the part; empty leaves it unnamed.
    """

    inside_px: Point
    area_px2: float
    action: Action
    name: str = ""

    def __post_init__(self) -> None:
        if not all(math.isfinite(value) for value in self.inside_px):
            raise DigitizeError(
                f"A choice points at {self.inside_px}; it needs two numbers of pixels: choose the outline again."
            )
        if not 0 < self.area_px2 < math.inf:
            raise DigitizeError(
                f"A choice gives an area of {self.area_px2} px²; it must be above zero: choose the outline again."
            )


class RegionKind(StrEnum):
    """What a region is for."""

    IN = "in"
    """Only what lies inside such a region is taken."""
    OUT = "out"
    """What lies inside is left out."""


@dataclass(frozen=True, slots=True)
class Region:
    """A polygon of three or more points, picture px, and what it is for."""

    points_px: tuple[Point, ...]
    keep: RegionKind

    def __post_init__(self) -> None:
        if len(self.points_px) < 3:
            raise DigitizeError(
                f"A region has {len(self.points_px)} points; it needs at least 3: mark the corners around it."
            )
        if not all(math.isfinite(value) for point in self.points_px for value in point):
            raise DigitizeError("A region has a corner that is not a number of pixels: mark its corners again.")
        polygon = shapely.Polygon(self.points_px)
        if shapely.area(shapely.make_valid(polygon)) == 0:
            raise DigitizeError("A region's corners lie on one line; it needs some area: mark its corners again.")
        if not polygon.is_valid:
            raise DigitizeError(
                "A region's sides cross one another, so that inside and outside cannot be told; "
                "its corners must go round it once: mark them again in that order."
            )


AREA_WITHIN = 0.10
"""A choice's outline has its area within this share; a re-found outline changes by far less, a neighbour by more."""


def match_choices(
    choices: Sequence[Choice], polygons_px: NDArray[np.object_], *, areas_px2: NDArray[np.float64]
) -> tuple[list[int | None], tuple[Finding, ...]]:
    """Find the outline each choice is about.

    Parameters
    ----------
    choices : sequence of Choice
    polygons_px : (N,) array of shapely polygons
        Every outline that was found, taken or not, picture px; holes are outlines of their own.
    areas_px2 : (N,) array of float
        Their areas, holes not taken off.

    Returns
    -------
    matched : list of int or None
        For each choice the index of the one outline that contains its point and whose area
        is within 10 %; None where none or several do.
    findings : tuple of Finding
        One to decide for every choice without a match.
    """
    matched: list[int | None] = []
    findings: list[Finding] = []
    tree = shapely.STRtree(polygons_px)
    for choice in choices:
        around = tree.query(shapely.Point(choice.inside_px), predicate="within")
        close = around[np.abs(areas_px2[around] - choice.area_px2) <= AREA_WITHIN * choice.area_px2]
        if len(close) == 1:
            matched.append(int(close[0]))
            continue
        matched.append(None)
        x_px, y_px = choice.inside_px
        about = choice.name or f"the choice at {x_px:.0f}, {y_px:.0f} px"
        what = f"{len(close)} outlines" if len(close) else "no outline"
        findings.append(
            Finding(
                "choice-unmatched",
                Level.DECIDE,
                about,
                f"To {choice.action} {about} fits {what} of about {choice.area_px2:.0f} px² around that point; "
                "exactly one is needed: choose the outline again.",
            )
        )
    return matched, tuple(findings)


def inside_regions(regions: Sequence[Region], shapes_px: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Tell which shapes count: wholly inside a region to keep (where any is given) and not wholly inside one left out.

    Parameters
    ----------
    regions : sequence of Region
    shapes_px : (N,) array of shapely geometries
        Outlines or lines, picture px.

    Returns
    -------
    (N,) array of bool
    """
    counts = np.ones(len(shapes_px), dtype=bool)
    for keep in RegionKind:
        polygons = [shapely.make_valid(shapely.Polygon(r.points_px)) for r in regions if r.keep is keep]
        if not polygons:
            continue
        area = shapely.union_all(polygons)
        shapely.prepare(area)
        covered = shapely.covers(area, shapes_px)
        counts &= covered if keep is RegionKind.IN else ~covered
    return counts
