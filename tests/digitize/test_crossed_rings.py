import numpy as np

from digitize.crossed_rings import with_crossed_rings
from digitize.strokes import Link, NodeKind, Strokes

CENTRE_PX = np.array([50.0, 40.0])
RADIUS_PX = 11.0
WIDTH_PX = 3.0
ON_CIRCLE_PX = 0.05
"""The measured points below scatter by 0.05 px, and a circle through sixty of them is better than that."""


def _ring(*, flattened_px: float) -> tuple[Strokes, list[np.ndarray]]:
    """A circle that a line crosses from above and below, its arcs drawn out to nodes that lie too far in."""
    rng = np.random.default_rng(4)
    down = np.array([0.0, 1.0])
    nodes = [CENTRE_PX + side * (RADIUS_PX - flattened_px) * down for side in (-1, 1)]
    outer = [CENTRE_PX + side * 40 * down for side in (-1, 1)]
    links, measured = [], []
    for side in (1.0, -1.0):
        angles = np.linspace(-0.35 * np.pi, 0.35 * np.pi, 30)
        arc = CENTRE_PX + RADIUS_PX * np.column_stack([side * np.cos(angles), np.sin(angles)])
        arc = arc + rng.normal(0, 0.05, arc.shape)
        links.append(Link(0, 1, np.vstack([nodes[0], arc, nodes[1]]), 0.05, WIDTH_PX))
        measured.append(arc)
    for node, end in ((0, 0), (1, 1)):
        line = np.linspace(nodes[node], outer[end], 30)
        links.append(Link(node, 2 + end, line, 0.05, WIDTH_PX))
        measured.append(line)
    kinds = np.array([NodeKind.JUNCTION, NodeKind.JUNCTION, NodeKind.END, NodeKind.END], dtype=np.uint8)
    return Strokes(np.array([*nodes, *outer]), kinds, tuple(links)), measured


def test_the_arcs_of_a_small_crossed_circle_lie_on_it() -> None:
    strokes, measured = _ring(flattened_px=1.5)

    mended = with_crossed_rings(strokes, measured)

    for link in mended.links[:2]:
        far = np.hypot(*(link.points_px - CENTRE_PX).T)
        assert np.abs(far - RADIUS_PX).max() < ON_CIRCLE_PX
    for link in mended.links:
        assert (link.points_px[0] == mended.nodes_px[link.start]).all()
        assert (link.points_px[-1] == mended.nodes_px[link.end]).all()


def test_a_small_square_is_no_circle() -> None:
    corners = np.array([[0, 0], [20, 0], [20, 20], [0, 20]], dtype=float)
    links, measured = [], []
    for at in range(4):
        line = np.linspace(corners[at], corners[(at + 1) % 4], 21)
        links.append(Link(at, (at + 1) % 4, line, 0.05, 2.0))
        measured.append(line)
    strokes = Strokes(corners, np.full(4, NodeKind.JUNCTION, dtype=np.uint8), tuple(links))

    assert with_crossed_rings(strokes, measured) is strokes
