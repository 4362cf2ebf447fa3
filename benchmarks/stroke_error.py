"""How far found strokes lie from the truth: vector lines drawn by the benchmark itself, found again, compared in px.

Run as `python -m benchmarks.stroke_error`; `--speed` for times at 12 and 48 MP beside plain kernels.
"""

import math
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph, through
from digitize.find_strokes import find_strokes
from digitize.strokes import NodeKind, Strokes
from digitize.thinning import thin
from pictures.ink import find_ink, ink_mask
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]
SEEN_PX = 2.5
"""A node or line farther than this from the truth is another one."""


@dataclass
class Scene:
    """Lines to draw and what is true of them."""

    width: int
    height: int
    lines: list[TrueLine] = field(default_factory=list)
    places: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    circles: list[tuple[float, float, float]] = field(default_factory=list)

    def mark(self, what: str, points: Floats) -> None:
        """Note true nodes of one sort."""
        self.places.setdefault(what, []).extend((float(x), float(y)) for x, y in np.atleast_2d(points))

    def seen_through(self, homography: Floats) -> "Scene":
        """The same through a camera; circles are no circles any more."""
        lines = [line.moved(through(homography, line.points_px)) for line in self.lines]
        places = {what: [tuple(p) for p in through(homography, np.array(at))] for what, at in self.places.items()}
        return Scene(self.width, self.height, lines, places)


def section(*, chord: float, thickness: float, camber: float, at: float) -> Floats:
    """NACA 4-digit section outline (NACA Report 460), closed trailing edge, (N, 2), y down."""
    x = 0.5 * (1 - np.cos(np.linspace(0, np.pi, 400)))
    root = 0.2969 * np.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1036 * x**4
    half = 5 * thickness * root
    mean = np.where(
        x < at, camber / at**2 * (2 * at * x - x**2), camber / (1 - at) ** 2 * (1 - 2 * at + 2 * at * x - x**2)
    )
    slope = np.where(x < at, 2 * camber / at**2 * (at - x), 2 * camber / (1 - at) ** 2 * (at - x))
    turn = np.arctan(slope)
    upper = np.column_stack([x - half * np.sin(turn), mean + half * np.cos(turn)])
    lower = np.column_stack([x + half * np.sin(turn), mean - half * np.cos(turn)])
    outline = np.vstack([upper[::-1], lower[1:-1]])
    return np.asarray(outline * [chord, -chord])


