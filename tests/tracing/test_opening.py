"""Which job a path opens, and where it is kept."""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from job.errors import JobError
from job.job import Job
from job.job_file import job_text
from tests.small_plan import SmallPlan
from tracing.opening import find_job, mended
from tracing.recent import MOST, Recent


def test_a_new_picture_gets_a_new_job_where_the_command_ran(small_plan: SmallPlan, tmp_path: Path) -> None:
    found = find_job(small_plan.path, beside=tmp_path)

    assert found.folder == tmp_path / "small-scantling"
    assert found.job.sheet.file == small_plan.path
    assert len(found.job.sheet.sha256) == 64
    assert (found.note, list(tmp_path.iterdir())) == ("", [])


def test_a_picture_goes_on_with_its_job(small_plan: SmallPlan, tmp_path: Path) -> None:
    found = find_job(small_plan.path, beside=tmp_path)
    _write(replace(found.job, notes="half done"), found.folder)

    assert find_job(small_plan.path, beside=tmp_path).job.notes == "half done"
    assert find_job(found.folder / "job.toml", beside=tmp_path / "elsewhere").job.notes == "half done"
    assert find_job(found.folder, beside=tmp_path / "elsewhere").folder == found.folder


def test_a_picture_that_was_moved_goes_on_with_its_job(small_plan: SmallPlan, tmp_path: Path) -> None:
    here = tmp_path / "small.png"
    shutil.copy(small_plan.path, here)
    found = find_job(here, beside=tmp_path)
    _write(replace(found.job, notes="half done"), found.folder)
    there = tmp_path / "plans"
    there.mkdir()
    here.rename(there / "small.png")

    again = find_job(there / "small.png", beside=tmp_path)

    assert again.job.notes == "half done"
    assert again.job.sheet.file == there / "small.png"


def test_another_picture_of_the_name_has_a_place_of_its_own(small_plan: SmallPlan, tmp_path: Path) -> None:
    found = find_job(small_plan.path, beside=tmp_path)
    _write(found.job, found.folder)
    other = tmp_path / "small.png"
    other.write_bytes(small_plan.path.read_bytes() + b"x")

    second = find_job(other, beside=tmp_path)

    assert second.folder == tmp_path / "small-scantling-2"
    assert second.note.startswith("small-scantling holds the job of another picture of that name")


def test_a_job_of_another_file_name_is_refused(tmp_path: Path) -> None:
    with pytest.raises(JobError, match=r"^plan\.toml is not called job\.toml.*rename it"):
        find_job(tmp_path / "plan.toml", beside=tmp_path)


def test_a_job_is_mended_with_the_same_picture_alone(small_plan: SmallPlan, tmp_path: Path) -> None:
    job = find_job(small_plan.path, beside=tmp_path).job
    elsewhere, other = tmp_path / "elsewhere.png", tmp_path / "other.png"
    shutil.copy(small_plan.path, elsewhere)
    other.write_bytes(elsewhere.read_bytes() + b"x")

    assert mended(job, elsewhere).sheet.file == elsewhere
    with pytest.raises(JobError, match=r"^other\.png is not the picture this job was marked on"):
        mended(job, other)


def test_the_latest_job_comes_first_once_and_old_ones_go(tmp_path: Path) -> None:
    recent = Recent(tmp_path / "data" / "recent.json")
    assert recent.jobs() == []
    for n in [*range(MOST + 3), 5]:
        recent.add(f"job {n}", Path(f"plan{n}.jpg"), tmp_path / f"{n}")

    jobs = recent.jobs()

    assert [job.name for job in jobs[:2]] == ["job 5", f"job {MOST + 2}"]
    assert len(jobs) == len({job.id for job in jobs}) == MOST
    assert recent.find(jobs[3].id) == jobs[3]
    assert recent.find("../../etc") is None


@pytest.mark.parametrize("text", ["", "{", "[1]", '[{"name": 3}]', '{"a": 1}', "[" * 10_000])
def test_a_list_that_cannot_be_read_is_empty(tmp_path: Path, text: str) -> None:
    file = tmp_path / "recent.json"
    file.write_text(text)

    assert Recent(file).jobs() == []


def _write(job: Job, folder: Path) -> None:
    folder.mkdir()
    (folder / "job.toml").write_text(job_text(job, folder=folder), encoding="utf-8")
