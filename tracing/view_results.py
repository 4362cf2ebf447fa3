"""Results as the page takes them: what is seen, the scale, the outlines, the pages; plain values that JSON holds.

Every function gives one stage's value; whose revision it is, and that it worked, whoever serves it adds.
"""

import math
import re
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.calibration import Calibration, Given, Observed
from calibration.observations import CheckLength, Corners, GivenScale, KnownDistance
from calibration.uncertainty import NORMAL_95
from digitize.draw_outlines import Drawn
from drawing.drawing import Drawing
from drawing.findings import Finding, Level
from drawing.format import format_off
from drawing.lengths import parse_length
from drawing.path_extremes import path_extremes_mm
from job.job import Job
from job.observe import Gathered
from job.part_errors import with_give_or_take
from job.see import Seen
from job.size import size_over_all
from job.words import rests_on
from printing.plan_pages import PagePlan
from tracing.picture_paths import loop_data, path_data
from tracing.view_words import counted, give_or_take, on_the_page, plain_fraction, plain_mm, with_give


def seen_view(seen: Seen) -> dict[str, Any]:
    """Give what the picture shows; points in picture px."""
    return {
        "sheet_px": _points(seen.sheet_px),
        "border_px": None if seen.border is None else _points(seen.border.corners_px),
        "kind": str(seen.kind),
        "landmark_count": len(seen.landmarks_px),
        "findings": findings_view(seen.findings),
    }


def scale_view(gathered: Gathered, calibration: Calibration) -> dict[str, Any]:
    """Give the scale, and every length that was given beside what it comes out as."""
    findings = (*gathered.findings, *calibration.findings)
    given = {o.label: o for o in gathered.observations if isinstance(o, KnownDistance | CheckLength)}
    lone = _lone(gathered)
    observed = [_observed(item, given.get(item.label), calibration, lone=lone) for item in calibration.observed]
    rests = rests_on(gathered.observations, calibration)
    return {
        "mm_per_px": calibration.mm_per_px,
        "kind": str(calibration.kind),
        "observed": observed,
        "findings": findings_view(findings),
        "settled": all(finding.level is not Level.DECIDE for finding in findings),
        "rests_on": rests,
        "words": f"The scale rests on {rests}.",
    }


def outlines_view(drawn: Drawn, calibration: Calibration) -> dict[str, Any]:
    """Give parts, what else could be taken, and open lines; drawn in picture px, sizes in mm at full size."""
    plan = with_give_or_take(drawn.drawing, calibration)
    ends_mm = path_extremes_mm([outline.boundary for outline in plan.outlines])
    widths_mm = (ends_mm[:, 1, 0] - ends_mm[:, 0, 0]).tolist()
    heights_mm = (ends_mm[:, 3, 1] - ends_mm[:, 2, 1]).tolist()
    rings = [path for outline in plan.outlines for path in (outline.boundary, *outline.holes)]
    data = path_data([*rings, *plan.lines], calibration)
    parts = []
    at = 0
    for outline, choice, width_mm, height_mm in zip(
        plan.outlines, drawn.part_choices, widths_mm, heights_mm, strict=True
    ):
        parts.append(
            {
                "number": outline.number,
                "name": outline.name,
                "kind": str(outline.kind),
                "confidence": outline.confidence,
                "inside_px": outline.inside_px,
                "area_px2": outline.area_px2,
                "path_px": "".join(data[at : at + 1 + len(outline.holes)]),
                "holes": len(outline.holes),
                "width_mm": width_mm,
                "height_mm": height_mm,
                "u95_mm": outline.u95_mm,
                "choice": choice,
            }
        )
        at += 1 + len(outline.holes)
    sizes_mm = _sizes_mm([other.points_px for other in drawn.others], calibration)
    others = [
        {
            "inside_px": other.inside_px,
            "area_px2": other.area_px2,
            "path_px": loop_data(other.points_px),
            "why": other.why,
            "choice": other.choice,
            "width_mm": width_mm,
            "height_mm": height_mm,
        }
        for other, (width_mm, height_mm) in zip(drawn.others, sizes_mm, strict=True)
    ]
    return {
        "parts": parts,
        "others": others,
        "lines": [line for line in data[at:] if line],
        "findings": findings_view(drawn.findings),
    }


