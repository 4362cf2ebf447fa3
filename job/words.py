"""What a job's scale rests on, in words."""

from collections.abc import Sequence

from calibration.calibration import Calibration, Given
from calibration.observations import Cards, Corners, GivenScale, Observation


def rests_on(observations: Sequence[Observation], calibration: Calibration) -> str:
    """Say what a scale was fitted to: "known distance 1 (36 in) and the drawn border"."""
    items = [_item(observation, calibration) for observation in observations]
    named = [item for item in items if item]
    return named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"


def _item(observation: Observation, calibration: Calibration) -> str:
    if isinstance(observation, GivenScale):
        return observation.why
    if isinstance(observation, Cards):
        count = sum(length.kind is Given.CARD for length in calibration.observed)
        cards = "one card" if count == 1 else f"{count} cards"
        bars = ("", " with their sheet's measured bar", " with their sheet's measured bars")
        return cards + bars[len(observation.bars)]
    if isinstance(observation, Corners):
        if observation.width_mm is None or observation.height_mm is None:
            return (
                f"the {observation.label} for shape" if observation.label == "drawn border" else "the corners for shape"
            )
        return f"the corners ({observation.width_mm:.1f} x {observation.height_mm:.1f} mm)"
    for length in calibration.observed:
        if length.kind is Given.KNOWN and length.used and length.label == getattr(observation, "label", None):
            return f"{length.label} ({getattr(observation, 'text', '')})"
    return ""
