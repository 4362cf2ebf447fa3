"""PDF pages of invented plans drawn with vectors, in the ways that programs write them, with their truth."""

import ctypes
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium
from numpy.typing import NDArray
from reportlab.pdfgen.canvas import Canvas

from sample_scans.camera import MM_PER_INCH
from sample_scans.page import PT_PER_MM
from sample_scans.random_plan import random_plan
from sample_scans.truth import InkStroke, PartTruth, PlanTruth

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class VectorPage:
    """A PDF page and its parts: `parts_pt` holds each one's boundary, then its holes, (N, 2) in the page's own units.

    `unit` is how many 1/72 inch such a unit is.
    """

    path: Path
    parts_pt: tuple[tuple[Points, ...], ...]
    unit: float = 1.0

    def parts_px(self, dpi: float) -> list[list[Points]]:
        """Give the parts in picture px at `dpi`, by the PDF library's own page-to-screen map."""
        document = pypdfium2.PdfDocument(self.path)
        try:
            page = document[0]
            # The library answers in whole px, so it is asked for a screen of very small ones.
            fine = 200
            width, height = (round(side * self.unit * dpi / 72 * fine) for side in page.get_size())
            exact = [side * self.unit * dpi / 72 * fine for side in page.get_size()]
            grown = np.array([exact[0] / width, exact[1] / height]) / fine
            x, y = ctypes.c_int(), ctypes.c_int()

            def placed(point: Points) -> tuple[int, int]:
                pdfium.FPDF_PageToDevice(page, 0, 0, width, height, 0, point[0], point[1], x, y)
                return x.value, y.value

            return [
                [np.array([placed(point) for point in ring]) * grown - 0.5 for ring in rings] for rings in self.parts_pt
            ]
        finally:
            document.close()


KINDS = ("plain", "turned", "forms", "clipped", "dashed", "cropped", "units", "curves")
"""The ways of writing a page that `vector_page` knows."""


def vector_page(path: Path, *, seed: int, kind: str) -> VectorPage:
    """Write an invented plan as a vector page of a kind; the same seed and kind give the same bytes.

    plain: one path a stroke. turned: shown turned by a quarter, half or three quarters. forms: drawings within
    drawings, with turns and scales that cancel. clipped: strokes run beyond a clip and are cut by it. dashed: centre
    lines by a dash pattern, dimension lines by single dashes, all parts twice. cropped: a crop box whose corner lies
    elsewhere. units: one unit is 2/72 inch. curves: `curve_parts`.
    """
    if kind == "curves":
        return curve_page(path, seed=seed)
    plan = random_plan(seed)
    rng = np.random.default_rng([seed, 23])
    low, high = plan.sheet_mm.min(axis=0), plan.sheet_mm.max(axis=0)
    unit = 2.0 if kind == "units" else 1.0
    scale = PT_PER_MM / unit
    margin = np.array([41.0, 67.0]) if kind == "cropped" else np.zeros(2)
    size = (high - low) * scale
    turn = int(rng.choice([90, 180, 270])) if kind == "turned" else 0
    # The library that writes swaps a turned page's sides.
    sides = (size + 2 * margin)[:: -1 if turn in (90, 270) else 1]
    canvas = Canvas(str(path), pagesize=tuple(sides), invariant=1, pageCompression=0)
    canvas.setPageRotation(turn)
    if kind == "cropped":
        canvas.setCropBox((*margin, *(margin + size)))

    def to_pt(points_mm: Points) -> Points:
        placed: Points = (points_mm - low) * scale + margin
        return placed

    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    draw = {"forms": _in_forms, "clipped": _clipped, "dashed": _dashed}.get(kind, _plain)
    draw(canvas, plan, to_pt, scale, rng)
    canvas.showPage()
    canvas.save()
    if unit != 1.0:
        _with_unit(path, unit)
    return VectorPage(path, tuple(_rings(part, to_pt) for part in plan.parts), unit)


_ToPt = Callable[[Points], Points]


def _rings(part: PartTruth, to_pt: _ToPt) -> tuple[Points, ...]:
    return (to_pt(part.boundary_mm), *(to_pt(hole) for hole in part.holes_mm))


def _stroke(canvas: Canvas, points_pt: Points, *, closed: bool) -> None:
    drawn = canvas.beginPath()
    drawn.moveTo(*points_pt[0])
    for x, y in points_pt[1:]:
        drawn.lineTo(x, y)
    if closed:
        drawn.close()
    canvas.drawPath(drawn, stroke=1, fill=0)


def _plain(canvas: Canvas, plan: PlanTruth, to_pt: _ToPt, scale: float, rng: np.random.Generator) -> None:
    _strokes(canvas, plan.strokes, to_pt, scale)


