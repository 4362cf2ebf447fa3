"""What an observation, or the one part of it that may be wrong, is called when a person is told."""

from collections.abc import Sequence

from calibration.observations import Cards, CheckLength, Corners, GivenScale, KnownDistance, Observation
from calibration.problem import Suspect, What

CORNER_NAMES = ("upper-left", "upper-right", "lower-right", "lower-left")
"""In the order of `Corners.points_px`."""


def named(seen: Observation) -> str:
    """Give an observation's name with what the person wrote: `known distance 1 (7-1/2 in)`."""
    match seen:
        case KnownDistance() | CheckLength():
            return f"{seen.label} ({seen.text or f'{seen.length_mm:.1f} mm'})"
        case Corners(width_mm=None):
            return f"the {seen.label}"
        case Corners():
            return f"the {seen.label} ({seen.width_mm:.1f} x {seen.height_mm:.1f} mm)"
        case GivenScale():
            return f"the scale on trust ({seen.why})"
        case Cards():
            return "the size the cards were printed at"
        case _:
            return "the line to lay straight"


def suspect_named(suspect: Suspect, observations: Sequence[Observation]) -> str:
    """Give a suspect's name."""
    if suspect.what is What.FOCAL:
        return "the focal length that the file states"
    seen = observations[suspect.observation]
    if isinstance(seen, Corners) and suspect.what is What.SIZE:
        return f"the size of {named(seen)}"
    if isinstance(seen, Corners):
        return f"the {CORNER_NAMES[suspect.corner]} of the {seen.label}"
    return named(seen)


def listed(names: Sequence[str]) -> str:
    """Give `a`, `a and b`, or `a, b and c`."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def capitalised(text: str) -> str:
    """Give a sentence its capital letter and leave the rest alone."""
    return text[:1].upper() + text[1:]
