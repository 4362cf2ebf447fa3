"""What was seen in a picture, packed to go from one process to another: few large arrays instead of many small ones.

Unpacking holds the interpreter for a moment at a time only, so that a server goes on answering. The picture stays on
disk, where both map it.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from digitize.own_curve import OwnCurve, end_to_end
from digitize.strokes import Link, Strokes
from job.see import Seen

NO_PIXELS = np.empty((0, 0), np.uint8)


@dataclass(frozen=True, slots=True)
class PackedSeen:
    """A Seen without its pixels and links.

    `links` is (N, 10): start, end, sigma_px, width_px, count of points, count of own pieces, gaps,
    solid_px2, tint, whether guessed. `own` holds the pieces of all links' own curves, none where no link has one.
    """

    rest: Seen
    links: NDArray[np.float64]
    points_px: NDArray[np.float64]
    own: OwnCurve | None


def packed(seen: Seen) -> PackedSeen:
    """Pack."""
    strokes = seen.strokes
    links = [
        (
            *(k.start, k.end, k.sigma_px, k.width_px, len(k.points_px), 0 if k.own is None else len(k.own.t)),
            *(k.gaps, k.solid_px2, k.tint, k.guessed),
        )
        for k in strokes.links
    ]
    points = [link.points_px for link in strokes.links]
    curves = [link.own for link in strokes.links if link.own is not None]
    return PackedSeen(
        replace(seen, picture=replace(seen.picture, grey=NO_PIXELS), strokes=replace(strokes, links=())),
        np.array(links, dtype=np.float64).reshape(-1, 10),
        np.concatenate(points) if points else np.empty((0, 2)),
        end_to_end(curves) if curves else None,
    )


def unpacked(seen: PackedSeen, grey: NDArray[np.uint8]) -> Seen:
    """Unpack, with the picture's pixels."""
    links = []
    at = piece = 0
    for start, end, sigma_px, width_px, count, pieces, gaps, solid_px2, tint, guessed in seen.links.tolist():
        points_px = seen.points_px[at : at + int(count)]
        own = None if seen.own is None or not pieces else seen.own.some(piece, piece + int(pieces))
        more = {"gaps": int(gaps), "solid_px2": solid_px2, "tint": int(tint), "guessed": bool(guessed)}
        links.append(Link(int(start), int(end), points_px, sigma_px, width_px, own, **more))
        at, piece = at + int(count), piece + int(pieces)
    rest = seen.rest
    strokes = Strokes(rest.strokes.nodes_px, rest.strokes.kinds, tuple(links))
    return replace(rest, picture=replace(rest.picture, grey=grey), strokes=strokes)
