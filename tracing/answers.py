"""Answers about one picture that are given while the pointer moves: what they need is made once, and kept."""

from collections.abc import Sequence
from typing import Any

from digitize.ink_path import ink_graph
from drawing.paths import Point
from job.errors import JobError
from job.job import Job
from job.run import fraction_of
from job.see import Seen
from tracing.flat_preview import flat_preview
from tracing.follow_ink import follow_ink, followed_view, ink_way, way_view
from tracing.pyramid import Pyramid
from tracing.scale import Scale, shape_of
from tracing.snap import Snapper
from tracing.view_measure import measure_view


class Answers:
    """Answers about a picture that was seen; may be asked from several threads."""

    def __init__(self, seen: Seen) -> None:
        self.seen = seen
        self._graph = ink_graph(seen.strokes)
        self._snapper = Snapper(seen.strokes, seen.landmarks_px, self._graph)

    def snap(self, at_px: Point, *, reach_px: float) -> dict[str, Any]:
        """Give where a mark put there would go."""
        return self._snapper.snap(at_px, reach_px=reach_px)

    def ink_way(self, clicks_px: Sequence[Point]) -> dict[str, Any]:
        """Give the way through clicks that a trace would take."""
        self._refuse_far(clicks_px)
        return way_view(ink_way(self._graph, self.seen.picture, clicks_px))

    def ink_path(self, clicks_px: Sequence[Point]) -> dict[str, Any]:
        """Give the trace through clicks."""
        self._refuse_far(clicks_px)
        return followed_view(follow_ink(self._graph, self.seen.picture, clicks_px))

    def measure(self, kind: str, points_px: Sequence[Point], scale: Scale, job: Job) -> dict[str, Any]:
        """Give what is measured between marks, at full and at build size."""
        self._refuse_far(points_px)
        return measure_view(
            kind,
            points_px,
            calibration=scale.calibration,
            fraction=fraction_of(job, scale.calibration),
            landmarks_px=self.seen.landmarks_px,
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
