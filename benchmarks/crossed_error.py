"""Small round holes that centre-lines cross, and tips of ribs nested on a datum: missed, false, and off by how much.

Run as `python -m benchmarks.crossed_error`; `--seeds N` pictures of each kind, `--only WORD` those with that in
their name. Every picture is drawn at random with its truth, as a scan, a photo and a PDF page. Holes have a radius
of 5 to 30 px and one or two lines at any angle through them or a little beside their middle, solid, dashed or chained.
Plates without a hole hold what might be taken for one: letters, balloons, crossing lines. Picture to plan goes by the
true map, so the errors are the lines' own.
"""

import argparse
import math
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely

from benchmarks.truth_error import Loops, compare, loops_of, true_map
from sample_scans.camera import Picturing, page_of
from sample_scans.curves import circle, turned
from sample_scans.dimensions import centre_line, line
from sample_scans.lettering import text
from sample_scans.page import write_page
from sample_scans.plan import plan_of
from sample_scans.rendered import rendered_photo, rendered_scan, save_picture
from sample_scans.sections import Section, plain_rib
from sample_scans.truth import Piece, PlanTruth, Point, Points, joined
from sample_scans.wing import part

BORDER_MM = (277.0, 190.0)  # the border of an ISO 216 A4 sheet
PLATE_MM, PITCH_MM = 20.0, 24.0
RADIUS_PX = (5.0, 30.0)
RADIUS_WIDTHS = 2.0
"""A hole's radius is at least this many line widths: less leaves hardly any paper to see between the lines."""
LINE_WIDTHS_MM = (0.25, 0.35, 0.5)  # ISO 128
THIN_MM = (0.18, 0.25)
DASHED_MM = (2.0, 1.0)  # dash and gap of a hidden line
DIGITS = ("0012", "2412", "4412", "6409", "2310", "4409", "2415", "0009")
BANDS_PX = (5.0, 8.0, 12.0, 20.0, 30.0)
SCAN_DPI = (200.0, 300.0, 150.0)
PX_PER_MM = {"scan": 200 / 25.4, "photo": 12.0, "page": 300 / 25.4}
"""About what the pictures below show; a photo's changes across it."""
NEAR_TIP_MM = 4.0

PlanBy = Callable[[int, float], PlanTruth]


@dataclass(frozen=True, slots=True)
class Pictured:
    """A plan's picture in a file."""

    path: Path
    camera: Picturing
    plan: PlanTruth


