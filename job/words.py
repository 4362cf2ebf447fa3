"""What a job's scale rests on, in words."""

from calibration.calibration import Given
from calibration.observations import Corners, GivenScale, Observation
from job.made import Made
from job.observe import observe


def rests_on(made: Made) -> str:
    """Say what the scale was fitted to: "known distance 1 (36 in) and the drawn border"."""
    items = [_item(observation, made) for observation in observe(made.job, made.seen).observations]
    named = [item for item in items if item]
    return named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"


def _item(observation: Observation, made: Made) -> str:
    if isinstance(observation, GivenScale):
        return observation.why
    if isinstance(observation, Corners):
        if observation.width_mm is None or observation.height_mm is None:
            return (
                f"the {observation.label} for shape" if observation.label == "drawn border" else "the corners for shape"
            )
        return f"the corners ({observation.width_mm:.1f} x {observation.height_mm:.1f} mm)"
    for length in made.calibration.observed:
        if length.kind is Given.KNOWN and length.used and length.label == getattr(observation, "label", None):
            return f"{length.label} ({getattr(observation, 'text', '')})"
    return ""
