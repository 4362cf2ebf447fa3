"""Drawn lines rubbed out by hand: bands over the picture whose lines do not count."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.rejoined import rejoined
from digitize.strokes import DigitizeError, Link, NodeKind, Strokes
from drawing.paths import Point

Floats: TypeAlias = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Rub:
    """One stroke of the rubber: a line through `points_px` (picture px, y down), `width_px` wide with round ends."""

    points_px: tuple[Point, ...]
    width_px: float

    def __post_init__(self) -> None:
        if not self.points_px:
            raise DigitizeError("A rubbed band has no points; it needs one or more: rub again.")
        if not all(math.isfinite(value) for point in self.points_px for value in point):
            raise DigitizeError("A rubbed band has a point that is not a number of pixels: rub again.")
        if not 0 < self.width_px < math.inf:
            raise DigitizeError(f"A rubbed band is {self.width_px} px wide; it must be above zero: rub again.")


ALONG = 0.5
"""A line lies along a band where it goes on by this share of its run inside (an angle of up to 60 degrees): steeper, it
only crosses, and whoever rubs out a datum line wants the parts that it crosses kept."""

STUB_WIDTHS = 1.5
"""What is left of a line rubbed out up to this near its end, in line widths, goes with it."""

STUB_BANDS = 0.5
"""The same, in widths of the band: nobody stops a broad rubber exactly at a junction."""

BEYOND_BANDS = 1.5
"""A line that goes on from where one is rubbed out whole is left alone while it lies in the band for no longer than
this, in widths of the band: the rubber went a little too far."""

STEP_PX = 1.0
"""Distances to the band's middle are taken this far apart along a line."""


def without_rubbed(strokes: Strokes, rubs: Sequence[Rub]) -> Strokes:
    """Give the strokes without what was rubbed out.

    A link that lies wholly inside a band goes. One that runs along it is cut at its edge, and a short stub left of it
    at a node goes too; but where the rubber went a little beyond a link that goes, the next one stays. One that only
    crosses the band stays whole, unless the band is a dab, no longer than wide, that covers no link: that cuts. Where
    two links are left at what was a junction, and go on straight, they are one again.

    Parameters
    ----------
    strokes : Strokes
    rubs : sequence of Rub
        Rubbed one after another.

    Returns
    -------
    Strokes
        Without nodes that no link is left at.
    """
    if not rubs or not strokes.links:
        return strokes
    nodes = [np.asarray(node, dtype=np.float64) for node in strokes.nodes_px]
    kinds = [int(kind) for kind in strokes.kinds]
    links = list(strokes.links)
    for rub in rubs:
        links = _rubbed(links, nodes, kinds, rub)
    left = Strokes(np.array(nodes).reshape(-1, 2), np.array(kinds, dtype=np.uint8), tuple(links))
    return rejoined(left, before=strokes)


@dataclass(frozen=True, slots=True)
class _Run:
    """A part of a link inside a band, from `start_px` to `end_px` along the link."""

    start_px: float
    end_px: float


def _rubbed(links: list[Link], nodes: list[Floats], kinds: list[int], rub: Rub) -> list[Link]:
    points = np.array(rub.points_px, dtype=np.float64)
    # A dab is a line of no length.
    path = shapely.LineString(points if len(points) > 1 else points[[0, 0]])
    half_px = rub.width_px / 2
    low, high = points.min(axis=0) - half_px, points.max(axis=0) + half_px
    runs: dict[int, list[_Run]] = {}
    whole: set[int] = set()
    for which, link in enumerate(links):
        if (link.points_px.max(axis=0) < low).any() or (link.points_px.min(axis=0) > high).any():
            continue
        found, covered = _runs_inside(link, path, half_px)
        if covered:
            whole.add(which)
        elif found:
            runs[which] = found
    is_dab = shapely.length(path) <= rub.width_px
    bare = {node for which in whole for node in (links[which].start, links[which].end)}
    left: list[Link] = []
    for which, link in enumerate(links):
        if which in whole:
            continue
        cut = runs.get(which, [])
        if not is_dab:
            cut = [
                run for run in cut if _lies_along(link, run, path) and not _went_beyond(link, run, bare, rub.width_px)
            ]
        elif whole:
            cut = []
        if cut:
            stub_px = max(STUB_WIDTHS * link.width_px, STUB_BANDS * rub.width_px)
            left += _pieces(link, cut, stub_px, nodes, kinds)
        else:
            left.append(link)
    return left


