"""The strokes of a page that draws its plan with paths of its own, or why its picture tells more."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import cKDTree

from digitize.own_curve import Floats
from digitize.strokes import Strokes
from digitize.vector_cuts import CLOSE_PX, find_cuts
from digitize.vector_dashes import with_dashes_joined
from digitize.vector_nodes import strokes_of_runs
from digitize.vector_paper import PaperLines, without_paper_lines
from digitize.vector_runs import cut_path, smooth_runs, whole_runs
from digitize.vector_seen import Cover, covered_share, shown_ink
from digitize.vector_thin import thin_lines
from drawing.findings import Finding, Level
from drawing.units import MM_PER_INCH
from pictures.ink import Ink
from pictures.page_paths import PageDrawing, PagePath, TooManyPaths

LEAST_COVERED = 0.85
"""Share of the page's ink, text and solid areas aside, that its lines must explain: below it they are a frame around a
picture, or the plan's lines are areas of colour."""


@dataclass(frozen=True, slots=True)
class VectorStrokes:
    """A page's own lines, and what is said of them; `strokes` is None where its picture is to be looked at."""

    strokes: Strokes | None
    findings: tuple[Finding, ...]


def vector_strokes(
    page: PageDrawing | TooManyPaths, ink: Ink, *, render_dpi: float, keep_paper: bool = False
) -> VectorStrokes:
    """Give the strokes of a page's own paths, where they are what it shows.

    Paths are cut by their clips, the lines of squared paper and duplicates left out, drawn-out dashes rejoined, ends
    within 0.05 mm (on the paper) of a line moved onto it, and crossings made nodes. What the page does not show,
    because it is covered, switched off or as light as the paper, is left out by looking at the drawn page.

    Parameters
    ----------
    page : PageDrawing or TooManyPaths
        As read; picture px.
    ink : Ink
        Of the same page drawn.
    render_dpi : float
        Px to an inch of it.
    keep_paper : bool
        Whether evenly spaced lines over the whole sheet belong to the drawing.
    """
    if isinstance(page, TooManyPaths):
        return _as_picture(f"it is drawn with more than {page.segments - 1:,} pieces of paths")
    height, width = ink.darkness.shape
    thin = thin_lines(page.fills)
    paths = _within(_once([*page.strokes, *thin.lines]), page, (width, height))
    if not paths:
        return _as_picture("no lines are drawn with a pen on it") if page.segments else VectorStrokes(None, ())
    covered = covered_share(ink, paths, Cover(thin.areas, page.text_boxes_px))
    if covered < LEAST_COVERED:
        return _as_picture(f"its paths explain only {100 * covered:.0f} % of what it shows")
    paper = PaperLines(paths, 0, ()) if keep_paper else without_paper_lines(paths, sheet_px2=float(width * height))
    joined = with_dashes_joined(paper.paths)
    runs = smooth_runs(joined.paths)
    cuts = find_cuts(runs)
    noded = strokes_of_runs(runs, cuts, shown=shown_ink(ink))
    told = _Told(len(cuts.moved_run), joined.dashes, noded.unseen, thin.left_out, page.broken)
    said = (_said(noded.strokes, told, render_dpi), *_paper_said(paper, render_dpi))
    return VectorStrokes(noded.strokes, said)


def _as_picture(why: str) -> VectorStrokes:
    text = f"The PDF page's own lines were not used because {why}: its picture was looked at, as a scan is."
    return VectorStrokes(None, (Finding("page-as-picture", Level.NOTE, "the page", text),))


@dataclass(frozen=True, slots=True)
class _Told:
    """Counts of what was done to a page's lines."""

    gaps: int
    dashes: int
    unseen: int
    areas: int
    broken: int


def _said(strokes: Strokes, told: _Told, render_dpi: float) -> Finding:
    close_mm = CLOSE_PX / render_dpi * MM_PER_INCH
    also = (
        (told.gaps, f"{told.gaps} line ends within {close_mm:.2f} mm of another line were moved onto it"),
        (told.dashes, f"{told.dashes} dashes were joined into lines"),
        (told.unseen, f"{told.unseen} pieces that the page does not show were left out"),
        (told.areas, f"{told.areas} areas of colour without a line around them were left out"),
        (told.broken, f"{told.broken} paths with broken numbers were left out"),
    )
    lines = f"The {len(strokes.links)} lines are the PDF page's own, not found in its picture"
    text = "; ".join([lines, *(words for count, words in also if count)])
    otherwise = 'To have its picture looked at instead, write lines = "picture" under [[sheets]] in job.toml.'
    return Finding("page-lines", Level.NOTE, "the page", f"{text}. {otherwise}")


