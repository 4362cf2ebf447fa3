"""How many nodes drawn ribs, circles and boxes take, and how true they are.

Run as `python -m benchmarks.nodes_error [--ribs N] [--seed S]`. Every shape is drawn by the benchmark itself (the
four-digit sections of NACA Report 460, and section coordinates that the package aerosandbox ships), pictured grey,
noisy or bilevel, found and fitted by the program, and compared with its truth by the exact map: errors are those of
digitizing alone, in px.
"""

import argparse
import math
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from benchmarks.stroke_error import section
from digitize.continuation import line_graph
from digitize.draw_outlines import draw_outlines
from digitize.find_strokes import find_strokes
from digitize.fit import Contour, fit_contours
from digitize.sections import closed_sections
from digitize.strokes import Strokes
from drawing.drawing import Outline
from drawing.paths import Arc, Line, sampled
from drawing.paths import Path as DrawnPath
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

Points = NDArray[np.float64]
TOLERANCES_MM = (0.05, 0.02)
RIB_MM = 150.0
MARGIN_PX = 60
STEP_PX = 0.5


@dataclass(frozen=True, slots=True)
class View:
    """A way of taking a picture: scale, line width on the plan, and the camera."""

    name: str
    mm_per_px: float
    width_mm: float
    camera: Camera

    @property
    def width_px(self) -> float:
        """The line's width in the picture."""
        return self.width_mm / self.mm_per_px


def views(seed: int) -> list[View]:
    """Scans at 200 to 400 dpi and photos, lines of 0.25 to 0.7 mm, grey, noisy and bilevel."""
    return [
        View("grey scan 300 dpi, 0.35 mm", 25.4 / 300, 0.35, Camera(blur_px=0.7, noise=3, seed=seed)),
        View("grey scan 200 dpi, 0.5 mm", 25.4 / 200, 0.5, Camera(blur_px=0.7, noise=4, seed=seed)),
        View("grey scan 400 dpi, 0.7 mm", 25.4 / 400, 0.7, Camera(blur_px=0.8, noise=3, seed=seed)),
        View("photo 0.18 mm/px, 0.35 mm", 0.18, 0.35, Camera(blur_px=0.9, noise=5, shade=0.4, jpeg=88, seed=seed)),
        View("noisy photo 0.18 mm/px, 0.5", 0.18, 0.5, Camera(blur_px=1.2, noise=12, shade=0.5, jpeg=80, seed=seed)),
        View("photo 0.29 mm/px, 0.5 mm", 0.29, 0.5, Camera(blur_px=0.9, noise=6, shade=0.3, jpeg=88, seed=seed)),
        View("bilevel 300 dpi, 0.35 mm", 25.4 / 300, 0.35, Camera(blur_px=0.6, noise=8, bilevel=True, seed=seed)),
        View("bilevel 200 dpi, 0.25 mm", 25.4 / 200, 0.25, Camera(blur_px=0.6, noise=8, bilevel=True, seed=seed)),
        View("bilevel 400 dpi, 0.5 mm", 25.4 / 400, 0.5, Camera(blur_px=0.6, noise=8, bilevel=True, seed=seed)),
    ]


def rib_shapes(count: int, seed: int) -> Iterator[tuple[str, Points]]:
    """Sections of chord 1, a ring each (N, 2) without its first point again: formula and coordinates in turns."""
    from aerosandbox import Airfoil
    from aerosandbox.geometry.airfoil import airfoil_families

    folder = Path(airfoil_families.__file__).parent / "airfoil_database"
    names = sorted(path.stem for path in folder.glob("*.dat"))
    rng = np.random.default_rng(seed)
    made = 0
    while made < count:
        if made % 2 == 0:
            camber, thick = float(rng.integers(0, 6)) / 100, float(rng.integers(6, 19)) / 100
            at = float(rng.integers(3, 6)) / 10
            yield f"formula {camber:.2f} {at:.1f} {thick:.2f}", section(chord=1, thickness=thick, camber=camber, at=at)
            made += 1
            continue
        name = names[int(rng.integers(len(names)))]
        ring = drawn_section(np.asarray(Airfoil(name).coordinates, dtype=float))
        if ring is not None:
            yield name, ring
            made += 1


