"""Which findings an adjustment earns: every doubt that a builder should know, with its effect over the longest part."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from calibration import findings_words as words
from calibration.bend_choice import INNER_FOR_BULGE, SIDES
from calibration.bend_rivals import PerhapsBent
from calibration.calibration import Calibration, Given
from calibration.card_remarks import card_remarks
from calibration.fit import Fit
from calibration.kind import Kind
from calibration.naming import named
from calibration.observations import (
    Cards,
    CheckLength,
    Corners,
    GivenScale,
    KnownDistance,
    Observation,
    PointPx,
    Skew,
    StraightLine,
)
from calibration.plane_map import Floats, P, plane_from_picture, standing
from calibration.uncertainty import NORMAL_95, length_slopes
from calibration.unit_slips import confusion
from calibration.view_remarks import view_remarks
from drawing.findings import Finding
from drawing.units import MM_PER_INCH

WORTH_SAYING_PART = 0.002
"""An effect below this part of the longest part (2 mm on a metre) is in every give or take and needs no sentence."""

STRETCH_WORTH_SAYING = 0.003
"""x against y scale: paper alone swells so much."""

TAG_PART = 0.01
"""A file's dpi that is this near is the same."""

UNIT_PART = 0.03
"""A ratio to the file's dpi this near a unit's factor is a mix-up of units, unless it is also a drawing scale."""

NO_REMOTE_CHANCE = 0.1
"""A bend likelier than this is told of."""

LIKELY = 0.9
"""A bend likelier than this, whose shape too few lines tell, is for the builder to decide. Of 500 flat plans with four
right lengths, five came to 0.8 and two to this (trials)."""

RIVAL_PART = 0.3
"""Lengths shorter than this part of the longest say little of how the paper is bent."""

LARGEST_PICTURE_MM = 5000.0
SMALLEST_PICTURE_MM = 50.0
"""A picture's longer side at full size; beyond them a lone length was likely given in another unit."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What an adjustment knows besides its result: `likeliest` is the likeliest of the maps that were averaged."""

    fit: Fit
    longest_px: tuple[PointPx, PointPx]
    likeliest: Calibration
    tag_mm_per_px: tuple[float, float] | None
    perhaps_bent: PerhapsBent | None


def remarks(calibration: Calibration, evidence: Evidence) -> tuple[Finding, ...]:
    """Give all findings, what must be decided first."""
    return (
        *_blame(calibration, evidence),
        *card_remarks(
            calibration,
            evidence.fit.weeded,
            observations=evidence.fit.observations,
            times=evidence.fit.card_times,
            left_out=evidence.fit.card_out,
            longest_px=evidence.longest_px,
        ),
        *_checks(calibration, evidence),
        *_views(calibration, evidence),
        *view_remarks(
            calibration,
            evidence.fit.observations,
            evidence.fit.weeded.solution,
            longest_mm=_longest_mm(calibration, evidence),
        ),
        *_sizes(calibration, evidence),
        *_doubts(calibration, evidence),
    )


def _blame(calibration: Calibration, evidence: Evidence) -> Iterator[Finding]:
    weeded = evidence.fit.weeded
    for fault in weeded.left_out:
        yield words.left_out(
            fault,
            evidence.fit.observations,
            spare=weeded.agreement.spare,
            longest_mm=_longest_mm(calibration, evidence),
        )
    if weeded.or_wrong:
        strain = math.hypot(*(float(calibration.values[p]) for p in (P.STRETCH, P.SHEAR)))
        longest_mm = _longest_mm(calibration, evidence)
        yield words.stretched_or_wrong(strain, weeded.or_wrong, evidence.fit.observations, longest_mm=longest_mm)
    if weeded.disputed:
        yield words.disputed(weeded.disputed, evidence.fit.observations, longest_mm=_longest_mm(calibration, evidence))
    elif weeded.agreement.variance_factor > weeded.agreement.usual_factor:
        yield words.misfit(weeded.agreement.variance_factor, calibration.length(*evidence.longest_px).u95_mm)
    yield from _curl(calibration, evidence)
    yield from _perhaps_bent(calibration, evidence)
    if evidence.fit.bent:
        lines = [seen.points_px for seen in _lines(evidence)]
        rise_mm, distance_mm = standing(calibration.values, np.concatenate(lines), calibration.size)
        inner, longest = len(lines) - SIDES, calibration.length(*evidence.longest_px)
        if inner < INNER_FOR_BULGE:
            # What stands z nearer to a camera D away looks larger by z / D.
            effect_mm = max(rise_mm / distance_mm * longest.mm, longest.u95_mm)
            yield words.bend_unproven(rise_mm, effect_mm, inner, INNER_FOR_BULGE)
        else:
            yield words.laid_flat(rise_mm, longest.u95_mm, longest.mm)


def _longest_mm(calibration: Calibration, evidence: Evidence) -> float:
    """Give the length of the longest part, full size."""
    return calibration.length(*evidence.longest_px).mm


