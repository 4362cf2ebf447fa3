"""The plan as a PDF page of vectors, at true size."""

from pathlib import Path

from reportlab.pdfgen.canvas import Canvas

from sample_scans.camera import MM_PER_INCH
from sample_scans.truth import PlanTruth

PT_PER_MM = 72 / MM_PER_INCH  # ISO 32000: the unit of a PDF page is 1/72 inch


def write_page(path: Path, plan: PlanTruth) -> None:
    """Write the plan's strokes as paths on one page of the sheet's size, y up; the same plan gives the same bytes."""
    low, high = plan.sheet_mm.min(axis=0), plan.sheet_mm.max(axis=0)
    canvas = Canvas(str(path), pagesize=tuple((high - low) * PT_PER_MM), invariant=1, pageCompression=1)
    canvas.setTitle(plan.name)
    canvas.setAuthor("Scantling, rendered sample")
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    for stroke in plan.strokes:
        points = (stroke.points_mm - low) * PT_PER_MM
        drawn = canvas.beginPath()
        drawn.moveTo(*points[0])
        for x, y in points[1:]:
            drawn.lineTo(x, y)
        if stroke.closed:
            drawn.close()
        canvas.setLineWidth(stroke.width_mm * PT_PER_MM)
        canvas.drawPath(drawn, stroke=1, fill=0)
    canvas.showPage()
    canvas.save()
