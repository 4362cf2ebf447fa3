"""How true the outlines of vector pages are, and how long they take beside the picture's route.

Run as `python -m benchmarks.vector_error [--seeds 2]`; with SCANTLING_REAL naming the folder of real files, the panel's
page is compared with its DXF too. Truth: the plans' own parts, taken to the picture by the PDF library's page-to-screen
map; the panel's DXF, read with ezdxf.
"""

import argparse
import os
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import ezdxf.path
import numpy as np
import shapely
from ezdxf.filemanagement import readfile
from numpy.typing import NDArray

from benchmarks.vector_pages import KINDS, VectorPage, vector_page
from digitize.draw_outlines import Drawn, draw_outlines
from digitize.find_strokes import find_strokes
from digitize.vector_strokes import vector_strokes
from drawing.drawing import Drawing
from drawing.paths import sampled
from job.job import Sheet
from job.make import Typed, make
from job.points import TypedLength
from job.progress import Silent
from job.see import see
from pictures.ink import find_ink
from pictures.pdf_paths import read_page_paths
from pictures.read import read_picture
from sample_scans.page import PT_PER_MM, write_page
from sample_scans.plan import school_plan

Points = NDArray[np.float64]
DPI = 300
MM_PER_PX = 25.4 / DPI
SAME_PART = 0.9
"""Least overlap (intersection over union) of a part with its outline."""


@dataclass(frozen=True, slots=True)
class Compared:
    """Parts found of those there are, with all their holes; outlines beside them; distances both ways, mm."""

    parts: int
    found: int
    holes: int
    holes_found: int
    others: int
    rms_mm: float
    worst_mm: float
    segments: int


def main() -> None:
    """Print everything."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=2, help="random plans of each kind")
    options = parser.parse_args()
    real = os.environ.get("SCANTLING_REAL")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        print("panel: skipped, SCANTLING_REAL names no folder") if real is None else _panel(Path(real), folder)
        plan = school_plan()
        write_page(folder / "plan.pdf", plan)
        low = plan.sheet_mm.min(axis=0)
        parts = tuple(
            tuple((ring - low) * PT_PER_MM for ring in (part.boundary_mm, *part.holes_mm)) for part in plan.parts
        )
        _print("bundled plan", VectorPage(folder / "plan.pdf", parts))
        for kind in KINDS:
            for seed in range(options.seeds):
                _print(f"{kind} {seed}", vector_page(folder / f"{kind}-{seed}.pdf", seed=seed, kind=kind))


def _print(name: str, page: VectorPage) -> None:
    picture = read_picture(page.path)
    ink = find_ink(picture)
    began = time.perf_counter()
    own = vector_strokes(read_page_paths(picture.source), ink, render_dpi=DPI)
    own_s = time.perf_counter() - began
    began = time.perf_counter()
    find_strokes(ink)
    ink_s = time.perf_counter() - began
    if own.strokes is None:
        print(f"{name:14} NOT TAKEN AS VECTORS: {own.findings[0].text}")
        return
    drawn = draw_outlines(own.strokes.mapped(to_mm))
    print(f"{name:14} {words(compared(drawn, page.parts_px(DPI)))}; lines in {own_s:.2f} s, from the ink {ink_s:.2f} s")


def words(result: Compared) -> str:
    """Say a comparison in one line."""
    return (
        f"parts {result.found} of {result.parts}, holes {result.holes_found} of {result.holes}, "
        f"others {result.others}; "
        f"rms {1000 * result.rms_mm:.2f}, worst {1000 * result.worst_mm:.2f} thousandths of a mm; "
        f"{result.segments} segments"
    )


def to_mm(points_px: Points) -> Points:
    """Picture px to mm on the paper, y up."""
    return np.column_stack([points_px[:, 0], -points_px[:, 1]]) * MM_PER_PX


def compared(drawn: Drawn, parts_px: Sequence[Sequence[Points]]) -> Compared:
    """Compare a drawing by `to_mm` with its parts' true rings."""
    outlines = drawn.drawing.outlines
    areas = [shapely.Polygon(sampled(outline.boundary, tolerance_mm=0.0005)) for outline in outlines]
    taken: set[int] = set()
    off: list[Points] = []
    found = holes_found = segments = 0
    for rings in parts_px:
        truth = [to_mm(ring) for ring in rings]
        best = max(range(len(areas)), key=lambda n: _overlap(areas[n], shapely.Polygon(truth[0])), default=None)
        if best is None or _overlap(areas[best], shapely.Polygon(truth[0])) < SAME_PART:
            continue
        taken.add(best)
        found += 1
        pairs = [(outlines[best].boundary, truth[0])]
        for hole in truth[1:]:
            for path in outlines[best].holes:
                if _overlap(shapely.Polygon(sampled(path, tolerance_mm=0.0005)), shapely.Polygon(hole)) >= SAME_PART:
                    pairs.append((path, hole))
                    holes_found += 1
                    break
        for path, ring in pairs:
            segments += len(path.segments)
            off.append(_apart(sampled(path, tolerance_mm=0.0002), ring))
    all_off = np.concatenate(off) if off else np.array([np.nan])
    return Compared(
        len(parts_px),
        found,
        sum(len(rings) - 1 for rings in parts_px),
        holes_found,
        len(outlines) - len(taken),
        float(np.sqrt((all_off**2).mean())),
        float(all_off.max()),
        segments,
    )


