"""Moving marks to the ink: a mark put by hand goes to the crossing, corner or line end nearest it."""

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from calibration.observations import CLICK_SIGMA_PX, SETTLED_SIGMA_PX
from drawing.findings import Finding, Level
from job.errors import JobError
from job.job import GivenAcross, GivenCorners, GivenLength, Job, Mark, Settled
from job.points import TypedPoint

if TYPE_CHECKING:
    # What sees a picture takes a second to load; what moves a mark does not need it.
    from job.see import Seen

REACH_WIDTHS = 2.5
"""A mark moves at most this many line widths: a hand hits a line end within one, and a neighbour lies farther off."""

LEAST_REACH_PX = 6.0
"""On thin lines a hand's slip is set by the screen, not the line."""

SAME_PX = 1.0
"""A mark this near a landmark is on it: the same picture gives the same landmarks to far less, another version of the
program to some tenths."""

DIGITS = 3
"""Marks are kept to a thousandth of a px, far below what ink can tell, so that the job file reads back as it was."""


@dataclass(frozen=True, slots=True)
class Landmarks:
    """What marks move to: (N, 2) crossings, corners and line ends in px, one sigma (N,) of each, from how far, and the
    picture they lie in."""

    points_px: NDArray[np.float64]
    sigmas_px: NDArray[np.float64]
    reach_px: float
    width_px: int
    height_px: int


def landmarks_in(seen: "Seen") -> Landmarks:
    """Give the landmarks of a picture that was seen."""
    links = seen.strokes.links
    width_px = float(np.median([link.width_px for link in links])) if links else 0.0
    reach_px = max(LEAST_REACH_PX, REACH_WIDTHS * width_px)
    picture = seen.picture
    return Landmarks(seen.landmarks_px, seen.landmark_sigmas_px, reach_px, picture.width_px, picture.height_px)


def on_ink(mark: Mark, landmarks: Landmarks) -> tuple[Mark, int | None]:
    """Give a mark moved to the landmark nearest it, and that landmark's row.

    Out of reach, or where a hand puts a mark better than the ink tells the landmark, it stays as given.
    """
    nearest = _nearest(mark, landmarks)
    if nearest is None or landmarks.sigmas_px[nearest] > CLICK_SIGMA_PX:
        return replace(mark, settled=Settled.AS_GIVEN), None
    x, y = landmarks.points_px[nearest]
    return Mark(round(float(x), DIGITS), round(float(y), DIGITS), Settled.INK), nearest


def marks_sigma_px(marks: Iterable[Mark], seen: "Seen") -> float:
    """Give one sigma of the least sure of some marks, px."""
    return max(_sigma_px(mark, seen) for mark in marks)


def _sigma_px(mark: Mark, seen: "Seen") -> float:
    """One sigma of a mark put by hand, or of the landmark that it is on."""
    if mark.settled is not Settled.INK:
        return CLICK_SIGMA_PX
    far = _far_px(mark, seen.landmarks_px)
    if far.min(initial=math.inf) > SAME_PX:
        return SETTLED_SIGMA_PX
    return float(seen.landmark_sigmas_px[far.argmin()])


def refuse_outside(mark: Mark, landmarks: Landmarks, about: str) -> None:
    """Refuse a mark that lies outside the picture.

    Raises
    ------
    JobError
        In one sentence.
    """
    width, height = landmarks.width_px, landmarks.height_px
    if not (-0.5 <= mark.x_px <= width - 0.5 and -0.5 <= mark.y_px <= height - 0.5):
        raise JobError(
            f"{about[0].upper()}{about[1:]} is at {mark.x_px:g},{mark.y_px:g}; the picture is {width} x {height} px: "
            "mark a point inside it."
        )


