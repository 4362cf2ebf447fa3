"""How far found crossings of faint, grainy grids lie from the true ones, and how many are found.

Run as `python -m benchmarks.grid_error`. Grids are drawn by the benchmark itself, so their crossings are known exactly.
"""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.find_strokes import find_strokes
from digitize.strokes import NodeKind
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]

SIDE_PX = 720
NEAR_PX = 6.0
"""A node farther from the true crossing than this is another one."""


@dataclass(frozen=True, slots=True)
class Grid:
    """A drawn grid: its lines' width, depth (grey levels darker than paper) and how they are turned.

    `noise` is one sigma of the paper, grey levels, shared by pixels within about a px; `grain` of the ink, in parts of
    its depth, shared over two.
    """

    name: str
    pitch_px: float = 60.0
    width_px: float = 3.0
    depth: float = 40.0
    turn_deg: float = 0.3
    skew_deg: float = 0.0
    noise: float = 1.5
    grain: float = 0.2


GRIDS = (
    Grid("firm", depth=120.0),
    Grid("faint"),
    Grid("fainter", depth=22.0),
    Grid("faintest", depth=15.0, grain=0.3),
    Grid("noisy", noise=4.0),
    Grid("grainy", grain=0.5),
    Grid("hairlines", width_px=1.2, depth=60.0),
    Grid("wide lines", width_px=6.0),
    Grid("turned", turn_deg=17.0),
    Grid("aslant", skew_deg=35.0),
    Grid("narrow", pitch_px=25.0, width_px=2.0),
)


@dataclass(frozen=True, slots=True)
class GridError:
    """Errors (N, 2) px of the crossings found, of how many there are, and what other nodes lie on the grid."""

    error_px: Floats
    crossings: int
    others: int


def main() -> None:
    """Print a line for each grid."""
    for grid in GRIDS:
        found = [grid_error(grid, seed=seed) for seed in (1, 2)]
        error = np.concatenate([one.error_px for one in found])
        far = np.hypot(*error.T)
        print(
            f"{grid.name:10s} crossings found {len(error)} of {sum(one.crossings for one in found)}: "
            f"rms {np.sqrt(np.mean(error**2)):.3f} px each way, bias {error.mean(axis=0).round(3).tolist()}, "
            f"95 % {np.percentile(far, 95):.2f}, largest {far.max():.2f}; "
            f"{sum(one.others for one in found)} other nodes"
        )


def grid_error(grid: Grid, *, seed: int) -> GridError:
    """Draw a grid, find its strokes, compare junctions with the true crossings away from the border."""
    true, grey = draw_grid(grid, seed=seed)
    strokes = find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))
    nodes = strokes.nodes_px[strokes.kinds == NodeKind.JUNCTION]
    if len(nodes) == 0:
        return GridError(np.empty((0, 2)), len(true), len(strokes.nodes_px))
    nearest = np.array([np.hypot(*(nodes - place).T).argmin() for place in true])
    error = nodes[nearest] - true
    error = error[np.hypot(*error.T) < NEAR_PX]
    return GridError(error, len(true), len(strokes.nodes_px) - len(error))


def draw_grid(grid: Grid, *, seed: int) -> tuple[Floats, NDArray[np.uint8]]:
    """Give the crossings (N, 2) px that lie well inside, and the picture of a grid that fills it."""
    turn, across = np.radians(grid.turn_deg), np.radians(90 + grid.turn_deg - grid.skew_deg)
    u, v = np.array([np.cos(turn), np.sin(turn)]), np.array([np.cos(across), np.sin(across)])
    number = int(SIDE_PX / grid.pitch_px) + 2
    middle = np.array([SIDE_PX / 2 + 0.37, SIDE_PX / 2 - 0.21])
    steps = (np.arange(-number, number + 1) + 0.13) * grid.pitch_px
    long = 2.0 * SIDE_PX
    lines = [TrueLine(np.array([middle + s * v - long * u, middle + s * v + long * u]), grid.width_px) for s in steps]
    lines += [TrueLine(np.array([middle + s * u - long * v, middle + s * u + long * v]), grid.width_px) for s in steps]
    cover = 255.0 - photograph(lines, Camera(blur_px=0.9, paper=255, ink=0), width=SIDE_PX, height=SIDE_PX)
    rng = np.random.default_rng(seed)
    ink = cover / 255 * grid.depth * np.maximum(1 + grid.grain * _shared(rng, 2.0), 0)
    grey = np.clip(np.round(235 - ink + grid.noise * _shared(rng, 0.7)), 0, 255).astype(np.uint8)
    true = np.array([middle + a * u + b * v for a in steps for b in steps])
    inside = (true > 0.6 * grid.pitch_px).all(axis=1) & (true < SIDE_PX - 0.6 * grid.pitch_px).all(axis=1)
    return true[inside], grey


def _shared(rng: np.random.Generator, sigma_px: float) -> Floats:
    """Unit noise that neighbours within about `sigma_px` share."""
    noise = cv2.GaussianBlur(rng.normal(size=(SIDE_PX, SIDE_PX)), (0, 0), sigma_px)
    scaled: Floats = noise / noise.std()
    return scaled


if __name__ == "__main__":
    main()
