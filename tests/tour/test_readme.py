"""What the README shows is there, light, and what a newcomer sees."""

import re
from pathlib import Path

import pytest
from PIL import Image

from job.demo import SAMPLE
from job.look import look
from job.progress import Silent
from sample_scans.files import known_marks_px, sample_path
from tour.make_pictures import LARGEST_BYTES, known_labels

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
PICTURES = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", README)


SCREEN_PX = 1280
"""Width of the smallest screen the page is made for: its pictures are shown as they are, unblurred."""


def test_the_readme_shows_the_page_first_and_then_the_command_line() -> None:
    page = [f"tour/trace-{step}.png" for step in ("scale", "trace", "pages")]
    assert [*page, "tour/photo.jpg", "tour/look.png", "tour/report.png", "tour/pages.png"] == PICTURES


@pytest.mark.parametrize("name", PICTURES)
def test_its_pictures_are_there_and_light(name: str) -> None:
    path = ROOT / name

    with Image.open(path) as image:
        assert 1000 <= image.width <= SCREEN_PX
    assert path.stat().st_size <= LARGEST_BYTES


def test_the_numbers_in_its_command_are_those_of_the_sample(tmp_path: Path) -> None:
    """Where this fails the points are numbered anew: run `python -m tour.make_pictures`, then correct the README."""
    command = re.search(r'scantling make plan\.jpg --known "(\d+) (\d+) = ([^"]+)"', README)
    looked = look(sample_path(SAMPLE), page=1, to=tmp_path / "look.html", progress=Silent())

    assert command is not None
    assert [command[1], command[2]] == known_labels(looked.landmarks_px)
    assert command[3] == f"{known_marks_px(SAMPLE)[0][2]:g} mm"
