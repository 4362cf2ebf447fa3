"""Names from lettering, end to end: the bundled plan's parts are named as the plan's truth names them."""

from pathlib import Path

import numpy as np
import pytest
import shapely

from calibration.calibration import Calibration
from digitize.draw_outlines import Drawn
from drawing.drawing import Drawing, Kind, Outline
from drawing.findings import Level
from drawing.paths import polyline
from job.make import Typed, make
from job.names import with_names_read
from job.points import TypedLength
from job.progress import Silent
from pictures.read import read_picture
from pictures.words import Word, read_words, reader_installed
from sample_scans.files import known_marks_px, sample_path
from sample_scans.generate import PHOTO, SCAN, cameras
from sample_scans.plan import school_plan

needs_reader = pytest.mark.skipif(not reader_installed(), reason="no optical reader is installed")


class AsDrawn:
    """A map that leaves places where they are, for plans drawn in px."""

    def to_plan(self, points_px: np.ndarray) -> np.ndarray:
        return points_px


def _drawn(*names: str) -> Drawn:
    """Squares of 100 mm in a row, 50 mm apart."""
    outlines = [
        Outline(
            number + 1,
            polyline(np.add([[0, 0], [100, 0], [100, 100], [0, 100]], [150.0 * number, 0]), closed=True),
            (),
            (150.0 * number + 50, 50),
            1e4,
            kind=Kind.PART,
            name=name,
        )
        for number, name in enumerate(names)
    ]
    return Drawn(Drawing(tuple(outlines), ()), ())


def _word(text: str, x: float, y: float) -> Word:
    return Word(text, np.array([[x, y], [x + 20, y], [x + 20, y + 5], [x, y + 5]]))


def test_what_a_person_called_a_part_stands_and_the_rest_is_told() -> None:
    calibration: Calibration = AsDrawn()  # type: ignore[assignment]
    words = (_word("RIB", 40, 50), _word("FIN", 190, 50))

    drawn = with_names_read(_drawn("mine", ""), words, calibration)

    assert [part.name for part in drawn.drawing.outlines] == ["mine", "FIN"]
    (told,) = drawn.findings
    assert told.level is Level.NOTE
    assert "2 FIN" in told.text
    assert "RIB" not in told.text
    # The key that the job file reads.
    assert 'found = "names" under [[ignore]]' in told.text


def test_without_lettering_nothing_is_named_or_said() -> None:
    calibration: Calibration = AsDrawn()  # type: ignore[assignment]

    drawn = with_names_read(_drawn("", ""), (), calibration)

    assert [part.name for part in drawn.drawing.outlines] == ["", ""]
    assert drawn.findings == ()


@needs_reader
def test_lettering_of_the_bundled_scan_is_read_where_it_stands() -> None:
    words = {word.text: word for word in read_words(read_picture(sample_path(SCAN)).grey)}
    camera = cameras(school_plan()).scan

    for name in ("FIN", "TAILPLANE", "CABIN SIDE", "STRUT", "BRACE"):
        (part,) = (part for part in school_plan().parts if part.name == name)
        boundary = shapely.Polygon(camera.to_picture(part.boundary_mm))
        assert boundary.contains(shapely.Polygon(words[name].corners_px).centroid), name


@needs_reader
@pytest.mark.parametrize("sample", [SCAN, PHOTO])
def test_parts_of_the_bundled_pictures_get_their_own_names_alone(sample: str, tmp_path: Path) -> None:
    by = cameras(school_plan())
    camera = by.scan if sample == SCAN else by.photo
    start_px, end_px, mm = known_marks_px(sample)[0]
    typed = Typed(knowns=(TypedLength(start_px, end_px, f"{mm} mm"),))

    made = make(sample_path(sample), typed, folder=tmp_path / "out", progress=Silent())

    truths = [(part.name, shapely.Polygon(camera.to_picture(part.boundary_mm))) for part in school_plan().parts]
    named = [(outline.name, shapely.Point(outline.inside_px)) for outline in made.plan.outlines if outline.name]
    assert len(named) >= 12
    for name, at in named:
        assert name in [true for true, boundary in truths if boundary.contains(at)]