def _curl(calibration: Calibration, evidence: Evidence) -> Iterator[Finding]:
    """Say that lines bend, in a way that no lens does, by more than lines are drawn and paper lies."""
    if evidence.fit.line_times == 1.0:
        return
    for seen in _lines(evidence):
        off_mm = _off_straight_mm(calibration.to_plan(seen.points_px))
        if off_mm > seen.give_mm / evidence.fit.line_times:
            yield words.not_flat(seen.label, off_mm, calibration.length(*evidence.longest_px).u95_mm)
            return


def _perhaps_bent(calibration: Calibration, evidence: Evidence) -> Iterator[Finding]:
    """Say that the paper may be bent where that is no remote chance and changes more than lengths are sure to."""
    perhaps = evidence.perhaps_bent
    if perhaps is None or perhaps.chance < NO_REMOTE_CHANCE:
        return
    ends = _line_ends(evidence)
    _, u95_mm = calibration.lengths_u95(*ends)
    apart = _most_apart(evidence, [perhaps.values], ends, beyond_mm=u95_mm / 2)
    if apart is not None:
        # With lines enough inside, the mean of both is as sure as it says; without, nothing tells what the bend is.
        open_ended = perhaps.chance > LIKELY and len(_lines(evidence)) - SIDES < INNER_FOR_BULGE
        yield words.perhaps_bent(perhaps.chance, *apart, decide=open_ended)


def _off_straight_mm(points_mm: Floats) -> float:
    """Give the largest distance of points from the straight line that fits them best."""
    centred = points_mm - points_mm.mean(axis=0)
    _, _, directions = np.linalg.svd(centred, full_matrices=False)
    return float(np.abs(centred @ directions[1]).max())


def _checks(calibration: Calibration, evidence: Evidence) -> Iterator[Finding]:
    checks = [seen for seen in evidence.fit.observations if isinstance(seen, CheckLength)]
    entries = [entry for entry in calibration.observed if entry.kind is Given.CHECK]
    for seen, entry in zip(checks, entries, strict=True):
        allowed = math.hypot(entry.u95_mm, NORMAL_95 * seen.give_mm / math.sqrt(3))
        if abs(entry.residual_mm) > allowed:
            part = abs(entry.residual_mm) / entry.given_mm
            longest_mm = _longest_mm(calibration, evidence)
            yield words.check_off(named(seen), entry.residual_mm, allowed, part, longest_mm)


def _views(calibration: Calibration, evidence: Evidence) -> Iterator[Finding]:
    longest = calibration.length(*evidence.longest_px)
    if evidence.fit.bent:
        yield from _two_bends(evidence)
        return
    ends = np.array(evidence.longest_px)
    apart = 0.0
    for values in evidence.fit.rivals:
        start, end = plane_from_picture(values, ends, calibration.size)
        apart = max(apart, abs(float(np.hypot(*(end - start))) - longest.mm))
    if apart > longest.u95_mm:
        yield words.two_views(apart, longest.mm)


def _two_bends(evidence: Evidence) -> Iterator[Finding]:
    """Say that the paper may as well be bent another way, where that makes some length another."""
    ends = _line_ends(evidence)
    _, u95_mm = evidence.likeliest.lengths_u95(*ends)
    apart = _most_apart(evidence, evidence.fit.rivals, ends, beyond_mm=u95_mm)
    if apart is not None:
        yield words.two_bends(*apart)


def _lines(evidence: Evidence) -> list[StraightLine]:
    return [seen for seen in evidence.fit.observations if isinstance(seen, StraightLine)]


def _line_ends(evidence: Evidence) -> tuple[Floats, Floats]:
    """Give two (N, 2) places, px: each two of the ends of straight lines."""
    ends = np.concatenate([seen.points_px[[0, -1]] for seen in _lines(evidence)])
    first, second = np.triu_indices(len(ends), 1)
    return ends[first], ends[second]


def _most_apart(
    evidence: Evidence, rivals: Sequence[Floats], ends_px: tuple[Floats, Floats], *, beyond_mm: Floats
) -> tuple[float, float] | None:
    """Give by how much, mm, other maps (56,) make a length another, and that length; None where none is beyond."""
    mm, _ = evidence.likeliest.lengths_u95(*ends_px)
    worst: tuple[float, float] | None = None
    for values in rivals:
        start, end = (plane_from_picture(values, px, evidence.likeliest.size) for px in ends_px)
        apart_mm = np.abs(np.hypot(*(end - start).T) - mm)
        apart_mm[(apart_mm <= beyond_mm) | (mm <= RIVAL_PART * mm.max())] = 0.0
        at = int(apart_mm.argmax())
        if apart_mm[at] > (0.0 if worst is None else worst[0]):
            worst = float(apart_mm[at]), float(mm[at])
    return worst


