"""Job files as people and programs spoil them: one sentence each, and never a wait without end."""

import os
import re
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from PIL import Image

from cli.main import main
from drawing.errors import ScantlingError
from job.job import Found
from job.job_file import read_job
from job.paper import paper_noted
from job.points import parse_points, parse_width_mm
from pictures.squared_paper import SquaredPaper
from tests.small_plan import SmallPlan

Spoil = Callable[[str], str]


@pytest.fixture(scope="module")
def job_text(small_plan: SmallPlan, tmp_path_factory: pytest.TempPathFactory) -> str:
    out = tmp_path_factory.mktemp("job") / "out"
    assert main(["make", str(small_plan.path), "-o", str(out), "--known", "1 2 = 170 mm"]) == 0
    text = (out / "job.toml").read_text()
    return text.replace(os.path.relpath(small_plan.path, out), small_plan.path.as_posix())


def _kept(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "job.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_byte_order_mark_and_windows_line_ends_are_read(job_text: str, tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(b"\xef\xbb\xbf" + job_text.replace("\n", "\r\n").encode())

    job = read_job(path)

    assert job.knowns[0].text == "170 mm"


def test_what_the_note_on_squared_paper_says_to_write_is_read(job_text: str, tmp_path: Path) -> None:
    paper = cast(SquaredPaper, SimpleNamespace(families=[(SimpleNamespace(pitch_px=60.0), None)] * 2))
    advice = re.search(r'give (\S+ = "[^"]+") under (\[\[\w+\]\])', paper_noted(paper).text)
    assert advice is not None

    job = read_job(_kept(tmp_path, f"{job_text}\n{advice[2]}\n{advice[1]}\n"))

    assert job.ignore == (Found.SQUARED_PAPER,)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a = " + "[" * 3000 + "]" * 3000, "brackets"),
        ("version = " + "9" * 5000, "not a TOML file"),
        ("version = 1\0", "not a TOML file"),
    ],
)
def test_what_the_toml_reader_chokes_on_is_refused(text: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(ScantlingError, match=said):
        read_job(_kept(tmp_path, text))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    pipe = tmp_path / "job.toml"
    os.mkfifo(pipe)

    with pytest.raises(ScantlingError, match="a device or a pipe"):
        read_job(pipe)


LENGTH_OF_ITS_OWN = """
[build.length]
start_px = [79.6, 79.6]
end_px = [1439.6, 79.6]
length = "85 mm{give}"
marks = ["as given", "as given"]
"""


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda text: text + LENGTH_OF_ITS_OWN.format(give=""), "both a fraction and a length"),
        (lambda text: text.replace("\nfraction =", "\n#") + LENGTH_OF_ITS_OWN.format(give=" ± 1 mm"), "give or take"),
        (lambda text: text.replace("page = 1", "page = 1\ndpi = 203.2\ntrust_size = true"), "both trust_size and dpi"),
        (lambda text: text.replace("rows = 1", "rows = 0"), "rows = 0"),
        (lambda text: text.replace("rows = 1", "rows = 1000000"), "rows = 1000000"),
        (lambda text: text.replace('margin = "6.0 mm"', 'margin = "6 mm ± 2 mm"', 1), "give or take"),
        (lambda text: text + '[[regions]]\npoints_px = [[0, 0], [9, 9], [9, 0], [0, 9]]\nkeep = "in"\n', "cross"),
    ],
)
def test_a_job_that_says_two_things_or_nonsense_is_refused(
    job_text: str, spoil: Spoil, said: str, tmp_path: Path
) -> None:
    path = _kept(tmp_path, spoil(job_text))

    with pytest.raises(ScantlingError, match=said):
        read_job(path)


TRACE = "[[traces]]\nnodes_px = [[1e11, 1], [2, 2], [3, 3], [4, 4]]\nclosed = false\n"
REGION = '[[regions]]\npoints_px = [[-9e9, -9e9], [9e9, -9e9], [9e9, 9e9]]\nkeep = "in"\n'


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda text: text + TRACE, "far outside"),
        (lambda text: text + REGION, "far outside"),
        (lambda text: text.replace("origin_px = [", "origin_px = [1e11, 1.0] # ["), "far outside"),
        (lambda text: text.replace('file = "', 'file = "' + "a" * 5000), "is not there"),
        (lambda text: text.replace("rows = 1", "rows = 20000").replace("cols = 1", "cols = 20000"), ""),
    ],
)
def test_numbers_out_of_all_proportion_end_quickly(
    job_text: str, spoil: Spoil, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = _kept(tmp_path, spoil(job_text))

    code = main(["make", str(path), "-o", str(tmp_path / "out")])

    told = capsys.readouterr()
    if said:
        assert (code, told.err.count("\n")) == (2, 1)
        assert said in told.err
    else:
        assert code == 0
        assert "laid out anew" in told.out


# Someone edits a coordinate and leaves the word that it lies on the ink: it no longer does, and that is said.
def test_a_mark_moved_off_the_ink_by_hand_is_named(
    job_text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = _kept(tmp_path, job_text.replace("start_px = [79.", "start_px = [89."))

    code = main(["make", str(path), "-o", str(tmp_path / "out")])

    assert code == 0
    assert "The job says that it lies on the ink" in capsys.readouterr().out
    assert 'marks = ["as given", "ink"]' in (tmp_path / "out" / "job.toml").read_text()


@pytest.mark.parametrize("word", ["9" * 5000, "1" * 10, "nan,nan", "1e3,4", "\u0661", "x" * 5000])
def test_no_point_is_refused_without_repeating_all_of_it(word: str) -> None:
    with pytest.raises(ScantlingError, match="a point belongs") as refused:
        parse_points(word, option="--known")

    assert len(str(refused.value)) < 300


def test_a_margin_takes_no_give() -> None:
    with pytest.raises(ScantlingError, match="give or take"):
        parse_width_mm("6 mm ± 1 mm")


def test_a_scan_that_was_taken_for_a_photo_hears_why_and_how_to_say_otherwise(
    small_plan: SmallPlan, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Half of the sheet yellowed, and no border whole enough to tell by.
    pixels = np.asarray(Image.open(small_plan.path), np.float64)
    pixels[:, : pixels.shape[1] // 2] *= 0.7
    pixels[:, 200:600] = pixels[0, 300]
    plan = tmp_path / "plan.png"
    Image.fromarray(pixels.astype(np.uint8)).save(plan)
    known = f"{small_plan.typed(110, 75)} {small_plan.typed(150, 75)} = 40 mm"

    assert main(["make", str(plan), "-o", str(tmp_path / "out"), "--known", known]) == 2
    assert "Taken as a photo because its light is uneven" in (said := capsys.readouterr().err)
    assert said.rstrip().endswith("If it is a scan, say --kind scan.")
    assert main(["make", str(plan), "-o", str(tmp_path / "out"), "--known", known, "--kind", "scan"]) in (0, 1)
