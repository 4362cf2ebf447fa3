"""Laying the build drawing out on pages: which boxes hold something to print, and the grid that is kept."""

from fractions import Fraction

import numpy as np

from calibration.calibration import Calibration
from digitize.lettering import lettering_links
from digitize.strokes import Strokes
from drawing.drawing import Drawing
from drawing.findings import Finding, Level
from job.job import Job
from printing.best_grid import PageGrid
from printing.content import page_content
from printing.errors import PrintingError
from printing.plan_pages import STICKS_OUT_MM, PagePlan, plan_pages
from printing.setup import PageSetup

BoxMm = tuple[float, float, float, float]


def lay_out(
    job: Job, build: Drawing, strokes: Strokes, calibration: Calibration, fraction: Fraction
) -> tuple[PagePlan, tuple[Finding, ...]]:
    """Plan the pages; the kept grid is used again while fraction and paper are what it was laid out for.

    Where the drawing reaches beyond it, whole pages are added round it, so that sheets printed before still join.
    """
    kept = job.kept_grid
    boxes = () if job.lines_only else lettering_boxes_mm(job, strokes, calibration, fraction)
    if kept is None or kept.setup != job.setup or kept.fraction not in (None, fraction):
        return plan_pages(build, job.setup, ink_boxes_mm=boxes), ()
    grid = _grown(kept.grid, page_content(build, ink_boxes_mm=boxes).bounds_mm(), job.setup)
    try:
        pages = plan_pages(build, job.setup, grid=grid, ink_boxes_mm=boxes)
    except PrintingError:
        # So far beyond that it takes pages without end: sheets printed before no longer serve, and that is said.
        return plan_pages(build, job.setup, ink_boxes_mm=boxes), (_laid_anew(),)
    return pages, () if grid == kept.grid or _is_put(kept.grid) else (_added(),)


def _is_put(grid: PageGrid) -> bool:
    """Whether a grid may be one put by hand: a single page, from which the others follow."""
    return grid.rows == grid.cols == 1


def _grown(grid: PageGrid, bounds_mm: BoxMm | None, setup: PageSetup) -> PageGrid:
    """The grid with as many whole pages more as the drawing needs; one put by hand with only those."""
    if bounds_mm is None or not np.isfinite([*bounds_mm, *grid.origin_mm]).all():
        return grid
    corner_mm, step_mm = np.array(grid.corner_mm(setup)), np.array(setup.core_size_mm(landscape=grid.landscape))
    low = np.floor((np.array(bounds_mm[:2]) - corner_mm + STICKS_OUT_MM) / step_mm)
    high = np.ceil((np.array(bounds_mm[2:]) - corner_mm - STICKS_OUT_MM) / step_mm)
    if not _is_put(grid):
        low, high = np.minimum(low, 0), np.maximum(high, (grid.cols, grid.rows))
    high = np.maximum(high, low + 1)
    x_mm, y_mm = np.round(np.array(grid.origin_mm) + low * step_mm, ORIGIN_DIGITS).tolist()
    cols, rows = (high - low).astype(int).tolist()
    return PageGrid((x_mm, y_mm), grid.landscape, rows=rows, cols=cols)


ORIGIN_DIGITS = 3
"""Micrometres, so that the job file holds the grid exactly."""


def _added() -> Finding:
    return Finding(
        "pages-added",
        Level.NOTE,
        "the pages",
        "The drawing now reaches beyond the pages laid out before, so pages were added round them; sheets printed "
        "before still join, though their labels have changed.",
    )


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
