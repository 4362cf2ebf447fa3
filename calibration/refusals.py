"""What is refused before anything is fitted: marks that cannot be, and too little to tell a scale."""

import math
from collections.abc import Sequence

import numpy as np

from calibration.kind import Kind
from calibration.observations import (
    Across,
    CalibrationError,
    Cards,
    CheckLength,
    Corners,
    GivenScale,
    KnownDistance,
    Observation,
    PointPx,
)
from calibration.plane_map import PictureSize

FEWEST_KNOWNS = 5
"""Known distances that a photo without a rectangle needs: scale, two tilts, focal length, and one to spare."""

FLAT_CORNER = 0.01
"""A corner that lies nearer the line through its neighbours than this part of their distance makes no rectangle."""

OUTSIDE_PX = 1.0
"""A mark may lie this far out: the outer half of an edge pixel, and rounding."""

CROSSES = (
    "pencil four crosses on the plan as a rectangle, tape its four sides and both diagonals, photograph again and "
    "give them all as known distances"
)


def refuse_impossible(observations: Sequence[Observation], *, kind: Kind, size: PictureSize) -> None:
    """Raise, in one sentence, what no map can be fitted to.

    Raises
    ------
    CalibrationError
        For marks outside the picture or not numbers, corners that are crossed, mirrored or on a line, and
        observations from which no scale or no tilt follows.
    """
    for seen in observations:
        for name, mark in _marks(seen):
            _refuse_outside(name, mark, size)
        if isinstance(seen, Corners):
            _refuse_bad_rectangle(seen)
        if isinstance(seen, Across) and seen.start_px == seen.end_px:
            raise CalibrationError(
                f"The line to lay straight has both ends at {_at(seen.start_px)}; it needs two places: mark its "
                "right end."
            )
        if isinstance(seen, GivenScale):
            _refuse_bad_scale(seen, kind)
    _refuse_too_little(observations, kind)


def _marks(seen: Observation) -> list[tuple[str, PointPx]]:
    match seen:
        case KnownDistance() | CheckLength():
            ends = [(f"first mark of {seen.label}", seen.start_px), (f"second mark of {seen.label}", seen.end_px)]
            return ends + [(f"line that {seen.label} is measured along", mark) for mark in seen.along_px or ()]
        case Corners():
            names = ("upper-left", "upper-right", "lower-right", "lower-left")
            return [(f"{name} of the {seen.label}", mark) for name, mark in zip(names, seen.points_px, strict=True)]
        case Across():
            return [("left end of the line to lay straight", seen.start_px), ("right end of it", seen.end_px)]
        case _:
            return []


def _refuse_outside(name: str, mark: PointPx, size: PictureSize) -> None:
    x, y = mark
    inside = -OUTSIDE_PX <= x <= size.width_px - 1 + OUTSIDE_PX and -OUTSIDE_PX <= y <= size.height_px - 1 + OUTSIDE_PX
    if not (math.isfinite(x) and math.isfinite(y) and inside):
        raise CalibrationError(
            f"The {name} is at {_at(mark)}; the picture is {size.width_px} x {size.height_px} px and every mark "
            "must lie in it: mark that point again."
        )