def scene(width_px: float, *, join: Literal["round", "mitre"]) -> Scene:
    """A sheet of lines of one width: parts, circles, crossings, marks; 1200 x 900 px."""
    w = width_px
    sheet = Scene(1200, 900)
    # Pens and plotters end a line round or square: half its width past the centre-line's end.
    cap: Literal["round", "square"] = "square" if join == "mitre" else "round"

    def closed(points: Floats) -> None:
        sheet.lines.append(TrueLine(points, w, True, join))

    def line(*points: tuple[float, float]) -> None:
        sheet.lines.append(TrueLine(np.array(points, dtype=float), w, False, join, cap))

    # Two ribs, square notches for spars cut into them.
    for k, (x0, y0, thickness) in enumerate([(60.0, 110.0, 0.12), (60.3, 210.6, 0.09)]):
        body: shapely.Geometry = shapely.Polygon(section(chord=420, thickness=thickness, camber=0.04, at=0.4))
        side, deep = max(16 + 8 * k, 4 * w), min(max(9, 3 * w), 12)
        for at, sign in ((0.3, -1), (0.3, 1), (0.62, -1)):
            x = 420 * at
            edge = shapely.intersection(body, shapely.LineString([(x, -200), (x, 200)])).bounds
            y = edge[1] if sign < 0 else edge[3]
            notch = shapely.box(x - side / 2, y - deep, x + side / 2, y + deep)
            body = shapely.difference(body, notch)
        ring = shapely.get_coordinates(shapely.boundary(body))[:-1] + np.array([x0, y0])
        closed(ring)
        turn = _turns(ring)
        for point, angle in zip(ring, turn, strict=True):
            if angle > math.radians(40):
                sheet.mark("tip of rib" if angle > math.radians(130) else "notch corner", point)
    # Triangles by apex angle.
    for k, apex in enumerate((8, 14, 25, 40, 60, 90, 120, 150)):
        x, y, long = 540.0 + 78 * k + 0.37 * k, 60.2, 90.0 if apex < 90 else 30.0
        half = math.radians(apex / 2)
        tip = np.array([x, y + long])
        ring = np.vstack([tip, tip + long * np.array([[math.tan(half), -1], [-math.tan(half), -1]])])
        if apex >= 90:
            ring[1:] = tip + 30 * np.array([[math.sin(half), -math.cos(half)], [-math.sin(half), -math.cos(half)]])
        closed(ring)
        sheet.mark(f"corner {apex:3d} deg", tip)
    # Rectangles, turned.
    for k, turn_deg in enumerate((0, 7, 33)):
        turn_rad = math.radians(turn_deg)
        axis = np.array([math.cos(turn_rad), math.sin(turn_rad)])
        box = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [45.0, 28.3]
        ring = np.column_stack([box @ [axis[0], -axis[1]], box @ [axis[1], axis[0]]]) + np.array(
            [600.2 + 140 * k, 240.4]
        )
        closed(ring)
        sheet.mark("right corner", ring)
    # Short steps: sides of 3 and 5 widths, at least 6 px.
    for k, sides in enumerate((3.0, 5.0)):
        s = max(sides * w, 6.0)
        x, y = 960.4, 215.0 + 70 * k
        if x + 4 * s + 60 < 1190:
            ring = np.array(
                [
                    [x, y],
                    [x + s * 2, y],
                    [x + s * 2, y + s],
                    [x + s * 3, y + s],
                    [x + s * 3, y],
                    [x + s * 4 + 40, y],
                    [x + s * 4 + 40, y + 40],
                    [x, y + 40],
                ]
            )
            if y + s < y + 40 - 2 * w:
                closed(ring)
                sheet.mark("short notch corner", ring[1:5])
    # Circles.
    for k, radius in enumerate((3, 4, 6, 8, 12, 20, 30, 50)):
        if radius < 1.5 * w + 1:
            continue
        x = 50 + (0, 30, 60, 95, 140, 215, 330, 505)[k] + 0.31 * k
        t = np.linspace(0, 2 * np.pi, 360, endpoint=False)
        closed(np.column_stack([x + radius * np.cos(t), 400.37 + radius * np.sin(t)]))
        sheet.circles.append((x, 400.37, float(radius)))
    # Crossings, tees, ells, marks.
    for k, angle in enumerate((90, 60, 30, 15)):
        x, y = 100.3 + 150 * k, 560.2
        half = math.radians(angle / 2)
        for sign in (1, -1):
            line(
                (x - 60 * math.cos(half), y - sign * 60 * math.sin(half)),
                (x + 60 * math.cos(half), y + sign * 60 * math.sin(half)),
            )
        sheet.mark(f"crossing {angle:2d} deg", np.array([x, y]))
        ends = [(x + a * 60 * math.cos(half), y + b * 60 * math.sin(half)) for a in (-1, 1) for b in (-1, 1)]
        sheet.mark("line end", np.array(ends))
    line((700, 520.3), (900, 535.7))
    for k, angle in enumerate((90, 60, 35)):
        x = 730.0 + 60 * k
        y = 520.3 + (x - 700) * 15.4 / 200
        a = math.radians(angle)
        line((x, y), (x + 60 * math.cos(a), y + 60 * math.sin(a)))
        sheet.mark("tee", np.array([x, y]))
    for k, arm in enumerate((10, 16, 25)):
        x, y, arm_px = 960.3 + 70 * k, 560.6, max(arm, 3 * w)
        line((x - arm_px, y), (x + arm_px, y))
        line((x, y - arm_px), (x, y + arm_px))
        sheet.mark("reference cross", np.array([x, y]))
    # Long lines at small slopes, and a curve.
    for k, rise in enumerate((0.0, 3.0, 17.0, 60.0)):
        line((60, 680.3 + 22 * k), (900, 680.3 + 22 * k + rise))
        sheet.mark("line end", np.array([[60, 680.3 + 22 * k], [900, 680.3 + 22 * k + rise]]))
    t = np.linspace(0, 1, 300)
    sheet.lines.append(TrueLine(np.column_stack([930 + 230 * t, 760 - 90 * np.sin(2.6 * t) + 30 * t**3]), w))
    return sheet


