"""The job as the page takes it: plain values that JSON holds, every field under its own name."""

from dataclasses import fields, is_dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from drawing.build_fraction import format_fraction
from job.job import Job, KeptGrid
from printing.setup import PageSetup


def job_view(job: Job) -> dict[str, Any]:
    """Give a job as values for JSON.

    Marks are {x_px, y_px, settled}; fractions are text as people write them; the paper is its name, and `grid` is the
    page grid that is kept, or None.
    """
    view = {field.name: _value(getattr(job, field.name)) for field in fields(job)}
    view["grid"] = view.pop("kept_grid")
    return view


def _value(value: Any) -> Any:
    match value:
        case Fraction():
            return format_fraction(value)
        case Path():
            return str(value)
        case PageSetup():
            return {
                "paper": value.paper.name,
                "paper_mm": [value.paper.width_mm, value.paper.height_mm],
                "margin_mm": value.margin_mm,
                "overlap_mm": value.overlap_mm,
            }
        case KeptGrid():
            return {**_value(value.grid), "fraction": _value(value.fraction), "setup": _value(value.setup)}
        case tuple():
            # JSON takes tuples as they are: a trace's thousands of numbers are not gone through one by one.
            return value if value and isinstance(value[0], float | tuple) else [_value(item) for item in value]
        case _ if is_dataclass(value) and not isinstance(value, type):
            return {field.name: _value(getattr(value, field.name)) for field in fields(value)}
        case _:
            return value
