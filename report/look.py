"""A page that shows a picture with numbered points over it."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pictures.picture import Picture
from report.embedded import embedded
from report.pages import filled

# Browsers hold a picture of this size with ease, and a thin line of a large plan still shows in it.
LONGEST_PX = 6000

# What is read off the page is typed back in: a tenth of a px is finer than anybody clicks.
SHOWN_DIGITS = 1


def write_look(
    path: Path, picture: Picture, points_px: NDArray[np.float64], *, labels: Sequence[str] | None = None
) -> None:
    """Write a page, to be opened in any browser without a network, of a picture with its points numbered.

    Parameters
    ----------
    path : Path
        The page to write.
    picture : Picture
        Shown reduced where it is large; all figures on the page are px of the picture itself.
    points_px : (N, 2) array
        Picture frame: y down, (0, 0) at the centre of the top-left pixel.
    labels : sequence of str, optional
        One for each point; by default 1, 2, 3...
    """
    named = [str(number) for number in range(1, len(points_px) + 1)] if labels is None else list(labels)
    shown = embedded(picture.grey, longest_px=LONGEST_PX)
    points = [[round(float(x), SHOWN_DIGITS), round(float(y), SHOWN_DIGITS)] for x, y in points_px]
    # Text is made before the file is touched, so that a fault leaves no half page.
    page = filled(
        "look.html.j2",
        name=picture.source.path.name,
        picture=shown,
        data={"labels": named, "points": points, "width": shown.width_px, "height": shown.height_px},
    )
    path.write_bytes(page)
