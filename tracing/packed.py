"""What was seen in a picture, packed to go from one process to another: few large arrays instead of many small ones.

Unpacking holds the interpreter for a moment at a time only, so that a server goes on answering. The picture stays on
disk, where both map it.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from digitize.strokes import Link, Strokes
from job.see import Seen

NO_PIXELS = np.empty((0, 0), np.uint8)


@dataclass(frozen=True, slots=True)
class PackedSeen:
    """A Seen without its pixels and links; `links` is (N, 5): start, end, sigma_px, width_px, count of points."""

    rest: Seen
    links: NDArray[np.float64]
    points_px: NDArray[np.float64]


def packed(seen: Seen) -> PackedSeen:
    """Pack."""
    strokes = seen.strokes
    links = [(link.start, link.end, link.sigma_px, link.width_px, len(link.points_px)) for link in strokes.links]
    points = [link.points_px for link in strokes.links]
    return PackedSeen(
        replace(seen, picture=replace(seen.picture, grey=NO_PIXELS), strokes=replace(strokes, links=())),
        np.array(links, dtype=np.float64).reshape(-1, 5),
        np.concatenate(points) if points else np.empty((0, 2)),
    )


def unpacked(seen: PackedSeen, grey: NDArray[np.uint8]) -> Seen:
    """Unpack, with the picture's pixels."""
    links = []
    at = 0
    for start, end, sigma_px, width_px, count in seen.links.tolist():
        points_px = seen.points_px[at : at + int(count)]
        links.append(Link(int(start), int(end), points_px, sigma_px, width_px))
        at += int(count)
    rest = seen.rest
    strokes = Strokes(rest.strokes.nodes_px, rest.strokes.kinds, tuple(links))
    return replace(rest, picture=replace(rest.picture, grey=grey), strokes=strokes)