def _sizes_mm(loops_px: Sequence[NDArray[np.float64]], calibration: Calibration) -> list[list[float]]:
    """Width and height of each loop, mm at full size."""
    if not loops_px:
        return []
    points_mm = calibration.to_plan(np.concatenate(loops_px))
    starts = np.cumsum([0, *map(len, loops_px[:-1])])
    sizes_mm: list[list[float]] = (
        np.maximum.reduceat(points_mm, starts) - np.minimum.reduceat(points_mm, starts)
    ).tolist()
    return sizes_mm


def pages_view(
    job: Job,
    plan: Drawing,
    calibration: Calibration,
    fraction: Fraction,
    pages: PagePlan,
    findings: Sequence[Finding] = (),
) -> dict[str, Any]:
    """Give the pages as they lie on the picture, and the headline.

    `plan` is at full size; the tiles' corners are picture px, in the order upper-left, upper-right, lower-right,
    lower-left as the sheet is printed: `corners_px` all that a sheet shows, `core_px` without what neighbours show too.
    """
    size = size_over_all(plan, calibration, fraction)
    boxes = []
    for tile in pages.tiles:
        (x, y), (width, height) = tile.origin_mm, tile.size_mm
        boxes += [(x, y, x + width, y + height), pages.core_mm(tile.row, tile.col)]
    corners = _corners_px(np.array(boxes).reshape(-1, 4), job, calibration, fraction).tolist()
    tiles = [
        {"label": tile.label, "page": tile.page, "row": tile.row, "col": tile.col, "corners_px": shown, "core_px": core}
        for tile, shown, core in zip(pages.tiles, corners[::2], corners[1::2], strict=True)
    ]
    return {
        "paper": pages.setup.paper.name,
        "count": len(pages.tiles),
        "rows": pages.grid.rows,
        "cols": pages.grid.cols,
        "landscape": pages.grid.landscape,
        "fraction": plain_fraction(fraction),
        "tiles": tiles,
        "origin_mm": pages.grid.origin_mm,
        "step_mm": pages.core_size_mm,
        "cut_parts": pages.cut_parts,
        "width_mm": size.width_mm,
        "height_mm": size.height_mm,
        "u95_mm": size.u95_mm,
        "words": f"{_sheets(pages)}, {_span(job, calibration, fraction, size.width_mm, size.height_mm, size.u95_mm)}",
        "findings": findings_view(findings),
    }


