import numpy as np
import pytest

from pictures.upright import put_upright

# EXIF 2.3 and TIFF 6.0, tag 274: the sides of the picture as seen at which its stored 0th row and 0th column are.
SIDES = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def side(pixels: np.ndarray, name: str) -> np.ndarray:
    return {"top": pixels[0], "bottom": pixels[-1], "left": pixels[:, 0], "right": pixels[:, -1]}[name]


@pytest.mark.parametrize("orientation", range(1, 9))
def test_first_row_and_column_go_to_the_sides_that_the_standard_names(orientation: int) -> None:
    stored = np.arange(20, dtype=np.uint8).reshape(4, 5)
    row_side, column_side = SIDES[orientation]

    upright = put_upright(stored, orientation)

    assert sorted(side(upright, row_side)) == sorted(stored[0])
    assert sorted(side(upright, column_side)) == sorted(stored[:, 0])
    assert upright.flags.c_contiguous


def test_colours_stay_together() -> None:
    stored = np.arange(60, dtype=np.uint8).reshape(4, 5, 3)

    upright = put_upright(stored, 6)

    assert upright.shape == (5, 4, 3)
    assert upright[0, -1].tolist() == stored[0, 0].tolist()