def refuse_far(what: str, points_px: Iterable[tuple[float, float]], landmarks: Landmarks) -> None:
    """Refuse points that lie farther beyond the picture's edge than the picture itself is large.

    Raises
    ------
    JobError
        In one sentence.
    """
    width, height = landmarks.width_px, landmarks.height_px
    for x, y in points_px:
        if not (-width <= x <= 2 * width and -height <= y <= 2 * height):
            raise JobError(
                f"{what} is at {x:g},{y:g}, far outside the picture of {width} x {height} px; "
                "it must lie on the picture or near it: correct it in the job."
            )


def mark_at(point: TypedPoint, seen: "Seen", *, option: str) -> Mark:
    """Turn a typed point into a mark: a landmark's number is on the ink, x,y is yet to be settled.

    Raises
    ------
    JobError
        For a number that `look` did not give, or a point outside the picture.
    """
    if isinstance(point, int):
        count = len(seen.landmarks_px)
        if not count:
            raise JobError(
                f"{option} names point {point}, but no crossing, corner or line end was found in this picture; "
                "a number needs one: give the point as x,y."
            )
        if not 1 <= point <= count:
            raise JobError(
                f"{option} names point {point}; `scantling look` numbers 1 to {count} on this picture: "
                "look again, or give the point as x,y."
            )
        x, y = seen.landmarks_px[point - 1]
        return Mark(round(float(x), DIGITS), round(float(y), DIGITS), Settled.INK)
    mark = Mark(*point)
    refuse_outside(mark, landmarks_in(seen), option)
    return mark


def settled_job(job: Job, seen: "Seen", *, as_given: bool) -> tuple[Job, tuple[Finding, ...]]:
    """Give the job with every mark settled, and a note for each that moved; settled marks stay where they are.

    Raises
    ------
    JobError
        When a mark lies outside the picture.
    """
    notes: list[Finding] = []
    landmarks = landmarks_in(seen)
    _refuse_far(job, landmarks)

    def settle(mark: Mark, about: str) -> Mark:
        refuse_outside(mark, landmarks, about)
        if mark.settled is Settled.AS_GIVEN:
            return mark
        if mark.settled is Settled.INK:
            if _far_px(mark, landmarks.points_px).min(initial=math.inf) <= SAME_PX:
                notes.extend(_unsure(mark, landmarks, about))
                return mark
            notes.append(_off_ink(mark, about))
            return replace(mark, settled=Settled.AS_GIVEN)
        if as_given:
            return replace(mark, settled=Settled.AS_GIVEN)
        moved, finding = _settled(mark, landmarks, about)
        notes.append(finding)
        return moved

    job = with_marks(job, settle)
    return job, tuple(notes)


def settled_point(point: TypedPoint, seen: "Seen", *, about: str, as_given: bool) -> tuple[Mark, tuple[Finding, ...]]:
    """Turn a typed point into a settled mark, with a note when it moved."""
    mark = mark_at(point, seen, option=about)
    landmarks = landmarks_in(seen)
    if mark.settled is not Settled.NOT_YET:
        return mark, tuple(_unsure(mark, landmarks, about))
    if as_given:
        return replace(mark, settled=Settled.AS_GIVEN), ()
    moved, finding = _settled(mark, landmarks, about)
    return moved, (finding,)


def with_marks(job: Job, settle: Callable[[Mark, str], Mark]) -> Job:
    """Put every mark of a job through `settle`, with the words it is spoken of by."""

    def length(given: GivenLength, about: str) -> GivenLength:
        given = replace(
            given, start=settle(given.start, f"{about}, first mark"), end=settle(given.end, f"{about}, second mark")
        )
        if given.along is None:
            return given
        first, second = (settle(mark, f"the line that {about} is measured along") for mark in given.along)
        return replace(given, along=(first, second))

    corners = job.corners
    if corners is not None:
        names = ("upper-left", "upper-right", "lower-right", "lower-left")
        first, second, third, fourth = (
            settle(mark, f"the {name} corner") for mark, name in zip(corners.marks, names, strict=True)
        )
        corners = GivenCorners((first, second, third, fourth), corners.size_text)
    across = job.across
    if across is not None:
        across = GivenAcross(
            settle(across.start, "the line to lay straight, first mark"),
            settle(across.end, "the line to lay straight, second mark"),
        )
    return replace(
        job,
        knowns=tuple(length(given, f"known distance {n}") for n, given in enumerate(job.knowns, 1)),
        checks=tuple(length(given, f"check length {n}") for n, given in enumerate(job.checks, 1)),
        corners=corners,
        across=across,
        straights=tuple(
            replace(
                straight,
                start=settle(straight.start, f"straight line {n}, first mark"),
                end=settle(straight.end, f"straight line {n}, second mark"),
            )
            for n, straight in enumerate(job.straights, 1)
        ),
        build_length=None if job.build_length is None else length(job.build_length, "the build length"),
    )


