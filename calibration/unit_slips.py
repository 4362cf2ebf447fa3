"""Lengths whose scales lie so far apart that one was given in another unit."""

import math
from collections.abc import Sequence

import numpy as np

from calibration.naming import capitalised, listed, named
from calibration.observations import CalibrationError, Observation
from calibration.plane_map import Floats, PictureSize
from calibration.start import log_scales
from drawing.units import MM_PER_INCH

APART = 2.5
"""Scales that differ by this factor differ by a unit: the nearest confusion is 2.54; a tilt mostly makes
less than 2."""

NEAR = 1.25
"""A ratio this near a confusion's factor is taken for it: 10 and 12 lie 1.2 apart, a tilt left out adds some 10 %."""

CONFUSED = (
    (MM_PER_INCH, "inches", "millimetres"),
    (10.0, "centimetres", "millimetres"),
    (MM_PER_INCH / 10, "inches", "centimetres"),
    (12.0, "feet", "inches"),
    (12 * MM_PER_INCH, "feet", "millimetres"),
)
"""Factor, the larger unit, the smaller one."""


def refuse_unit_slips(observations: Sequence[Observation], *, start: Floats, size: PictureSize) -> None:
    """Raise if one length makes a px many times larger or smaller than the others do.

    Raises
    ------
    CalibrationError
        Naming the length, and the units that were likely confused.
    """
    scales = log_scales(observations, start, size)
    if len(scales) < 2:
        return
    off = {i: log - float(np.median([other for j, other in scales.items() if j != i])) for i, log in scales.items()}
    worst = max(off, key=lambda i: abs(off[i]))
    times = math.exp(abs(off[worst]))
    if times < APART:
        return
    if len(scales) == 2:
        small, large = sorted(scales, key=lambda i: scales[i])
        raise CalibrationError(
            f"{capitalised(named(observations[large]))} makes a px {times:.3g} times as large as "
            f"{named(observations[small])} does; lengths on one plan must agree: {_likely(times, None)}, correct "
            "the wrong one."
        )
    others = listed([named(observations[i]) for i in scales if i != worst][:3])
    size_word = "large" if off[worst] > 0 else "small"
    raise CalibrationError(
        f"{capitalised(named(observations[worst]))} makes a px {times:.3g} times as {size_word} as the others do "
        f"({others}); lengths on one plan must agree: {_likely(times, off[worst] > 0)}, type it again."
    )


def confusion(times: float, *, near: float = NEAR) -> tuple[str, str] | None:
    """Give (larger, smaller) unit whose confusion makes a factor above 1, or None."""
    factor, larger, smaller = min(CONFUSED, key=lambda row: abs(math.log(times / row[0])))
    return (larger, smaller) if abs(math.log(times / factor)) < math.log(near) else None


def _likely(times: float, too_long: bool | None) -> str:
    units = confusion(times)
    if units is None:
        return "no usual mix-up of units explains it, so check the marks and the figure"
    larger, smaller = units
    if too_long is None:
        return f"it looks like {larger} and {smaller} mixed up"
    typed, meant = (larger, smaller) if too_long else (smaller, larger)
    return f"it looks like {typed} where {meant} were meant"
