"""The job: everything a person decided, as one frozen value."""

import math
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from pathlib import Path

from digitize.choices import Choice, Region
from digitize.rubbed import Rub
from digitize.traces import Trace
from drawing.papers import PAPERS
from job.errors import JobError
from job.readable import is_readable_text
from printing.best_grid import PageGrid
from printing.setup import PageSetup

VERSION = 1


class Settled(StrEnum):
    """How a mark came to lie where it is."""

    NOT_YET = "not yet"
    """As typed; to be moved to the ink nearest it."""
    INK = "ink"
    """On a crossing, corner or line end found in the ink."""
    AS_GIVEN = "as given"
    """Where the person put it, to stay there."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A point a person marked, in the picture frame (px, y down, pixel centres at integers)."""

    x_px: float
    y_px: float
    settled: Settled = Settled.NOT_YET

    def __post_init__(self) -> None:
        if not (math.isfinite(self.x_px) and math.isfinite(self.y_px)):
            raise JobError(f"A mark at {self.x_px}, {self.y_px}; both must be numbers of pixels: mark the point again.")

    @property
    def at_px(self) -> tuple[float, float]:
        """(x, y) in px."""
        return self.x_px, self.y_px


@dataclass(frozen=True, slots=True)
class GivenLength:
    """Two marks and the length between them as a person wrote it.

    `on_paper` lengths are of the paper, which shows the thing at the sheet's `drawn_at`. `along` are two places of a
    line where only the part along it is known.
    """

    start: Mark
    end: Mark
    text: str
    on_paper: bool = False
    along: tuple[Mark, Mark] | None = None

    @property
    def marks(self) -> tuple[Mark, ...]:
        """Both ends, then the line's two places where there is one."""
        return (self.start, self.end, *(self.along or ()))


@dataclass(frozen=True, slots=True)
class GivenCorners:
    """Four corners of a rectangle, upper-left first and clockwise as the plan reads; `size_text` is as written."""

    marks: tuple[Mark, Mark, Mark, Mark]
    size_text: str | None = None


@dataclass(frozen=True, slots=True)
class GivenAcross:
    """The line to lay straight, from its left end to its right end as the plan reads."""

    start: Mark
    end: Mark


@dataclass(frozen=True, slots=True)
class GivenStraight:
    """The two ends of a drawn line that is straight on the paper, whichever way it runs."""

    start: Mark
    end: Mark


class MeasureKind(StrEnum):
    """What a kept measurement is of."""

    LENGTH = "length"
    ANGLE = "angle"
    AREA = "area"
    RADIUS = "radius"
    NOTE = "note"
    """Of nothing: words pinned to a place."""


MARKS_OF: dict[MeasureKind, tuple[int, int | None]] = {
    MeasureKind.LENGTH: (2, 2),
    MeasureKind.ANGLE: (3, 3),
    MeasureKind.AREA: (3, None),
    MeasureKind.RADIUS: (3, 3),
    MeasureKind.NOTE: (1, 1),
}
"""The fewest and the most marks of a measurement: an angle has its vertex second, an area any number of corners."""


@dataclass(frozen=True, slots=True)
class KeptMeasure:
    """A measurement or a note that stays in the job; nothing is ever fitted to it."""

    kind: MeasureKind
    marks: tuple[Mark, ...]
    note: str = ""

    def __post_init__(self) -> None:
        least, most = MARKS_OF[self.kind]
        if len(self.marks) < least or (most is not None and len(self.marks) > most):
            needed = f"{least}" if most == least else f"{least} or more"
            what = "note" if self.kind is MeasureKind.NOTE else f"measurement of kind {str(self.kind)!r}"
            raise JobError(f"A {what} has {len(self.marks)} marks; it needs {needed}: mark it again.")


class SheetKind(StrEnum):
    """What the picture is; AUTO lets the program tell and say why."""

    AUTO = "auto"
    PHOTO = "photo"
    SCAN = "scan"


class LinesFrom(StrEnum):
    """Where a sheet's lines are taken from."""

    AUTO = "auto"
    """A PDF page's own paths where they are what it shows, else its picture."""
    PICTURE = "picture"


@dataclass(frozen=True, slots=True)
class Sheet:
    """One picture of the plan. `file` is absolute; the job file holds it relative to itself.

    `drawn_at` is paper size / full size. `trust_size` takes the file's own tag or
    page size for true; `dpi` states it. `origin_px` is where the plan's origin
    lies in the picture, kept so that pages printed later still fit.
    """

    file: Path
    sha256: str
    page: int = 1
    kind: SheetKind = SheetKind.AUTO
    lines: LinesFrom = LinesFrom.AUTO
    drawn_at: Fraction | None = None
    trust_size: bool = False
    dpi: float | None = None
    origin_px: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        if self.trust_size and self.dpi is not None:
            raise JobError("The sheet has both trust_size and dpi; one of them can be true: take the other out.")
        if not is_readable_text(str(self.file)):
            raise JobError(
                f"The path {str(self.file)!a} is not readable text; every file made from it must name it: "
                "rename the picture, or its folder."
            )


class Found(StrEnum):
    """What the program finds by itself and a person can reject."""

    BORDER = "drawn border"
    SKEW = "skew"
    SHEET = "paper edge"
    CARDS = "cards"
    SQUARED_PAPER = "squared paper"
    SHOWN_THROUGH = "shown through"
    STRAIGHT_LINES = "straight lines"
    NAMES = "names"
    BREAKS = "break lines"
    INKS = "inks"


@dataclass(frozen=True, slots=True)
class KeptGrid:
    """The page grid of the last run, or put by hand, and the fraction and paper it was laid out for.

    `fraction` is None where the grid was put by hand while a length still had to tell the fraction.
    """

    grid: PageGrid
    fraction: Fraction | None
    setup: PageSetup


@dataclass(frozen=True, slots=True)
class Job:
    """Everything needed to run again. Marks are in picture px, so a new calibration moves none of them.

    `card_bar` is what the bars on the cards' own sheet measure, as written.
    """

    name: str
    sheet: Sheet
    knowns: tuple[GivenLength, ...] = ()
    checks: tuple[GivenLength, ...] = ()
    corners: GivenCorners | None = None
    across: GivenAcross | None = None
    straights: tuple[GivenStraight, ...] = ()
    card_bar: str | None = None
    ignore: tuple[Found, ...] = ()
    rubbed: tuple[Rub, ...] = ()
    traces: tuple[Trace, ...] = ()
    choices: tuple[Choice, ...] = ()
    regions: tuple[Region, ...] = ()
    fraction: Fraction = Fraction(1)
    build_length: GivenLength | None = None
    mirrored: bool = False
    lines_only: bool = False
    setup: PageSetup = field(default_factory=lambda: PageSetup(PAPERS["a4"]))
    kept_grid: KeptGrid | None = None
    measures: tuple[KeptMeasure, ...] = ()
    notes: str = ""
