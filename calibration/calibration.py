"""The map from picture px to plan mm, with what it rests on and how sure it is."""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from calibration.adjustment import Adjustment
from calibration.kind import Kind
from calibration.map_slopes import local_scales
from calibration.observations import SETTLED_SIGMA_PX, CalibrationError, PointPx
from calibration.plane_map import (
    LENS,
    Floats,
    PictureSize,
    is_bent,
    picture_from_plane,
    plane_from_picture,
)
from calibration.uncertainty import NORMAL_95, length_sigmas
from drawing.findings import Finding, Level

if TYPE_CHECKING:
    from calibration.remarks import Evidence


class Given(StrEnum):
    """What an observed length is."""

    KNOWN = "known distance"
    CHECK = "check length"
    SIDE = "side of a rectangle"
    SCALE = "scale on trust"
    CARD = "card"


@dataclass(frozen=True, slots=True)
class Observed:
    """One length that was given, and what the calibration makes of it; full size, mm.

    `residual_mm` is fitted less given. `u95_mm` is the give or take of the fitted length, its two marks included.
    `used` is False for check lengths and for what was left out as wrong. A rectangle of
    unknown size "gives" the sides of the rectangle that fits best.
    """

    label: str
    kind: Given
    given_mm: float
    fitted_mm: float
    residual_mm: float
    u95_mm: float
    used: bool
    start_px: PointPx
    end_px: PointPx


@dataclass(frozen=True, slots=True)
class Measured:
    """A length at full size and its give or take (half width of the 95 % interval), mm."""

    mm: float
    u95_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """Picture px (y down) to plan mm (y up, full size) and back, with its covariance.

    `values` (10,) and `covariance` (10, 10) belong to the parameters of `plane_map.P`. The plan frame is the plane
    turned by `-turn_rad`, with `origin_px` at (0, 0). `sheet_px` (K, 2) is the paper's outline in the picture, where
    known. `adjustment` is how it came about, observation by observation, `evidence` what its findings are told from.
    """

    kind: Kind
    size: PictureSize
    values: Floats
    covariance: Floats
    turn_rad: float
    origin_px: PointPx
    sheet_px: Floats | None = None
    observed: tuple[Observed, ...] = ()
    findings: tuple[Finding, ...] = ()
    adjustment: Adjustment | None = None
    evidence: "Evidence | None" = None

    def to_plan(self, points_px: Floats) -> Floats:
        """Give plan mm (N, 2), y up, for picture px (N, 2), y down; NaN beyond the plan's horizon in a photo."""
        plane_mm = plane_from_picture(self.values, points_px, self.size)
        plan: Floats = (plane_mm - self._origin_mm()) @ self._turn()
        return plan

    def to_picture(self, points_mm: Floats) -> Floats:
        """Give picture px (N, 2) for plan mm (N, 2), the inverse of `to_plan`; NaN for what the camera cannot see."""
        plane_mm = np.asarray(points_mm, dtype=np.float64) @ self._turn().T + self._origin_mm()
        return picture_from_plane(self.values, plane_mm, self.size)

    def length(self, start_px: PointPx, end_px: PointPx, *, mark_sigma_px: float = SETTLED_SIGMA_PX) -> Measured:
        """Give the distance of two marks at full size, with its give or take.

        Raises
        ------
        CalibrationError
            If a mark lies beyond the plan's horizon.
        """
        mm, u95_mm = self.lengths_u95(np.array([start_px]), np.array([end_px]), mark_sigma_px=mark_sigma_px)
        if not math.isfinite(mm[0]):
            raise CalibrationError(
                f"The length from {start_px} to {end_px} px ends beyond the plan's horizon; both marks must lie on "
                "the plan: mark them again."
            )
        return Measured(float(mm[0]), float(u95_mm[0]))

    def lengths_u95(
        self, starts_px: Floats, ends_px: Floats, *, mark_sigma_px: float = SETTLED_SIGMA_PX
    ) -> tuple[Floats, Floats]:
        """Give (N,) distances at full size, mm, and their give or take, mm.

        Parameters
        ----------
        starts_px, ends_px : (N, 2) array
            Picture frame.
        mark_sigma_px : float
            One-sigma error of each end: 0.15 px for a mark on the ink, 0.5 px for one put by hand.
        """
        mm, sigma_mm = length_sigmas(
            self.values,
            self.covariance,
            np.asarray(starts_px, dtype=np.float64),
            np.asarray(ends_px, dtype=np.float64),
            self.size,
            mark_sigma_px=mark_sigma_px,
        )
        return mm, NORMAL_95 * sigma_mm

    @property
    def mm_per_px(self) -> float:
        """Full-size mm to a px at the picture's middle, the mean over directions."""
        return math.sqrt(abs(np.linalg.det(self._middle_scales())))

    @property
    def stretch(self) -> float:
        """x scale over y scale at the picture's middle, less 1; for a photo this is mostly its tilt."""
        right, down = np.linalg.norm(self._middle_scales(), axis=0)
        return float(right / down - 1)

    @property
    def lens_taken_out(self) -> bool:
        """Whether the map undoes a lens's bending."""
        return bool(self.values[list(LENS)].any())

    @property
    def bent(self) -> bool:
        """Whether the map lays curled paper flat."""
        return is_bent(self.values)

    @property
    def settled(self) -> bool:
        """False while a finding is the builder's to decide."""
        return all(finding.level is not Level.DECIDE for finding in self.findings)

    def _middle_scales(self) -> Floats:
        return np.asarray(local_scales(self.values, np.array([self.size.middle_px]), self.size)[0])

    def _origin_mm(self) -> Floats:
        return np.asarray(plane_from_picture(self.values, np.array([self.origin_px]), self.size)[0])

    def _turn(self) -> Floats:
        cos, sin = math.cos(self.turn_rad), math.sin(self.turn_rad)
        return np.array([[cos, -sin], [sin, cos]])
