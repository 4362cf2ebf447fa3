"""report.json: what a run came to, for other programs."""

import json
import math
from typing import Any

from calibration.adjustment import Adjustment, Agreed, ObservedRow, Unit, UnknownRow, Use
from calibration.calibration import Given, Observed
from calibration.plane_map import P
from report.facts import ReportFacts
from report.parts import PartRow, part_rows

# Significant digits: a kilometre to a nanometre, and the same file on every machine.
DIGITS = 12


def report_json(facts: ReportFacts) -> bytes:
    """Give report.json as UTF-8; sizes in mm, `outlines` and `pages` at build size, the rest at full size.

    An outline's `deviation_mm` is the largest distance between its curves and the points that were digitized on its
    ink, measured; `u95_mm` counts the scale in. An unknown number is null. `pages.count` is the pages of the PDF, the
    page plan among them; a length that was not fitted has `used` false.
    """
    source, calibration, pages = facts.picture.source, facts.calibration, facts.pages
    value = {
        "source": {
            "file": source.path.name,
            "sha256": source.sha256,
            "width_px": facts.picture.width_px,
            "height_px": facts.picture.height_px,
            "page": source.page,
            "render_dpi": source.render_dpi,
        },
        "calibration": {
            "kind": str(calibration.kind),
            "mm_per_px": calibration.mm_per_px,
            # Of the undistorting polynomial, in half diagonals of the picture.
            "lens": {"k1": float(calibration.values[P.K1]), "k2": float(calibration.values[P.K2])},
            "known": [_length(length) for length in calibration.observed if length.kind is Given.KNOWN],
            "others": [
                {"kind": str(length.kind), **_length(length)}
                for length in calibration.observed
                if length.kind is not Given.KNOWN
            ],
            "adjustment": None if calibration.adjustment is None else _adjustment(calibration.adjustment),
        },
        "findings": [
            {"code": finding.code, "level": str(finding.level), "about": finding.about, "text": finding.text}
            for finding in facts.findings
        ],
        "fraction": float(facts.fraction),
        "mirrored": facts.mirrored,
        "drawing": {"bounds_mm": facts.build.bounds_mm()},
        "flat": {"mm_per_px": facts.flat_mm_per_px, "origin_mm": facts.flat_origin_mm},
        "outlines": [_outline(row) for row in part_rows(facts.build)],
        "pages": {
            "paper": pages.setup.paper.name,
            "count": pages.page_count,
            "rows": pages.grid.rows,
            "cols": pages.grid.cols,
            "overlap_mm": pages.setup.overlap_mm,
            "tiles": [
                {
                    "page": tile.page,
                    "label": tile.label,
                    "origin_mm": tile.origin_mm,
                    "at_page_mm": tile.at_page_mm,
                    "size_mm": tile.size_mm,
                }
                for tile in pages.tiles
            ],
        },
        "seconds": facts.seconds,
        "files": facts.files,
    }
    text = json.dumps(_plain(value), ensure_ascii=False, indent=1, allow_nan=False)
    return (text + "\n").encode("utf-8")


def _length(length: Observed) -> dict[str, Any]:
    return {
        "label": length.label,
        "given_mm": length.given_mm,
        "fitted_mm": length.fitted_mm,
        "residual_mm": length.residual_mm,
        "u95_mm": length.u95_mm,
        "used": length.used,
    }


def _adjustment(adjustment: Adjustment) -> dict[str, Any]:
    """The surveyor's sheet: mm and px, degrees where `unit` says so; observations' sigmas are before the adjustment."""
    return {
        "observations": [_observation(row) for row in adjustment.observations],
        "unknowns": [_unknown(row) for row in adjustment.unknowns],
        "equations": adjustment.rows,
        "unknown_count": adjustment.unknown_count,
        "redundancy": adjustment.redundancy,
        "agreement": {
            "given": _agreed(adjustment.given),
            "lines": _agreed(adjustment.lines),
            "cards": _agreed(adjustment.cards),
        },
        "sigmas_widened": adjustment.widened,
    }


def _observation(row: ObservedRow) -> dict[str, Any]:
    return {
        "label": row.label,
        "kind": str(row.seen),
        "used": row.use in (Use.FITTED, Use.DISPUTED),
        "why": str(row.use),
        "unit": _unit(row.unit),
        "given": _in_unit(row.given, row.unit),
        "fitted": _in_unit(row.fitted, row.unit),
        "residual": _in_unit(row.residual, row.unit),
        "residual_px": row.residual_px,
        "sigma": _in_unit(row.sigma, row.unit),
        "standardized": row.standardized,
        "bow_px": row.bow_px,
    }


def _unknown(row: UnknownRow) -> dict[str, Any]:
    return {
        "name": row.name,
        "unit": _unit(row.unit),
        "value": _in_unit(row.value, row.unit),
        "sigma": _in_unit(row.sigma, row.unit),
        "prior": _in_unit(row.prior, row.unit),
        "prior_sigma": _in_unit(row.prior_sigma, row.unit),
        "solved": row.solved,
    }


def _agreed(agreed: Agreed) -> dict[str, Any]:
    return {
        "redundancy": agreed.redundancy,
        "variance_factor": agreed.variance_factor,
        "usual_up_to": agreed.usual_factor,
    }


def _unit(unit: Unit) -> str:
    return "deg" if unit is Unit.RAD else str(unit)


def _in_unit(value: float | None, unit: Unit) -> float | None:
    return math.degrees(value) if value is not None and unit is Unit.RAD else value


def _outline(row: PartRow) -> dict[str, Any]:
    return {
        "id": row.number,
        "name": row.name,
        "kind": str(row.kind),
        "confidence": row.confidence,
        "area_mm2": row.area_mm2,
        "width_mm": row.width_mm,
        "height_mm": row.height_mm,
        "perimeter_mm": row.perimeter_mm,
        "u95_mm": row.u95_mm,
        "deviation_mm": row.deviation_mm,
        "nodes": row.nodes,
        "holes": row.holes,
    }


def _plain(value: Any) -> Any:
    """Give numbers as JSON has them: rounded, and null for what is not finite, which JSON cannot say."""
    match value:
        case dict():
            return {key: _plain(item) for key, item in value.items()}
        case list() | tuple():
            return [_plain(item) for item in value]
        case float():
            return float(f"{value:.{DIGITS}g}") + 0.0 if math.isfinite(value) else None
        case _:
            return value
