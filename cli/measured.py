"""What `measure` tells: a readable table on the terminal, one JSON object, a CSV of a rib's ordinates."""

import csv
import io
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from cli.main import DONE, TO_DECIDE
from cli.say import say
from cli.summary import say_findings
from drawing.errors import DrawingError
from drawing.findings import Level
from drawing.format import format_inches
from job.measure import Measured
from job.measured_ordinates import MeasuredOrdinates, Ordinate, Station
from job.points import TypedPoint
from job.stations import Notch, Side
from job.typed_shapes import Asked

Point = tuple[float, float]


def say_measured(measured: Measured, asked: Asked, *, values_too: bool) -> int:
    """Print everything measured; findings go to stderr when the values are for a program."""
    if values_too:
        for line in (
            *_lengths(measured, asked),
            *_angles(measured, asked),
            *_areas(measured),
            *_radii(measured, asked),
        ):
            say(line)
        for table in measured.ordinates:
            say("\n".join(_table(table)))
    say_findings(measured.findings, to_stderr=not values_too)
    return TO_DECIDE if any(finding.level is Level.DECIDE for finding in measured.findings) else DONE


def measured_values(measured: Measured) -> dict[str, Any]:
    """Give what `measure --json` prints: `full` at full size with its `u95`, `build` at build size."""
    n = measured.fraction
    return {
        "lengths": [
            {"full_mm": length.full_mm, "build_mm": length.build_mm, "u95_mm": length.u95_mm}
            for length in measured.lengths
        ],
        "angles": [
            {"deg": math.degrees(one.angle.rad), "u95_deg": math.degrees(one.angle.u95_rad)} for one in measured.angles
        ],
        "areas": [
            {
                "part": one.number,
                "full_mm2": one.area.mm2,
                "build_mm2": one.area.mm2 * n**2,
                "u95_mm2": one.area.u95_mm2,
            }
            for one in measured.areas
        ],
        "radii": [
            {
                "full_mm": one.radius.mm,
                "build_mm": one.radius.mm * n,
                "u95_mm": one.radius.u95_mm,
                "stray_mm": one.radius.stray_mm,
                "middle_px": list(one.radius.middle_px),
            }
            for one in measured.radii
        ],
        "ordinates": [_ordinates_value(table) for table in measured.ordinates],
    }


def write_ordinates(path: Path, tables: Sequence[MeasuredOrdinates]) -> None:
    """Write the ordinates as a CSV, a row a station, mm at full and at build size.

    Raises
    ------
    DrawingError
        When there are none, or the file cannot be written.
    """
    if not tables:
        raise DrawingError(
            f"{path} was to hold ordinates, and none were asked for; they are what a table is made of: add "
            '--ordinates "part 3", or leave -o out.'
        )
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(["part", "percent", "x_full_mm", "x_build_mm", "side", "y_full_mm", "y_build_mm", "u95_full_mm",
                   "across_notch_full_mm"])  # fmt: skip
    for table in tables:
        for station in table.stations:
            for side, place in (("upper", station.upper), ("lower", station.lower)):
                if place is not None:
                    rows.writerow([
                        table.number, _plain(100 * station.part), _plain(station.x_mm),
                        _plain(station.x_mm * table.fraction), side, _plain(place.y_mm),
                        _plain(place.y_mm * table.fraction), _plain(place.u95_mm), _plain(place.bridged_mm),
                    ])  # fmt: skip
    try:
        path.write_text(text.getvalue(), encoding="utf-8")
    except OSError as error:
        raise DrawingError(
            f"{path} cannot be written ({error.strerror}); a file in a folder that exists and is yours is needed: "
            "give another with -o."
        ) from error


def _lengths(measured: Measured, asked: Asked) -> Iterator[str]:
    for (start, end), length in zip(asked.between, measured.lengths, strict=True):
        yield (
            f"{_at(start, length.start_px)} to {_at(end, length.end_px)}: {length.full_mm:.2f} mm at full size "
            f"({format_inches(length.full_mm)}), give or take {length.u95_mm:.2f} mm; "
            f"{length.build_mm:.2f} mm at build size ({format_inches(length.build_mm)})"
        )


def _angles(measured: Measured, asked: Asked) -> Iterator[str]:
    for points, one in zip(asked.angles, measured.angles, strict=True):
        first, corner, second = (_at(point, at_px) for point, at_px in zip(points, one.marks_px, strict=True))
        yield (
            f"At {corner}, from {first} to {second}: {math.degrees(one.angle.rad):.2f} degrees, give or take "
            f"{math.degrees(one.angle.u95_rad):.2f} degrees, at any size"
        )


def _areas(measured: Measured) -> Iterator[str]:
    for one in measured.areas:
        what = (
            f"Area inside {len(one.marks_px)} marks" if one.number is None else f"Area of {_part(one.number, one.name)}"
        )
        u95, n2 = one.area.u95_mm2, measured.fraction**2
        holes = "" if one.number is None else ", its holes left out"
        yield (
            f"{what}{holes}: {_cm2(one.area.mm2, u95)} at full size, give or take {_cm2(u95, u95)}; "
            f"{_cm2(one.area.mm2 * n2, u95 * n2)} at build size"
        )


