"""Ordinates of a drawn rib: how high its outline lies over and under its chord, station by station."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from calibration.calibration import Calibration
from calibration.observations import PointPx
from calibration.shapes import ordinate_u95
from drawing.drawing import Outline
from drawing.findings import Finding, Level
from drawing.paths import sampled
from job.errors import JobError
from job.part_errors import OUTLINE_SIGMA_PX
from job.stations import Crossing, Floats, Notch, Side, Stations, crossings, notches

SAMPLED_MM = 0.002
"""How far an outline's corners may lie off its curve: a tenth of the finest fit."""

NOSE_PART = 0.03
"""Of the chord: how far from each end the thickness is compared; the thicker end is the nose."""

ALIKE_PART = 0.15
"""Ends whose thickness differs by less than this part are no nose and tail."""

WHERE_MM = 1e-6
"""A station this near an end of the chord is that end: coordinates are rounded to far less."""


@dataclass(frozen=True, slots=True)
class Ordinate:
    """The outline's outermost place at a station, mm from the base line at full size, upwards.

    `bridged_mm` is the straight line over the notch that the station lies in, None outside any. `u95_mm` is not
    finite where the edge runs square to the base line.
    """

    y_mm: float
    u95_mm: float
    bridged_mm: float | None


@dataclass(frozen=True, slots=True)
class Station:
    """A station: its place along the base line from the leading end, mm at full size, as a part, and its ordinates.

    A side is None where the outline does not reach the station.
    """

    x_mm: float
    x_u95_mm: float
    part: float
    upper: Ordinate | None
    lower: Ordinate | None


@dataclass(frozen=True, slots=True)
class MeasuredOrdinates:
    """A rib's ordinates; `chord_mm` is the base line's length. `fraction` is build size over full size."""

    number: int
    name: str
    leading_px: PointPx
    trailing_px: PointPx
    chord_mm: float
    chord_u95_mm: float
    chord_found: bool
    stations: tuple[Station, ...]
    notches: tuple[Notch, ...]
    fraction: float


@dataclass(frozen=True, slots=True)
class Base:
    """A base line in the picture, leading end first, and one sigma of its ends, px."""

    ends_px: tuple[PointPx, PointPx]
    sigma_px: float


def measured_ordinates(
    outline: Outline, stations: Stations, base: Base | None, *, calibration: Calibration, fraction: float
) -> tuple[MeasuredOrdinates, tuple[Finding, ...]]:
    """Give an outline's ordinates (full size) over a base line, or over its chord, and what was noticed.

    The chord joins the two places of the outline that lie farthest apart, and leads from the thicker end to the
    thinner. Upwards is towards the top of the plan (to the left of the base line where that stands upright).

    Raises
    ------
    JobError
        When the base line has no length or a step does not fit it.
    """
    ring_mm = sampled(outline.boundary, tolerance_mm=SAMPLED_MM)
    noted: list[Finding] = []
    if base is None:
        chord_ends = chord_of(ring_mm)
        ends_mm = chord_ends.ends_mm
        ends = calibration.to_picture(ends_mm)
        ends_px = ((float(ends[0, 0]), float(ends[0, 1])), (float(ends[1, 0]), float(ends[1, 1])))
        sigmas_px = OUTLINE_SIGMA_PX * np.array([*chord_ends.aside, 1.0])
        # Along the chord its ends are as sure as the outline; only aside are they less so.
        chord = calibration.length(*ends_px, mark_sigma_px=OUTLINE_SIGMA_PX)
        if chord_ends.alike:
            noted.append(_ends_alike(outline))
    else:
        ends_px = base.ends_px
        ends_mm = calibration.to_plan(np.array(ends_px))
        sigmas_px = np.array([base.sigma_px, base.sigma_px, OUTLINE_SIGMA_PX])
        chord = calibration.length(*ends_px, mark_sigma_px=base.sigma_px)
    frame = _Frame(ends_mm[0], ends_mm[1])
    placed = frame.placed(ring_mm)
    hollows = notches(placed, frame.length_mm)

    def ordinate(found: Crossing, at_mm: float, part: float | None, side: Side) -> Ordinate:
        over = next((n for n in hollows if n.side is side and n.start_mm < at_mm < n.end_mm), None)
        y_mm, slope = (found.y_mm, found.slope) if over is None else (over.bridged_mm(at_mm), over.slope)
        return Ordinate(found.y_mm, give(y_mm, slope, at_mm, part), None if over is None else y_mm)

    def give(y_mm: float, slope: float, at_mm: float, part: float | None) -> float:
        if not math.isfinite(slope):
            return math.inf
        at_px = calibration.to_picture(frame.back(at_mm, y_mm)[None])[0]
        u95_mm = ordinate_u95(
            calibration,
            np.array(ends_px),
            at_px,
            along_part=part,
            edge_slope=frame.left * slope,
            mark_sigma_px=sigmas_px,
        )
        # The fitted curve's own distance from the ink counts across the edge.
        return math.hypot(u95_mm, outline.deviation_mm * math.hypot(1, slope))

    rows = []
    for at_mm, part in stations.along_mm(frame.length_mm):
        upper = lower = None
        if base is None and min(at_mm, frame.length_mm - at_mm) <= WHERE_MM:
            # The chord's own end: its height is 0 by what a chord is, wherever it lies.
            upper = lower = Ordinate(0.0, 0.0, None)
        elif (found := crossings(placed, at_mm)) is not None:
            upper, lower = (ordinate(found[side], at_mm, part, side) for side in (Side.UPPER, Side.LOWER))
        x_u95_mm = 0.0 if part is None else part * chord.u95_mm
        rows.append(Station(at_mm, x_u95_mm, at_mm / frame.length_mm, upper, lower))
    if all(row.upper is None for row in rows):
        raise JobError(
            f"Part {outline.number} is nowhere at the stations asked for along the base line; it must lie beside it: "
            "give the base line from the part's leading end to its trailing end, or leave it out."
        )
    measured = MeasuredOrdinates(
        outline.number, outline.name, ends_px[0], ends_px[1], chord.mm, chord.u95_mm, base is None, tuple(rows),
        hollows, fraction,
    )  # fmt: skip
    return measured, tuple(noted)


