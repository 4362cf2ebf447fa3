"""The whole program on real pictures with known geometry: what it says beside what is true of them.

Run as `python -m benchmarks.real_pictures`, with SCANTLING_REAL naming the folder that holds them. No random numbers.
"""

import json
import os
import sys
import tempfile
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks.grid_truth import Lattice, smooth_crossings
from calibration.adjust import adjust
from calibration.kind import Kind
from calibration.observations import SETTLED_SIGMA_PX, Corners, StraightLine
from calibration.skew import find_skew
from drawing.path_measures import path_bounds_mm
from drawing.paths import Path as DrawingPath
from job.job import Sheet, SheetKind
from job.made import Made
from job.make import Typed, make
from job.measure import measure
from job.points import TypedLength
from job.progress import Silent
from job.see import see
from job.typed_shapes import Asked
from pictures.ink import find_ink
from pictures.picture import PictureError
from pictures.read import read_picture

SQUARE_MM = 5.08
"""Side of the graph paper's squares: 0.2 in."""

COLUMN_PX = 59.93
ROW_PX = 60.04
"""The graph paper's pitch in x and y, measured by its owner's notes."""

FIRST_COLUMN_PX = ((378.5, 600.0), (373.2, 2900.0))
FIRST_ROW_PX = 322.0
COLUMNS, ROWS = 32, 46
BOARD_SQUARE_MM = 10.0
"""Any size serves: errors are told in squares."""

LONG_SQUARES = (5, 10, 20, 30)
NEAR_PX = 6.0
"""A crossing is looked for within this of where the pitch puts it: a tenth of a square."""


Square = tuple[int, int]
"""Column and row of a crossing."""


@dataclass(frozen=True, slots=True)
class GridErrors:
    """How far distances between grid crossings are off, percent, how many squares long; how its lines lean, degrees.

    `paper_percent` is the same between crossings of smooth curves through the whole of each line, known lengths
    included: what the paper itself is off. `off_px` is how far the crossings found lie from those, rms in x, in y,
    and 95 % of either; `scatter_px` how far the sides of single squares lie off the curves.
    """

    percent: NDArray[np.float64]
    paper_percent: NDArray[np.float64]
    squares: NDArray[np.float64]
    rows_deg: float
    columns_deg: float
    crossings: int
    off_px: tuple[float, float, float]
    scatter_px: float


def main() -> None:
    """Print a line for each fact."""
    real = os.environ.get("SCANTLING_REAL")
    if real is None:
        sys.exit("SCANTLING_REAL names no folder; it must hold the real pictures: set it.")
    folder = Path(real)
    grid = graph_paper(folder)
    print(
        f"graph paper: {grid.crossings} of {COLUMNS * ROWS} crossings found, off the lines' smooth curves by "
        f"{grid.off_px[0]:.2f} px in x and {grid.off_px[1]:.2f} in y (rms; 95 % under {grid.off_px[2]:.2f}), the sides "
        f"of the squares by {grid.scatter_px:.2f}; "
        f"rows lean {grid.rows_deg:.3f} deg, columns {grid.columns_deg:.3f} (0.13 in its notes)"
    )
    for what, percent in (("found crossings", grid.percent), ("smooth curves, the paper's own", grid.paper_percent)):
        for least in LONG_SQUARES:
            long = np.abs(percent[grid.squares >= least])
            print(
                f"graph paper, {what}: {len(long)} distances of {least} squares and more from one length in x and one "
                f"in y: median {np.median(long):.3f} %, 95 % under {np.percentile(long, 95):.3f} %, "
                f"largest {long.max():.3f} %, {np.mean(long <= 0.1):.0%} within 0.1 %"
            )
    for name in ("ruler_target_colour.tif", "ruler_target_g3.tif"):
        off, said = ruler(folder, name)
        print(f"{name}: 30 mm between ticks measures {30 + off:.3f} mm; {said}")
    for name in ("panel_life_size.pdf", "panel_dimensioned.pdf"):
        _print_panel(name, "by the page's own size", panel(folder, name, ()))
    trusted = panel(folder, "panel_life_size.pdf", ())
    _print_panel(
        "panel_life_size.pdf", "by its width, 254 mm", panel(folder, "panel_life_size.pdf", (_width(trusted),))
    )
    for focal_35mm in (15.0, None):
        misplaced = wide_lens_grid(folder, focal_35mm)
        told = "no focal length" if focal_35mm is None else f"{focal_35mm:g} mm told"
        print(
            f"wide_lens_grid.jpg by its corners and border rows only, {told}: misplaced by {misplaced.mean():.3f} "
            f"squares in the mean, {misplaced.max():.3f} at most (0.13 and 0.51 by a plane-to-plane map alone)"
        )
    for path in sorted((folder / "broken").iterdir()):
        try:
            picture = read_picture(path)
            print(f"{path.name}: read as {picture.width_px} x {picture.height_px} px")
        except PictureError as error:
            print(f"{path.name}: {error}")


