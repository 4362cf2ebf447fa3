"""What of a job each stage can rest on: results are kept by it, so that nothing is worked out twice."""

from collections.abc import Hashable
from dataclasses import replace
from fractions import Fraction

from drawing.papers import PAPERS
from job.job import Job
from printing.setup import PageSetup

PLAIN_SETUP = PageSetup(PAPERS["a4"])


def seen_part(job: Job) -> Hashable:
    """Give what of a job decides what is seen in its picture."""
    return job.sheet.sha256, job.sheet.file, job.sheet.page, job.sheet.kind, job.ignore


def scale_part(job: Job) -> Job:
    """What of a settled job the scale can rest on: all but what only comes after it."""
    return replace(outline_part(job), rubbed=(), traces=(), choices=(), regions=())


def outline_part(job: Job) -> Job:
    """What of a settled job its outlines can rest on."""
    return replace(
        page_part(job),
        fraction=Fraction(1),
        build_length=None,
        mirrored=False,
        lines_only=False,
        setup=PLAIN_SETUP,
        kept_grid=None,
    )


def page_part(job: Job) -> Job:
    """What of a settled job its pages can rest on."""
    return replace(job, name="", notes="", measures=())
