"""What the stages have done in threads, and results as the page's JSON.

Everything that takes long to load is loaded here, by the thread that needs it, once the page is up.
"""

import hashlib
import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from job.job import Job
from tracing.view_words import on_the_page

if TYPE_CHECKING:
    from calibration.observations import PointPx
    from drawing.findings import Finding
    from job.see import Seen
    from tracing.packed import PackedSeen
    from tracing.pyramid import Pyramid
    from tracing.scale import Scale


def kept_picture(cache: Path, job: Job) -> "Pyramid | None":
    """Give a job's picture as it is kept on disk."""
    from tracing.pyramid import kept_pyramid

    return kept_pyramid(cache, job.sheet.sha256, job.sheet.page, job.sheet.file)


def kept_and_unchanged(cache: Path, job: Job) -> "Pyramid | None":
    """Give a job's picture as it is kept on disk, if the file it was read from is still there and the same."""
    try:
        with job.sheet.file.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return None
    return kept_picture(cache, job) if digest == job.sheet.sha256 else None


def unpacked_seen(seen: "PackedSeen", pyramid: "Pyramid") -> "Seen":
    """Give what another process has seen."""
    from tracing.packed import unpacked

    return unpacked(seen, pyramid.picture.grey)


def settled_marks(job: Job, seen: "Seen") -> "tuple[Job, tuple[Finding, ...]]":
    """Give a job with its marks settled, and what is to be said of them."""
    from job.settle import settled_job

    return settled_job(job, seen, as_given=False)


def scale_of(job: Job, seen: "Seen") -> "Scale":
    """Set the scale of a settled job."""
    from tracing.scale import set_scale

    return set_scale(job, seen)


def scale_json(scale: "Scale", moved: "tuple[Finding, ...]") -> str:
    """Give a scale as the page takes it, with what is to be said of the marks."""
    from tracing.view_results import scale_view

    gathered = replace(scale.gathered, findings=(*moved, *scale.gathered.findings))
    return ok(json.dumps(scale_view(gathered, scale.calibration), allow_nan=False))


def effect_json(
    scale: "Scale", moved: "tuple[Finding, ...]", seen: "Seen", longest_px: "tuple[PointPx, PointPx]"
) -> str:
    """Give the same with its findings telling their effect over the longest part."""
    from tracing.scale import with_longest

    return scale_json(with_longest(scale, seen, longest_px), moved)


def failed(sentence: str) -> str:
    """Give the result of a stage that came to none."""
    return json.dumps({"ok": False, "error": on_the_page(sentence)})


def ok(value: str) -> str:
    """A stage's own JSON object as that of a result."""
    return f'{{"ok": true, "error": null, {value[1:]}'


def body(told: tuple[int, str] | None) -> str:
    """Give a result with the revision it belongs to."""
    return "null" if told is None else f'{{"of": {told[0]}, {told[1][1:]}'


def event(stage: str, told: tuple[int, str]) -> str:
    """Give what tabs are told of a result."""
    return f'{{"stage": "{stage}", "of": {told[0]}, "value": {body(told)}}}'
