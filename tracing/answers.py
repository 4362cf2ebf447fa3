"""Answers about one picture that are given while the pointer moves: what they need is made once, and kept."""

import math
from collections.abc import Hashable, Sequence
from typing import Any

from digitize.ink_path import InkGraph, ink_graph
from drawing.paths import Point
from job.errors import JobError
from job.job import Job
from job.run import fraction_of, strokes_of
from job.see import Seen
from tracing.flat_preview import flat_preview
from tracing.follow_ink import SAME_PX, follow_ink, followed_view, ink_way, way_view
from tracing.pyramid import Pyramid
from tracing.scale import Scale, shape_of
from tracing.shared_edge import shared_edge
from tracing.snap import Snapper
from tracing.view_measure import measure_view


class Answers:
    """Answers about a picture that was seen; may be asked from several threads."""

    def __init__(self, seen: Seen) -> None:
        self.seen = seen
        self._graph = ink_graph(seen.strokes)
        self._edges: tuple[Hashable, InkGraph] | None = None
        self._snapper = Snapper(seen.strokes, seen.landmarks_px, self._graph)

    def snap(self, at_px: Point, *, reach_px: float) -> dict[str, Any]:
        """Give where a mark put there would go."""
        return self._snapper.snap(at_px, reach_px=reach_px)

    def ink_way(self, clicks_px: Sequence[Point], *, reach_px: float) -> dict[str, Any]:
        """Give the way that a trace through clicks would take, and as `ahead` where the last of them would go.

        One question for both while the pointer moves: the way shown is the one to where the next click will lie.
        """
        self._refuse_far(clicks_px)
        ahead = self.snap(clicks_px[-1], reach_px=reach_px)
        clicks = [*clicks_px[:-1], tuple(ahead["at"])]
        if math.dist(*clicks[-2:]) < SAME_PX:
            # The pointer has not left the place it clicked on.
            return {"points_px": clicks[-2:], "on_ink": True, "words": "", "ahead": ahead}
        return {**way_view(ink_way(self._graph, self.seen.picture, clicks)), "ahead": ahead}

    def ink_path(self, clicks_px: Sequence[Point]) -> dict[str, Any]:
        """Give the trace through clicks."""
        self._refuse_far(clicks_px)
        return followed_view(follow_ink(self._graph, self.seen.picture, clicks_px))

    def shared_edge(self, at_px: Point, *, reach_px: float, job: Job) -> dict[str, Any]:
        """Give the band that rubs out the edge shared by two outlines near a place."""
        key = job.rubbed, job.traces
        kept = self._edges
        if kept is None or kept[0] != key:
            # The lines as they are drawn from: with what a person rubbed out and traced.
            graph = ink_graph(strokes_of(job, self.seen)) if any(key) else self._graph
            kept = self._edges = key, graph
        return shared_edge(kept[1], at_px, reach_px=reach_px)

    def measure(self, kind: str, points_px: Sequence[Point], scale: Scale, job: Job) -> dict[str, Any]:
        """Give what is measured between marks, at full and at build size."""
        self._refuse_far(points_px)
        return measure_view(
            kind,
            points_px,
            calibration=scale.calibration,
            fraction=fraction_of(job, scale.calibration),
            landmarks_px=self.seen.landmarks_px,
            sigmas_px=self.seen.landmark_sigmas_px,
        )

    def flat(self, pyramid: Pyramid, scale: Scale | None, job: Job, *, width_px: int) -> bytes:
        """Give the flat picture as a JPEG; while no length is known, its shape alone is true."""
        calibration = shape_of(job, self.seen) if scale is None else scale.calibration
        return flat_preview(pyramid.levels, calibration, width_px=width_px, sheet_px=self.seen.sheet_px)

    def _refuse_far(self, points_px: Sequence[Point]) -> None:
        """Refuse points farther beyond the picture's edge than it is large: a line to there has no end of points."""
        width, height = self.seen.picture.width_px, self.seen.picture.height_px
        for x, y in points_px:
            if not (-width <= x <= 2 * width and -height <= y <= 2 * height):
                raise JobError(
                    f"A point lies at {x:g},{y:g}, far outside the picture of {width} x {height} px; "
                    "it must lie on the picture: put it there."
                )
