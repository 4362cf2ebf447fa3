"""What an adjustment has to say, in plain words: the effect in mm and the cheapest remedy."""

import math
from collections.abc import Sequence

from calibration.blunders import Fault
from calibration.naming import capitalised, listed, suspect_named
from calibration.observations import Observation
from calibration.problem import What
from drawing.findings import Finding, Level
from drawing.format import format_give, format_mm, format_off

HOW_TO_PRINT = 'or print the cards anew at "actual size"'

PROVEN_SPARE = 2.5
"""Observations beyond what is needed; the rectangle's squareness is one, so above it known distances agree as well."""


def left_out(fault: Fault, observations: Sequence[Observation], *, spare: float, longest_mm: float) -> Finding:
    """Say what was given wrong, as all the rest shows; `spare` is how many observations more than needed agree."""
    believed = f"believed, it would change the longest part by up to {format_mm(fault.part * longest_mm)}"
    name = suspect_named(fault.suspect, observations)
    level = Level.DECIDE
    match fault.suspect.what:
        case What.FOCAL:
            proven = spare > PROVEN_SPARE
            level = Level.NOTE if proven else Level.DECIDE
            text = (
                f"{capitalised(name)} is {_percent(fault.part)} off what the marks show; it was not used. A cropped "
                "picture does that, and so does a wrong corner or size of the rectangle: "
                + ("the other lengths agree." if proven else "give a known distance along each side to tell which.")
            )
        case What.PRINT:
            text = (
                f"{capitalised(name)} is not what the rest shows, by {_percent(fault.part)}; it was not used: "
                f"{believed}. Measure the sheet's bars again, {HOW_TO_PRINT}."
            )
        case What.CORNER:
            text = (
                f"{capitalised(name)} lies {format_mm(fault.given_mm)} away from where all the rest puts it; it was "
                f"left out: {believed}. Mark it again."
            )
        case _:
            text = (
                f"{capitalised(name)} does not agree with the rest, which makes it {format_mm(fault.rest_mm)} "
                f"({format_off(fault.off_mm)}, {_percent(fault.part)}); it was left out: {believed}. Check its "
                "marks and its figure, then correct or remove it."
            )
    return Finding("given-left-out", level, name, text)


def disputed(faults: Sequence[Fault], observations: Sequence[Observation], *, longest_mm: float) -> Finding:
    """Say what does not agree where the rest cannot tell which is wrong."""
    names = [suspect_named(fault.suspect, observations) for fault in faults]
    most_mm = max(fault.part for fault in faults) * longest_mm
    text = f"{dispute_text(faults, observations)} Till then the longest part may be off by up to {format_mm(most_mm)}."
    return Finding("given-disagree", Level.DECIDE, listed(names), text)


def dispute_text(faults: Sequence[Fault], observations: Sequence[Observation]) -> str:
    """Give the sentence of `disputed`; also the refusal where the disagreement is too large to go on."""
    names = [suspect_named(fault.suspect, observations) for fault in faults]
    each = [f"{suspect_named(fault.suspect, observations)} {_off(fault)}" for fault in faults]
    if len(faults) == 1:
        return (
            f"What was given does not agree with itself; the likeliest to be wrong is {each[0]}: check that mark "
            "and figure, the rectangle's size and its corners' order, or give one more known distance."
        )
    return (
        f"{capitalised(listed(names))} do not agree: the others make {listed(each)}; which is wrong cannot be told: "
        "check their marks and figures, or give one more known distance along the same direction."
    )


def misfit(variance_factor: float, effect_mm: float) -> Finding:
    """Say that the observations as a whole are further off than their errors allow."""
    return Finding(
        "misfit",
        Level.DECIDE,
        "all that was given",
        f"What was given agrees {variance_factor**0.5:.1f} times worse than careful marks do, and nothing single is "
        "to blame, as when the paper curls or the lens bends lines: lengths were widened to "
        f"{format_give(effect_mm)} over the longest part. Flatten the paper and photograph it from further away, or "
        "check the marks.",
    )


def not_flat(name: str, off_mm: float, effect_mm: float) -> Finding:
    """Say that lines which are straight on the plan are not so in any flat view of it."""
    return Finding(
        "not-flat",
        Level.DECIDE,
        name,
        f"{capitalised(name)} lies up to {format_mm(off_mm)} off a straight line in a way that no lens makes, as when "
        f"the paper curls: lengths were widened to {format_give(effect_mm)} over the longest part, and may be further "
        "off away from such lines. Flatten the paper and photograph it again.",
    )


def laid_flat(rise_mm: float, u95_mm: float, longest_mm: float) -> Finding:
    """Say that the paper was bent, by how much, and how unsure the longest part is for all that."""
    return Finding(
        "paper-bent",
        Level.NOTE,
        "the paper",
        f"The paper did not lie flat: its lines show that it stands up to {format_mm(rise_mm)} off a plane. It was "
        f"laid flat in the outlines and in the flat picture; the longest part ({format_mm(longest_mm)}) is then sure "
        f"to {format_give(u95_mm)}, and every give or take includes how well the bend is known. Flatten it and "
        "photograph it again for lengths surer than that.",
    )


