"""What a format's reader hands over."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from drawing.findings import Finding
from pictures.claims import Claims
from pictures.picture import Medium


class Channels(StrEnum):
    """What is wanted of a picture's colours."""

    GREY = "grey"
    COLOUR = "colour"


@dataclass(frozen=True, slots=True)
class Reading:
    """Decoded pixels, upright.

    `pixels` is (H, W) uint8, or (H, W, 3) RGB when colour was asked for; `claims.orientation` has been
    applied. `colour` tells whether the file holds colour beyond the paper's tone.
    """

    pixels: NDArray[np.uint8]
    claims: Claims
    pages: int = 1
    colour: bool = False
    medium: Medium = Medium.RASTER
    render_dpi: float | None = None
    findings: tuple[Finding, ...] = ()
