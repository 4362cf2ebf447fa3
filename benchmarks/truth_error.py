"""How far a drawing lies from the plan it was drawn from: parts found and missed, outlines in mm, scale in percent."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

from drawing.drawing import Drawing, Kind
from drawing.paths import sampled
from sample_scans.camera import Picturing
from sample_scans.truth import PlanTruth, Points

Map: TypeAlias = Callable[[Points], Points]

SAME_PART = 0.75
"""Shared area over joint area above which a loop is a true part's; nested neighbours share up to 0.65."""

STEP_MM = 0.25
"""Errors are taken at every step along both lines, so that a long side counts as its length."""

SAMPLED_MM = 0.002
_NO_MOVE = np.eye(2), np.zeros(2)


@dataclass(frozen=True, slots=True)
class Loops:
    """A part that was found, mm, in the finder's own frame; `sure` is false where the finder itself doubts it."""

    boundary_mm: Points
    holes_mm: tuple[Points, ...] = ()
    sure: bool = True


@dataclass(frozen=True, slots=True)
class PartError:
    """One true part that was found: distances of outline and holes both ways, mm, and of its longer side, percent."""

    name: str
    distances_mm: NDArray[np.float64]
    size_percent: float


@dataclass(frozen=True, slots=True)
class Compared:
    """A drawing beside its truth."""

    parts: tuple[PartError, ...]
    parts_true: int
    missed: tuple[str, ...]
    false_parts: int
    doubted_parts: int
    """Loops that are no part and that the finder itself marked as unsure."""
    holes_true: int
    holes_found: int
    false_holes: int
    extra_mm: tuple[Points, ...] = ()
    """The boundaries of all loops that are no part, in the truth's frame."""

    @property
    def distances_mm(self) -> NDArray[np.float64]:
        """All distances of all parts found."""
        return np.concatenate([part.distances_mm for part in self.parts]) if self.parts else np.empty(0)

    def rms_95_max_mm(self) -> tuple[float, float, float]:
        """Root mean square, 95 % and largest distance, mm; NaN with no part found."""
        distances = self.distances_mm
        if not len(distances):
            return (float("nan"),) * 3
        return (
            float(np.sqrt((distances**2).mean())),
            float(np.percentile(distances, 95)),
            float(distances.max()),
        )

    def worst(self) -> PartError | None:
        """The part with the largest distance."""
        return max(self.parts, key=lambda part: float(part.distances_mm.max()), default=None)


def loops_of(drawing: Drawing) -> list[Loops]:
    """Give the parts of a drawing as fine polylines; its border is none."""
    return [
        Loops(
            sampled(outline.boundary, tolerance_mm=SAMPLED_MM),
            tuple(sampled(hole, tolerance_mm=SAMPLED_MM) for hole in outline.holes),
            outline.kind is Kind.PART,
        )
        for outline in drawing.outlines
        if outline.kind is not Kind.BORDER
    ]


def compare(found: Sequence[Loops], truth: PlanTruth, *, frame: tuple[Points, Points] = _NO_MOVE) -> Compared:
    """Compare found loops with a plan.

    `frame` is a turn (2 x 2) and a shift (2,) that take the finder's frame to the truth's, as `frame_of` gives it:
    never a change of size. Each true part is given the loop that shares most with it, each loop once.
    """
    turn, shift = frame
    loops = [
        Loops(loop.boundary_mm @ turn.T + shift, tuple(hole @ turn.T + shift for hole in loop.holes_mm), loop.sure)
        for loop in found
        if len(loop.boundary_mm) > 2
    ]
    pairs = _pairs([loop.boundary_mm for loop in loops], [part.boundary_mm for part in truth.parts])
    errors = []
    holes_found = false_holes = 0
    for loop_index, part_index in pairs:
        loop, part = loops[loop_index], truth.parts[part_index]
        distances = [_distances(loop.boundary_mm, part.boundary_mm)]
        hole_pairs = _pairs(loop.holes_mm, part.holes_mm)
        distances += [_distances(loop.holes_mm[a], part.holes_mm[b]) for a, b in hole_pairs]
        holes_found += len(hole_pairs)
        false_holes += len(loop.holes_mm) - len(hole_pairs)
        errors.append(
            PartError(part.name, np.concatenate(distances), _size_percent(loop.boundary_mm, part.boundary_mm))
        )
    taken = {part_index for _, part_index in pairs}
    extra = [loop for index, loop in enumerate(loops) if index not in {loop_index for loop_index, _ in pairs}]
    return Compared(
        tuple(errors),
        len(truth.parts),
        tuple(part.name for index, part in enumerate(truth.parts) if index not in taken),
        sum(loop.sure for loop in extra),
        sum(not loop.sure for loop in extra),
        sum(len(part.holes_mm) for part in truth.parts),
        holes_found,
        false_holes,
        tuple(loop.boundary_mm for loop in extra),
    )


@dataclass(frozen=True, slots=True)
class MapError:
    """How well a map from picture to plan agrees with the true one, over the bordered plan."""

    frame: tuple[Points, Points]
    """Turn and shift from the map's frame to the truth's."""
    scale_percent: float
    """Mean size, less 100 %."""
    lengths_percent: NDArray[np.float64]
    """Errors of many lengths, percent, signed."""


