"""The merged part of a tip narrows to where its sides meet; a black bar's does not."""

import numpy as np

from digitize.tails import merged_tail


def test_black_ink_as_wide_all_along_is_no_tip() -> None:
    along = np.arange(40.0)
    points, normals = np.column_stack([along, np.zeros(40)]), np.tile([0.0, 1.0], (40, 1))
    # Twenty px of ink, a pixel's stair here and there: the sides of such a bar meet anywhere beyond the sheet.
    amount = 255 * (20.0 + (np.arange(40) % 4 == 1) - 0.5 * (np.arange(40) < 2))

    tail = merged_tail(
        points, normals, amount, np.full(40, 255.0), single=255 * 6.0, width_px=6.0, opening=float("inf")
    )

    assert tail is None


def test_ink_that_narrows_evenly_is_a_tip_where_it_has_narrowed_to_one_line() -> None:
    along = np.arange(40.0)
    points, normals = np.column_stack([along, np.zeros(40)]), np.tile([0.0, 1.0], (40, 1))
    amount = 255 * np.where(along < 38, 6.0 + 2 * 0.1 * np.maximum(30 - along, 0), 0.0)

    tail = merged_tail(
        points, normals, amount, np.full(40, 255.0), single=255 * 6.0, width_px=6.0, opening=float("inf")
    )

    assert tail is not None
    assert abs(tail.tip_px[0] - 30) < 1.5
