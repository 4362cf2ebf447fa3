"""The scale of a job as it stands: the same steps as `make`, up to the calibration."""

from dataclasses import dataclass, replace

from calibration.calibration import Calibration
from calibration.observations import PointPx
from job.job import Job
from job.observe import Gathered, observe
from job.run import calibrate, with_origin
from job.see import Seen


@dataclass(frozen=True, slots=True)
class Scale:
    """A calibration and what it rests on; `job` holds its origin."""

    job: Job
    gathered: Gathered
    calibration: Calibration


def set_scale(job: Job, seen: Seen) -> Scale:
    """Set the scale of a settled job.

    Raises
    ------
    ScantlingError
        When nothing tells the scale, or what was given does not go together.
    """
    gathered = observe(job, seen)
    calibration = calibrate(job, seen, gathered)
    with_it = with_origin(job, calibration)
    if with_it != job:
        calibration = calibrate(with_it, seen, gathered)
    return Scale(with_it, gathered, calibration)


def with_longest(scale: Scale, seen: Seen, longest_px: tuple[PointPx, PointPx]) -> Scale:
    """Give the same scale with its findings telling their effect over the longest part."""
    return replace(scale, calibration=calibrate(scale.job, seen, scale.gathered, longest_px=longest_px))