def _strokes(canvas: Canvas, strokes: Sequence[InkStroke], to_pt: _ToPt, scale: float) -> None:
    for stroke in strokes:
        canvas.setLineWidth(stroke.width_mm * scale)
        _stroke(canvas, to_pt(stroke.points_mm), closed=stroke.closed)


def _in_forms(canvas: Canvas, plan: PlanTruth, to_pt: _ToPt, scale: float, rng: np.random.Generator) -> None:
    """Every third of the strokes in a form within a form: the inner drawn turned and small, the outer undoing it."""
    for number in range(3):
        turn, size = float(rng.uniform(-180, 180)), float(rng.uniform(0.2, 3))
        far = (float(rng.uniform(-50, 50)), float(rng.uniform(-50, 50)))
        reach = 20_000
        canvas.beginForm(f"inner{number}", -reach, -reach, reach, reach)
        canvas.setLineCap(1)
        canvas.translate(*far)
        canvas.rotate(turn)
        canvas.scale(size, size)
        _strokes(canvas, plan.strokes[number::3], to_pt, scale)
        canvas.endForm()
        canvas.beginForm(f"outer{number}", -reach, -reach, reach, reach)
        canvas.scale(1 / size, 1 / size)
        canvas.rotate(-turn)
        canvas.translate(-far[0], -far[1])
        canvas.doForm(f"inner{number}")
        canvas.endForm()
        canvas.doForm(f"outer{number}")


def _clipped(canvas: Canvas, plan: PlanTruth, to_pt: _ToPt, scale: float, rng: np.random.Generator) -> None:
    """Strokes of the plan seen through the border, and decoys: squares outside it, lines across its edge."""
    border = to_pt(plan.border_mm)
    low, high = border.min(axis=0), border.max(axis=0)
    canvas.saveState()
    window = canvas.beginPath()
    window.rect(*(low - 2), *(high - low + 4))
    canvas.clipPath(window, stroke=0, fill=0)
    _strokes(canvas, plan.strokes, to_pt, scale)
    canvas.setLineWidth(0.35 * scale)
    for _ in range(6):
        x, y = (low[0] - 20, float(rng.uniform(low[1], high[1])))
        canvas.rect(x, y, 8, 8)
    canvas.restoreState()


def _dashed(canvas: Canvas, plan: PlanTruth, to_pt: _ToPt, scale: float, rng: np.random.Generator) -> None:
    """Centre lines by a pattern, dimension lines dash by dash, outlines printed twice."""
    for stroke in plan.strokes:
        canvas.setLineWidth(stroke.width_mm * scale)
        canvas.setDash([6, 3] if stroke.role == "centre" else [])
        points = to_pt(stroke.points_mm)
        if stroke.role == "dimension" and not stroke.closed and len(points) == 2:
            _dash_by_dash(canvas, points)
            continue
        for _ in range(2 if stroke.role in ("outline", "inside") else 1):
            _stroke(canvas, points, closed=stroke.closed)


def _dash_by_dash(canvas: Canvas, ends_pt: Points) -> None:
    way = ends_pt[1] - ends_pt[0]
    long = float(np.hypot(*way))
    at = 0.0
    while at < long:
        end = min(at + 6.0, long)
        _stroke(canvas, ends_pt[0] + np.outer([at / long, end / long], way), closed=False)
        at += 9.0


def _with_unit(path: Path, unit: float) -> None:
    """Write a UserUnit over an empty entry of the page, as long as it."""
    data = path.read_bytes()
    empty = b"/Trans <<\n\n>>"
    entry = f"/UserUnit {unit:.1f}".encode().ljust(len(empty))
    if data.count(empty) != 1 or len(entry) != len(empty):
        raise ValueError("The page has no empty entry to write over.")
    path.write_bytes(data.replace(empty, entry))


def curve_page(path: Path, *, seed: int) -> VectorPage:
    """Write parts drawn with a program's own cubics, met by what makes such pages hard.

    Plates with round corners and holes (the cubic approximation every program uses), smooth closed curves crossed by
    a centre line, polygons whose sides are single paths with ends 0.01 mm apart; some are drawn twice, some in
    hairlines, some of their sides as thin filled rectangles. Text stands beside them.
    """
    rng = np.random.default_rng([seed, 31])
    canvas = Canvas(str(path), pagesize=(420 * PT_PER_MM, 297 * PT_PER_MM), invariant=1, pageCompression=0)
    parts: list[tuple[Points, ...]] = []
    canvas.setFont("Helvetica", 9)
    for row in range(3):
        for column in range(4):
            middle = np.array([55.0 + 100 * column, 45.0 + 95 * row]) * PT_PER_MM
            kind = int(rng.integers(3))
            canvas.setLineWidth(0 if rng.random() < 0.3 else float(rng.choice([0.25, 0.35, 0.5])) * PT_PER_MM)
            part = (_plate, _smooth, _polygon)[kind](canvas, middle, rng)
            parts.append(part)
            canvas.drawString(*(middle - np.array([30.0, 125.0])), f"PART {len(parts)}")
    canvas.showPage()
    canvas.save()
    return VectorPage(path, tuple(parts))


