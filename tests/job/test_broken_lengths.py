"""Lengths given over a break in a drawn part; where the lines cross is known, as the test drew them."""

from dataclasses import replace
from pathlib import Path

import pytest

from drawing.findings import Level
from job.broken_lengths import about_breaks
from job.job import Found, GivenLength, Job, Mark, Settled, Sheet
from tests.digitize.test_break_lines import drawn, piece, zigzag

STROKES = drawn([zigzag(320), zigzag(365)], [piece(50, 320), piece(650, 365)])


def length(x0: float, x1: float) -> GivenLength:
    return GivenLength(Mark(x0, 130, Settled.AS_GIVEN), Mark(x1, 130, Settled.AS_GIVEN), "36 in")


def job_with(**given: object) -> Job:
    return replace(Job("", Sheet(Path("plan.png"), sha256="")), **given)


def test_every_length_over_the_break_is_asked_about_and_no_other() -> None:
    job = job_with(knowns=(length(50, 300), length(50, 650)), checks=(length(650, 50),), build_length=length(60, 640))

    found = list(about_breaks(job, STROKES))

    assert [one.about for one in found] == ["known distance 2", "check length 1", "build length"]
    assert {(one.code, one.level) for one in found} == {("crosses-break", Level.DECIDE)}
    assert "36 in, crosses two zigzag break lines at 320,130 and 365,130 px" in found[0].text


@pytest.mark.parametrize("x1", [300.0, 650.0])
def test_break_lines_told_to_be_ignored_are_not_asked_about(x1: float) -> None:
    job = job_with(knowns=(length(50, x1),), ignore=(Found.BREAKS,))

    assert list(about_breaks(job, STROKES)) == []