def bend_unproven(rise_mm: float, effect_mm: float, inner: int, needed: int) -> Finding:
    """Say that the paper was bent, with too few lines to tell whether it curls or bulges."""
    lines = "no straight line" if inner <= 0 else f"{inner} straight line" + ("s" if inner > 1 else "")
    return Finding(
        "not-flat",
        Level.DECIDE,
        "the paper",
        f"The paper did not lie flat: its lines show that it stands up to {format_mm(rise_mm)} off a plane. It was "
        f"laid flat as a sheet that curls; with {lines} inside the border it cannot be told whether it bulges "
        f"instead, and then lengths may be off by {format_give(effect_mm)} over the longest part. Flatten it and "
        f"photograph it again, or mark {needed} long straight lines inside the border.",
    )


def perhaps_bent(chance: float, difference_mm: float, length_mm: float, *, decide: bool) -> Finding:
    """Say that the paper may be bent, which what was given does not settle."""
    return Finding(
        "perhaps-bent",
        Level.DECIDE if decide else Level.NOTE,
        "the paper",
        f"The paper may not have lain flat: what was given makes that {100 * chance:.0f} % likely. Flat and bent, a "
        f"length of {format_mm(length_mm)} differs by {format_mm(difference_mm)}; lengths are what both make on "
        "average, and their give or take reaches to both. Flatten the paper and photograph it again, or mark more long "
        "straight lines.",
    )


def two_bends(difference_mm: float, length_mm: float) -> Finding:
    """Say that the paper may be bent in two ways."""
    return Finding(
        "two-bends",
        Level.DECIDE,
        "bend of the paper",
        f"The paper did not lie flat, and it may be bent in two ways that fit alike: they differ by "
        f"{format_mm(difference_mm)} over {format_mm(length_mm)}. Flatten the paper and photograph it again, or give "
        "known distances from corner to corner.",
    )


def stretched(part: float, longest_mm: float) -> Finding:
    """Say that x and y scales differ."""
    return Finding(
        "stretch",
        Level.NOTE,
        "x and y scale",
        f"Across and down the picture the scales differ by {_percent(abs(part))} "
        f"({format_mm(abs(part) * longest_mm)} over the longest part), as in copies and damp paper; this was "
        "corrected. If the plan was never copied, check the lengths.",
    )


def stretched_or_wrong(
    part: float, faults: Sequence[Fault], observations: Sequence[Observation], *, longest_mm: float
) -> Finding:
    """Say that a stretch was taken where a wrong length explains what was given nearly as well."""
    each = [f"{suspect_named(fault.suspect, observations)} {_off(fault)}" for fault in faults]
    return Finding(
        "stretched-or-wrong",
        Level.DECIDE,
        "x and y scale",
        f"Either the plan is stretched by {_percent(part)}, as copies and damp paper are, or something given is "
        f"wrong, likeliest what the others make {listed(each)}. The stretch was taken, which is "
        f"{format_mm(part * longest_mm)} over the longest part. Check that mark and figure, or give one "
        "more known distance in another direction.",
    )


def sheared(along_deg: float, across_deg: float, sigma_deg: float, longest_mm: float) -> Finding:
    """Say that drawn right angles are none in the picture."""
    off_deg = abs(across_deg - along_deg)
    return Finding(
        "shear",
        Level.NOTE,
        "skew of the scan",
        f"Lines along the plan lean {along_deg:.2f} degrees in the picture and lines across it {across_deg:.2f}: the "
        f"scan is sheared by {off_deg:.2f} degrees (give or take {2 * sigma_deg:.2f}), which is "
        f"{format_mm(math.radians(off_deg) * longest_mm)} over the longest part. This was taken out: what was drawn at "
        "right angles comes out so.",
    )


def one_direction(direction: str, u95_mm: float, longest_mm: float) -> Finding:
    """Say that lengths one way rest on an assumption."""
    return Finding(
        "one-direction-known",
        Level.NOTE,
        f"lengths {direction}",
        f"What was given hardly tells the scale {direction}: a length of {format_mm(longest_mm)} that way is good "
        f"to {format_give(u95_mm)}. Copies are often 0.5-0.8 % off in one direction: give a known distance "
        f"{direction}.",
    )


def weak(u95_mm: float, longest_mm: float, longest_given_mm: float) -> Finding:
    """Say that the known lengths are too short or too roughly marked for what is measured."""
    return Finding(
        "short-reference",
        Level.NOTE,
        "known lengths",
        f"The longest length given is {format_mm(longest_given_mm)}; over the longest part "
        f"({format_mm(longest_mm)}) its marks leave {format_give(u95_mm)}. Give a longer known distance.",
    )