def main() -> None:
    """Print a few lines for each kind of picture."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.crossed_error", description=__doc__)
    parser.add_argument("--seeds", type=int, default=3, metavar="N")
    parser.add_argument("--first", type=int, default=0, metavar="SEED")
    parser.add_argument("--only", default="", metavar="WORD")
    parser.add_argument("--each", action="store_true", help="a line for each hole that is missed, false or far off")
    asked = parser.parse_args()
    seeds = range(asked.first, asked.first + asked.seeds)
    with tempfile.TemporaryDirectory() as folder:
        for what, plan_by, say in (("holes", plates, _say_holes), ("tips", nests, _say_tips)):
            for kind in PX_PER_MM:
                if asked.only in f"{what} {kind}":
                    say(f"{what}, {kind}", [pictured(kind, seed, plan_by, Path(folder)) for seed in seeds], asked.each)


def pictured(kind: str, seed: int, plan_by: PlanBy, folder: Path) -> Pictured:
    """Draw a plan by a seed and take its picture: "scan", "photo" or "page"."""
    dpi = SCAN_DPI[seed % 3] if kind == "scan" else 300.0
    plan = plan_by(seed, dpi / 25.4 if kind == "scan" else PX_PER_MM[kind])
    path = folder / f"{plan.name}-{kind}.{ {'photo': 'jpg', 'scan': 'png', 'page': 'pdf'}[kind] }"
    if kind == "page":
        write_page(path, plan)
        return Pictured(path, page_of(plan.sheet_mm, dpi=dpi), plan)
    taken = rendered_photo(seed, plan=plan) if kind == "photo" else rendered_scan(seed, plan=plan, dpi=dpi)
    save_picture(taken, path)
    return Pictured(path, taken.camera, plan)


def plates(seed: int, px_per_mm: float) -> PlanTruth:
    """Give a sheet of square plates, most with a small hole that lines cross, the others with what is no hole."""
    rng = np.random.default_rng([seed, 31])
    columns, rows = int((BORDER_MM[0] - 14) // PITCH_MM), int((BORDER_MM[1] - 10) // PITCH_MM)
    pieces = []
    for row in range(rows):
        for column in range(columns):
            name = f"P{row}.{column}"
            make = _plate if rng.random() < 0.7 else _decoy
            at = (column * PITCH_MM + 20.0, row * PITCH_MM + 18.0)
            pieces.append(make(name, rng, px_per_mm).at(*at))
    return plan_of(f"plates-{seed}", joined(pieces), width_mm=BORDER_MM[0], height_mm=BORDER_MM[1])


def _plate(name: str, rng: np.random.Generator, px_per_mm: float) -> Piece:
    """A plate about the origin with a hole near its middle."""
    width_mm = float(rng.choice(LINE_WIDTHS_MM))
    least_mm = max(RADIUS_PX[0] / px_per_mm, RADIUS_WIDTHS * width_mm)
    # As many small ones as large ones.
    radius_mm = least_mm * (max(RADIUS_PX[1] / px_per_mm / least_mm, 1.2)) ** float(rng.random())
    at = rng.uniform(-2, 2, 2)
    hole = circle((float(at[0]), float(at[1])), radius_mm)
    piece = part(name, _square(), (hole,), width_mm=width_mm)
    first = float(rng.uniform(0, 180))
    lines = int(rng.choice(3, p=[0.1, 0.4, 0.5]))
    for turn in (first, first + (90.0 if rng.random() < 0.6 else float(rng.uniform(35, 145))))[:lines]:
        beside = rng.normal(0, 0.08, 2) * radius_mm * (rng.random() < 0.4)
        beyond = radius_mm + float(rng.uniform(1.2, 4.0))
        if rng.random() < 0.2:
            beyond = PLATE_MM
        piece += _line(at + beside, turn, beyond, rng)
    return piece


def _line(at: Points, turn_deg: float, beyond_mm: float, rng: np.random.Generator) -> Piece:
    """A solid, dashed or chain line through a place, both ways."""
    way = turned(np.array([[1.0, 0.0]]), turn_deg)[0]
    style, thin_mm = rng.choice(["solid", "dashed", "chain"]), float(rng.choice(THIN_MM))
    if style == "chain":
        piece = centre_line(_point(at - way * beyond_mm), _point(at + way * beyond_mm))
        return replace(piece, strokes=tuple(replace(stroke, width_mm=thin_mm) for stroke in piece.strokes))
    if style == "solid":
        return Piece((line(_point(at - way * beyond_mm), _point(at + way * beyond_mm), width_mm=thin_mm),))
    dash, gap = DASHED_MM
    starts = np.arange(-beyond_mm + float(rng.uniform(-dash, 0)), beyond_mm, dash + gap)
    return Piece(
        tuple(line(_point(at + way * s), _point(at + way * (s + dash)), width_mm=thin_mm) for s in starts.tolist())
    )


def _decoy(name: str, rng: np.random.Generator, px_per_mm: float) -> Piece:
    """A plate about the origin without a hole: lettering, a numbered balloon, lines that cross."""
    del px_per_mm
    piece = part(name, _square(), width_mm=float(rng.choice(LINE_WIDTHS_MM)))
    at = rng.uniform(-2, 2, 2)
    kind = str(rng.choice(["letters", "balloon", "two lines", "three lines"]))
    if kind == "letters":
        word = str(rng.choice(["O", "0", "8", "10", "R8", "80", "Q", "B6", "908"]))
        height = float(rng.uniform(2.0, 4.0))
        return piece + text(word, _point(at - [0, height / 2]), height_mm=height, anchor=0.5, width_mm=height / 10)
    if kind == "balloon":
        height = float(rng.uniform(2.0, 3.0))
        ring = part("", circle(_point(at), 1.15 * height), width_mm=float(rng.choice(THIN_MM)))
        number = text(
            str(rng.integers(1, 20)), _point(at - [0, height / 2]), height_mm=height, anchor=0.5, width_mm=0.25
        )
        return piece + Piece(ring.strokes) + number
    first = float(rng.uniform(0, 180))
    turns = [first, first + float(rng.uniform(50, 130)), first + float(rng.uniform(20, 40))]
    for turn in turns[: 2 if kind == "two lines" else 3]:
        piece += _line(at, turn, float(rng.uniform(4.0, 7.0)), rng)
    return piece


def nests(seed: int, px_per_mm: float) -> PlanTruth:
    """Give a sheet of ribs nested on datum lines: 2 to 4 whole sections each, with their tips at distances."""
    del px_per_mm
    rng = np.random.default_rng([seed, 32])
    pieces = []
    for row in range(6):
        for column in range(2):
            width_mm, chord = float(rng.choice(LINE_WIDTHS_MM)), float(rng.uniform(90, 112))
            section = Section.from_digits(str(rng.choice(DIGITS)))
            piece, name = Piece(), f"N{row}.{column}"
            for index in range(int(rng.integers(2, 5))):
                outline = plain_rib(section, chord_mm=chord) - np.array([0.3 * chord, 0.0])
                piece += part(f"{name}.{index}", outline, width_mm=width_mm)
                chord *= float(rng.uniform(0.7, 0.9))
            low, _, high, _ = piece.bounds_mm()
            piece += _line(np.array([(low + high) / 2, 0.0]), 0.0, (high - low) / 2 + 6, rng)
            if rng.random() < 0.6:
                piece += centre_line((0.0, -10.0), (0.0, 14.0))
            pieces.append(_turned(piece, float(rng.uniform(-3, 3))).at(48 + 132 * column, 18 + 30 * row))
    return plan_of(f"nests-{seed}", joined(pieces), width_mm=BORDER_MM[0], height_mm=BORDER_MM[1])


def _turned(piece: Piece, degrees: float) -> Piece:
    return Piece(
        tuple(replace(stroke, points_mm=turned(stroke.points_mm, degrees)) for stroke in piece.strokes),
        tuple(replace(one, boundary_mm=turned(one.boundary_mm, degrees)) for one in piece.parts),
    )


def _square() -> Points:
    half = PLATE_MM / 2
    return np.array([[-half, -half], [half, -half], [half, half], [-half, half]])


def _point(at: Points) -> Point:
    return float(at[0]), float(at[1])


def _found(one: Pictured) -> list[Loops]:
    """Every outline found, mm by the true map."""
    from calibration.border import find_border
    from calibration.sheet import find_sheet
    from digitize.draw_outlines import draw_outlines
    from digitize.find_strokes import find_strokes
    from pictures.ink import find_ink
    from pictures.read import read_picture

    picture = read_picture(one.path)
    ink = find_ink(picture)
    sheet = find_sheet(picture)
    border = find_border(ink, sheet_px=sheet)
    strokes = find_strokes(ink, within=sheet)
    drawn = draw_outlines(
        strokes.mapped(true_map(one.camera, one.plan)), border_px=None if border is None else border.corners_px
    )
    return loops_of(drawn.drawing)


def _scale(one: Pictured, at_mm: Points) -> float:
    """Px per mm at a place."""
    a, b, c = one.camera.to_picture(at_mm + np.array([[0, 0], [0.5, 0], [0, 0.5]]))
    return float(np.sqrt(np.hypot(*(b - a)) * np.hypot(*(c - a)))) / 0.5


def _say_holes(name: str, pictures: list[Pictured], each: bool) -> None:
    rows: list[tuple[float, float, float]] = []
    false = parts = parts_true = 0
    for one in pictures:
        found = _found(one)
        holes = [hole for loop in found for hole in loop.holes_mm]
        holes += [
            loop.boundary_mm for loop in found if shapely.area(shapely.Polygon(loop.boundary_mm)) < PLATE_MM**2 / 2
        ]
        seen = [(_middle(ring), _radius(ring)) for ring in holes]
        parts_true += len(one.plan.parts)
        parts += sum(
            abs(_radius(ring) ** 2 * math.pi / PLATE_MM**2 - 1) < 0.1 for ring in (loop.boundary_mm for loop in found)
        )
        for truth in (hole for plate in one.plan.parts for hole in plate.holes_mm):
            middle, radius = truth.mean(axis=0), _radius(truth)
            scale = _scale(one, middle)
            at = min(range(len(seen)), key=lambda k: float(np.hypot(*(seen[k][0] - middle))), default=None)
            if at is None or np.hypot(*(seen[at][0] - middle)) > 0.5 * radius or abs(seen[at][1] / radius - 1) > 0.3:
                rows.append((radius * scale, math.nan, math.nan))
            else:
                # The outline's own largest distance tells a circle from a polygon of arcs.
                ring = shapely.LinearRing(holes[at])
                off = shapely.hausdorff_distance(ring, shapely.LinearRing(truth), 0.1)
                rows.append((radius * scale, float(np.hypot(*(seen[at][0] - middle))) * scale, float(off) * scale))
                del seen[at], holes[at]
            if each and not rows[-1][2] < 1.0:
                px = one.camera.to_picture(middle[None, :])[0].round(0)
                print(f"    {one.path.name}: radius {radius * scale:.1f} px at {px}: off {rows[-1][2]:.2f} px")
        false += len(holes)
        for middle, radius in seen if each else []:
            px = one.camera.to_picture(middle[None, :])[0].round(0)
            print(f"    {one.path.name}: false, radius {radius * _scale(one, middle):.1f} px at {px}")
    table = np.array(rows)
    print(f"{name}: parts {parts}/{parts_true}, holes {np.isfinite(table[:, 1]).sum()}/{len(table)}, false {false}")
    for low, high in zip(BANDS_PX, (*BANDS_PX[1:-1], 99.0), strict=False):
        band = table[(table[:, 0] >= low - 0.5 * (low == BANDS_PX[0])) & (table[:, 0] < high)]
        ok = band[np.isfinite(band[:, 1])]
        if len(ok):
            print(
                f"  radius {low:.0f} px on: missed {len(band) - len(ok)} of {len(band)}; centre off rms "
                f"{np.sqrt((ok[:, 1] ** 2).mean()):.3f}, farthest point median {np.median(ok[:, 2]):.3f}, "
                f"95 % {np.percentile(ok[:, 2], 95):.3f}, max {ok[:, 2].max():.3f} px",
                flush=True,
            )


def _middle(ring: Points) -> Points:
    at = shapely.centroid(shapely.Polygon(ring))
    return np.array([shapely.get_x(at), shapely.get_y(at)])


def _radius(ring: Points) -> float:
    return math.sqrt(shapely.area(shapely.Polygon(ring)) / math.pi) if len(ring) > 2 else 0.0


def _say_tips(name: str, pictures: list[Pictured], each: bool) -> None:
    rows: list[tuple[float, float]] = []
    found = true = false = 0
    for one in pictures:
        loops = _found(one)
        result = compare(loops, one.plan)
        found, true, false = (
            found + len(result.parts),
            true + len(result.missed) + len(result.parts),
            false + (result.false_parts + result.doubted_parts + result.false_holes),
        )
        for truth in one.plan.parts:
            if truth.name in result.missed:
                continue
            polygon = shapely.Polygon(truth.boundary_mm)
            ring = max(
                (loop.boundary_mm for loop in loops),
                key=lambda r: (
                    shapely.area(shapely.intersection(shapely.make_valid(shapely.Polygon(r)), polygon))
                    / max(shapely.area(polygon), shapely.area(shapely.Polygon(r)))
                ),
            )
            tip = truth.boundary_mm[0]
            scale = _scale(one, tip)
            missed = float(shapely.distance(shapely.LinearRing(ring), shapely.Point(tip)))
            fine = shapely.get_coordinates(shapely.segmentize(shapely.LinearRing(ring), 0.05))
            near = fine[np.hypot(*(fine - tip).T) < NEAR_TIP_MM]
            beyond = shapely.distance(polygon.exterior, shapely.points(near))
            off = max(missed, float(beyond.max(initial=0.0)))
            rows.append((off, off * scale))
            if each and off * scale > 3:
                px = one.camera.to_picture(tip[None, :])[0].round(0)
                print(f"    {one.path.name}: {truth.name} tip at {px}: off {off:.2f} mm, {off * scale:.1f} px")
    table = np.array(rows).reshape(-1, 2)
    print(
        f"{name}: ribs {found}/{true}, false {false}; tip off median {np.median(table[:, 0]):.3f}, rms "
        f"{np.sqrt((table[:, 0] ** 2).mean()):.3f}, 95 % {np.percentile(table[:, 0], 95):.3f}, "
        f"max {table[:, 0].max():.3f} mm (px: {np.median(table[:, 1]):.2f}, "
        f"{np.sqrt((table[:, 1] ** 2).mean()):.2f}, {np.percentile(table[:, 1], 95):.2f}, {table[:, 1].max():.2f})",
        flush=True,
    )


if __name__ == "__main__":
    main()
