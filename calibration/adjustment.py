"""The adjustment as a surveyor sets it out: every observation with its residual, every unknown, and how they agree."""

from dataclasses import dataclass
from enum import StrEnum

from calibration.plane_map import Floats


class Unit(StrEnum):
    """What a figure of the adjustment is measured in."""

    MM = "mm"
    RAD = "rad"
    PX = "px"
    MM_PER_PX = "mm/px"
    PART = "part"
    """A ratio less 1."""
    NONE = ""


class Seen(StrEnum):
    """What kind of thing an observation is."""

    KNOWN = "known distance"
    CHECK = "check length"
    CORNER = "corner"
    SIZE = "size of a rectangle"
    SQUARE = "right angles of a rectangle"
    LINE = "straight line"
    AXES = "right angle of drawn lines"
    SCALE = "scale on trust"
    CARD = "card"
    BAR = "bar of a print"
    TURN = "direction of the plan"


class Use(StrEnum):
    """Whether the map was fitted to an observation, and if not, why."""

    FITTED = "fitted"
    COMPARED = "only compared"
    LEFT_OUT = "left out: the rest does not agree with it"
    DISPUTED = "fitted, but it and others do not agree"
    TURNS = "turns the plan; nothing is fitted to it"


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """Where an observation lies in the picture, px.

    `points_px` (N, 2) are its marks; `off_px` (N, 2) is where each lies less where the map puts it. A straight line's
    points lie that much off the line they are of, once the lens is out.
    """

    points_px: Floats
    off_px: Floats


@dataclass(frozen=True, slots=True, eq=False)
class ObservedRow:
    """One observation; full size.

    `residual` is fitted less given; of a corner, card or line, which are given as places, it is how far off, root mean
    square over its points, and `given` and `fitted` are None. `sigma` is the observation's own, before the
    adjustment. `standardized` is the residual over its own sigma once adjusted (root mean square where there are
    several); None where nothing else checks it. `bow_px` is how far a straight line bows in the picture.
    """

    label: str
    seen: Seen
    use: Use
    unit: Unit
    given: float | None
    fitted: float | None
    residual: float | None
    residual_px: float | None
    sigma: float | None
    standardized: float | None
    shown: Shown | None = None
    bow_px: float | None = None


@dataclass(frozen=True, slots=True)
class UnknownRow:
    """One unknown of the map: what it came to, one sigma of that, and what was known beforehand.

    `sigma` is 0 for what was not solved for; `prior_sigma` infinite where nothing was known.
    """

    name: str
    unit: Unit
    value: float
    sigma: float
    prior: float
    prior_sigma: float
    solved: bool


@dataclass(frozen=True, slots=True)
class Agreed:
    """How well rows agree: how many more than needed, the variance factor, and what that stays below 999 in 1000."""

    redundancy: float
    variance_factor: float
    usual_factor: float


@dataclass(frozen=True, slots=True, eq=False)
class Adjustment:
    """The whole adjustment. `rows` counts its equations, `unknown_count` what was solved for; `widened` is how many
    times larger every sigma of the map was taken for what did not agree.
    """

    observations: tuple[ObservedRow, ...]
    unknowns: tuple[UnknownRow, ...]
    rows: int
    unknown_count: int
    given: Agreed
    lines: Agreed
    cards: Agreed
    widened: float

    @property
    def redundancy(self) -> int:
        """Equations beyond those needed."""
        return self.rows - self.unknown_count
