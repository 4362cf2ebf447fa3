"""Squared paper in the whole program: said with its spacing, its crossings can be marked, its lines kept on demand."""

import re
from pathlib import Path

import pytest

from digitize.draw_outlines import draw_outlines
from job.job import Found, Sheet
from job.make import Typed, make
from job.points import TypedLength
from job.progress import Silent
from job.see import see
from tests.pictures.plans import real, real_file

# 0.2 in squares: 20 of them in x are 101.6 mm, between crossings placed by the collection's measured pitch.
TWENTY_SQUARES = TypedLength((436.1, 922.4), (1634.7, 922.4), "101.6 mm")


@real
def test_graph_papers_spacing_is_told_in_mm(tmp_path: Path) -> None:
    made = make(
        real_file("graph_paper_scan.jpg"), Typed(knowns=(TWENTY_SQUARES,)), folder=tmp_path / "out", progress=Silent()
    )

    text = next(finding.text for finding in made.findings if finding.code == "squared-paper")
    apart = [float(figure) for figure in re.findall(r"\d+\.\d+", text)]
    assert apart == pytest.approx([5.08, 5.08], abs=0.02)
    # Both marks went to crossings of the paper.
    assert sum(finding.code == "mark-moved" for finding in made.findings) == 2


@real
def test_no_part_of_graph_paper_is_one_of_its_squares() -> None:
    seen = see(Sheet(real_file("graph_paper_scan.jpg"), sha256=""), (), Silent())

    drawn = draw_outlines(seen.strokes.mapped(lambda points: points * 5.08 / 60), tolerance_mm=None)
    # Loops of its handwriting may be taken for parts; with the paper's lines in, a thousand squares were.
    assert len(drawn.drawing.outlines) <= 4
    assert len(seen.strokes.links) < 700


@real
def test_squared_papers_lines_are_kept_on_demand() -> None:
    ignored = see(Sheet(real_file("graph_paper_scan.jpg"), sha256=""), (Found.SQUARED_PAPER,), Silent())

    assert ignored.paper is None
    assert len(ignored.strokes.links) > 2000
