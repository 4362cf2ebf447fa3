"""Command lines as clumsy and hostile people write them."""

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from cli.main import main
from tests.small_plan import SmallPlan


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--build-length", "1 1 = 50 mm"], "two places"),
        (["--build-length", "80,80 81,81 = 50 mm"], "two places"),
        (["--build-length", "1 2 = 0.02 mm"], "1/2000"),
        (["--build-length", "1 2 = 900 m"], "between"),
        (["--build-length", "1 2 = 85 mm ± 1 mm"], "give or take"),
        (["--margin", "6 mm ± 1 mm"], "give or take"),
        (["--region", "100,100 900,900 900,100 100,900", "--as-given"], "cross"),
        (["--region", "1460,1000 1500,1000 1500,1030 1460,1030"], "widen a region"),
        (["--known", "9" * 5000 + " 2 = 170 mm"], "a point belongs"),
    ],
)
def test_a_slip_is_one_sentence_and_writes_nothing(
    small_plan: SmallPlan, tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str], said: str
) -> None:
    out = tmp_path / "out"

    code = main(["make", str(small_plan.path), "-o", str(out), "--known", "1 2 = 170 mm", *more])

    told = capsys.readouterr()
    assert code == 2
    assert told.err.startswith("scantling: ")
    assert told.err.count("\n") == 1
    assert said in told.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("between", ["1 1", "80,80 82,80"])
def test_a_length_between_one_point_is_refused(
    small_plan: SmallPlan, capsys: pytest.CaptureFixture[str], between: str
) -> None:
    code = main(["measure", str(small_plan.path), "--known", "1 2 = 170 mm", "--between", between])

    assert code == 2
    assert "needs two places" in capsys.readouterr().err


NOT_TEXT = b"plan-\xff.png"
"""A name as old disks hold them: no text in UTF-8."""


def test_a_picture_whose_name_is_no_text_is_refused(
    small_plan: SmallPlan, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    name = os.fsdecode(NOT_TEXT)
    try:
        Path(name).write_bytes(small_plan.path.read_bytes())
    except OSError:
        pytest.skip("this disk takes no such name")

    for command in (["look", name], ["make", name, "--known", "1 2 = 170 mm"]):
        assert main(command) == 2
        assert "not readable text" in capsys.readouterr().err
    assert main(["make", str(small_plan.path), "--known", "1 2 = 170 mm", "-o", os.fsdecode(b"out-\xff")]) == 2
    assert len(list(tmp_path.iterdir())) == 1


def _run(arguments: list[str], **more: Any) -> subprocess.CompletedProcess[bytes]:
    script = "import sys; from cli.main import main; sys.exit(main(sys.argv[1:]))"
    return subprocess.run([sys.executable, "-c", script, *arguments], stderr=subprocess.PIPE, check=False, **more)


def _measured(plan: SmallPlan) -> list[str]:
    return ["measure", str(plan.path), "--known", "1 2 = 170 mm", "--between", "1 2"]


# cp437, the console of older Windows, has no ± and no true minus as Unicode writes it.
def test_a_terminal_without_our_signs_is_no_reason_to_fail(small_plan: SmallPlan) -> None:
    ran = _run(_measured(small_plan), stdout=subprocess.PIPE, env={**os.environ, "PYTHONIOENCODING": "cp437"})

    assert (ran.returncode, ran.stderr) == (0, b"")
    assert b"170.00 mm" in ran.stdout


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
@pytest.mark.parametrize("arguments", [["--help"], None])
def test_a_full_disk_under_our_output_is_one_sentence(small_plan: SmallPlan, arguments: list[str] | None) -> None:
    with Path("/dev/full").open("wb") as full:
        ran = _run(arguments or _measured(small_plan), stdout=full)

    assert ran.returncode == 2
    assert ran.stderr.count(b"\n") == 1


def test_a_reader_that_leaves_early_does_not_change_the_exit_code(small_plan: SmallPlan) -> None:
    reader, writer = os.pipe()
    os.close(reader)
    disagreeing = ["--check", f"{small_plan.typed(20, 75)} {small_plan.typed(150, 75)} = 134 mm"]

    ran = _run([*_measured(small_plan), *disagreeing], stdout=writer)

    os.close(writer)
    assert (ran.returncode, ran.stderr) == (1, b"")


def test_control_signs_do_not_reach_the_terminal(
    small_plan: SmallPlan, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    odd = tmp_path / "a\x1b[31m\u202eb.png"
    try:
        odd.write_bytes(small_plan.path.read_bytes())
    except OSError:
        pytest.skip("this disk takes no such name")

    assert main(["make", str(odd), "--known", "1 2 = 170 mm", "-o", str(tmp_path / "out")]) == 0
    assert main(["look", str(tmp_path / "b\x1b[31m.png")]) == 2

    told = capsys.readouterr()
    assert "\x1b" not in told.out + told.err
    assert "\u202e" not in told.out


@pytest.mark.parametrize("to", ["{plan}", "other.jpg", "file/x.html", "nowhere/x.html", "folder.html"])
def test_look_never_overwrites_a_picture(
    small_plan: SmallPlan, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, to: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "plan.png").write_bytes(small_plan.path.read_bytes())
    (tmp_path / "other.jpg").write_text("another plan")
    (tmp_path / "file").write_text("a file")
    (tmp_path / "folder.html").mkdir()
    before = {path: path.is_dir() or path.read_bytes() for path in tmp_path.rglob("*")}

    code = main(["look", "plan.png", "-o", to.replace("{plan}", "plan.png")])

    told = capsys.readouterr()
    assert (code, told.err.count("\n")) == (2, 1)
    assert {path: path.is_dir() or path.read_bytes() for path in tmp_path.rglob("*")} == before


def test_a_picture_named_as_a_result_is_not_overwritten(
    small_plan: SmallPlan, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = tmp_path / "flat.png"
    picture.write_bytes(small_plan.path.read_bytes())

    code = main(["make", str(picture), "--known", "1 2 = 170 mm", "-o", str(tmp_path)])

    assert code == 2
    assert "is the picture itself" in capsys.readouterr().err
    assert picture.read_bytes() == small_plan.path.read_bytes()
    assert list(tmp_path.iterdir()) == [picture]


def test_no_word_at_all_shows_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    code = main([])

    told = capsys.readouterr()
    assert (code, told.err) == (0, "")
    assert "Commands" in told.out


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_shell_is_taught_our_commands(shell: str) -> None:
    script = "from cli.main import run; run()"

    words = {"COMP_WORDS": "scantling m", "COMP_CWORD": "1", "_TYPER_COMPLETE_ARGS": "scantling m"}
    more = {"_SCANTLING_COMPLETE": f"complete_{shell}", "_TYPER_COMPLETE_FISH_ACTION": "get-args"}
    ran = subprocess.run(
        [sys.executable, "-c", script], env={**os.environ, **words, **more}, capture_output=True, text=True, check=False
    )

    assert (ran.returncode, ran.stderr) == (0, "")
    assert "make" in ran.stdout
    assert "look" not in ran.stdout