def _radii(measured: Measured, asked: Asked) -> Iterator[str]:
    for points, one in zip(asked.radii, measured.radii, strict=True):
        ends = f"{_at(points[0], one.marks_px[0])} to {_at(points[-1], one.marks_px[-1])}"
        what = f"along the ink from {ends}" if one.along_ink else f"through {len(points)} marks from {ends}"
        build_mm = one.radius.mm * measured.fraction
        stray = f"; off the circle by {one.radius.stray_mm:.2f} mm on average" if one.radius.stray_mm else ""
        yield (
            f"Radius {what}: {one.radius.mm:.2f} mm at full size ({format_inches(one.radius.mm)}), give or take "
            f"{one.radius.u95_mm:.2f} mm; {build_mm:.2f} mm at build size ({format_inches(build_mm)}){stray}"
        )


def _table(table: MeasuredOrdinates) -> Iterator[str]:
    """Give the lines of a rib's table."""
    n = table.fraction
    what = "chord (the two places farthest apart)" if table.chord_found else "base line"
    yield f"Ordinates of {_part(table.number, table.name)}"
    yield (
        f"  From its {what}: {table.chord_mm:.2f} mm at full size, give or take {table.chord_u95_mm:.2f} mm; "
        f"{table.chord_mm * n:.2f} mm at build size."
    )
    ends = f"Leading end at {_px(table.leading_px)} px, trailing end at {_px(table.trailing_px)} px"
    yield f"  {ends}; y towards the top of the plan."
    yield "  All in mm. u95 is the give or take at full size; the outermost edge is given where there is more than one."
    yield ""
    yield f"  {'':9}|{'full size':^38}|{'build size':^26}"
    yield f"  {'station':>7}  |{'x':>8}{'upper':>9}{'u95':>6}{'lower':>9}{'u95':>6}|{'x':>8}{'upper':>9}{'lower':>9}"
    for station in table.stations:
        yield _row(station, n)
    if any(place is not None and place.bridged_mm is not None for s in table.stations for place in (s.upper, s.lower)):
        yield "  * in a notch: the height straight across it; the notch's own floor is told below."
    for notch in table.notches:
        yield f"  {_notch(notch, table)}"


def _row(station: Station, n: float) -> str:
    upper, lower = station.upper, station.lower
    return (
        f"  {100 * station.part:>6.2f} %|{station.x_mm:>8.2f}{_y(upper, 1)}{_u95(upper)}{_y(lower, 1)}{_u95(lower)}"
        f"|{station.x_mm * n:>8.2f}{_y(upper, n)}{_y(lower, n)}"
    )


def _y(place: Ordinate | None, n: float) -> str:
    if place is None:
        return f"{'-':>8} "
    mm = place.y_mm if place.bridged_mm is None else place.bridged_mm
    return f"{round(mm * n, 2) + 0.0:>8.2f}{' ' if place.bridged_mm is None else '*'}"


def _u95(place: Ordinate | None) -> str:
    if place is None:
        return f"{'-':>6}"
    return f"{place.u95_mm:>6.2f}" if math.isfinite(place.u95_mm) else f"{'steep':>6}"


def _notch(notch: Notch, table: MeasuredOrdinates) -> str:
    side = "upper" if notch.side is Side.UPPER else "lower"
    floors = [
        f"{place.y_mm:.2f} at {station.x_mm:.2f}"
        for station in table.stations
        for place in (station.upper if notch.side is Side.UPPER else station.lower,)
        if place is not None and place.bridged_mm is not None and notch.start_mm < station.x_mm < notch.end_mm
    ]
    told = f"; its floor: {', '.join(floors)}" if floors else ""
    return f"Notch in the {side} side from x {notch.start_mm:.1f} to {notch.end_mm:.1f} mm at full size{told}"


def _ordinates_value(table: MeasuredOrdinates) -> dict[str, Any]:
    n = table.fraction

    def place(one: Ordinate | None) -> dict[str, Any] | None:
        if one is None:
            return None
        return {
            "full_mm": one.y_mm,
            "build_mm": one.y_mm * n,
            "u95_mm": one.u95_mm if math.isfinite(one.u95_mm) else None,
            "across_notch_mm": one.bridged_mm,
        }

    return {
        "part": table.number,
        "name": table.name,
        "leading_px": list(table.leading_px),
        "trailing_px": list(table.trailing_px),
        "chord_full_mm": table.chord_mm,
        "chord_build_mm": table.chord_mm * n,
        "chord_u95_mm": table.chord_u95_mm,
        "chord_found": table.chord_found,
        "stations": [
            {
                "percent": 100 * station.part,
                "x_full_mm": station.x_mm,
                "x_build_mm": station.x_mm * n,
                "x_u95_mm": station.x_u95_mm,
                "upper": place(station.upper),
                "lower": place(station.lower),
            }
            for station in table.stations
        ],
        "notches": [
            {"side": notch.side.name.lower(), "start_mm": notch.start_mm, "end_mm": notch.end_mm}
            for notch in table.notches
        ],
    }


def _part(number: int, name: str) -> str:
    return f"part {number} ({name})" if name else f"part {number}"


def _at(typed: TypedPoint, point_px: Point) -> str:
    """Name a point as it was typed: its number, or where it came to lie."""
    return f"point {typed}" if isinstance(typed, int) else _px(point_px)


def _px(point_px: Point) -> str:
    return f"{point_px[0]:.1f},{point_px[1]:.1f}"


def _cm2(mm2: float, u95_mm2: float) -> str:
    """Give an area in cm², to two figures of its give or take."""
    digits = min(max(1 - math.floor(math.log10(u95_mm2 / 100)), 0), 6) if u95_mm2 > 0 else 2
    return f"{mm2 / 100:.{digits}f} cm²"


def _plain(value: float | None) -> str:
    return "" if value is None or not math.isfinite(value) else f"{value + 0.0:.4f}"
