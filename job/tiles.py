"""Laying the build drawing out on pages: which boxes hold something to print, and the grid that is kept."""

from fractions import Fraction

import numpy as np

from calibration.calibration import Calibration
from digitize.lettering import lettering_links
from digitize.strokes import Strokes
from drawing.drawing import Drawing
from drawing.findings import Finding, Level
from job.job import Job
from printing.errors import PrintingError
from printing.plan_pages import PagePlan, plan_pages

BoxMm = tuple[float, float, float, float]


def lay_out(
    job: Job, build: Drawing, strokes: Strokes, calibration: Calibration, fraction: Fraction
) -> tuple[PagePlan, tuple[Finding, ...]]:
    """Plan the pages; the kept grid is used again while fraction and paper are what it was laid out for."""
    kept = job.kept_grid
    grid = kept.grid if kept is not None and (kept.fraction, kept.setup) == (fraction, job.setup) else None
    boxes = () if job.lines_only else lettering_boxes_mm(job, strokes, calibration, fraction)
    if grid is not None:
        try:
            return plan_pages(build, job.setup, grid=grid, ink_boxes_mm=boxes), ()
        except PrintingError:
            # The drawing has grown past its pages: sheets printed before no longer serve, and that is said.
            pages = plan_pages(build, job.setup, ink_boxes_mm=boxes)
            return pages, (_laid_anew(),)
    return plan_pages(build, job.setup, ink_boxes_mm=boxes), ()


def _laid_anew() -> Finding:
    return Finding(
        "pages-laid-anew",
        Level.NOTE,
        "the pages",
        "The drawing now reaches beyond the pages laid out before, so they were laid out anew; sheets printed before "
        "do not join these: print all of them.",
    )


def lettering_boxes_mm(job: Job, strokes: Strokes, calibration: Calibration, fraction: Fraction) -> tuple[BoxMm, ...]:
    """Give (x0, y0, x1, y1) of every lettered stroke in the build frame: a builder needs the words too."""
    boxes: list[BoxMm] = []
    links = [link for link, lettered in zip(strokes.links, lettering_links(strokes), strict=True) if lettered]
    if not links:
        return ()
    points_mm = calibration.to_plan(np.concatenate([link.points_px for link in links])) * float(fraction)
    if job.mirrored:
        points_mm = points_mm * (-1, 1)
    for run in np.split(points_mm, np.cumsum([len(link.points_px) for link in links])[:-1]):
        (x0, y0), (x1, y1) = run.min(axis=0), run.max(axis=0)
        boxes.append((float(x0), float(y0), float(x1), float(y1)))
    return tuple(boxes)