def _plate(canvas: Canvas, middle: Points, rng: np.random.Generator) -> tuple[Points, ...]:
    half = rng.uniform(20, 38, 2) * PT_PER_MM
    radius = float(rng.uniform(2, 8)) * PT_PER_MM
    hole = float(rng.uniform(1.5, 9)) * PT_PER_MM
    for _ in range(int(rng.integers(1, 3))):
        canvas.roundRect(*(middle - half), *(2 * half), radius)
        canvas.circle(*middle, hole)
    canvas.setLineWidth(0.18 * PT_PER_MM)
    canvas.line(middle[0] - hole - 6, middle[1], middle[0] + hole + 6, middle[1])
    rounds = [
        _circle(middle + (half - radius) * np.array([x, y]), radius, from_deg)
        for x, y, from_deg in ((1, 1, 0), (-1, 1, 90), (-1, -1, 180), (1, -1, 270))
    ]
    return np.concatenate(rounds), _circle(middle, hole, 0, 360)


def _circle(centre: Points, radius: float, from_deg: float, sweep_deg: float = 90) -> Points:
    angle = np.radians(from_deg + np.linspace(0, sweep_deg, round(4 * sweep_deg) + 1))
    points: Points = centre + radius * np.column_stack([np.cos(angle), np.sin(angle)])
    return points[:-1] if sweep_deg == 360 else points


def _smooth(canvas: Canvas, middle: Points, rng: np.random.Generator) -> tuple[Points, ...]:
    """A closed curve through random places, its cubics meeting smoothly, with a centre line through it."""
    count = int(rng.integers(5, 9))
    angle = (np.arange(count) + rng.uniform(-0.2, 0.2, count)) * 2 * math.pi / count
    far = rng.uniform(18, 36, count) * PT_PER_MM
    knots = middle + far[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    slope = (np.roll(knots, -1, axis=0) - np.roll(knots, 1, axis=0)) / 6
    controls = np.stack([knots, knots + slope, np.roll(knots - slope, -1, axis=0), np.roll(knots, -1, axis=0)], axis=1)
    drawn = canvas.beginPath()
    drawn.moveTo(*knots[0])
    for control in controls:
        drawn.curveTo(*control[1:].ravel())
    drawn.close()
    canvas.drawPath(drawn, stroke=1, fill=0)
    canvas.setLineWidth(0.18 * PT_PER_MM)
    canvas.setDash([8, 2, 1, 2])
    canvas.line(middle[0] - 110, middle[1] - 3, middle[0] + 110, middle[1] + 5)
    canvas.setDash([])
    t = np.linspace(0, 1, 400, endpoint=False)[:, None]
    u = 1 - t
    return (
        np.concatenate([u**3 * c[0] + 3 * u * u * t * c[1] + 3 * u * t * t * c[2] + t**3 * c[3] for c in controls]),
    )


def _polygon(canvas: Canvas, middle: Points, rng: np.random.Generator) -> tuple[Points, ...]:
    """Sides as paths of their own; ends apart by 0.01 mm, and every third side a thin filled rectangle."""
    count = int(rng.integers(4, 8))
    angle = (np.arange(count) + rng.uniform(-0.2, 0.2, count)) * 2 * math.pi / count
    corners = middle + rng.uniform(20, 36, count)[:, None] * PT_PER_MM * np.column_stack([np.cos(angle), np.sin(angle)])
    for index in range(count):
        start, end = corners[index], corners[(index + 1) % count]
        if index % 3 == 2:
            way = (end - start) / np.hypot(*(end - start))
            across = np.array([-way[1], way[0]]) * 0.15 * PT_PER_MM
            bar = canvas.beginPath()
            bar.moveTo(*(start + across))
            for point in (end + across, end - across, start - across):
                bar.lineTo(*point)
            bar.close()
            canvas.drawPath(bar, stroke=0, fill=1)
        else:
            shift = rng.normal(size=2)
            shift *= 0.01 * PT_PER_MM / np.hypot(*shift)
            canvas.line(*start, *(end + shift))
    return (corners,)


MM_PER_POINT = MM_PER_INCH / 72
"""What one PDF unit is (ISO 32000)."""
