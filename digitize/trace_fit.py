"""A way along lines as a trace: fitted cubics in picture px, corners kept."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitize.continuation import line_graph
from digitize.fit import Contour, fit_contours
from digitize.sections import open_sections
from digitize.strokes import Link, NodeKind, PlanStrokes, Strokes
from digitize.traces import CubicPx, Trace
from drawing.arcs import arc_cubics, straight_cubic
from drawing.paths import Arc, Cubic, Path, Point

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Leg:
    """A run of points (N, 2), picture px, about one px apart, and what kind of node it begins at.

    `sigma_px` is one sigma of a point across the line, `width_px` the line's width.
    """

    points_px: Floats
    begins: NodeKind
    sigma_px: float
    width_px: float


def fitted_trace(legs: Sequence[Leg], *, tolerance_px: float) -> Trace:
    """Fit cubics to legs end to end.

    At a CORNER or TIP the trace turns sharply; at a JUNCTION where the legs do; elsewhere it is smooth. It keeps
    within `tolerance_px` of the points, noise beyond it averaged out.
    """
    nodes = np.array([leg.points_px[0] for leg in legs] + [legs[-1].points_px[-1]])
    kinds = np.array([*(leg.begins for leg in legs), NodeKind.END], dtype=np.uint8)
    kinds[0] = NodeKind.END
    links = tuple(Link(k, k + 1, leg.points_px, leg.sigma_px, leg.width_px) for k, leg in enumerate(legs))
    strokes = Strokes(nodes, kinds, links)
    # Fitting knows no unit: here its mm are px.
    plan = PlanStrokes(strokes, nodes, tuple(leg.points_px for leg in legs))
    graph = line_graph(strokes, np.zeros(len(links), dtype=bool))
    sections = open_sections(graph, plan, [2 * k for k in range(len(links))])
    (fit,) = fit_contours([Contour(sections, False)], tolerance_mm=tolerance_px)
    return as_trace(fit.path, tolerance_px=tolerance_px)


def as_trace(path_px: Path, *, tolerance_px: float) -> Trace:
    """Give a path in picture px as a trace: cubics only."""
    cubics: list[CubicPx] = []
    for start, segment in path_px.pieces():
        match segment:
            case Cubic():
                cubics.append(_controls(segment))
            case Arc():
                cubics += [_controls(one) for one in arc_cubics(start, segment, tolerance_mm=0.1 * tolerance_px)]
            case _:
                cubics.append(_controls(straight_cubic(start, segment.end_mm)))
    return Trace(path_px.start_mm, tuple(cubics), path_px.closed)


def _controls(cubic: Cubic) -> tuple[Point, Point, Point]:
    return cubic.control1_mm, cubic.control2_mm, cubic.end_mm
