"""The whole program on pages drawn with vectors."""

import os
from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pytest

from benchmarks.vector_error import panel_apart, panel_drawing
from benchmarks.vector_pages import vector_page
from job.job import LinesFrom, Sheet
from job.job_file import JOB_NAME
from job.make import Typed, make
from job.points import TypedLength
from job.progress import Silent
from job.see import see
from tracing.packed import packed, unpacked

OFF_MM = 0.01
"""What a vector page is held to."""


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a page of parts in a program's own curves."""
    return vector_page(tmp_path_factory.mktemp("pages") / "parts.pdf", seed=4, kind="curves").path


# Source of truth: the DXF that the panel's makers publish beside its PDF, read with ezdxf. The PDF is 0.07 % larger
# by its own page, so its width is given.
@pytest.mark.skipif("SCANTLING_REAL" not in os.environ, reason="needs the real files")
def test_the_panel_agrees_with_its_dxf_within_a_hundredth_of_a_millimetre(tmp_path: Path) -> None:
    real = Path(os.environ["SCANTLING_REAL"])

    drawing, size_mm = panel_drawing(real / "panel_life_size.pdf", tmp_path / "panel")

    assert size_mm == pytest.approx((254.166, 125.809), abs=0.01)
    apart = panel_apart(drawing, real / "panel.dxf")
    assert len(apart) == 25
    assert max(each.max() for each in apart) <= OFF_MM
    written = ezdxf.readfile(tmp_path / "panel" / "outlines.dxf").modelspace()
    assert sum(entity.dxf.layer == "HOLES" for entity in written) == 24


def test_points_of_look_scale_the_page_and_doing_it_again_gives_the_same_files(page: Path, tmp_path: Path) -> None:
    seen = see(Sheet(page, sha256=""), (), Silent())
    far = np.hypot(*(seen.landmarks_px - seen.landmarks_px[0]).T)
    other = int(far.argmax())
    known = TypedLength(1, other + 1, f"{far[other] / 300 * 25.4 * 2:.6f} mm")

    made = make(page, Typed(knowns=(known,)), folder=tmp_path / "made", progress=Silent())
    first = {path.name: path.read_bytes() for path in (tmp_path / "made").iterdir()}
    make(tmp_path / "made" / JOB_NAME, Typed(), folder=None, progress=Silent())

    assert made.calibration.mm_per_px == pytest.approx(2 * 25.4 / 300, rel=1e-5)
    for name in ("outlines.svg", "outlines.dxf", "flat.png", "pages.pdf", JOB_NAME):
        assert (tmp_path / "made" / name).read_bytes() == first[name], name
    assert b"PDF page's own" in first["report.json"]


def test_the_job_may_ask_for_the_picture_instead(page: Path) -> None:
    sheet = Sheet(page, sha256="")

    own = see(sheet, (), Silent())
    looked = see(replace(sheet, lines=LinesFrom.PICTURE), (), Silent())

    assert all(link.own is not None for link in own.strokes.links)
    assert not any(link.own is not None for link in looked.strokes.links)
    assert "page-lines" not in {finding.code for finding in looked.findings}


def test_the_pages_own_curves_travel_between_processes(page: Path) -> None:
    seen = see(Sheet(page, sha256=""), (), Silent())

    back = unpacked(packed(seen), seen.picture.grey)

    for link, other in zip(seen.strokes.links, back.strokes.links, strict=True):
        assert link.own is not None
        assert other.own is not None
        assert (link.own.pieces_px() == other.own.pieces_px()).all()
        assert link.dashed == other.dashed