class _Frame:
    """A base line's own frame: x along it from its leading end, y towards the top of the plan; mm."""

    def __init__(self, start_mm: Floats, end_mm: Floats) -> None:
        self.start_mm = start_mm
        self.length_mm = float(np.hypot(*(end_mm - start_mm)))
        self.along = (end_mm - start_mm) / self.length_mm
        left = np.array([-self.along[1], self.along[0]])
        self.left = 1.0 if left[1] >= -UPRIGHT else -1.0
        self.up = self.left * left

    def placed(self, points_mm: Floats) -> Floats:
        """Give plan points (N, 2) in this frame."""
        off = points_mm - self.start_mm
        return np.column_stack([off @ self.along, off @ self.up])

    def back(self, x_mm: float, y_mm: float) -> Floats:
        """Give a place of this frame in the plan, (2,)."""
        return np.asarray(self.start_mm + x_mm * self.along + y_mm * self.up)


UPRIGHT = 1e-3
"""A base line whose left side is this little above or below it, as a part of its length, stands upright."""


@dataclass(frozen=True, slots=True)
class Chord:
    """An outline's two places farthest apart (2, 2), mm, the thicker end first.

    `alike` where the ends do not tell which leads; `aside` is how many times less sure each end is across the chord
    than the outline itself.
    """

    ends_mm: Floats
    alike: bool
    aside: tuple[float, float]


def chord_of(ring_mm: Floats) -> Chord:
    """Give the chord of a closed outline (N, 2), mm.

    On a round nose a hair's breadth in the outline moves the farthest place far aside: it is told by a curve through
    the whole of the nose.

    Raises
    ------
    JobError
        When the outline has no width.
    """
    hull = shapely.get_coordinates(shapely.MultiPoint(ring_mm).convex_hull)[:-1]
    if len(hull) < 3:
        raise JobError("The outline has no width, so it has no ordinates; another outline is needed: name one.")
    apart = np.hypot(*(hull[:, None] - hull[None]).transpose(2, 0, 1))
    i, j = np.unravel_index(int(apart.argmax()), apart.shape)
    # The left end first, the upper one where both stand over one another: a fixed order to begin with.
    ends = np.array(sorted((hull[i], hull[j]), key=lambda end: (round(float(end[0]), 3), -float(end[1]))))
    for _ in range(TIP_ROUNDS):
        tips = [_tip(ring_mm, end, other) for end, other in ((ends[0], ends[1]), (ends[1], ends[0]))]
        ends = np.array([at for at, _ in tips])
    length_mm = float(np.hypot(*(ends[1] - ends[0])))
    thick = [_thickness(_Frame(*way).placed(ring_mm), length_mm) for way in (ends, ends[::-1])]
    alike = abs(thick[0] - thick[1]) < ALIKE_PART * max(thick)
    aside = tips[0][1], tips[1][1]
    if alike or thick[0] > thick[1]:
        return Chord(ends, alike, aside)
    return Chord(ends[::-1], alike, aside[::-1])


