"""Print how far printed pages are from the drawing, and what they cost.

    python -m benchmarks.printing_error [--megapixels 140] [--seed 1]

Pages are drawn by another program's renderer (pypdfium2) and measured in mm: rendered, never printed on paper.
"""

import argparse
import tempfile
import time
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
import pypdfium2 as pdfium
from numpy.typing import NDArray

from drawing.drawing import Drawing, Outline
from drawing.paths import polyline
from drawing.units import MM_PER_PT, PT_PER_INCH
from pictures.flat import FlatPicture
from printing.page_marks import Frame, Side
from printing.plan_pages import PagePlan, plan_pages
from printing.setup import PageSetup, parse_paper
from printing.shown_flat import shown_flat
from printing.tile_picture import paper_white, whitened
from printing.write_pages import PageTitle, write_pages

PX_PER_M = 11_811
"""300 dpi."""

FORTY_SHEETS = Fraction(7, 5)
"""A0 at this fraction takes about 40 sheets of A4."""


def main() -> None:
    """Measure, and print one figure a line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--megapixels", type=float, default=140.0)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    print(f"seed {asked.seed}; rendered pages, no paper")
    with tempfile.TemporaryDirectory() as folder:
        _print_geometry(Path(folder) / "pages.pdf", asked.seed)
        _print_cost(Path(folder) / "large.pdf", asked.seed, asked.megapixels)


def _print_geometry(path: Path, seed: int) -> None:
    rng = np.random.default_rng(seed)
    xs = np.cumsum(rng.uniform(20, 60, 20))
    ys = np.cumsum(rng.uniform(20, 60, 16))
    lines = [polyline(np.array([[x, ys[0]], [x, ys[-1]]]), closed=False) for x in xs]
    lines += [polyline(np.array([[xs[0], y], [xs[-1], y]]), closed=False) for y in ys]
    drawing = Drawing((), tuple(lines))
    for paper in ("A4", "Letter", "A3"):
        plan = plan_pages(drawing, PageSetup(parse_paper(paper)))
        title = PageTitle("Benchmark", Fraction(1), "2024-02-29", "SCALE NOT SETTLED")
        write_pages(path, plan, drawing, None, title=PageTitle("Benchmark", Fraction(1), "2024-02-29"))
        off, joints = _joined_error_mm(path, plan, xs, ys)
        bars = _bar_error_mm(path, plan)
        write_pages(path, plan, drawing, None, title=title)
        print(
            f"{paper:7s} {len(plan.tiles):3d} sheets: lines off by {np.abs(off).max():.4f} mm at most "
            f"({np.sqrt(np.mean(off**2)):.4f} rms, n {len(off)}); between pages {joints:.4f} mm; "
            f"bars off by {bars:.4f} mm; inked px outside the margin: {_outside(path, plan)}"
        )


def _joined_error_mm(
    path: Path, plan: PagePlan, xs: NDArray[np.float64], ys: NDArray[np.float64]
) -> tuple[NDArray[np.float64], float]:
    """Found minus drawn of every line between its crossings, and the most that two pages differ in the mean of it."""
    off: list[float] = []
    shown: dict[tuple[int, str], list[float]] = {}
    with pdfium.PdfDocument(path) as document:
        for tile in plan.tiles:
            ink, scale, height = _rendered(document, tile.page, 300)
            shift = np.array(tile.at_page_mm) - tile.origin_mm
            x0, y0, x1, y1 = plan.core_mm(tile.row, tile.col)
            for axis, places, others in ((0, xs, ys), (1, ys, xs)):
                for place in places:
                    for other in (others[:-1] + others[1:]) / 2:
                        at = np.array([place, other] if axis == 0 else [other, place])
                        if x0 + 6 < at[0] < x1 - 6 and y0 + 6 < at[1] < y1 - 6:
                            found = _line_middle_mm(ink, scale, height, at + shift, axis) - shift[axis]
                            off.append(found - place)
                            shown.setdefault((axis, tile.label), []).append(found - place)
    means = [(axis, float(np.mean(found))) for (axis, _), found in shown.items()]
    return np.array(off), max(np.ptp([mean for axis, mean in means if axis == wanted]) for wanted in (0, 1))


def _rendered(
    document: pdfium.PdfDocument, page: int, dpi: int
) -> tuple[NDArray[np.uint8], tuple[float, float], float]:
    """Ink (H, W), px per mm in x and y, and the page's height in mm."""
    sheet = document[page - 1]
    bitmap = sheet.render(scale=dpi / PT_PER_INCH, grayscale=True).to_numpy()
    ink = np.asarray(255 - bitmap.reshape(bitmap.shape[:2]), np.uint8)
    width, height = (side * MM_PER_PT for side in sheet.get_size())
    return ink, (ink.shape[1] / width, ink.shape[0] / height), height


def _line_middle_mm(
    ink: NDArray[np.uint8], scale: tuple[float, float], height_mm: float, at_mm: NDArray[np.float64], axis: int
) -> float:
    x, y = at_mm[0] * scale[0], (height_mm - at_mm[1]) * scale[1]
    low = round((x, y)[axis] - scale[axis])
    high = round((x, y)[axis] + scale[axis])
    profile = (ink[int(y), low:high] if axis == 0 else ink[low:high, int(x)]).astype(float)
    middle = float((np.arange(low, high) + 0.5) @ profile / profile.sum()) / scale[axis]
    return middle if axis == 0 else height_mm - middle