def graph_paper(folder: Path) -> GridErrors:
    """Set the scale by 30 squares in x and 45 in y; compare crossings over the whole sheet, 5 squares apart or more."""
    path = folder / "graph_paper_scan.jpg"
    seen = see(Sheet(path, sha256=""), (), Silent())
    crossings = _crossings(seen.landmarks_px)
    smooth, scatter_px = smooth_crossings(seen.picture.grey, _lattice())
    # The same squares on both: the known lengths lie between crossings that were found.
    ends = (*_pair(crossings, (0, 5), (30, 5)), *_pair(crossings, (2, 0), (2, 45)))
    rng = np.random.default_rng(0)
    keys = sorted(crossings)
    pairs: list[tuple[Square, Square]] = []
    while len(pairs) < 200:
        a, b = (keys[int(index)] for index in rng.integers(len(keys), size=2))
        if np.hypot(a[0] - b[0], a[1] - b[1]) >= LONG_SQUARES[0]:
            pairs.append((a, b))
    squares = np.array([np.hypot(a[0] - b[0], a[1] - b[1]) for a, b in pairs])
    percent = [
        100 * (_measured_mm(path, places, ends, pairs) / (squares * SQUARE_MM) - 1)
        for places in (crossings, {(col, row): _point(smooth[col, row]) for col, row in np.ndindex(COLUMNS, ROWS)})
    ]
    off = np.array([np.subtract(crossings[key], smooth[key]) for key in keys])
    rms = np.sqrt(np.mean(off**2, axis=0))
    skew = find_skew(find_ink(read_picture(path)))
    rows_deg = columns_deg = float("nan")
    if skew is not None and skew.across_rad is not None:
        rows_deg, columns_deg = np.degrees([skew.angle_rad, skew.across_rad]).tolist()
    off_px = (float(rms[0]), float(rms[1]), float(np.percentile(np.abs(off), 95)))
    return GridErrors(percent[0], percent[1], squares, rows_deg, columns_deg, len(crossings), off_px, scatter_px)


def _measured_mm(
    path: Path,
    places: dict[Square, tuple[float, float]],
    ends: tuple[Square, ...],
    pairs: list[tuple[Square, Square]],
) -> NDArray[np.float64]:
    """What the program says of distances between squares, 30 and 45 of them given."""
    known = tuple(
        TypedLength(places[a], places[b], f"{squares * SQUARE_MM} mm")
        for a, b, squares in ((ends[0], ends[1], 30), (ends[2], ends[3], 45))
    )
    typed = Typed(knowns=known, as_given=True, kind=SheetKind.SCAN)
    measured = measure(path, typed, Asked(tuple((places[a], places[b]) for a, b in pairs)), progress=Silent())
    return np.array([length.full_mm for length in measured.lengths])


def _lattice() -> Lattice:
    """The grid by its owner's notes."""
    (x0, y0), (x1, y1) = FIRST_COLUMN_PX
    lean = (x1 - x0) / (y1 - y0)
    first = np.array([x0 + lean * (FIRST_ROW_PX - y0), FIRST_ROW_PX])
    return Lattice(first, COLUMN_PX * np.array([1.0, -lean]), ROW_PX * np.array([lean, 1.0]), COLUMNS, ROWS)


def _point(place: NDArray[np.float64]) -> tuple[float, float]:
    return float(place[0]), float(place[1])


def _crossings(landmarks_px: NDArray[np.float64]) -> dict[Square, tuple[float, float]]:
    """Landmarks by column and row of the grid, where one lies near its place."""
    found: dict[Square, tuple[float, float]] = {}
    columns, rows = np.meshgrid(np.arange(COLUMNS) * 1.0, np.arange(ROWS) * 1.0, indexing="ij")
    for (col, row), place in zip(
        np.ndindex(COLUMNS, ROWS), _lattice().places(columns, rows).reshape(-1, 2), strict=True
    ):
        far = np.hypot(*(landmarks_px - place).T)
        if far.min(initial=np.inf) < NEAR_PX:
            found[col, row] = _point(landmarks_px[int(far.argmin())])
    return found


def _pair(crossings: dict[Square, tuple[float, float]], start: Square, end: Square) -> tuple[Square, Square]:
    """The crossings wanted, or the nearest pair the same number of squares apart."""
    step = (end[0] - start[0], end[1] - start[1])
    for place in sorted(crossings, key=lambda key: np.hypot(key[0] - start[0], key[1] - start[1])):
        other = (place[0] + step[0], place[1] + step[1])
        if other in crossings:
            return place, other
    raise SystemExit(f"No two crossings {step} squares apart were found on the graph paper.")


