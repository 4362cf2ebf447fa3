"""The flat picture of a job in the forms its files need, made while the outlines are drawn."""

from dataclasses import dataclass

from calibration.calibration import Calibration
from job.flat_picture import flat_picture
from job.job import Job
from job.see import Seen
from pictures.flat import FlatPicture
from pictures.write_png import flat_png
from printing.mirror import mirrored_flat
from printing.shown_flat import ShownFlat, shown_flat


@dataclass(frozen=True, slots=True, eq=False)
class FlatFiles:
    """A flat picture at full size, as pages and report show it (mirrored where the build is), and as a PNG file."""

    flat: FlatPicture
    shown: ShownFlat
    png: bytes


def flat_files(seen: Seen, calibration: Calibration, job: Job) -> FlatFiles:
    """Flatten a job's picture and pack it.

    Nearly all of it happens inside OpenCV, which leaves the interpreter free: in a thread of its own it costs other
    work next to nothing.

    Raises
    ------
    CalibrationError
        When the map shows nothing finite of the plan.
    """
    flat = flat_picture(seen, calibration, job.regions)
    return FlatFiles(flat, shown_flat(mirrored_flat(flat) if job.mirrored else flat), flat_png(flat))
