"""A plate alone on its sheet looks as a border does: that it was taken for one is said."""

import json
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from cli.main import main
from tests.small_plan import SmallPlan


def test_a_plate_taken_for_the_border_is_told_and_can_be_had_as_a_part(tmp_path: Path) -> None:
    sheet = np.full((900, 1300), 245, np.uint8)
    cv2.rectangle(sheet, (150, 150), (1150, 750), 30, 4)
    cv2.circle(sheet, (650, 450), 120, 30, 4)
    cv2.circle(sheet, (350, 450), 60, 30, 4)
    plan, folder = tmp_path / "plate.png", tmp_path / "out"
    Image.fromarray(cv2.GaussianBlur(sheet, (0, 0), 0.8)).save(plan)

    main(["make", str(plan), "--dpi", "254", "-o", str(folder)])

    report = json.loads((folder / "report.json").read_text())
    told = [finding["text"] for finding in report["findings"] if finding["code"] == "border-or-part"]
    widths = [round(outline["width_mm"]) for outline in report["outlines"]]
    assert len(told) == 1
    assert 100 not in widths
    job = (folder / "job.toml").read_text()
    (folder / "job.toml").write_text(f'{job}\n[[ignore]]\nfound = "drawn border"\n')
    main(["make", str(folder / "job.toml")])
    report = json.loads((folder / "report.json").read_text())
    assert [round(outline["width_mm"]) for outline in report["outlines"]] == [100]
    assert report["outlines"][0]["holes"] == 2


def test_nothing_is_said_of_a_border_round_a_plan(small_plan: SmallPlan, tmp_path: Path) -> None:
    main(["make", str(small_plan.path), "--known", "1 2 = 170 mm", "-o", str(tmp_path / "out")])

    report = json.loads((tmp_path / "out" / "report.json").read_text())
    assert "border-or-part" not in [finding["code"] for finding in report["findings"]]