def _paper_said(paper: PaperLines, render_dpi: float) -> tuple[Finding, ...]:
    if not paper.count:
        return ()
    apart = " and ".join(f"{pitch_px / render_dpi * MM_PER_INCH:.2f}" for pitch_px in paper.pitches_px)
    text = (
        f"{paper.count} evenly spaced lines over the whole page, {apart} mm apart on the paper, were taken for squared "
        'or ruled paper and left out. If these lines belong to the drawing, give found = "squared paper" under '
        "[[ignore]] in job.toml."
    )
    return (Finding("squared-paper", Level.NOTE, "the paper", text),)


ALIKE_PX = 0.3
"""Whole paths that lie this near each other all along were drawn twice: 0.025 mm at 300 dpi."""

ALIKE_SHARE = 0.1
"""And within this share of their length: of a curve drawn in steps shorter than ALIKE_PX no step is the one before."""


def _once(paths: Sequence[PagePath]) -> list[PagePath]:
    """The paths without those that lie on one drawn before."""
    if len(paths) < 2:
        return list(paths)
    runs = whole_runs(paths)
    of = np.repeat(np.arange(len(runs)), np.diff(runs.first))
    lines = np.asarray(shapely.linestrings(runs.points_px, indices=of), dtype=object)
    sizes = np.column_stack([shapely.bounds(lines), shapely.get_coordinates(shapely.centroid(lines))])
    pairs = cKDTree(sizes).query_pairs(ALIKE_PX, p=np.inf, output_type="ndarray")
    gone = np.zeros(len(paths), dtype=np.bool_)
    alike_px = np.minimum(ALIKE_PX, ALIKE_SHARE * runs.lengths_px)
    for first, second in pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))].tolist() if len(pairs) else []:
        if not gone[first] and not gone[second]:
            gone[second] = shapely.hausdorff_distance(lines[first], lines[second], densify=0.1) <= alike_px[second]
    return [path for path, is_gone in zip(paths, gone.tolist(), strict=True) if not is_gone]


def _within(paths: Sequence[PagePath], page: PageDrawing, size_px: tuple[int, int]) -> list[PagePath]:
    """The parts of paths that lie on the page and inside their clips."""
    sheet = shapely.box(-0.5, -0.5, size_px[0] - 0.5, size_px[1] - 0.5)
    areas: dict[int, shapely.Geometry] = {-1: sheet}
    kept: list[PagePath] = []
    for path in paths:
        if path.clip not in areas:
            areas[path.clip] = shapely.intersection_all([sheet, *map(_area, page.clips[path.clip])])
            shapely.prepare(areas[path.clip])
        area = areas[path.clip]
        points = path.controls_px.reshape(-1, 2)
        box = shapely.box(*points.min(axis=0), *points.max(axis=0))
        if shapely.covers(area, box):
            kept.append(path)
        elif shapely.intersects(area, box):
            kept += _clipped(path, area)
    return kept


def _area(rings: Sequence[Floats]) -> shapely.Geometry:
    """What rings enclose; one inside another is a hole."""
    area: shapely.Geometry = shapely.Polygon()
    for ring in rings:
        if len(ring) >= 3:
            area = shapely.symmetric_difference(area, shapely.make_valid(shapely.Polygon(ring)))
    return area


def _clipped(path: PagePath, area: shapely.Geometry) -> list[PagePath]:
    runs = whole_runs([path])
    line = shapely.LineString(runs.points_px)
    met = shapely.intersection(line, shapely.boundary(area))
    at = np.unique(shapely.line_locate_point(line, shapely.points(shapely.get_coordinates(met).reshape(-1, 2))))
    pieces = cut_path(path, at.tolist(), runs, 0)
    kept = []
    for piece in pieces:
        middle = whole_runs([piece])
        half = shapely.line_interpolate_point(shapely.LineString(middle.points_px), 0.5, normalized=True)
        if shapely.covers(area, half):
            kept.append(piece)
    return kept
