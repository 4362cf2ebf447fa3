"""What the spawned processes do: look at a picture, draw its outlines, lay pages, export."""

import json
from collections import OrderedDict
from collections.abc import Hashable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path

from calibration.calibration import Calibration
from calibration.observations import PointPx
from digitize.strokes import Strokes
from drawing.drawing import Drawing
from job.job import Found, Job, Sheet
from job.job_file import read_job
from job.make import refuse_changed
from job.part_errors import longest_part_px, with_give_or_take
from job.progress import FLATTENING, INK, LINES, OUTLINES, READING, SCALE, WORDS, WRITING, Timed
from job.run import all_drawn, fraction_of, refuse_blank, run, strokes_of
from job.see import Seen, see_picture
from job.tiles import lay_out
from pictures.read import read_picture
from tracing.packed import PackedSeen, packed, unpacked
from tracing.pyramid import Pyramid, keep_pyramid, kept_pyramid
from tracing.view_results import outlines_view, pages_view
from tracing.work import Tell, answer

LOOKED = {READING: 0.0, INK: 0.07, LINES: 0.2, WORDS: 0.6}
EXPORTED = {SCALE: 0.0, OUTLINES: 0.12, FLATTENING: 0.83, WRITING: 0.85}
"""Share of the time gone when a stage starts, as measured on the bundled photo."""

KEPT_DRAWINGS = 4
"""Drawings held so that their pages can be laid anew at once: the last, and what undo goes back to."""


def look_main(pipe: Connection) -> None:
    """Look at a picture, and draw what it shows as often as asked."""
    bench = _Bench()
    answer(pipe, {"look": bench.look, "hold": bench.hold, "draw": bench.draw, "lay": bench.lay})


def export_main(pipe: Connection) -> None:
    """Export jobs, one after another."""
    answer(pipe, {"export": export})


def export(tell: Tell, job_file: Path, seen: PackedSeen, cache: Path) -> Job:
    """Do what `make` does with a saved job; give the job as it then is, with its origin and page grid."""
    job = read_job(job_file)
    refuse_changed(job.sheet)
    whole = unpacked(seen, _pyramid(job.sheet, cache).picture.grey)
    timed = Timed(_Shown(tell, EXPORTED))
    return run(job, whole, folder=job_file.parent, as_given=False, timed=timed).job


@dataclass(frozen=True, slots=True)
class _Drawing:
    """Lines in the picture, and what was drawn of them at full size."""

    strokes: Strokes
    plan: Drawing


class _Bench:
    """Holds what was seen, so that only what a person decides travels between processes."""

    def __init__(self) -> None:
        self._seen: Seen | None = None
        self._drawings: OrderedDict[Hashable, _Drawing] = OrderedDict()

    def look(self, tell: Tell, sheet: Sheet, ignore: tuple[Found, ...], cache: Path) -> PackedSeen:
        """Read a sheet's picture, keep it on disk in levels (told as "picture"), and see what it shows."""
        shown = _Shown(tell, LOOKED)
        self._drawings.clear()
        with shown.stage(READING):
            refuse_changed(sheet)
            pyramid = _pyramid(sheet, cache)
        tell("picture", None)
        self._seen = see_picture(pyramid.picture, sheet, ignore, shown)
        return packed(self._seen)

    def hold(self, tell: Tell, seen: PackedSeen, sheet: Sheet, cache: Path) -> None:
        """Take what another process has seen."""
        self._drawings.clear()
        self._seen = unpacked(seen, _pyramid(sheet, cache).picture.grey)

    def draw(
        self, tell: Tell, key: Hashable, job: Job, calibration: Calibration
    ) -> tuple[str, tuple[PointPx, PointPx] | None]:
        """Draw a settled job's outlines: the page's JSON, and the ends of the longest part."""
        assert self._seen is not None
        strokes = strokes_of(job, self._seen)
        drawn = all_drawn(job, self._seen, strokes, calibration)
        plan = with_give_or_take(drawn.drawing, calibration)
        self._drawings[key] = _Drawing(strokes, plan)
        while len(self._drawings) > KEPT_DRAWINGS:
            self._drawings.popitem(last=False)
        return json.dumps(outlines_view(drawn, calibration)), longest_part_px(plan, calibration.to_picture)

    def lay(self, tell: Tell, key: Hashable, job: Job, calibration: Calibration) -> str | None:
        """Lay a drawing out on pages: the page's JSON; None when the drawing is no longer held."""
        drawing = self._drawings.get(key)
        if drawing is None:
            return None
        refuse_blank(drawing.plan, job)
        fraction = fraction_of(job, calibration)
        build = drawing.plan.scaled(fraction)
        if job.mirrored:
            build = build.mirrored()
        pages, findings = lay_out(job, build, drawing.strokes, calibration, fraction)
        return json.dumps(pages_view(job, drawing.plan, calibration, fraction, pages, findings))


def _pyramid(sheet: Sheet, cache: Path) -> Pyramid:
    """The picture as it is kept; read (again, if another program has cleared the cache meanwhile) when it is not."""
    pyramid = kept_pyramid(cache, sheet.sha256, sheet.page, sheet.file)
    return pyramid or keep_pyramid(cache, read_picture(sheet.file, page=sheet.page))


class _Shown:
    """Passes each stage on with the share of the time gone."""

    def __init__(self, tell: Tell, shares: dict[str, float]) -> None:
        self._tell = tell
        self._shares = shares

    @contextmanager
    def stage(self, words: str) -> Iterator[None]:
        self._tell("progress", (words, self._shares.get(words, 0.0)))
        yield