def drawn_section(coordinates: Points) -> Points | None:
    """Coordinates as a draughtsman joins them: a smooth curve to a sharp end; None where the list is no section."""
    from scipy.interpolate import CubicSpline

    steps = np.hypot(*np.diff(coordinates, axis=0).T)
    coordinates = coordinates[np.concatenate([[True], steps > 1e-6])]
    if len(coordinates) < 40 or np.ptp(coordinates[:, 0]) < 0.9:
        return None
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(coordinates, axis=0).T))])
    ring = CubicSpline(along, coordinates)(np.linspace(0, along[-1], 1200))
    gap = ring[0] - ring[-1]
    if np.hypot(*gap) > 0.02:
        return None
    # Ends a pen's width apart are drawn as one sharp end: both sides are led to their middle along the chord.
    side = np.where(np.arange(len(ring)) < int(ring[:, 0].argmin()), -0.5, 0.5)
    ring = (ring + side[:, None] * gap * np.clip(ring[:, :1], 0, 1))[:-1]
    a, b = ring[1] - ring[0], ring[-1] - ring[0]
    opening = abs(math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b)))
    # Thinner than 3 degrees no pen draws two sides; what crosses itself is no section.
    return ring * [1, -1] if shapely.is_valid(shapely.Polygon(ring)) and opening > math.radians(3) else None


@dataclass(slots=True)
class Tally:
    """What all pictures of one view came to."""

    segments: list[int] = field(default_factory=list)
    off_px: list[Points] = field(default_factory=list)
    tips_px: list[float] = field(default_factory=list)
    corners_px: list[float] = field(default_factory=list)
    extra: list[str] = field(default_factory=list)
    reported: list[float] = field(default_factory=list)
    seconds: float = 0.0


def placed(ring: Points, *, chord_mm: float, tilt_rad: float, view: View) -> Points:
    """A ring of chord 1 at its size and tilt in the picture, px, its least corner at the margin."""
    turn = np.array([[math.cos(tilt_rad), -math.sin(tilt_rad)], [math.sin(tilt_rad), math.cos(tilt_rad)]])
    ring_px = ring @ turn.T * (chord_mm / view.mm_per_px)
    return np.asarray(ring_px - ring_px.min(axis=0) + MARGIN_PX + [0.31, 0.17])


def notched(ring: Points, *, share: float, size: float) -> Points:
    """A section of chord 1 with a square notch in its upper side."""
    body = shapely.Polygon(ring)
    middle = shapely.intersection(body, shapely.LineString([(share, -1), (share, 1)])).bounds
    cut = shapely.box(share - size / 2, middle[1] - size, share + size / 2, middle[1] + size)
    rest = shapely.difference(body, cut)
    part = max(shapely.get_parts(rest), key=shapely.area)
    return np.asarray(shapely.get_coordinates(shapely.get_exterior_ring(part))[:-1])


def pictured(rings: list[Points], view: View) -> NDArray[np.uint8]:
    """The picture of closed lines."""
    size = np.ceil(np.max([ring.max(axis=0) for ring in rings], axis=0)).astype(int) + MARGIN_PX
    lines = [TrueLine(ring, view.width_px, True, "mitre") for ring in rings]
    return photograph(lines, view.camera, width=int(size[0]), height=int(size[1]))


def strokes_in(grey: NDArray[np.uint8]) -> Strokes:
    """The program's strokes of a picture."""
    return find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))


def outlines_in(strokes: Strokes, view: View, tolerance_mm: float) -> tuple[Outline, ...]:
    """The program's outlines, mm, y up."""
    flip = np.array([view.mm_per_px, -view.mm_per_px])
    return draw_outlines(strokes.mapped(lambda p: p * flip), tolerance_mm=tolerance_mm).drawing.outlines


def loop_in(strokes: Strokes, view: View) -> DrawnPath | None:
    """The one smooth closed line of a picture, fitted, whether or not it would be taken for a part."""
    flip = np.array([view.mm_per_px, -view.mm_per_px])
    plan = strokes.mapped(lambda p: p * flip)
    loops = [number for number, link in enumerate(strokes.links) if link.start == link.end]
    if len(loops) != 1:
        return None
    graph = line_graph(strokes, np.zeros(len(strokes.links), dtype=bool))
    contour = Contour(closed_sections(graph, plan, [2 * loops[0]]), True)
    return fit_contours([contour], tolerance_mm=0.02)[0].path


