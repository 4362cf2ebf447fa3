"""Cards on a plan, end to end: printed, found, and the only thing that a picture's scale rests on."""

import json
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
from PIL import Image

from calibration.card_design import LONG_BAR_MM, SHORT_BAR_MM, CardDesign
from cli.main import main
from drawing.papers import PAPERS
from drawing.units import MM_PER_INCH, MM_PER_PT
from job.cards import parse_card_bar
from job.cards_sheet import card_places_mm
from job.errors import JobError
from tests.plan_with_cards import board_image, draw_plan_with_cards
from tests.small_plan import PX_PER_MM, SmallPlan

FRAME_WIDTH_MM = 170.0


@pytest.fixture(scope="module")
def picture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a scan of the small plan with two cards of 40 mm beside it."""
    path = tmp_path_factory.mktemp("cards") / "plan.png"
    Image.fromarray(draw_plan_with_cards()).save(path)
    return path


def made(folder: Path) -> dict:
    return json.loads((folder / "report.json").read_text())


def test_make_needs_no_click_and_no_other_length(picture: Path, tmp_path: Path) -> None:
    assert main(["make", str(picture), "--card-bar", "200 x 150 mm", "-o", str(tmp_path / "out")]) == 0

    report = made(tmp_path / "out")
    assert report["calibration"]["mm_per_px"] == pytest.approx(1 / PX_PER_MM, rel=0.001)
    widths = sorted(outline["width_mm"] for outline in report["outlines"])
    assert any(width == pytest.approx(80, abs=0.3) for width in widths)
    assert any(width == pytest.approx(130, abs=0.3) for width in widths)
    # No square and no marker of a card is a part.
    assert not any(3 < width < 45 for width in widths)
    assert [other["kind"] for other in report["calibration"]["others"]].count("card") == 2


def test_a_printer_that_is_off_is_taken_out_by_its_bars(picture: Path, tmp_path: Path) -> None:
    assert main(["make", str(picture), "--card-bar", "198 x 148.5 mm", "-o", str(tmp_path / "out")]) == 0

    assert made(tmp_path / "out")["calibration"]["mm_per_px"] == pytest.approx(0.99 / PX_PER_MM, rel=0.001)


def test_the_written_job_makes_the_same_job_again(picture: Path, tmp_path: Path) -> None:
    folder = tmp_path / "out"
    main(["make", str(picture), "--card-bar", "199.4 mm", "-o", str(folder)])
    before = {name: (folder / name).read_bytes() for name in ("job.toml", "outlines.svg", "outlines.dxf", "pages.pdf")}

    assert main(["make", str(folder / "job.toml")]) == 0

    assert {name: (folder / name).read_bytes() for name in before} == before
    assert 'kind = "card bar"' in before["job.toml"].decode()


def test_unmeasured_cards_are_for_the_builder_to_decide(picture: Path, tmp_path: Path) -> None:
    assert main(["make", str(picture), "-o", str(tmp_path / "out")]) == 1

    findings = {finding["code"]: finding for finding in made(tmp_path / "out")["findings"]}
    assert findings["cards-size-taken"]["level"] == "decide"
    assert "--card-bar" in findings["cards-size-taken"]["text"]
    assert "cards 1 and 2" in findings["cards-found"]["text"]


def test_the_drawn_scale_makes_the_plan_larger_than_its_paper(
    picture: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["--card-bar", "200 x 150 mm", "--drawn-at", "1/4", "--between", "79.5,959.5 1439.5,959.5", "--json"]

    assert main(["measure", str(picture), *arguments]) == 0

    (length,) = json.loads(capsys.readouterr().out)["lengths"]
    assert length["full_mm"] == pytest.approx(4 * FRAME_WIDTH_MM, rel=0.001)


def test_cards_can_be_ignored(picture: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "out"
    main(["make", str(picture), "--card-bar", "200 mm", "-o", str(folder)])
    job = folder / "job.toml"
    job.write_text(job.read_text().replace("\n[build]", '\n[[ignore]]\nfound = "cards"\n\n[build]', 1))
    capsys.readouterr()

    assert main(["make", str(job)]) == 2

    assert "Nothing tells how large" in capsys.readouterr().err


def test_a_bar_without_cards_is_refused(
    small_plan: SmallPlan, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["make", str(small_plan.path), "--card-bar", "199 mm", "-o", str(tmp_path / "out")]

    assert main(arguments) == 2

    assert "no card that can be measured was found" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["199", "150 mm", "149.6 x 199.4 mm", "20 cm x", "", "nan mm", "1 km"])
def test_a_bar_that_cannot_be_is_refused_in_one_sentence(text: str) -> None:
    with pytest.raises(JobError, match="bar"):
        parse_card_bar(text)


def test_bars_are_read_as_printed_over_drawn() -> None:
    (long,) = parse_card_bar("199 mm")
    both = parse_card_bar("7.835 x 5.9 in")

    assert long[:2] == (1, pytest.approx(0.995))
    assert [axis for axis, _, _ in both] == [1, 0]
    assert both[0][1] == pytest.approx(7.835 * MM_PER_INCH / 200)
    assert both[1][1] == pytest.approx(5.9 * MM_PER_INCH / 150)


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> np.ndarray:
    """Give the first sheet as pdfium draws it, 10 px to a mm."""
    path = tmp_path_factory.mktemp("sheet") / "cards.pdf"
    assert main(["cards", "-o", str(path)]) == 0
    with pypdfium2.PdfDocument(path) as document:
        assert document[0].get_size() == pytest.approx((210 / MM_PER_PT, 297 / MM_PER_PT), abs=0.01)
        # 0 is "no scaling": FPDF_VIEWERREF_GetPrintScaling of pdfium.
        assert pypdfium2.raw.FPDF_VIEWERREF_GetPrintScaling(document.raw) == 0
        drawn = document[0].render(scale=10 * MM_PER_PT, grayscale=True).to_numpy()
    # The bitmap is rounded up to whole px, and grey may be its third axis.
    return drawn.reshape(*drawn.shape[:2])[:2970, :2100]


# pdfium draws the sheet, OpenCV the card (CharucoBoard.generateImage).
@pytest.mark.parametrize("number", [1, 6])
def test_a_printed_card_is_opencvs_board(sheet: np.ndarray, number: int) -> None:
    x_mm, y_mm = card_places_mm(PAPERS["a4"], 60.0)[number - 1]
    left, top = round(10 * (x_mm - 30)), round(10 * (297 - y_mm - 30))

    printed = sheet[top : top + 600, left : left + 600]

    different = (printed < 128) != (board_image(CardDesign(number), 600) < 128)
    # Edges of markers' cells lie between whole px and are rounded one way or the other.
    assert different.mean() < 0.02
    opened = cv2.morphologyEx(different.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    assert opened.sum() == 0


def test_the_sheets_bars_are_as_long_as_they_say(sheet: np.ndarray) -> None:
    dark = sheet < 100
    # The ticks' middles: rows of the band at the left that hold dark runs 5 mm long, columns of the band at the foot.
    rows = np.flatnonzero(dark[:, 60:150].sum(axis=1) > 50)
    columns = np.flatnonzero(dark[2830:2910, :].sum(axis=0) > 50)
    low = rows[rows > 600]

    assert (low.max() + low[low > low.max() - 8].min()) / 2 - (low.min() + low[low < low.min() + 8].max()) / 2 == (
        pytest.approx(10 * LONG_BAR_MM, abs=1)
    )
    assert (columns.max() + columns[columns > columns.max() - 8].min()) / 2 - (
        columns.min() + columns[columns < columns.min() + 8].max()
    ) / 2 == pytest.approx(10 * SHORT_BAR_MM, abs=1)


def test_the_same_cards_are_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.pdf", "b.pdf"):
        assert main(["cards", "-o", str(tmp_path / name), "--paper", "letter", "--size", "100mm"]) == 0

    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--size", "65mm"], "40, 60, 80, 100, 120, 150 mm"),
        (["--paper", "A5"], "take A4 or larger"),
        (["--size", "60"], "unit"),
        (["-o", "plan.jpg"], ".pdf"),
        (["-o", "no-such-folder/cards.pdf"], "cannot be written"),
    ],
)
def test_sheets_that_cannot_be_are_refused_in_one_sentence(
    arguments: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)

    assert main(["cards", *arguments]) == 2

    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1
    assert list(tmp_path.iterdir()) == []