def _overlap(area: shapely.Polygon, other: shapely.Polygon) -> float:
    both = shapely.area(shapely.union(area, other))
    return float(shapely.area(shapely.intersection(area, other)) / both) if both else 0.0


def _apart(ring: Points, other: Points) -> Points:
    """Distances of two rings from each other, at points 0.5 mm apart along each."""
    rings = [shapely.segmentize(shapely.LinearRing(points), 0.5) for points in (ring, other)]
    return np.concatenate(
        [np.asarray(shapely.distance(shapely.points(shapely.get_coordinates(rings[a])), rings[1 - a])) for a in (0, 1)]
    )


def _panel(real: Path, folder: Path) -> None:
    """The panel through the whole program, its width given, against its DXF."""
    drawing, size_mm = panel_drawing(real / "panel_life_size.pdf", folder / "panel")
    apart = panel_apart(drawing, real / "panel.dxf")
    print(
        f"panel: by the page's own size {size_mm[0]:.3f} x {size_mm[1]:.3f} mm (DXF 254.000 x 125.730); its width "
        f"given as 254 mm, {len(apart)} outlines and holes lie off the DXF by rms "
        f"{np.sqrt(np.mean(np.concatenate(apart) ** 2)):.4f}, at most {max(each.max() for each in apart):.4f} mm"
    )


def panel_drawing(pdf: Path, folder: Path) -> tuple[Drawing, tuple[float, float]]:
    """Make the panel's page with its width given as 254 mm; give its drawing, and its size by the page."""
    seen = see(Sheet(pdf, sha256=""), (), Silent())
    points = np.concatenate([link.points_px for link in seen.strokes.links])
    left, right = points[points[:, 0].argmin()], points[points[:, 0].argmax()]
    middle = float(np.median(points[:, 1]))
    size = np.ptp(points, axis=0) * MM_PER_PX
    known = TypedLength((float(left[0]), middle), (float(right[0]), middle), "254 mm")
    made = make(pdf, Typed(knowns=(known,), as_given=True), folder=folder, progress=Silent())
    return made.build, (float(size[0]), float(size[1]))


def panel_apart(drawing: Drawing, dxf: Path) -> list[Points]:
    """Distances of every loop from its loop in a DXF that is upside down against it, both about their middles."""
    truth = []
    for entity in readfile(dxf).modelspace():
        outline = ezdxf.path.make_path(entity)
        truth.append(np.array([(p.x, -p.y) for p in outline.flattening(0.0002)]))
    middle = (np.concatenate(truth).min(axis=0) + np.concatenate(truth).max(axis=0)) / 2
    loops = [
        sampled(path, tolerance_mm=0.0002)
        for outline in drawing.outlines
        for path in (outline.boundary, *outline.holes)
    ]
    own = (np.concatenate(loops).min(axis=0) + np.concatenate(loops).max(axis=0)) / 2
    apart = []
    for ring in truth:
        moved = ring - middle
        nearest = max(loops, key=lambda loop: _overlap(shapely.Polygon(loop - own), shapely.Polygon(moved)))
        apart.append(_apart(nearest - own, moved))
    return apart


if __name__ == "__main__":
    main()