def _runs_inside(link: Link, path: shapely.LineString, half_px: float) -> tuple[list[_Run], bool]:
    """The parts of a link within a distance of a path, and whether that is all of it."""
    points, far_px = _dense(link.points_px)
    off_px = np.asarray(shapely.distance(shapely.points(points), path)) - half_px
    inside = off_px <= 0
    if inside.all():
        return [], True
    if not inside.any():
        return [], False
    change = np.flatnonzero(inside[1:] != inside[:-1])
    # Where the distance passes the band's edge between two points.
    edges = far_px[change] + (far_px[change + 1] - far_px[change]) * off_px[change] / (
        off_px[change] - off_px[change + 1]
    )
    bounds = [0.0] * bool(inside[0]) + edges.tolist() + [float(far_px[-1])] * bool(inside[-1])
    return [_Run(a, b) for a, b in zip(bounds[::2], bounds[1::2], strict=True)], False


def _dense(points_px: Floats) -> tuple[Floats, Floats]:
    """A line's points with more put between those farther apart than STEP_PX, and how far along each lies."""
    far_px = _far(points_px)
    along = np.union1d(far_px, np.arange(0, far_px[-1], STEP_PX))
    return np.column_stack([np.interp(along, far_px, points_px[:, axis]) for axis in (0, 1)]), along


def _lies_along(link: Link, run: _Run, path: shapely.LineString) -> bool:
    ends = np.asarray(shapely.points(_at(link.points_px, np.array([run.start_px, run.end_px]))))
    start_px, end_px = np.asarray(shapely.line_locate_point(path, ends)).tolist()
    return bool(abs(end_px - start_px) >= ALONG * (run.end_px - run.start_px))


def _went_beyond(link: Link, run: _Run, bare: set[int], band_px: float) -> bool:
    """Whether a run is what the rubber took beyond a link that goes, from their common node on."""
    length_px = float(_far(link.points_px)[-1])
    from_bare = (run.start_px == 0 and link.start in bare) or (run.end_px == length_px and link.end in bare)
    return from_bare and run.end_px - run.start_px <= BEYOND_BANDS * band_px


def _pieces(link: Link, cut: list[_Run], stub_px: float, nodes: list[Floats], kinds: list[int]) -> list[Link]:
    """What is left of a link between the runs cut out of it; new nodes stand at the cuts."""
    far_px = _far(link.points_px)
    length_px = float(far_px[-1])
    pieces = []
    bounds = [0.0, *(edge for run in cut for edge in (run.start_px, run.end_px)), length_px]
    for start_px, end_px in zip(bounds[::2], bounds[1::2], strict=True):
        if end_px - start_px <= stub_px:
            continue
        inner = link.points_px[(far_px > start_px) & (far_px < end_px)]
        first, last = _at(link.points_px, np.array([start_px, end_px]))
        start, end = link.start, link.end
        if start_px > 0:
            start = _new_end(first, nodes, kinds)
        if end_px < length_px:
            end = _new_end(last, nodes, kinds)
        pieces.append(replace(link, start=start, end=end, points_px=np.vstack([first, inner, last]), own=None))
    return pieces


def _new_end(point: Floats, nodes: list[Floats], kinds: list[int]) -> int:
    nodes.append(point)
    kinds.append(int(NodeKind.END))
    return len(nodes) - 1


def _far(points_px: Floats) -> Floats:
    """How far along a line each of its points lies, px."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points_px, axis=0).T))])


def _at(points_px: Floats, along_px: Floats) -> Floats:
    far_px = _far(points_px)
    return np.column_stack([np.interp(along_px, far_px, points_px[:, axis]) for axis in (0, 1)])
