"""Everything a run came to, as one value."""

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from calibration.calibration import Calibration
from drawing.drawing import Drawing
from drawing.findings import Finding, Level
from job.job import Job
from job.see import Seen
from printing.plan_pages import PagePlan

STAMP = "SCALE NOT SETTLED"
"""On every page, SVG and DXF of a job with something to decide."""


@dataclass(frozen=True, slots=True)
class Made:
    """Everything a run came to.

    `plan` is at full size, `build` at build size (mirrored when the job says so);
    `job` holds the marks as settled, the origin and the page grid, so that running it
    again gives the same.
    """

    job: Job
    seen: Seen
    calibration: Calibration
    plan: Drawing
    build: Drawing
    fraction: Fraction
    pages: PagePlan
    findings: tuple[Finding, ...]
    folder: Path
    rests_on: str
    """What the scale was fitted to, in words."""

    @property
    def stamp(self) -> str | None:
        """The words that everything printed carries while something is to decide."""
        return STAMP if any(finding.level is Level.DECIDE for finding in self.findings) else None