def _refuse_bad_rectangle(corners: Corners) -> None:
    width, height = corners.width_mm, corners.height_mm
    if (width is None) != (height is None):
        raise CalibrationError(
            f"The {corners.label} have one side's length only; a size is width and height: give both, or neither "
            "and the one as a known distance."
        )
    for side in (width, height):
        if side is not None and not 0 < side < math.inf:
            raise CalibrationError(
                f"The {corners.label} have a side of {side} mm; it must be above zero: type the size again."
            )
    points = np.array(corners.points_px)
    before, after = np.roll(points, 1, axis=0), np.roll(points, -1, axis=0)
    arm_in, arm_out, chord = points - before, after - points, after - before
    reach = np.hypot(chord[:, 0], chord[:, 1])
    # Picture frame, y down: clockwise as seen turns are positive.
    turns = arm_in[:, 0] * arm_out[:, 1] - arm_in[:, 1] * arm_out[:, 0]
    names = ("upper-left", "upper-right", "lower-right", "lower-left")
    order = "give them upper-left, upper-right, lower-right, lower-left as the plan reads"
    for i in range(4):
        j = (i + 1) % 4
        if np.hypot(*(points[j] - points[i])) < 2.0:
            raise CalibrationError(
                f"The {names[i]} and {names[j]} of the {corners.label} are both at {_at(corners.points_px[i])}; a "
                f"rectangle needs four places: {order}."
            )
    flat = np.abs(turns) <= FLAT_CORNER * reach**2
    if flat.any():
        i = int(flat.argmax())
        raise CalibrationError(
            f"Three of the {corners.label} lie on one line: the {names[i]} at {_at(corners.points_px[i])} lies "
            f"between its neighbours; no three corners of a rectangle do: {order}."
        )
    if (turns > 0).all():
        return
    if (turns < 0).all():
        raise CalibrationError(
            f"The {corners.label} run anticlockwise, so the plan would come out mirrored; they must run clockwise "
            f"as the plan reads: {order}."
        )
    if (turns > 0).sum() == 2:
        raise CalibrationError(
            f"The {corners.label} cross over: going round them, the sides cut one another; a rectangle's do not: "
            f"{order}."
        )
    i = int((turns < 0).argmax() if (turns > 0).sum() == 3 else (turns > 0).argmax())
    raise CalibrationError(
        f"The {names[i]} of the {corners.label} at {_at(corners.points_px[i])} lies inside the triangle of the "
        f"other three; no rectangle looks so: {order}."
    )


def _refuse_bad_scale(scale: GivenScale, kind: Kind) -> None:
    if kind is Kind.PHOTO:
        raise CalibrationError(
            f"A scale is given for the whole picture ({scale.why}), but a photo's scale differs from place to "
            "place; a photo needs corners of a rectangle or known distances: give those, or say that the picture "
            "is a scan."
        )
    for mm_per_px in (scale.mm_per_px_x, scale.mm_per_px_y):
        if not 0 < mm_per_px < math.inf:
            raise CalibrationError(
                f"The scale ({scale.why}) is {mm_per_px} mm per px; it must be above zero: give a known distance "
                "instead."
            )
    if not 0 < scale.relative_sigma < math.inf:
        raise CalibrationError(
            f"The scale ({scale.why}) has an error of {scale.relative_sigma}; it must be above zero: state it as a "
            "part of 1."
        )


def _refuse_too_little(observations: Sequence[Observation], kind: Kind) -> None:
    knowns = sum(isinstance(seen, KnownDistance) for seen in observations)
    rectangles = [seen for seen in observations if isinstance(seen, Corners)]
    sized = any(corners.width_mm is not None for corners in rectangles)
    scales = any(isinstance(seen, GivenScale | Cards) for seen in observations)
    if not (knowns or sized or scales):
        found = "Four corners without a size" if rectangles else "No length at all"
        raise CalibrationError(
            f"{found}; a scale needs one true length: give a known distance between two "
            f"marks{', or the size of the rectangle' if rectangles else ''}."
        )
    laid = any(isinstance(seen, Cards) for seen in observations)
    if kind is Kind.PHOTO and not rectangles and not laid and knowns < FEWEST_KNOWNS:
        count = "one known distance" if knowns == 1 else f"{knowns} known distances"
        raise CalibrationError(
            f"A photo with {count} and no corners of a rectangle; a photo's tilt needs four corners of a rectangle, "
            f"or {FEWEST_KNOWNS} known distances or more: mark the corners of the drawn border, or {CROSSES}."
        )


def _at(mark: PointPx) -> str:
    return f"({mark[0]:g}, {mark[1]:g}) px"