def in_px(path: DrawnPath, view: View, *, within_px: float = 0.01) -> Points:
    """A path as fine points in the picture."""
    flip = np.array([view.mm_per_px, -view.mm_per_px])
    return np.asarray(sampled(path, tolerance_mm=within_px * view.mm_per_px) / flip)


def off_px(found: Points, true: Points) -> Points:
    """Distances both ways between two closed lines, every half px."""
    one, other = shapely.LinearRing(found), shapely.LinearRing(true)
    shapely.prepare(one)
    shapely.prepare(other)
    there = shapely.line_interpolate_point(one, np.arange(0, one.length, STEP_PX))
    back = shapely.line_interpolate_point(other, np.arange(0, other.length, STEP_PX))
    return np.concatenate([shapely.distance(there, other), shapely.distance(back, one)])


def sharp_places(ring: Points) -> tuple[Points, Points]:
    """True acute tips (turn over 130 degrees) and other corners (over 40) of a ring."""
    a, b = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    turn = np.abs(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1)))
    return ring[turn > math.radians(130)], ring[(turn > math.radians(40)) & (turn <= math.radians(130))]


def joints(path: DrawnPath, view: View) -> Points:
    """Where segments meet, px."""
    flip = np.array([view.mm_per_px, -view.mm_per_px])
    return np.asarray(np.array([segment.end_mm for segment in path.segments]) / flip)


def tell_ribs(view: View, shapes: list[tuple[str, Points]], seed: int, *, notch: bool) -> None:
    """Print nodes and errors of ribs in one view, at each tolerance."""
    rng = np.random.default_rng(seed)
    tallies = {tolerance: Tally() for tolerance in TOLERANCES_MM}
    lost = 0
    for name, ring in shapes:
        chord_mm = RIB_MM
        body = ring
        if notch:
            body = notched(ring, share=float(rng.uniform(0.25, 0.4)), size=6 / chord_mm)
        true = placed(body, chord_mm=chord_mm, tilt_rad=float(rng.uniform(-math.pi, math.pi)), view=view)
        strokes = strokes_in(pictured([true], view))
        for tolerance, tally in tallies.items():
            start = time.perf_counter()
            outlines = outlines_in(strokes, view, tolerance)
            tally.seconds += time.perf_counter() - start
            near = [outline for outline in outlines if is_same(in_px(outline.boundary, view), true)]
            if not near:
                lost += 1
                tally.extra.append(f"lost {name}")
                continue
            path = near[0].boundary
            tally.segments.append(len(path.segments))
            tally.off_px.append(off_px(in_px(path, view), true))
            tally.reported.append(near[0].deviation_mm / view.mm_per_px)
            tips, corners = sharp_places(true)
            ends = joints(path, view)
            tally.tips_px += [float(np.hypot(*(ends - tip).T).min()) for tip in tips]
            tally.corners_px += [float(np.hypot(*(ends - corner).T).min()) for corner in corners]
            limit = (12 if tolerance == TOLERANCES_MM[0] else 20) + (6 if notch else 0)
            if len(path.segments) > limit:
                tally.extra.append(f"{len(path.segments)} on {name}")
    for tolerance, tally in tallies.items():
        if not tally.off_px:
            continue
        every = np.concatenate(tally.off_px)
        print(
            f"{view.name:30}{'notched' if notch else 'plain':8}{tolerance:5.2f}"
            f"{np.mean(tally.segments):7.1f}{max(tally.segments):4d}"
            f"{np.sqrt((every**2).mean()):8.3f}{np.percentile(every, 99):7.3f}{every.max():7.2f}"
            f"{max(tally.reported):7.2f}"
            f"{_worst(tally.corners_px):>13}{_worst(tally.tips_px):>13}  {'; '.join(tally.extra)}",
            flush=True,
        )


def is_same(found: Points, true: Points) -> bool:
    """Whether a ring covers much of another."""
    a, b = shapely.make_valid(shapely.Polygon(found)), shapely.make_valid(shapely.Polygon(true))
    return bool(shapely.intersection(a, b).area > 0.75 * shapely.union(a, b).area)


