import tomllib
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from digitize.choices import Action, Choice, Region, RegionKind
from digitize.rubbed import Rub
from digitize.traces import Trace
from drawing.errors import ScantlingError
from drawing.papers import PAPERS
from job.errors import JobError
from job.job import (
    Found,
    GivenAcross,
    GivenCorners,
    GivenLength,
    GivenStraight,
    Job,
    KeptGrid,
    KeptMeasure,
    Mark,
    MeasureKind,
    Settled,
    Sheet,
    SheetKind,
)
from job.job_file import job_text, read_job
from printing.best_grid import PageGrid
from printing.setup import PageSetup

px = st.floats(-10, 1e5, allow_nan=False)
points = st.tuples(px, px)
marks = st.builds(Mark, px, px, st.sampled_from(Settled))
said = st.sampled_from(["36 in", "2' 6\"", "190.5 mm ± 1 mm", "36 in over dihedral 6 deg"])
lengths = st.builds(GivenLength, marks, marks, said, st.booleans(), st.none() | st.tuples(marks, marks))
words = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=30)
setups = st.builds(
    PageSetup,
    st.sampled_from([PAPERS["a4"], PAPERS["letter"]]),
    st.integers(0, 120).map(lambda n: n / 10),
    st.integers(0, 60).map(lambda n: n / 4),
)
fractions = st.fractions(Fraction(1, 100), 10, max_denominator=10**9)
grids = st.builds(PageGrid, points, st.booleans(), st.integers(1, 9), st.integers(1, 9))
measures = st.one_of(
    st.builds(KeptMeasure, st.just(MeasureKind.LENGTH), st.tuples(marks, marks), words),
    st.builds(
        KeptMeasure, st.sampled_from([MeasureKind.ANGLE, MeasureKind.RADIUS]), st.tuples(marks, marks, marks), words
    ),
    st.builds(KeptMeasure, st.just(MeasureKind.AREA), st.lists(marks, min_size=3, max_size=5).map(tuple), words),
    st.builds(KeptMeasure, st.just(MeasureKind.NOTE), st.tuples(marks), words),
)
jobs = st.builds(
    Job,
    name=words,
    sheet=st.builds(
        Sheet,
        file=st.just(Path("/plans/deep/plan é.jpg")),
        sha256=st.just("ab" * 32),
        page=st.integers(1, 900),
        kind=st.sampled_from(SheetKind),
        drawn_at=st.none() | fractions,
        dpi=st.none() | st.floats(1, 20000),
        origin_px=st.none() | points,
    )
    | st.builds(Sheet, st.just(Path("/plans/deep/plan é.jpg")), st.just("ab" * 32), trust_size=st.just(True)),
    knowns=st.lists(lengths, max_size=3).map(tuple),
    checks=st.lists(lengths, max_size=2).map(tuple),
    corners=st.none() | st.builds(GivenCorners, st.tuples(marks, marks, marks, marks), st.none() | st.just("A4")),
    across=st.none() | st.builds(GivenAcross, marks, marks),
    straights=st.lists(st.builds(GivenStraight, marks, marks), max_size=2).map(tuple),
    ignore=st.lists(st.sampled_from(Found), max_size=2).map(tuple),
    rubbed=st.lists(
        st.builds(Rub, st.lists(points, min_size=1, max_size=3).map(tuple), st.floats(0.001, 1e4)), max_size=2
    ).map(tuple),
    traces=st.lists(
        st.builds(lambda start, cubics: Trace(start, tuple(cubics), False), points,
                  st.lists(st.tuples(points, points, points), min_size=1, max_size=3)),
        max_size=2,
    ).map(tuple),
    choices=st.lists(
        st.builds(Choice, points, st.floats(1, 1e9), st.sampled_from(Action), words), max_size=2
    ).map(tuple),
    regions=st.just((Region(((0.0, 0.0), (10.5, 0.0), (0.0, 7.25)), RegionKind.OUT),)),
    fraction=fractions,
    mirrored=st.booleans(),
    lines_only=st.booleans(),
    setup=setups,
    kept_grid=st.none() | st.builds(KeptGrid, grids, st.none() | fractions, setups),
    measures=st.lists(measures, max_size=3).map(tuple),
    notes=words,
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(job=jobs)
def test_a_job_written_and_read_back_is_the_same(job: Job, tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = tmp_path_factory.mktemp("job")
    (folder / "job.toml").write_text(job_text(job, folder=folder), encoding="utf-8")

    assert read_job(folder / "job.toml") == job


def test_a_build_length_is_read_back_too(tmp_path: Path) -> None:
    length = GivenLength(Mark(1.5, 2.0, Settled.INK), Mark(3.0, 4.25, Settled.AS_GIVEN), "990 mm")
    job = Job("plan", Sheet(tmp_path / "plan.png", "0" * 64), build_length=length)
    (tmp_path / "job.toml").write_text(job_text(job, folder=tmp_path), encoding="utf-8")

    assert read_job(tmp_path / "job.toml") == job


def _text(tmp_path: Path) -> str:
    mark = Mark(10.5, 20.25, Settled.INK)
    job = Job(
        "plan",
        Sheet(tmp_path / "plan.png", "0" * 64),
        knowns=(GivenLength(mark, Mark(400.0, 20.0), "36 in"),),
        corners=GivenCorners((mark, mark, mark, mark)),
    )
    return job_text(job, folder=tmp_path)


def test_the_file_is_relative_to_the_job(tmp_path: Path) -> None:
    assert tomllib.loads(_text(tmp_path))["sheets"][0]["file"] == "plan.png"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("version = 1", "version = 2", "version = 2"),
        ("version = 1\n", "", "lacks the key 'version'"),
        ("start_px", "strat_px", "'start_px'"),
        ("end_px = [400.0, 20.0]", "end_px = [400.0]", "a point like"),
        ("end_px = [400.0, 20.0]", "end_px = [nan, 20.0]", "an ordinary number"),
        ("end_px = [400.0, 20.0]", "end_px = [1e300, 20.0]", "an ordinary number"),
        ('length = "36 in"', 'length = "36"', "36"),
        ('length = "36 in"', "length = 36", "text in quotes"),
        ('kind = "known distance"', 'kind = "knwon"', "one of 'known distance'"),
        ('kind = "auto"', 'kind = "picture"', "'auto' or 'photo' or 'scan'"),
        ("mirrored = false", "mirrored = 0", "true or false"),
        ("mirrored = false", "miror = false", "write 'mirrored'"),
        ('fraction = "1"', 'fraction = "0"', "0"),
        ("[[sheets]]", "[[sheets]]\nfile = 'b'\nsha256 = ''\n[[sheets]]", "2 sheets"),
        ("[build]", "[build", "not a TOML file"),
        ('"ink", "ink", "ink", "ink"', '"ink"', "4 words"),
        ("page = 1", "page = 1.5", "a whole number"),
        ("[build]", '[[observations]]\nkind = "straight"\nstart_px = [1, 2]\n[build]', "lacks the key 'end_px'"),
        ("[build]", "[[rubbed]]\npoints_px = [[1, 2]]\nwidth_px = 0\n[build]", "above zero"),
        ("[build]", '[[measures]]\nkind = "angle"\npoints_px = [[1, 2], [3, 4]]\n[build]', "it needs 3"),
        ("[build]", '[[measures]]\nkind = "volume"\npoints_px = [[1, 2]]\n[build]', "'length' or 'angle'"),
    ],
)
def test_what_is_wrong_in_a_job_file_is_named(tmp_path: Path, old: str, new: str, said: str) -> None:
    text = _text(tmp_path)
    assert old in text
    (tmp_path / "job.toml").write_text(text.replace(old, new, 1))

    with pytest.raises(ScantlingError) as told:
        read_job(tmp_path / "job.toml")

    assert said in str(told.value)
    assert "\n" not in str(told.value)


def test_a_missing_job_and_a_binary_one_are_said(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_bytes(bytes(range(256)))

    with pytest.raises(JobError, match="is not a TOML file"):
        read_job(tmp_path / "job.toml")
    with pytest.raises(JobError, match="cannot be read"):
        read_job(tmp_path / "other.toml")