def map_error(to_plan: Map, camera: Picturing, truth: PlanTruth) -> MapError:
    """Compare a map from px to mm with the camera's own, at 400 places and over 300 lengths between random pairs."""
    low, high = truth.border_mm.min(axis=0), truth.border_mm.max(axis=0)
    x, y = np.meshgrid(np.linspace(low[0], high[0], 20), np.linspace(low[1], high[1], 20))
    true_mm = np.column_stack([x.ravel(), y.ravel()])
    mapped_mm = to_plan(camera.to_picture(true_mm))
    rng = np.random.default_rng(0)
    a, b = rng.integers(0, len(true_mm), (2, 600))
    true_lengths = np.hypot(*(true_mm[a] - true_mm[b]).T)
    # Lengths shorter than a quarter of the plan would show their ends' noise more than the map.
    long = np.flatnonzero(true_lengths > float(np.hypot(*(high - low))) / 4)[:300]
    lengths = np.hypot(*(mapped_mm[a[long]] - mapped_mm[b[long]]).T)
    centred = mapped_mm - mapped_mm.mean(axis=0)
    true_centred = true_mm - true_mm.mean(axis=0)
    scale = float(np.sqrt((centred**2).sum() / (true_centred**2).sum()))
    return MapError(frame_of(mapped_mm, true_mm), 100 * (scale - 1), 100 * (lengths / true_lengths[long] - 1))


def frame_of(points_mm: Points, true_mm: Points) -> tuple[Points, Points]:
    """Give the turn and shift, without change of size, that lay points on their true places best (Kabsch 1976)."""
    middle, true_middle = points_mm.mean(axis=0), true_mm.mean(axis=0)
    u, _, vt = np.linalg.svd((points_mm - middle).T @ (true_mm - true_middle))
    keep = np.diag([1.0, float(np.sign(np.linalg.det(vt.T @ u.T)))])
    turn: Points = vt.T @ keep @ u.T
    return turn, true_middle - turn @ middle


def true_map(camera: Picturing, truth: PlanTruth) -> Map:
    """Give the camera's inverse, px to mm, by Newton's steps from the nearest plane-to-plane map."""
    low, high = truth.sheet_mm.min(axis=0), truth.sheet_mm.max(axis=0)
    x, y = np.meshgrid(np.linspace(low[0], high[0], 9), np.linspace(low[1], high[1], 9))
    grid_mm = np.column_stack([x.ravel(), y.ravel()])
    start = _homography(camera.to_picture(grid_mm), grid_mm)

    def to_plan(points_px: Points) -> Points:
        at = _through(start, points_px)
        for _ in range(8):
            seen = camera.to_picture(at)
            by_x = (camera.to_picture(at + np.array([0.01, 0])) - seen) / 0.01
            by_y = (camera.to_picture(at + np.array([0, 0.01])) - seen) / 0.01
            slope = np.stack([by_x, by_y], axis=2)
            at = at + np.linalg.solve(slope, (points_px - seen)[..., None])[..., 0]
        return at

    return to_plan


def _pairs(loops: Sequence[Points], truths: Sequence[Points]) -> list[tuple[int, int]]:
    """Loops and truths that share most, the best pair first, none twice."""
    found = [shapely.make_valid(shapely.Polygon(loop)) for loop in loops]
    true = [shapely.Polygon(loop) for loop in truths]
    shares = []
    for b, outline in enumerate(true):
        for a, loop in enumerate(found):
            if loop.intersects(outline):
                shared = loop.intersection(outline).area
                shares.append((shared / (loop.area + outline.area - shared), a, b))
    pairs: list[tuple[int, int]] = []
    for share, a, b in sorted(shares, reverse=True):
        if share >= SAME_PART and all(a != c and b != d for c, d in pairs):
            pairs.append((a, b))
    return sorted(pairs, key=lambda pair: pair[1])


def _distances(loop_mm: Points, true_mm: Points) -> NDArray[np.float64]:
    """Distances from the loop to the truth and from the truth to the loop, every STEP_MM, mm."""
    loop, true = shapely.LinearRing(loop_mm), shapely.LinearRing(true_mm)
    on_loop = shapely.points(shapely.get_coordinates(shapely.segmentize(loop, STEP_MM)))
    on_true = shapely.points(shapely.get_coordinates(shapely.segmentize(true, STEP_MM)))
    shapely.prepare(loop)
    shapely.prepare(true)
    distances: NDArray[np.float64] = np.concatenate([shapely.distance(on_loop, true), shapely.distance(on_true, loop)])
    return distances


def _size_percent(loop_mm: Points, true_mm: Points) -> float:
    """The larger of width and height against the truth's own, percent; it is read off along the truth's frame."""
    sides, true_sides = np.ptp(loop_mm, axis=0), np.ptp(true_mm, axis=0)
    longer = int(true_sides.argmax())
    return float(100 * (sides[longer] / true_sides[longer] - 1))


def _homography(from_points: Points, to_points: Points) -> Points:
    """The plane-to-plane map of least algebraic error; points scaled to about 1 first."""
    size_from, size_to = float(np.abs(from_points).max()), float(np.abs(to_points).max())
    x, y = (from_points / size_from).T
    u, v = (to_points / size_to).T
    one, none = np.ones_like(x), np.zeros_like(x)
    rows = np.concatenate(
        [
            np.column_stack([x, y, one, none, none, none, -u * x, -u * y, -u]),
            np.column_stack([none, none, none, x, y, one, -v * x, -v * y, -v]),
        ]
    )
    matrix = np.linalg.svd(rows)[2][-1].reshape(3, 3)
    full: Points = np.diag([size_to, size_to, 1.0]) @ matrix @ np.diag([1 / size_from, 1 / size_from, 1.0])
    return full


def _through(matrix: Points, points: Points) -> Points:
    moved = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    through: Points = moved[:, :2] / moved[:, 2:]
    return through
