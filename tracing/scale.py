"""The scale of a job as it stands: the same steps as `make`, up to the calibration."""

from dataclasses import dataclass, replace

from calibration.calibration import Calibration
from calibration.observations import PointPx
from job.job import GivenLength, Job, Mark, Settled
from job.observe import Gathered, observe
from job.run import calibrate, over_longest, with_origin
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
    job, calibration = with_origin(job, calibrate(job, seen, gathered))
    return Scale(job, gathered, calibration)


def with_longest(scale: Scale, seen: Seen, longest_px: tuple[PointPx, PointPx]) -> Scale:
    """Give the same scale with its findings telling their effect over the longest part."""
    return replace(scale, calibration=over_longest(scale.job, seen, scale.calibration, longest_px))


SHAPE_MM = 1000.0
"""What a rectangle's first side is taken to be while nothing tells its length: only the shape is then looked at."""


def shape_of(job: Job, seen: Seen) -> Calibration:
    """Give a map that is true in shape alone, for a job that nothing tells the scale of; for looking, never for sizes.

    Raises
    ------
    ScantlingError
        When what was given does not go together.
    """
    if job.corners is not None:
        start, end = job.corners.marks[:2]
    elif seen.border is not None:
        start, end = (Mark(float(x), float(y), Settled.AS_GIVEN) for x, y in seen.border.corners_px[:2])
    else:
        middle = seen.picture.height_px / 2
        start, end = Mark(0.0, middle, Settled.AS_GIVEN), Mark(seen.picture.width_px - 1.0, middle, Settled.AS_GIVEN)
    job = replace(job, knowns=(GivenLength(start, end, f"{SHAPE_MM:g} mm"),), checks=())
    return calibrate(job, seen, observe(job, seen))
