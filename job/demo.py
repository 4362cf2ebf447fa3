"""demo: the main job on the bundled sample."""

from fractions import Fraction
from pathlib import Path

from job.made import Made
from job.make import Typed, make
from job.points import TypedLength
from job.progress import Progress
from sample_scans.files import known_marks_px, sample_path

SAMPLE = "plan_photo.jpg"


def sample_picture() -> Path:
    """Give the bundled photo of a plan."""
    return sample_path(SAMPLE)


def demo(*, folder: Path | None, progress: Progress) -> Made:
    """Make the sample photo at half size from two of its dimension lines, as a builder would mark them.

    The marks lie a little beside the line ends, as clicks do; the program moves them to the ink.
    """
    knowns = tuple(
        TypedLength(start_px, end_px, f"{length_mm:g} mm") for start_px, end_px, length_mm in known_marks_px(SAMPLE)
    )
    typed = Typed(knowns=knowns, fraction=Fraction(1, 2))
    return make(sample_path(SAMPLE), typed, folder=folder or Path("scantling-demo").absolute(), progress=progress)