def unchecked(name: str, longest_mm: float) -> Finding:
    """Say that a slip would go unseen."""
    return Finding(
        "nothing-checks",
        Level.NOTE,
        name,
        f"Nothing checks {name}: a wrong figure or mark there would change every part by as much, unseen: each percent "
        f"is {format_mm(longest_mm / 100)} over the longest part. Give a second known distance or a check length.",
    )


def lens_unsolved(u95_mm: float, longest_mm: float) -> Finding:
    """Say what the lens may do, where what was given hardly tells it."""
    return Finding(
        "lens-not-solved",
        Level.NOTE,
        "lens",
        "What was given hardly tells how the lens bends lines: that may move the ends of the longest part "
        f"({format_mm(longest_mm)}) by {format_give(u95_mm)}, which every give or take includes. Take in the whole "
        "drawn border, or give two or three more known distances; or step back and zoom in so that the plan fills the "
        "middle half of the picture, or scan it.",
    )


def focal_doubted(told_mm: float, shown_mm: float, off_mm: float, longest_mm: float) -> Finding:
    """Say that the marks show another focal length than the file's."""
    return Finding(
        "focal-length-doubted",
        Level.NOTE,
        "focal length that the file states",
        f"The file states a focal length of {told_mm:.0f} mm (35 mm equivalent); the marks rather show "
        f"{shown_mm:.0f} mm, as they do in a picture that was cropped or zoomed after it was taken. That was taken, "
        f"which makes the longest part ({format_mm(longest_mm)}) {format_mm(abs(off_mm))} "
        f"{'longer' if off_mm > 0 else 'shorter'}. Give a known distance along each side, or use the picture as the "
        "camera made it.",
    )


def two_views(difference_mm: float, longest_mm: float) -> Finding:
    """Say that two camera positions explain the lengths."""
    return Finding(
        "two-views",
        Level.DECIDE,
        "tilt of the camera",
        f"Two positions of the camera explain what was given; over the longest part ({format_mm(longest_mm)}) they "
        f"differ by {format_mm(difference_mm)}. Mark the four corners of a rectangle, or give known distances "
        "across the corners.",
    )


def check_off(name: str, off_mm: float, allowed_mm: float, part: float, longest_mm: float) -> Finding:
    """Say that a check length is not met."""
    return Finding(
        "check-length-off",
        Level.DECIDE,
        name,
        f"{capitalised(name)} comes out {format_off(off_mm)} ({_percent(part)}) away from its figure, where "
        f"{format_give(allowed_mm)} is allowed: as much of the longest part is {format_mm(part * longest_mm)}. "
        "Check its marks and figure, and those of the known distances.",
    )


def tag_differs(tag_dpi: float, own_dpi: float, longest_mm: float) -> Finding:
    """Say that the file's own dpi is another, and that it is not used."""
    times = max(own_dpi / tag_dpi, tag_dpi / own_dpi)
    drawn = tag_dpi / own_dpi
    reduced = f" (right where the plan is drawn at 1/{1 / drawn:.0f})" if _whole(1 / drawn) else ""
    return Finding(
        "tag-differs",
        Level.NOTE,
        "dpi of the file",
        f"The file says {tag_dpi:.4g} dpi, what you gave says {own_dpi:.1f}: {times:.2f} times{reduced}; yours is "
        f"used, which makes the longest part {format_mm(longest_mm)} and not {format_mm(longest_mm / drawn)}. If you "
        "doubt it, give a second known distance.",
    )


def absurd_size(width_mm: float, units: tuple[str, str] | None, longest_mm: float) -> Finding:
    """Say what the picture's size would be, and ask about the unit."""
    mixed = f"{units[0]} or {units[1]}" if units else "inches or mm"
    shown = f"{width_mm / 1000:.1f} m" if width_mm >= 1000 else format_mm(width_mm)
    return Finding(
        "unit-doubtful",
        Level.DECIDE,
        "unit of the known length",
        f"That makes this picture {shown} wide at full size and the longest part {format_mm(longest_mm)}: {mixed}? "
        "Type the length again with its unit, or confirm it by a second known distance.",
    )


def _off(fault: Fault) -> str:
    match fault.suspect.what:
        case What.FOCAL | What.PRINT:
            return f"{_percent(fault.part)} off"
        case What.CORNER:
            return f"{format_mm(fault.given_mm)} off"
        case _:
            return f"{format_mm(fault.rest_mm)} ({format_off(-fault.off_mm)}, {_percent(fault.part)})"


def _percent(part: float) -> str:
    percent = 100 * part
    return f"{percent:.2f} %" if percent < 0.995 else f"{percent:.1f} %" if percent < 100 else f"{percent:.0f} %"


def _whole(ratio: float) -> bool:
    return ratio > 1.5 and abs(ratio / round(ratio) - 1) < 0.02