def _bar_error_mm(path: Path, plan: PagePlan) -> float:
    """The largest difference between a bar's end ticks and its length, measured at 1200 dpi on three pages."""
    worst = 0.0
    frame = Frame.of(plan.setup, plan.page_size_mm)
    with pdfium.PdfDocument(path) as document:
        for page in range(1, min(3, len(document)) + 1):
            ink, scale, height = _rendered(document, page, 1200)
            for axis, side in ((0, Side.BOTTOM), (1, Side.LEFT)):
                start, length = frame.bar_mm(side)
                # 1.6 mm from the bar's middle line, where only its end ticks and whole tens reach.
                across = frame.edge_mm(side, 2.4 + 1.6)
                ends = [
                    _line_middle_mm(ink, scale, height, np.array([end, across] if axis == 0 else [across, end]), axis)
                    for end in (start, start + length)
                ]
                worst = max(worst, abs(abs(ends[1] - ends[0]) - length))
    return worst


def _outside(path: Path, plan: PagePlan) -> int:
    count = 0
    with pdfium.PdfDocument(path) as document:
        for page in range(1, len(document) + 1):
            ink, scale, _ = _rendered(document, page, 300)
            across, up = (int(plan.setup.margin_mm * each) for each in scale)
            ink[up:-up, across:-across] = 0
            count += int(np.count_nonzero(ink))
    return count


def _print_cost(path: Path, seed: int, megapixels: float) -> None:
    height = round((megapixels * 1e6 / 2**0.5) ** 0.5)
    flat = _photographed_plan(seed, height, round(height * 2**0.5))
    drawing = _parts(seed, flat).scaled(FORTY_SHEETS)
    title = PageTitle("Benchmark", FORTY_SHEETS, "2024-02-29")
    plan = plan_pages(drawing, PageSetup(parse_paper("A4")))
    before = _peak_memory_mb(forget=True)
    begun, worked = time.perf_counter(), time.process_time()
    write_pages(path, plan, drawing, shown_flat(flat), title=title)
    seconds, worked = time.perf_counter() - begun, time.process_time() - worked
    peak = _peak_memory_mb(forget=False)
    begun = time.perf_counter()
    alone = len(cv2.imencode(".jpg", _whitened_whole(flat), [cv2.IMWRITE_JPEG_QUALITY, 80])[1])
    jpeg_seconds = time.perf_counter() - begun
    size = path.stat().st_size
    print(
        f"{flat.pixels.size / 1e6:.0f} MP over {len(plan.tiles)} A4 sheets: {seconds:.2f} s "
        f"({worked:.2f} s of one core); {size / 1e6:.2f} MB, {size / alone:.3f} times the whole whitened picture as "
        f"one JPEG ({alone / 1e6:.2f} MB, {jpeg_seconds:.2f} s to whiten and pack)"
    )
    print(f"peak memory {peak:.0f} MB, {peak - before:.0f} MB above that before writing, which held the picture")


def _peak_memory_mb(*, forget: bool) -> float:
    """The most memory held so far, or held now when asked to forget what came before (Linux's own count)."""
    if forget:
        Path("/proc/self/clear_refs").write_text("5")
    status = Path("/proc/self/status").read_text()
    return float(next(line for line in status.splitlines() if line.startswith("VmHWM:")).split()[1]) / 1024


def _whitened_whole(flat: FlatPicture) -> NDArray[np.uint8]:
    height, width = flat.pixels.shape[:2]
    return whitened(flat.pixels, paper_white(flat), (0, 0, width, height))


def _parts(seed: int, flat: FlatPicture) -> Drawing:
    rng = np.random.default_rng(seed)
    height_mm, width_mm = (side * flat.mm_per_px for side in flat.pixels.shape[:2])
    outlines = []
    for number in range(1, 151):
        x, y = rng.uniform(10, width_mm - 130), rng.uniform(10, height_mm - 60)
        turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
        loop = np.column_stack([x + 60 + 60 * np.cos(turn), y + 25 + 22 * np.sin(turn)])
        outlines.append(Outline(number, polyline(loop, closed=True), (), (0.0, 0.0), 0.0))
    return Drawing(tuple(outlines), ())


def _photographed_plan(seed: int, height: int, width: int) -> FlatPicture:
    """Paper lit from one side with noise, and some 2 % of ink: curves, hatching and figures."""
    rng = np.random.default_rng(seed)
    pixels = np.empty((height, width), np.uint8)
    light = np.linspace(225, 150, width)[None, :]
    for top in range(0, height, 512):
        block = pixels[top : top + 512]
        noise = rng.integers(-4, 5, block.shape, np.int16)
        np.clip(light + noise, 0, 255, out=block, casting="unsafe")
    px_per_mm = PX_PER_M / 1000
    pen = max(1, round(0.4 * px_per_mm))
    for _ in range(round(height * width / px_per_mm**2 / 700)):
        at = (int(rng.uniform(0, width)), int(rng.uniform(0, height)))
        axes = (int(rng.uniform(5, 90) * px_per_mm), int(rng.uniform(3, 30) * px_per_mm))
        cv2.ellipse(pixels, at, axes, rng.uniform(0, 180), 0, 360, int(rng.uniform(30, 70)), pen, cv2.LINE_AA)
        words = "".join(rng.choice(list("ABCDEF 0123456789"), 8))
        cv2.putText(pixels, words, at, cv2.FONT_HERSHEY_SIMPLEX, 0.15 * px_per_mm, 50, pen // 2 + 1, cv2.LINE_AA)
    return FlatPicture(np.asarray(cv2.blur(pixels, (3, 3)), np.uint8), PX_PER_M, (0.0, 0.0))


if __name__ == "__main__":
    main()