TIP_ROUNDS = 2
"""Each end is told as seen from the other; the second round moves them by a hundredth of the first."""

TIP_PART = 0.3
"""Of the thickness close to the nose: how far to each side of its foremost place its curve is looked at, about its own
radius: less errs more, and farther round a nose is no parabola."""

TIP_STEPS = 40
"""Places on that curve, at least."""

ROUND_PART = 0.08
"""A nose whose outline leaves its curve by more than this part of what it falls back by is pointed, square or notched:
its farthest place is a corner."""


def _tip(ring_mm: Floats, end_mm: Floats, other_mm: Floats) -> tuple[Floats, float]:
    """Give the place of the outline near one end that is farthest from the other, and how unsure it is aside.

    A section's nose is a parabola to begin with (NACA Report 460), so its distance is fitted as a cubic of the place
    across the chord.
    """
    frame = _Frame(end_mm, other_mm)
    half_mm = TIP_PART * _thickness(frame.placed(ring_mm), frame.length_mm)
    if half_mm <= 0:
        return end_mm, 1.0
    dense = shapely.segmentize(shapely.LinearRing(ring_mm), half_mm / TIP_STEPS)
    placed = frame.placed(shapely.get_coordinates(dense)[:-1])
    near = placed[(np.abs(placed[:, 1]) <= half_mm) & (placed[:, 0] < 2 * half_mm)]
    if np.ptp(near[:, 1]) < half_mm:
        return end_mm, 1.0
    far_mm = np.hypot(near[:, 0] - frame.length_mm, near[:, 1])
    curve = np.polynomial.Polynomial.fit(near[:, 1], far_mm, 3)
    off_mm = float(np.sqrt(np.mean((curve(near[:, 1]) - far_mm) ** 2)))
    if off_mm > ROUND_PART * float(np.ptp(far_mm)):
        return end_mm, 1.0
    bend = curve.deriv(2)
    tops = [float(y.real) for y in curve.deriv().roots() if abs(y.imag) < WHERE_MM and abs(y.real) <= half_mm / 2]
    tops = [y for y in tops if bend(y) < 0]
    if len(tops) != 1:
        return end_mm, 1.0
    (y_mm,) = tops
    farthest_mm = float(curve(y_mm))
    x_mm = frame.length_mm - math.sqrt(farthest_mm**2 - y_mm**2)
    # A slope of one sigma over half the nose moves its top by its radius times that.
    return frame.back(x_mm, y_mm), max(1.0, 1 / abs(float(bend(y_mm))) / half_mm)


def _thickness(placed_mm: Floats, chord_mm: float) -> float:
    found = crossings(placed_mm, NOSE_PART * chord_mm)
    return 0.0 if found is None else found[Side.UPPER].y_mm - found[Side.LOWER].y_mm


def _ends_alike(outline: Outline) -> Finding:
    return Finding(
        "ends-alike",
        Level.NOTE,
        f"the ordinates of part {outline.number}",
        f"Part {outline.number} is about as thick at both ends, so which is the leading one was not told: its left end "
        f'was taken. Name the ends in order to choose: --ordinates "part {outline.number} on A B".',
    )


def found_outline(outlines: Sequence[Outline], named: str | PointPx, *, calibration: Calibration) -> Outline:
    """Give the outline with a number or a name, or the smallest one around a place in the picture.

    Raises
    ------
    JobError
        When there is none, or more than one of that name.
    """
    if isinstance(named, str):
        found = [one for one in outlines if named == str(one.number)] or [one for one in outlines if named == one.name]
        what = f"part {named}"
    else:
        place = shapely.Point(calibration.to_plan(np.array([named]))[0])
        shapes = [shapely.Polygon(sampled(one.boundary, tolerance_mm=SAMPLED_MM)) for one in outlines]
        around = sorted((shape.area, n) for n, shape in enumerate(shapes) if shapely.contains(shape, place))
        found = [outlines[n] for _, n in around[:1]]
        what = f"part around {named[0]:g},{named[1]:g} px"
    if len(found) == 1:
        return found[0]
    numbers = f"1 to {len(outlines)}" if len(outlines) > 1 else "1" if outlines else "none"
    many = f"{len(found)} parts are named {named!r}" if found else f"There is no {what}"
    raise JobError(
        f"{many}; one outline is needed, and the parts found have the numbers {numbers}: look at the report's picture "
        "for the number, or give x,y of a place inside the part."
    )