def main() -> None:
    """Print errors for each way of drawing and taking a picture; times with `--speed`."""
    if "--speed" in sys.argv:
        _speed()
        return
    tilt = np.array([[0.93, 0.06, 20], [-0.04, 0.95, 40], [4e-5, 6e-5, 1]])
    cases: dict[str, tuple[float, Literal["round", "mitre"], Camera]] = {
        "grey scan, 2.5 px, mitred": (2.5, "mitre", Camera(blur_px=0.7, noise=3)),
        "grey scan, 4 px, round": (4.0, "round", Camera(blur_px=0.7, noise=3)),
        "photo, 2 px, round": (2.0, "round", Camera(blur_px=0.9, noise=5, shade=0.4, jpeg=88, homography=tilt)),
        "photo, 1.3 px, mitred": (1.3, "mitre", Camera(blur_px=0.8, noise=4, shade=0.3, jpeg=92, homography=tilt)),
        "noisy photo, 3 px, round": (3.0, "round", Camera(blur_px=1.2, noise=10, shade=0.5, jpeg=80, homography=tilt)),
        "bilevel, 4 px, mitred": (4.0, "mitre", Camera(blur_px=0.6, noise=8, bilevel=True)),
        "bilevel, 2 px, round": (2.0, "round", Camera(blur_px=0.6, noise=8, bilevel=True)),
        "page, 1 px hairline": (1.0, "mitre", Camera(blur_px=0.0, paper=255, ink=0)),
        "page, 6 px": (6.0, "mitre", Camera(blur_px=0.0, paper=255, ink=0)),
        "scan, 12 px": (12.0, "mitre", Camera(blur_px=0.9, noise=3)),
    }
    for name, (width_px, join, camera) in cases.items():
        true = (
            scene(width_px, join=join).seen_through(camera.homography)
            if camera.homography[0, 1]
            else scene(width_px, join=join)
        )
        grey = photograph(true.lines, camera, width=true.width, height=true.height)
        strokes = find_strokes(find_ink(_picture(grey)))
        print(f"\n{name}")
        for text in compare(true, strokes):
            print("  " + text)
        if len(sys.argv) > 1 and not sys.argv[1].startswith("-"):
            _draw(Path(sys.argv[1]) / f"{name.replace(' ', '_').replace(',', '')}.png", grey, strokes)


def compare(true: Scene, strokes: Strokes) -> list[str]:
    """Tell errors of points, nodes and circles as lines of text."""
    shapes = [
        shapely.LinearRing(line.points_px) if line.closed else shapely.LineString(line.points_px) for line in true.lines
    ]
    tree = shapely.STRtree(shapes)
    found = np.concatenate([link.points_px for link in strokes.links]) if strokes.links else np.empty((0, 2))
    points = shapely.points(found)
    _, away = tree.query_nearest(points, return_distance=True, all_matches=False)
    real = away < SEEN_PX
    a = away[real]
    lines = [shapely.LineString(link.points_px) for link in strokes.links]
    back = shapely.STRtree(lines)
    truth = np.concatenate([shapely.get_coordinates(shapely.segmentize(shape, 1.0)) for shape in shapes])
    _, gone = back.query_nearest(shapely.points(truth), return_distance=True, all_matches=False)
    sigma = np.concatenate([np.full(len(link.points_px), link.sigma_px) for link in strokes.links])[real]
    text = [
        f"points: rms {np.sqrt(np.mean(a**2)):.3f}  95 % {np.percentile(a, 95):.3f}  99 % {np.percentile(a, 99):.3f}  "
        f"max {a.max():.2f} px; stated sigma {np.sqrt(np.mean(sigma**2)):.3f}; false {np.mean(~real):.2%}, "
        f"missed {np.mean(gone > SEEN_PX):.2%}; width {np.median([link.width_px for link in strokes.links]):.2f}; "
        f"{len(strokes.links)} links, {len(strokes.nodes_px)} nodes"
    ]
    for what, places in sorted(true.places.items()):
        kinds = (
            (NodeKind.CORNER, NodeKind.TIP)
            if "corner" in what or "tip" in what
            else (NodeKind.END,)
            if "end" in what
            else (NodeKind.JUNCTION,)
        )
        nodes = strokes.nodes_px[np.isin(strokes.kinds, kinds)]
        if len(nodes) == 0:
            text.append(f"{what}: all {len(places)} missed")
            continue
        miss = np.array([np.hypot(*(nodes - place).T).min() for place in places])
        seen = miss < (4 * SEEN_PX if "tip" in what or "corner" in what else SEEN_PX)
        rms = np.sqrt(np.mean(miss[seen] ** 2)) if seen.any() else np.nan
        worst = miss[seen].max() if seen.any() else np.nan
        text.append(f"{what}: rms {rms:.2f}  max {worst:.2f} px, {np.sum(~seen)} of {len(places)} missed")
    extra = np.isin(strokes.kinds, (NodeKind.CORNER, NodeKind.TIP))
    known = np.array([p for what in true.places for p in true.places[what]] + _other_corners(true))
    alone = [node for node in strokes.nodes_px[extra] if np.hypot(*(known - node).T).min() > 4 * SEEN_PX]
    text.append(f"false corners: {len(alone)} {np.round(alone[:6]).tolist()}")
    if true.circles:
        bias = []
        for x, y, radius in true.circles:
            near = [
                np.hypot(*(link.points_px - [x, y]).T)
                for link in strokes.links
                if np.hypot(*(link.points_px.mean(axis=0) - [x, y])) < 0.5 * radius + 1
            ]
            bias.append(f"R{radius:g} " + (f"{np.mean(np.concatenate(near)) - radius:+.3f}" if near else "missed"))
        text.append("circles: " + "  ".join(bias))
    return text