def findings_view(findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """Give findings as values."""
    return [{"code": f.code, "level": str(f.level), "about": f.about, "text": on_the_page(f.text)} for f in findings]


def _lone(gathered: Gathered) -> str | None:
    """Say what checks the one length that the scale is fitted to; None where there are more, which check each other."""
    lengths = [
        seen
        for seen in gathered.observations
        if isinstance(seen, KnownDistance | GivenScale) or (isinstance(seen, Corners) and seen.width_mm is not None)
    ]
    if len(lengths) != 1:
        return None
    checked = any(isinstance(seen, CheckLength) for seen in gathered.observations)
    return "what you compare is held against it" if checked else "nothing checks it yet"


def _observed(
    item: Observed, given: KnownDistance | CheckLength | None, calibration: Calibration, *, lone: str | None
) -> dict[str, Any]:
    loud = _is_loud(item, calibration)
    return {
        "label": item.label,
        "kind": str(item.kind),
        "given_mm": item.given_mm,
        "given_text": None if given is None else given.text,
        "fitted_mm": item.fitted_mm,
        "residual_mm": item.residual_mm,
        "u95_mm": item.u95_mm,
        "used": item.used,
        "loud": loud,
        "start_px": item.start_px,
        "end_px": item.end_px,
        "words": _observed_words(item, given, calibration, loud=loud, lone=lone),
        "short": _observed_short(item, loud=loud, lone=lone),
    }


def _is_loud(item: Observed, calibration: Calibration) -> bool:
    """Whether something is to be decided about a length; the adjustment says so, the page only shows it."""
    if item.kind is not Given.CHECK and not item.used:
        return True
    decide = [finding for finding in calibration.findings if finding.level is Level.DECIDE]
    if any(re.search(rf"\b{re.escape(item.label)}\b", finding.about) for finding in decide):
        return True
    return item.kind is Given.KNOWN and any(finding.code == "unit-doubtful" for finding in decide)


def _observed_words(
    item: Observed,
    given: KnownDistance | CheckLength | None,
    calibration: Calibration,
    *,
    loud: bool,
    lone: str | None,
) -> str:
    comes = with_give(item.fitted_mm, item.u95_mm)
    if item.kind is Given.SCALE:
        return "Taken on trust." if item.used else "Left out: what you gave says otherwise."
    off = _off(item)
    if item.kind is not Given.CHECK and not item.used:
        return f"Left out: the rest makes it {comes}, {off} than given ({_percent(item)})."
    if loud:
        doubt = next((f for f in calibration.findings if f.code == "unit-doubtful"), None)
        if doubt is not None and item.kind is Given.KNOWN:
            return doubt.text
        return f"Does not agree: comes out {comes}, {off} than given ({_percent(item)})."
    if lone is not None and item.kind is Given.KNOWN:
        return f"Sets the scale; {lone}. {_capital(give_or_take(item.u95_mm))}."
    allowed_mm = item.u95_mm if given is None else math.hypot(item.u95_mm, NORMAL_95 * given.give_mm / math.sqrt(3))
    if item.kind is Given.SIDE and given is None and item.used:
        return f"Fits its rectangle: {format_off(item.residual_mm)}."
    agrees = "Agrees" if abs(item.residual_mm) <= allowed_mm else "Off by a little more than expected"
    return f"{agrees}: {format_off(item.residual_mm)}, {give_or_take(allowed_mm)}."


def _observed_short(item: Observed, *, loud: bool, lone: str | None) -> str:
    """The same in the two or three words that a label in the picture has room for."""
    if item.kind is not Given.CHECK and not item.used:
        return "does not agree"
    if loud:
        return f"comes out {_off(item)}"
    return "sets the scale" if lone is not None and item.kind is Given.KNOWN else "agrees"


def _off(item: Observed) -> str:
    return f"{plain_mm(abs(item.residual_mm), min(item.u95_mm, 0.5))} {'more' if item.residual_mm > 0 else 'less'}"


def _percent(item: Observed) -> str:
    return f"{100 * abs(item.residual_mm) / item.given_mm:.2g} %"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _sheets(pages: PagePlan) -> str:
    return counted(len(pages.tiles), f"{pages.setup.paper.name} sheet")


def _span(
    job: Job, calibration: Calibration, fraction: Fraction, width_mm: float, height_mm: float, u95_mm: float
) -> str:
    """The wanted length with its give or take; without one, the drawing's longer side."""
    if job.build_length is None:
        return f"{plain_mm(max(width_mm, height_mm), u95_mm)} over all, {give_or_take(u95_mm)}"
    wanted = calibration.length(job.build_length.start.at_px, job.build_length.end.at_px)
    return with_give(parse_length(job.build_length.text).mm, wanted.u95_mm * float(fraction))


def _corners_px(
    boxes_mm: NDArray[np.float64], job: Job, calibration: Calibration, fraction: Fraction
) -> NDArray[np.float64]:
    """Corners (N, 4, 2) in the picture of boxes (N, 4: x min, y min, x max, y max) in the build frame.

    A corner beyond what the camera sees is drawn in towards the picture's middle until it is seen.
    """
    x0, y0, x1, y1 = boxes_mm.T
    corners = np.stack([np.stack(pair, axis=1) for pair in ((x0, y1), (x1, y1), (x1, y0), (x0, y0))], axis=1)
    plan_mm = (corners * (-1 if job.mirrored else 1, 1) / float(fraction)).reshape(-1, 2)
    middle_mm = calibration.to_plan(np.array([calibration.size.middle_px]))
    corners_px = calibration.to_picture(plan_mm)
    for _ in range(DRAWN_IN):
        hidden = ~np.isfinite(corners_px).all(axis=1)
        if not hidden.any():
            break
        plan_mm[hidden] = middle_mm + 0.8 * (plan_mm[hidden] - middle_mm)
        corners_px[hidden] = calibration.to_picture(plan_mm[hidden])
    return np.round(corners_px.reshape(-1, 4, 2), 2)


DRAWN_IN = 60
"""Times a corner is drawn in by a fifth: from a million picture widths away to its middle."""


def _points(points_px: NDArray[np.float64] | None) -> list[list[float]] | None:
    return None if points_px is None else np.round(points_px, 3).tolist()
