"""Rows of straight lines, all lines of a problem in one go: line by line, arrays of two dozen points cost mostly calls.

A misfit is a point's distance from the chord of its line's ends, mm. A line's own place and direction are taken out of
its rows (variable projection: Golub, Pereyra 1973), so that it has no unknowns.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.observations import StraightLine
from calibration.plane_map import Floats


@dataclass(frozen=True, slots=True)
class LineRows:
    """Straight lines one after the other: `ends` (L + 1,) are the places of their first points, then one past all.

    `line_of` (N,) tells each point's line; `sigma_px` and `give_mm` (N,) are its line's.
    """

    ends: NDArray[np.intp]
    line_of: NDArray[np.intp]
    sigma_px: Floats
    give_mm: Floats

    @classmethod
    def of(cls, lines: Sequence[StraightLine]) -> "LineRows":
        """Give the rows of some lines."""
        counts = np.array([len(line.points_px) for line in lines], dtype=np.intp)
        sigma_px, give_mm = (np.repeat(of_lines, counts) for of_lines in (
            np.array([line.sigma_px for line in lines], dtype=np.float64),
            np.array([line.give_mm for line in lines], dtype=np.float64),
        ))  # fmt: skip
        ends = np.concatenate([[0], np.cumsum(counts)]).astype(np.intp)
        return cls(ends, np.repeat(np.arange(len(lines)), counts), sigma_px, give_mm)

    @property
    def count(self) -> int:
        """How many rows there are: two fewer a line than points."""
        return len(self.line_of) - 2 * (len(self.ends) - 1)

    def rows(self, plane_mm: Floats, weights: Sequence[Floats]) -> Floats:
        """Give (..., m) whitened rows for points (..., N, 2) on the plane."""
        along, off = self._chords(plane_mm)
        misfits = along[..., 0] * off[..., 1] - along[..., 1] * off[..., 0]
        parts = [misfits[..., first:stop] @ weight.T for first, stop, weight in self._each(weights)]
        return np.concatenate(parts, axis=-1) if parts else misfits

    def slopes(self, plane_mm: Floats, moves_mm: Floats, weights: Sequence[Floats]) -> Floats:
        """Give (m, k): how the whitened rows move where the points (N, 2) move by (k, N, 2)."""
        along, off = self._chords(plane_mm)
        first, last = self.ends[:-1], self.ends[1:] - 1
        length = np.hypot(*(plane_mm[last] - plane_mm[first]).T)
        misfits = along[:, 0] * off[:, 1] - along[:, 1] * off[:, 0]
        # The point moves across the chord; the chord's first end takes it along, and both ends turn and stretch it.
        across_moves = along[:, 0] * moves_mm[..., 1] - along[:, 1] * moves_mm[..., 0]
        chord_moves = (moves_mm[:, last] - moves_mm[:, first]) / length[:, None]
        to_chord = chord_moves[:, self.line_of]
        by = across_moves - across_moves[:, first][:, self.line_of]
        by += to_chord[..., 0] * (off[:, 1] - misfits * along[:, 0])
        by -= to_chord[..., 1] * (off[:, 0] + misfits * along[:, 1])
        by = by.T
        parts = [weight @ by[begin:stop] for begin, stop, weight in self._each(weights)]
        return np.concatenate(parts) if parts else by

    def whitening(self, plane_mm: Floats, local: Floats) -> list[Floats]:
        """Give each line's matrix that takes misfits to rows of unit covariance, two rows fewer.

        Marks across the line through the local scale (N, 2, 2), and a sag of the line as drawn and laid.
        """
        along, off = self._chords(plane_mm)
        across = np.stack([-along[:, 1], along[:, 0]], axis=1)
        px_mm = np.hypot(*(across[:, :, None] * local).sum(axis=1).T)
        first, last = self.ends[:-1], self.ends[1:] - 1
        length = np.hypot(*(plane_mm[last] - plane_mm[first]).T)
        t = (off * along).sum(axis=1) / length[self.line_of]
        sure = 1 / (self.sigma_px * px_mm)
        sag = 4 * t * (1 - t) * self.give_mm / math.sqrt(3) * sure
        counts = np.diff(self.ends)
        found: list[Floats] = [np.zeros((0, 0))] * len(counts)
        for count in set(counts.tolist()):
            alike = np.flatnonzero(counts == count)
            places = self.ends[alike][:, None] + np.arange(count)
            for line, weight in zip(alike, _whitened(sure[places], sag[places], t[places]), strict=True):
                found[line] = weight
        return found

    def _chords(self, plane_mm: Floats) -> tuple[Floats, Floats]:
        """Give each point's chord, a unit vector (..., N, 2), and its place from the line's first point (..., N, 2)."""
        first, last = self.ends[:-1], self.ends[1:] - 1
        start = plane_mm[..., first, :]
        chord = plane_mm[..., last, :] - start
        along = chord / np.hypot(chord[..., 0], chord[..., 1])[..., None]
        return along[..., self.line_of, :], plane_mm - start[..., self.line_of, :]

    def _each(self, weights: Sequence[Floats]) -> list[tuple[int, int, Floats]]:
        ends = self.ends.tolist()
        return list(zip(ends[:-1], ends[1:], weights, strict=True))


def _whitened(sure: Floats, sag: Floats, t: Floats) -> Floats:
    """Give (L, n - 2, n) for lines of n points each: `sure` is one over a point's sigma, `sag` the sag in such sigmas.

    (I + s s')^-1/2 = I - s s' / (q (q + 1)), q^2 = 1 + s's, in closed form.
    """
    q = np.sqrt(1 + (sag**2).sum(axis=1))
    white = np.eye(sure.shape[1]) - sag[:, :, None] * (sag / (q * (q + 1))[:, None])[:, None]
    white = white * sure[:, None]
    whole, _ = np.linalg.qr(white @ np.stack([1 - t, t], axis=-1), mode="complete")
    return np.asarray(np.swapaxes(whole[:, :, 2:], 1, 2) @ white)