def _settled(mark: Mark, landmarks: Landmarks, about: str) -> tuple[Mark, Finding]:
    moved, nearest = on_ink(mark, landmarks)
    if nearest is None:
        unsure = _nearest(mark, landmarks)
        if unsure is None:
            found = f"There is no crossing, corner or line end within {landmarks.reach_px:.0f} px of"
        else:
            found = f"Where the lines of point {unsure + 1} meet cannot be told from their ink, which is near"
        finding = Finding(
            "mark-as-given",
            Level.NOTE,
            about,
            f"{found} {mark.x_px:g},{mark.y_px:g}; the mark stays where it was put.",
        )
        return moved, finding
    finding = Finding(
        "mark-moved",
        Level.NOTE,
        about,
        f"Moved {math.hypot(moved.x_px - mark.x_px, moved.y_px - mark.y_px):.1f} px to point {nearest + 1}, "
        f"in the ink at {moved.x_px:.1f},{moved.y_px:.1f} (--as-given leaves it where it was put).",
    )
    return moved, finding


def _unsure(mark: Mark, landmarks: Landmarks, about: str) -> Iterator[Finding]:
    """Say so where a mark on the ink is on a landmark that the ink does not tell well."""
    nearest = _nearest(mark, landmarks)
    if nearest is not None and landmarks.sigmas_px[nearest] > CLICK_SIGMA_PX:
        yield Finding(
            "mark-unsure",
            Level.NOTE,
            about,
            f"Where the lines of point {nearest + 1} meet cannot be told from their ink: it may be off by some "
            f"{2 * landmarks.sigmas_px[nearest]:.0f} px, which is reckoned with. Put the mark there by hand as x,y.",
        )


def _nearest(mark: Mark, landmarks: Landmarks) -> int | None:
    """The row of the landmark nearest a mark and within reach."""
    far = _far_px(mark, landmarks.points_px)
    return int(far.argmin()) if len(far) and far.min() <= landmarks.reach_px else None


def _far_px(mark: Mark, points_px: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far each point lies from a mark, (N,) px."""
    return np.asarray(np.hypot(points_px[:, 0] - mark.x_px, points_px[:, 1] - mark.y_px))


def _off_ink(mark: Mark, about: str) -> Finding:
    return Finding(
        "mark-off-ink",
        Level.NOTE,
        about,
        f"The job says that it lies on the ink at {mark.x_px:g},{mark.y_px:g}, where there is no crossing, corner or "
        "line end; it stays there as a point put by hand. Write 'not yet' in its marks to let it move to the ink.",
    )


def _refuse_far(job: Job, landmarks: Landmarks) -> None:
    for region in job.regions:
        refuse_far("A region's corner", region.points_px, landmarks)
    for rub in job.rubbed:
        refuse_far("A point of a rubbed band", rub.points_px, landmarks)
    for trace in job.traces:
        nodes = (trace.start_px, *(point for cubic in trace.cubics_px for point in cubic))
        refuse_far("A point of a traced line", nodes, landmarks)
    if job.sheet.origin_px is not None:
        refuse_far("The origin", [job.sheet.origin_px], landmarks)
