"""The hook of an edge beside a notch, whose floor and outline share their ink to the tip, is told in its parts."""

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.hooks_error import hook
from benchmarks.nodes_error import strokes_in, views
from benchmarks.render_lines import TrueLine, photograph
from benchmarks.tips_error import Join
from digitize.strokes import NodeKind

SCAN, BILEVEL = views(2)[0], views(2)[6]
NEAR_PX = 0.7
TIP_PX = 1.2
"""Along sides that close at 10 deg their meeting is told six times less well than either of them."""

PLAIN_PX = 2.0
"""In black and white, where the amount of ink is counted in whole pixels."""


@pytest.mark.parametrize("join", ["round", "mitre", "bevel"])
@pytest.mark.parametrize(("opening_deg", "long_widths"), [(10, 6.0), (15, 4.0), (15, 6.0), (20, 4.0)])
def test_the_tip_and_the_corner_of_a_hook_that_is_ink_all_over_are_found(
    opening_deg: int, long_widths: float, join: Join
) -> None:
    one = hook(opening_deg, long_widths, join, SCAN, np.array([90.3, 90.8]), np.random.default_rng(4))
    found = strokes_in(
        photograph([TrueLine(one.ring_px, SCAN.width_px, True, join)], SCAN.camera, width=230, height=230)
    )

    for place, kind, near_px in ((one.tip_px, NodeKind.TIP, TIP_PX), (one.corner_px, NodeKind.CORNER, NEAR_PX)):
        assert np.hypot(*(found.nodes_px[found.kinds == kind] - place).T).min(initial=np.inf) < near_px
    for link in found.links:
        assert (link.points_px[0] == found.nodes_px[link.start]).all()
        assert (link.points_px[-1] == found.nodes_px[link.end]).all()


def test_a_hook_is_found_in_black_and_white() -> None:
    one = hook(15, 6.0, "mitre", BILEVEL, np.array([90.3, 90.8]), np.random.default_rng(4))
    ring = TrueLine(one.ring_px, BILEVEL.width_px, True, "mitre")
    found = strokes_in(photograph([ring], BILEVEL.camera, width=230, height=230))

    for place in (one.tip_px, one.corner_px):
        assert np.hypot(*(found.nodes_px - place).T).min() < PLAIN_PX


def arc(radius_px: float) -> NDArray[np.float64]:
    """Half a circle beside a line upright at x = 60, from its upper end on."""
    angles = np.linspace(-np.pi / 2, np.pi / 2, 200)
    return np.column_stack([60 + radius_px * np.cos(angles), 110 + radius_px * np.sin(angles)])


@pytest.mark.parametrize(
    "meeting",
    [np.array([[60.0, 40.0], [180.0, 40.0]]), np.array([[60.0, 40.0], [180.0, 80.0]]), arc(70.0)],
    ids=["square", "askew", "half a circle"],
)
def test_a_line_that_overruns_what_meets_it_stays_a_line(meeting: NDArray[np.float64]) -> None:
    upright = np.array([[60.0, 22.0], [60.0, 200.0]])
    drawn = [TrueLine(line, SCAN.width_px) for line in (upright, meeting)]
    found = strokes_in(photograph(drawn, SCAN.camera, width=230, height=230))

    assert NodeKind.TIP not in found.kinds
    ends = found.nodes_px[found.kinds == NodeKind.END]
    assert np.hypot(*(ends - upright[0]).T).min() < SCAN.width_px
