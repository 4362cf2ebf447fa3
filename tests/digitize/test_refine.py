"""Cubics moved to lie best on points."""

import numpy as np

from digitize.cubics import Chain
from digitize.refine import LONGEST, refined


def test_handles_on_a_straight_run_do_not_cross() -> None:
    """On a straight run every pair of handles fits alike; noise must not draw them out until the curve folds."""
    rng = np.random.default_rng(3)
    x = np.linspace(0, 10, 200)
    longest = []
    for _ in range(40):
        points = np.column_stack([x, rng.normal(0, 0.02, len(x))])
        points[[0, -1], 1] = 0
        chain = Chain(
            np.array([[0.0, 0.0], [10.0, 0.0]]),
            rng.normal(0, 0.004, 2),
            rng.uniform(2, 7.9, 1),
            rng.uniform(2, 7.9, 1),
            np.array([0, 199]),
            False,
        )
        done = refined([chain], [points], fixed_angles=[(False, False)])[0].chain
        length = float(np.hypot(*np.diff(points, axis=0).T).sum())
        longest += [float(done.out_mm[0]) / length, float(done.in_mm[0]) / length]
    assert max(longest) <= LONGEST + 1e-9
