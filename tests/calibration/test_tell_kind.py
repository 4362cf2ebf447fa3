"""Photo, scan or page: what each kind of evidence leads to, and that the reason is said."""

import numpy as np
import pytest

from calibration.border import find_border
from calibration.kind import Kind
from calibration.sheet import find_sheet
from calibration.tell_kind import convergence_deg, tell_kind
from drawing.findings import Level
from pictures.picture import Medium, Picture
from tests.calibration.finder_scenes import BORDER_MM, Camera, closed, draw, ink_of, parts, picture, tilted, turned

PLAIN = np.full((300, 400), 240, np.uint8)


def _told(shown: Picture) -> tuple[Kind, str]:
    sheet = find_sheet(shown)
    kind, finding = tell_kind(shown, border=find_border(ink_of(shown), sheet_px=sheet), sheet_px=sheet)
    assert finding.level is Level.NOTE
    return kind, finding.text


@pytest.mark.parametrize(
    ("camera", "kind", "why"),
    [
        (tilted(bow=0.0), Kind.PHOTO, "converge by"),
        (Camera(turned(0.4).matrix, -0.02), Kind.PHOTO, "bow by"),
        (turned(0.4), Kind.SCAN, "parallel"),
        (turned(-8.0), Kind.SCAN, "parallel"),
    ],
)
def test_a_border_tells_by_its_sides(camera: Camera, kind: Kind, why: str) -> None:
    told, text = _told(draw([closed(BORDER_MM), *parts()], camera))

    assert told is kind
    assert why in text


def test_the_way_to_say_otherwise_is_named() -> None:
    _, of_photo = tell_kind(picture(PLAIN, focal_35mm=26.0), border=None, sheet_px=None)
    _, of_scan = tell_kind(picture(PLAIN), border=None, sheet_px=None)

    assert "--kind scan" in of_photo.text
    assert "--kind photo" in of_scan.text


def test_a_focal_length_makes_a_photo_and_black_and_white_a_scan_and_a_pdf_of_lines_a_page() -> None:
    assert tell_kind(picture(PLAIN, focal_35mm=26.0), border=None, sheet_px=None)[0] is Kind.PHOTO
    assert tell_kind(picture(PLAIN, bilevel=True), border=None, sheet_px=None)[0] is Kind.SCAN
    assert tell_kind(picture(PLAIN, medium=Medium.PDF_PAGE), border=None, sheet_px=None)[0] is Kind.PAGE
    assert tell_kind(picture(PLAIN, medium=Medium.PDF_IMAGE), border=None, sheet_px=None)[0] is Kind.SCAN


def test_a_plan_without_a_border_is_told_by_its_papers_edge() -> None:
    paper = np.array([[0.0, 0], [400, 0], [400, 300], [0, 300]])

    told, text = _told(draw(parts(), tilted(bow=0.0), paper_mm=paper))

    assert told is Kind.PHOTO
    assert "paper's edges converge" in text


def test_uneven_light_makes_a_photo() -> None:
    shown = draw(parts(), turned(0.5))
    light = np.linspace(0.6, 1.0, 1200)[None, :]

    told, text = _told(picture((shown.grey * light).astype(np.uint8)))

    assert told is Kind.PHOTO
    assert "light" in text


def test_convergence_is_the_angle_between_opposite_sides() -> None:
    # By hand: the right side leans by atan(1 / 100) = 0.573 degrees, the upper and lower sides are parallel.
    corners = np.array([[0.0, 0], [100, 0], [101, 100], [0, 100]])

    assert convergence_deg(corners) == pytest.approx(0.5729, abs=1e-3)