def _turns(ring: Floats) -> Floats:
    """How far a closed ring turns at each point, radians."""
    a, b = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    turns: Floats = np.abs(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1)))
    return turns


def _other_corners(true: Scene) -> list[tuple[float, float]]:
    """Corners that are drawn but not measured."""
    return [
        tuple(p)
        for line in true.lines
        if line.closed
        for p, turn in zip(line.points_px, _turns(line.points_px), strict=True)
        if turn > math.radians(18)
    ]


def _picture(grey: NDArray[np.uint8]) -> Picture:
    return Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))


def _speed() -> None:
    """Times by stage for 12 and 48 MP, as ratios to plain thresholding and labelling."""
    for times in (4, 8):
        true = scene(2.0, join="round")
        one = photograph(true.lines, Camera(blur_px=0.8, noise=4), width=1000, height=750)
        grey = np.tile(one, (times, times))
        begin = time.perf_counter()
        plain = cv2.adaptiveThreshold(grey, 1, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, 31, 20)
        cv2.connectedComponents(plain)
        kernels = time.perf_counter() - begin
        clock = [time.perf_counter()]
        ink = find_ink(_picture(grey))
        clock.append(time.perf_counter())
        mask = ink_mask(ink, None)
        clock.append(time.perf_counter())
        thin(mask)
        clock.append(time.perf_counter())
        strokes = find_strokes(ink)
        clock.append(time.perf_counter())
        spent = np.diff(clock)
        print(
            f"{grey.size / 1e6:.0f} MP, {mask.mean():.1%} ink, {len(strokes.links)} links: "
            f"plain kernels {kernels:.3f} s; "
            f"find_ink {spent[0]:.3f} s ({spent[0] / kernels:.1f}x), mask {spent[1]:.3f}, thin {spent[2]:.3f}, "
            f"find_strokes in all {spent[3]:.3f} s ({spent[3] / kernels:.1f}x)"
        )


def _draw(path: Path, grey: NDArray[np.uint8], strokes: Strokes) -> None:
    """Write the picture four times as large with what was found on it."""
    big = cv2.cvtColor(cv2.resize(grey, None, fx=4, fy=4, interpolation=cv2.INTER_NEAREST), cv2.COLOR_GRAY2BGR)
    colours = [(0, 0, 255), (0, 170, 0), (255, 0, 0), (200, 0, 200)]
    for number, link in enumerate(strokes.links):
        cv2.polylines(big, [np.round(link.points_px * 4 + 1.5).astype(np.int32)], False, colours[number % 4], 1)
    marks = {0: (255, 128, 0), 1: (0, 128, 255), 2: (0, 200, 200), 3: (255, 0, 255), 4: (128, 128, 0)}
    for node, kind in zip(strokes.nodes_px, strokes.kinds, strict=True):
        cv2.circle(big, (round(node[0] * 4 + 1.5), round(node[1] * 4 + 1.5)), 6, marks[int(kind)], 2)
    cv2.imwrite(str(path), big)


if __name__ == "__main__":
    main()
