"""Everything the report tells, as one value."""

from dataclasses import dataclass, field
from fractions import Fraction

from calibration.calibration import Calibration
from drawing.drawing import Drawing
from drawing.findings import Finding, Level
from pictures.picture import Picture
from printing.plan_pages import PagePlan

MARK_MOVED = "mark-moved"


@dataclass(frozen=True, slots=True)
class OverallSize:
    """Width and height over all at build size, mm, and the give or take of the larger."""

    width_mm: float
    height_mm: float
    u95_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class ReportFacts:
    """What a run came to, for `report_json` and `write_html`.

    `build` is at build size, turned to the other half when `mirrored`. `rests_on` says what the scale
    was fitted to ("known distance 1 (36 in) and the drawn border"). `flat_mm_per_px` and `flat_origin_mm` are
    those of flat.png, at full size. `line_width_mm` is the usual width of the plan's ink lines at full size, None when
    there are none. `stamp` is loud at the top. `seconds` by stage and `files` (name to sha256) come last of all.
    """

    name: str
    date: str
    picture: Picture
    calibration: Calibration
    rests_on: str
    build: Drawing
    fraction: Fraction
    overall: OverallSize
    pages: PagePlan
    findings: tuple[Finding, ...]
    flat_mm_per_px: float
    flat_origin_mm: tuple[float, float]
    mirrored: bool = False
    line_width_mm: float | None = None
    stamp: str | None = None
    seconds: dict[str, float] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)

    @property
    def to_decide(self) -> tuple[Finding, ...]:
        """What the builder must settle."""
        return tuple(finding for finding in self.findings if finding.level is Level.DECIDE)

    @property
    def to_check(self) -> tuple[Finding, ...]:
        """What is worth knowing, but for marks that moved."""
        return tuple(f for f in self.findings if f.level is Level.NOTE and f.code != MARK_MOVED)

    @property
    def moved(self) -> tuple[Finding, ...]:
        """Marks that moved to the ink beside them, as they do on every good run."""
        return tuple(f for f in self.findings if f.level is Level.NOTE and f.code == MARK_MOVED)