def wide_lens_grid(folder: Path, focal_35mm: float | None) -> NDArray[np.float64]:
    """Set the scale by the corners and border rows of a chessboard; give how far all its corners lie off, squares."""
    grid_px = np.array(json.loads((folder / "wide_lens_grid_corners.json").read_text())["corners"])
    rows, columns = grid_px.shape[:2]
    first, second, third, fourth = (_point(grid_px[at]) for at in ((0, 0), (0, -1), (-1, -1), (-1, 0)))
    width_mm, height_mm = BOARD_SQUARE_MM * (columns - 1), BOARD_SQUARE_MM * (rows - 1)
    corners = Corners((first, second, third, fourth), width_mm, height_mm, sigma_px=SETTLED_SIGMA_PX)
    sides = (grid_px[0], grid_px[:, -1], grid_px[-1], grid_px[:, 0])
    lines = [StraightLine(side, SETTLED_SIGMA_PX) for side in sides]
    calibration = adjust([corners, *lines], width_px=4000, height_px=3000, kind=Kind.PHOTO, focal_35mm=focal_35mm)
    x, y = np.meshgrid(np.arange(columns), np.arange(rows)[::-1])
    places = np.column_stack([x.ravel(), y.ravel()])
    placed = calibration.to_plan(grid_px.reshape(-1, 2)) / BOARD_SQUARE_MM
    return np.asarray(np.hypot(*(placed - places).T))


def ruler(folder: Path, name: str) -> tuple[float, str]:
    """Give how far 30 mm is off, with 40 mm known on the same ruler, and what is said of the file's dpi."""
    at_px = (31.61, 149.59, 267.87, 385.53, 503.97)
    known = TypedLength((at_px[0], 92.0), (at_px[4], 92.0), "40 mm")
    measured = measure(
        folder / name,
        Typed(knowns=(known,), as_given=True, kind=SheetKind.SCAN),
        Asked((((at_px[0], 92.0), (at_px[3], 92.0)),)),
        progress=Silent(),
    )
    said = [finding.text for finding in measured.findings if "dpi" in finding.text]
    return measured.lengths[0].full_mm - 30, said[0] if said else "nothing is said of its dpi"


def panel(folder: Path, name: str, knowns: tuple[TypedLength, ...]) -> Made:
    """Run the main job on a drawn PDF page at full size, trusting its size where no length is given."""
    with tempfile.TemporaryDirectory() as out:
        typed = Typed(trust_size=not knowns, knowns=knowns, as_given=True, fraction=Fraction(1))
        return make(folder / name, typed, folder=Path(out) / "panel", progress=Silent())


def _print_panel(name: str, by: str, made: Made) -> None:
    sizes = [_size(path) for outline in made.build.outlines for path in (outline.boundary, *outline.holes)]
    width, height = max(sizes, default=(0.0, 0.0))
    slots = sum(abs(w - SLOT_MM[0]) < SIZE_WITHIN_MM and abs(h - SLOT_MM[1]) < SIZE_WITHIN_MM for w, h in sizes)
    round_holes = sum(abs(w - HOLE_MM) < SIZE_WITHIN_MM and abs(h - HOLE_MM) < SIZE_WITHIN_MM for w, h in sizes)
    print(
        f"{name} {by}: outline {width:.3f} x {height:.3f} mm (254.000 x 125.730), {len(made.build.outlines)} parts, "
        f"{sum(len(o.holes) for o in made.build.outlines)} holes: {slots} slots of 4 x 67 mm (16), "
        f"{round_holes} round ones of 2.5 mm"
    )


SLOT_MM = (4.0, 67.0)
HOLE_MM = 2.5
SIZE_WITHIN_MM = 0.2
"""What still counts as the slot or hole of that size."""


def _size(path: DrawingPath) -> tuple[float, float]:
    x0, y0, x1, y1 = path_bounds_mm(path)
    return x1 - x0, y1 - y0


def _width(made: Made) -> TypedLength:
    """The outline's width as a known distance, between its upright sides at half height, in the picture."""
    x0, y0, x1, y1 = max((path_bounds_mm(o.boundary) for o in made.plan.outlines), key=lambda box: box[2] - box[0])
    middle = (y0 + y1) / 2
    (ax, ay), (bx, by) = made.calibration.to_picture(np.array([[x0, middle], [x1, middle]]))
    return TypedLength((float(ax), float(ay)), (float(bx), float(by)), "254 mm")


if __name__ == "__main__":
    main()