def _sizes(calibration: Calibration, evidence: Evidence) -> Iterator[Finding]:
    """Compare with the file's dpi, and a lone length with what a sheet of paper can be."""
    tag, own = evidence.tag_mm_per_px, calibration.mm_per_px
    trusted = any(isinstance(seen, GivenScale | Cards) for seen in evidence.fit.observations)
    ratio = None if tag is None or calibration.kind is Kind.PHOTO else own / math.sqrt(tag[0] * tag[1])
    lone = sum(isinstance(seen, KnownDistance) or _sized(seen) for seen in evidence.fit.observations) == 1
    if trusted:
        return
    if ratio is not None and abs(ratio - 1) < TAG_PART:
        return
    if lone:
        units = None if ratio is None else confusion(max(ratio, 1 / ratio), near=1 + UNIT_PART)
        if units is not None and ratio is not None and ratio > 1 and _drawing_scale(ratio):
            units = None
        width_mm = own * calibration.size.width_px
        longer_mm = own * max(calibration.size.width_px, calibration.size.height_px)
        if units or not SMALLEST_PICTURE_MM <= longer_mm <= LARGEST_PICTURE_MM:
            yield words.absurd_size(width_mm, units, _longest_mm(calibration, evidence))
    if ratio is not None:
        longest_mm = _longest_mm(calibration, evidence)
        yield words.tag_differs(MM_PER_INCH * ratio / own, MM_PER_INCH / own, longest_mm)


def _doubts(calibration: Calibration, evidence: Evidence) -> Iterator[Finding]:
    longest = calibration.length(*evidence.longest_px)
    ends = np.array(evidence.longest_px)
    slopes = length_slopes(calibration.values, ends[:1], ends[1:], calibration.size)[:, 0]
    lens_mm = NORMAL_95 * math.sqrt(max(float(slopes @ evidence.fit.covariance.lens @ slopes), 0.0))
    weak_lens = lens_mm > max(0.5 * longest.u95_mm, WORTH_SAYING_PART * longest.mm)
    if calibration.kind is Kind.PHOTO and (weak_lens or not evidence.fit.lens_shown):
        yield words.lens_unsolved(lens_mm, longest.mm)
    if (doubt := evidence.fit.focal_doubt) is not None:
        start, end = plane_from_picture(doubt.by_file, ends, calibration.size)
        by_file_mm = float(np.hypot(*(end - start)))
        yield words.focal_doubted(doubt.told_35mm, doubt.shown_35mm, longest.mm - by_file_mm, longest.mm)
    if evidence.fit.weeded.disputed:
        # Widened by the dispute, every further effect would be blamed on the wrong thing.
        return
    strain = float(calibration.values[P.STRETCH])
    if abs(strain) > STRETCH_WORTH_SAYING and not evidence.fit.weeded.or_wrong:
        yield words.stretched(strain, longest.mm)
    for seen in evidence.fit.observations:
        if isinstance(seen, Skew) and abs(seen.shear_rad) > NORMAL_95 * seen.shear_sigma_rad:
            angles = (seen.angle_rad, seen.angle_rad + seen.shear_rad, seen.shear_sigma_rad)
            along_deg, across_deg, sigma_deg = (math.degrees(angle) for angle in angles)
            yield words.sheared(along_deg, across_deg, sigma_deg, longest.mm)
    best, worst, direction = _directions(calibration, evidence)
    if worst > WORTH_SAYING_PART and worst > 2 * best:
        yield words.one_direction(direction, worst * longest.mm, longest.mm)
    rest_mm = math.sqrt(max(longest.u95_mm**2 - lens_mm**2, 0.0))
    given = [entry.given_mm for entry in calibration.observed if entry.kind in (Given.KNOWN, Given.SIDE) and entry.used]
    if given and max(given) < longest.mm / 2 and rest_mm > WORTH_SAYING_PART * longest.mm:
        yield words.weak(rest_mm, longest.mm, max(given))
    lengths = KnownDistance | GivenScale | CheckLength | Cards
    sources = [s for s in evidence.fit.observations if isinstance(s, lengths) or _sized(s)]
    if len(sources) == 1:
        yield words.unchecked(named(sources[0]), longest.mm)


def _directions(calibration: Calibration, evidence: Evidence) -> tuple[float, float, str]:
    """Give how sure lengths at the marks' middle are, as a part, in the best and the worst direction; the latter."""
    middle = calibration.to_plan(np.array(evidence.longest_px)).mean(axis=0)
    reach = calibration.length(*evidence.longest_px).mm / 4
    angles = np.radians(np.arange(0, 180, 5))
    arms = reach * np.column_stack([np.cos(angles), np.sin(angles)])
    starts, ends = calibration.to_picture(middle - arms), calibration.to_picture(middle + arms)
    mm, sure = calibration.lengths_u95(starts, ends, mark_sigma_px=0.0)
    parts = sure / mm
    worst = int(parts.argmax())
    degrees = round(math.degrees(angles[worst]))
    if degrees <= 20 or degrees >= 160:
        direction = "across the plan"
    elif 70 <= degrees <= 110:
        direction = "up the plan"
    else:
        direction = f"at {degrees} degrees to the plan's lower edge"
    return float(parts.min()), float(parts[worst]), direction


def _sized(seen: Observation) -> bool:
    return isinstance(seen, Corners) and seen.width_mm is not None


def _drawing_scale(ratio: float) -> bool:
    """Tell whether a plan may be drawn so much smaller: 10 and 12 times are usual, 25.4 is not."""
    return abs(ratio / round(ratio) - 1) < 0.005 and ratio < 20
