"""Corners told within a pen's half width of a line's free end: they are its end."""

from dataclasses import replace

import numpy as np

from digitize.dashed_lines import sides_at
from digitize.link_sizes import link_lengths_px
from digitize.strokes import NodeKind, Strokes

STUB_WIDTHS = 0.5
"""Thinning stops a pen's half width before the end of its ink: what turns within as much shows the ink's end."""


def without_end_stubs(strokes: Strokes) -> Strokes:
    """Give the strokes with lines ended at corners that have no arm beyond but the ink's own end.

    A stub shows no direction, and keeps the line before it from leading on: over the next gap of dashes, or a fold.
    """
    at, lengths_px = sides_at(strokes), link_lengths_px(strokes)
    kinds = strokes.kinds.copy()
    gone: set[int] = set()
    for sides in at.values():
        which = sides[0] >> 1
        link = strokes.links[which]
        if len(sides) > 1 or lengths_px[which] > STUB_WIDTHS * link.width_px:
            continue
        corner = link.start if sides[0] & 1 else link.end
        others = [side >> 1 for side in at[corner] if side >> 1 != which]
        if len(others) == 1 and others[0] not in gone and lengths_px[others[0]] > lengths_px[which]:
            gone.add(which)
            kinds[corner] = NodeKind.END
    if not gone:
        return strokes
    links = [link for which, link in enumerate(strokes.links) if which not in gone]
    used = np.unique(np.array([node for link in links for node in (link.start, link.end)], dtype=np.int64))
    number = {int(node): at for at, node in enumerate(used)}
    links = [replace(link, start=number[link.start], end=number[link.end]) for link in links]
    return Strokes(strokes.nodes_px[used], kinds[used], tuple(links))
