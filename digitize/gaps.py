"""Tiny gaps in drawn lines, bridged in the skeleton: where two ends face each other, or one faces a line."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.stroke_graph import Chains

Floats = NDArray[np.float64]

GAP_PX = 3.0
"""Longest gap of the ink that is bridged, px: where noise or a scanner broke a line. Dashes lie farther apart."""

LOOK_PX = 16.0
"""How far from a skeleton's end what it faces is looked for, px: the gap, and the widths of two thick lines that
skeletons lack."""

BACK_PIXELS = 7
"""Pixels of a line from which the direction of its end is taken; on fewer, a pixel's step turns it by 20 deg."""

FACING_COSINE = np.cos(np.radians(30))
"""How well an end must point at what it is joined to."""


def bridges(chains: Chains, pixels: NDArray[np.int32], mask: NDArray[np.uint8]) -> NDArray[np.int32]:
    """Give the pixels to add to a skeleton so that tiny gaps in its lines are closed.

    Parameters
    ----------
    chains : Chains
        As traced from the skeleton.
    pixels : (N, 2) int32
        The skeleton's pixels.
    mask : (H, W) uint8
        1 where there is ink: what lies between an end and what it faces must be ink but for GAP_PX.

    Returns
    -------
    (M, 2) int32
        Pixels that are not yet in the skeleton; none where no line is broken.
    """
    ends, ways, pieces = free_ends(chains, back=BACK_PIXELS)
    none = np.empty((0, 2), np.int32)
    if len(ends) == 0:
        return none
    tree = cKDTree(_near(pixels, ends))
    around = tree.query_ball_point(ends, LOOK_PX, return_sorted=False)
    added = []
    for end, way, own, beside in zip(ends, ways, pieces, around, strict=True):
        near = tree.data[beside]
        away = near - end
        far = np.hypot(away[:, 0], away[:, 1])
        ahead = (far > 1.5) & (away @ way > FACING_COSINE * far)
        if not ahead.any():
            continue
        # The line's own last pixels lie behind; what lies ahead and nearest is what it was broken from.
        target = near[ahead][np.argmin(far[ahead])]
        between = pixels_between(end, target)
        paper = int(np.count_nonzero(mask[between[:, 1], between[:, 0]] == 0))
        if 0 < paper <= GAP_PX and not is_beside(own, target):
            added.append(between)
    if not added:
        return none
    bridge = np.unique(np.concatenate(added), axis=0)
    fresh = tree.query(bridge)[0] > 0.5
    new: NDArray[np.int32] = bridge[fresh].astype(np.int32)
    return new


def _near(pixels: NDArray[np.int32], ends: Floats) -> NDArray[np.int32]:
    """The pixels that may lie within LOOK_PX of an end, by squares of that side: few of them all."""
    cell, of_end = (np.floor(places / LOOK_PX).astype(np.int64) + 1 for places in (pixels, ends))
    wanted = np.zeros(
        (max(cell[:, 1].max(), of_end[:, 1].max()) + 2, max(cell[:, 0].max(), of_end[:, 0].max()) + 2), bool
    )
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            wanted[of_end[:, 1] + down, of_end[:, 0] + right] = True
    return pixels[wanted[cell[:, 1], cell[:, 0]]]


def free_ends(chains: Chains, *, back: int) -> tuple[Floats, Floats, list[Floats]]:
    """Give free ends, the unit directions in which they point, and the last `back` pixels of their lines."""
    degree = np.bincount(np.concatenate([chains.start, chains.end]), minlength=len(chains.nodes_px))
    ends, ways, own = [], [], []
    for at_end, nodes in ((False, chains.start), (True, chains.end)):
        for chain in np.flatnonzero(degree[nodes] == 1):
            points = chains.points_px[chains.first[chain] : chains.first[chain + 1]]
            points = points[::-1][:back] if at_end else points[:back]
            way = points[0] - points[-1]
            length = float(np.hypot(*way))
            if length < 2:
                continue
            ends.append(points[0])
            ways.append(way / length)
            own.append(points)
    return np.array(ends).reshape(-1, 2), np.array(ways).reshape(-1, 2), own


def pixels_between(start: Floats, end: Floats) -> NDArray[np.int64]:
    """Give the pixels on the straight way from one to another, 8-connected."""
    count = int(np.abs(end - start).max())
    part = np.arange(count + 1)[:, None] / max(count, 1)
    return np.round(start + part * (end - start)).astype(np.int64)


def is_beside(points: Floats, target: Floats) -> bool:
    """Tell whether a target is one of a line's own last pixels."""
    return bool((np.abs(points - target).max(axis=1) < 0.5).any())
