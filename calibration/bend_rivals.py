"""Where another bend, or none, explains what was given as well: the map that both make on average.

A sheet that bows along one diagonal looks much like one that bows along the other. The likelier of two that are nearly
as likely is wrong as often as not; their mean, each as likely as its evidence says, is the estimate that is least off
(Bayes: the least expected square), and how far they are apart belongs to its covariance (a mixture's second moment).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.evidence import log_evidence
from calibration.map_slopes import plane_slopes
from calibration.parameters import BOW_SIGMA, BULGE_SIGMA, LENS_SIGMA
from calibration.plane_map import BULGE, CYLINDER, Floats, P, PictureSize, plane_from_picture
from calibration.solution import Solution
from calibration.uncertainty import MapCovariance

NEGLIGIBLE = 0.01
"""A rival less likely than this changes nothing."""

MARKS = 16
"""So many marks, and the middles between each two of them, are the places at which maps are compared: four times as
many as there are humps. Beyond the marks a bend goes on as its powers do, and says nothing (trials: two bends that were
5 mm apart all over the plan were 50 mm apart in a corner of the picture)."""

ALIKE_MM = 0.02
"""Where maps differ by less they are the same: no length is known better."""

MIXED = {P.LOG_SCALE: 0.01, P.TILT_X: 0.01, P.TILT_Y: 0.01} | LENS_SIGMA
"""What another bend moves besides the heights, and by how much. A direction cannot be mixed, and a focal length would
make heights of another size."""


def mean_and_spread(minima: Sequence[Solution], size: PictureSize) -> tuple[Floats, Floats]:
    """Give what is to be added to the parameters (56,) of the first of a problem's minima, and to their covariance.

    Each is taken to be as sure as the first.
    """
    odds = [log_evidence(one) - log_evidence(minima[0]) for one in minima]
    likely = np.exp(np.array(odds) - max(odds))
    likely /= likely.sum()
    px = _between_marks(minima[0])
    mean, spread = np.zeros(len(P)), np.zeros((len(P), len(P)))
    for part, rival in zip(likely[1:], minima[1:], strict=True):
        if part > NEGLIGIBLE:
            apart = _apart(minima[0].values, rival.values, px, size)
            mean += part * apart
            spread += part * np.outer(apart, apart)
    return mean, spread - np.outer(mean, mean)


@dataclass(frozen=True, slots=True, eq=False)
class PerhapsBent:
    """How likely it is that the paper is bent where that is not shown, and the map (56,) that there is then."""

    chance: float
    values: Floats


def average_flat_and_bent(
    flat: tuple[Solution, MapCovariance], bent: tuple[Solution, MapCovariance], chance: float, *, size: PictureSize
) -> tuple[Floats, MapCovariance]:
    """Give the mean of two maps (56,), the second as likely as `chance` says, and the mean's covariance."""
    (solution, covariance), (other, of_other) = flat, bent
    base = solution.values.copy()
    base[P.BEND_TURN] = other.values[P.BEND_TURN]
    apart = _apart(base, other.values, _between_marks(solution), size)
    between = chance * (1 - chance) * np.outer(apart, apart)
    whole = (1 - chance) * covariance.whole + chance * of_other.whole + between
    return base + chance * apart, MapCovariance(whole, (1 - chance) * covariance.lens + chance * of_other.lens)


def _between_marks(solution: Solution) -> Floats:
    """Give (N, 2) places, px, all over what the marks enclose."""
    marks_px = solution.problem.points_px
    some = marks_px[np.linspace(0, len(marks_px) - 1, min(MARKS, len(marks_px))).round().astype(int)]
    first, second = np.triu_indices(len(some))
    return np.asarray((some[first] + some[second]) / 2)


def _apart(values: Floats, other: Floats, px: Floats, size: PictureSize) -> Floats:
    """Give the change of parameters (56,) that takes the one map to the other, but for where the plan lies on it.

    As far as the maps go by it at places (N, 2), px.
    """
    sigmas = MIXED | dict.fromkeys(CYLINDER, BOW_SIGMA) | dict.fromkeys(BULGE, BULGE_SIGMA)
    plane, slopes = plane_slopes(values, px, size, list(sigmas))
    unit = np.array(list(sigmas.values()))
    by = np.moveaxis(slopes, 0, -1).reshape(plane.size, -1) * unit
    # Where the plan lies, and how it is turned, no length depends on.
    turned = np.column_stack([-plane[:, 1], plane[:, 0]]).ravel()
    place = np.column_stack([np.tile([1.0, 0.0], len(px)), np.tile([0.0, 1.0], len(px)), turned])
    q, _ = np.linalg.qr(place)
    off = (plane_from_picture(other, px, size) - plane).ravel()
    by, off = by - q @ (q.T @ by), off - q @ (q.T @ off)
    amounts = np.linalg.solve(by.T @ by / ALIKE_MM**2 + np.eye(len(unit)), by.T @ off / ALIKE_MM**2)
    apart = np.zeros(len(P))
    apart[list(sigmas)] = unit * amounts
    return apart