def _worst(values: list[float]) -> str:
    return f"{np.sqrt(np.mean(np.square(values))):.2f}/{max(values):.2f}" if values else "-"


def tell_plain_shapes(view: View, seed: int) -> None:
    """Print how circles and boxes come out in one view."""
    rng = np.random.default_rng(seed)
    bias, wrong_circles, count = [], [], 0
    radii = [r for r in (3, 4, 6, 8, 12, 20, 30, 50) if r > 1.5 * view.width_px + 1]
    for radius in radii:
        for _ in range(4):
            t = np.linspace(0, 2 * math.pi, 360, endpoint=False)
            true = np.column_stack([radius * np.cos(t), radius * np.sin(t)]) + MARGIN_PX + radius
            true += rng.uniform(0, 1, 2)
            path = loop_in(strokes_in(pictured([true], view)), view)
            count += 1
            if path is None:
                wrong_circles.append(f"{radius} px: no loop")
                continue
            is_circle = len(path.segments) == 2 and all(isinstance(s, Arc) for s in path.segments)
            if not is_circle:
                wrong_circles.append(f"{radius} px: {len(path.segments)}")
            area = shapely.Polygon(in_px(path, view, within_px=0.0005)).area
            bias.append((radius, math.sqrt(area / math.pi) - radius))
    sides, wrong_boxes, corner_px = 0, [], []
    for _ in range(12):
        tilt = float(rng.uniform(0, math.pi))
        box = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], dtype=float) * rng.uniform(12, 60, 2)
        if rng.uniform() < 0.5:
            # An L.
            (x, y) = box[2]
            box = np.array([(0, 0), (x, 0), (x, 0.4 * y), (0.5 * x, 0.4 * y), (0.5 * x, y), (0, y)])
        true = placed(box, chord_mm=1.0, tilt_rad=tilt, view=view)
        outlines = outlines_in(strokes_in(pictured([true], view)), view, 0.02)
        sides += len(true)
        if not outlines:
            wrong_boxes.append("lost")
            continue
        path = outlines[0].boundary
        if len(path.segments) != len(true) or not all(isinstance(s, Line) for s in path.segments):
            wrong_boxes.append(f"{len(true)} sides: " + "".join(type(s).__name__[0] for s in path.segments))
        ends = joints(path, view)
        corner_px += [float(np.hypot(*(ends - corner).T).min()) for corner in true]
    by_radius = ", ".join(f"{r}: {np.mean([b for q, b in bias if q == r]):+.3f}" for r in radii)
    print(f"{view.name:30}radius bias px {by_radius}; {count - len(wrong_circles)}/{count} circles are circles", end="")
    print(f" ({'; '.join(wrong_circles)})" if wrong_circles else "", end="")
    print(f"; boxes wrong {len(wrong_boxes)}/12 {wrong_boxes or ''}; corners {_worst(corner_px)} px", flush=True)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.nodes_error", description=__doc__)
    parser.add_argument("--ribs", type=int, default=8, metavar="N", help="ribs in each view")
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--only", default="", metavar="WORD", help="views with this in their name")
    parser.add_argument("--what", default="ribs notches shapes", help="which tables")
    asked = parser.parse_args()
    print(f"seed {asked.seed}; {asked.ribs} ribs of {RIB_MM:.0f} mm a view; errors in px by the true map")
    chosen = [view for view in views(asked.seed) if asked.only in view.name]
    shapes = list(rib_shapes(asked.ribs, asked.seed))
    print(f"{'view':30}{'rib':8}{'tol.':>5}{'nodes':>7}{'max':>4}{'rms':>8}{'99 %':>7}{'max':>7}{'said':>7}", end="")
    print(f"{'corners':>13}{'tips':>13}  (rms/max)")
    for view in chosen:
        if "ribs" in asked.what:
            tell_ribs(view, shapes, asked.seed, notch=False)
        if "notches" in asked.what:
            tell_ribs(view, shapes[: asked.ribs // 2], asked.seed + 1, notch=True)
    if "shapes" in asked.what:
        for view in chosen:
            tell_plain_shapes(view, asked.seed)


if __name__ == "__main__":
    main()
