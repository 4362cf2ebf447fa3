"""A job with straight lines, rubbed bands and measurements runs from its file, end to end."""

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from cli.main import main
from digitize.rubbed import Rub
from job.job import (
    Found,
    GivenCorners,
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
from job.make import refuse_changed
from job.observe import observe
from job.progress import Silent
from job.run import calibrate
from job.see import Seen, see
from printing.best_grid import PageGrid

PX_PER_MM = 8.0
SIZE_MM = (240.0, 170.0)
LINES_MM = (30.0, 80.0, 140.0)
"""Heights of three long lines."""
BAR_X_MM = (20.0, 220.0)
CELLS_MM = ((40.0, 90.0, 100.0, 130.0), (100.0, 97.0, 150.0, 123.0))
"""Two boxes (x0, y0, x1, y1) that share an edge at x = 100."""


def draw(path: Path) -> None:
    """Draw the plan four times finer, average it, bow it as a barrel lens does, and add noise."""
    scale = PX_PER_MM * 4
    sheet = np.full((round(SIZE_MM[1] * scale), round(SIZE_MM[0] * scale)), 245, np.uint8)

    def polyline(points: list[tuple[float, float]]) -> None:
        at = [(x * scale - 0.5, (SIZE_MM[1] - y) * scale - 0.5) for x, y in points]
        cv2.polylines(sheet, [np.rint(np.array(at)).astype(np.int32)], False, 30, round(0.4 * scale) | 1)

    for y in LINES_MM:
        polyline([(BAR_X_MM[0], y), (BAR_X_MM[1], y)])
    for x0, y0, x1, y1 in CELLS_MM:
        polyline([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)])
    small = cv2.resize(sheet, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    height, width = small.shape
    y, x = np.indices((height, width), dtype=np.float32)
    u, v = _undistorted(x, y)
    bowed = cv2.remap(small, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR, borderValue=245)
    noise = np.random.default_rng(3).normal(0, 2, bowed.shape)
    cv2.imwrite(str(path), np.clip(cv2.GaussianBlur(bowed, (0, 0), 0.7) + noise, 0, 255).astype(np.uint8))


K1 = 0.03
"""Barrel: a point at the picture's corner is seen about 3 % nearer its middle."""


def _undistorted(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where on the undistorted plan (px) a point of the picture comes from."""
    cx, cy = SIZE_MM[0] * PX_PER_MM / 2 - 0.5, SIZE_MM[1] * PX_PER_MM / 2 - 0.5
    r2 = ((x - cx) ** 2 + (y - cy) ** 2) / cx**2
    return cx + (x - cx) * (1 + K1 * r2), cy + (y - cy) * (1 + K1 * r2)


def px(x_mm: float, y_mm: float) -> tuple[float, float]:
    """Where a point of the plan is seen: the lens turned round by iteration."""
    u, v = x_mm * PX_PER_MM - 0.5, (SIZE_MM[1] - y_mm) * PX_PER_MM - 0.5
    x, y = u, v
    for _ in range(50):
        a, b = _undistorted(np.array(x), np.array(y))
        x, y = x + u - float(a), y + v - float(b)
    return x, y


def mark(x_mm: float, y_mm: float) -> Mark:
    """A mark put by hand."""
    return Mark(*(round(value, 3) for value in px(x_mm, y_mm)), Settled.AS_GIVEN)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    import hashlib

    path = tmp_path_factory.mktemp("bowed") / "plan.png"
    draw(path)
    sheet = Sheet(path, hashlib.sha256(path.read_bytes()).hexdigest(), kind=SheetKind.PHOTO)
    (x0, x1), y = BAR_X_MM, LINES_MM
    return Job(
        "bowed",
        sheet,
        corners=GivenCorners((mark(x0, y[2]), mark(x1, y[2]), mark(x1, y[0]), mark(x0, y[0])), "200 x 110 mm"),
        straights=tuple(GivenStraight(mark(x0 + 1, h), mark(x1 - 1, h)) for h in LINES_MM),
        ignore=(Found.BORDER, Found.SHEET),
    )


@pytest.fixture(scope="module")
def seen(job: Job) -> Seen:
    return see(job.sheet, job.ignore, Silent())


def test_straight_lines_tell_the_lens(job: Job, seen: Seen) -> None:
    refuse_changed(job.sheet)
    check = [px(x, y) for x, y in ((120.0, 30.0), (120.0, 140.0))]

    off_mm = {}
    for name, given in (("with", job), ("without", replace(job, straights=()))):
        observed = observe(given, seen)
        calibration = calibrate(given, seen, observed)
        off_mm[name] = abs(calibration.length(*check).mm - 110.0)

    assert [item.label for item in observe(job, seen).observations if "straight" in getattr(item, "label", "")] == [
        "straight line 1",
        "straight line 2",
        "straight line 3",
    ]
    assert off_mm["with"] < 0.3 * off_mm["without"]


def test_a_job_with_all_of_it_runs_from_its_file(job: Job, tmp_path: Path) -> None:
    band = Rub((px(100, 97), px(100, 110), px(100, 123)), 24.0)
    measure = KeptMeasure(MeasureKind.ANGLE, (mark(40, 90), mark(100, 90), mark(100, 130)), "square?")
    note = KeptMeasure(MeasureKind.NOTE, (mark(60, 100),), "3 mm balsa")
    whole = replace(job, rubbed=(band,), measures=(measure, note))
    areas = {}

    for name, one in (("apart", job), ("joined", whole)):
        folder = tmp_path / name
        folder.mkdir()
        (folder / "job.toml").write_text(job_text(one, folder=folder))
        assert main(["make", str(folder / "job.toml")]) in (0, 1)
        report = json.loads((folder / "report.json").read_text())
        areas[name] = sorted(outline["area_mm2"] for outline in report["outlines"])

    # Two boxes of 60 x 40 and 50 x 26 mm; rubbed, one outline of both.
    assert areas["apart"] == pytest.approx([1300.0, 2400.0], rel=0.01)
    assert areas["joined"] == pytest.approx([3700.0], rel=0.01)
    made = read_job(tmp_path / "joined" / "job.toml")
    assert made.rubbed == whole.rubbed
    assert made.straights == whole.straights
    assert made.measures == whole.measures


def test_pages_put_by_hand_lie_there_and_cover_the_drawing(job: Job, tmp_path: Path) -> None:
    origin_mm = (-33.5, -20.25)
    grid = KeptGrid(PageGrid(origin_mm, True, rows=1, cols=1), job.fraction, job.setup)
    (tmp_path / "job.toml").write_text(job_text(replace(job, kept_grid=grid), folder=tmp_path))

    assert main(["make", str(tmp_path / "job.toml")]) in (0, 1)

    kept = read_job(tmp_path / "job.toml").kept_grid
    assert kept is not None
    assert kept.grid.landscape
    step = job.setup.core_size_mm(landscape=True)
    for axis in (0, 1):
        steps = (kept.grid.origin_mm[axis] - origin_mm[axis]) / step[axis]
        assert steps == pytest.approx(round(steps), abs=1e-5)
    report = json.loads((tmp_path / "report.json").read_text())
    assert "pages-laid-anew" not in json.dumps(report["findings"])
    x0, y0, x1, y1 = report["drawing"]["bounds_mm"]
    tiles = report["pages"]["tiles"]
    assert min(tile["origin_mm"][0] for tile in tiles) <= x0
    assert max(tile["origin_mm"][0] + tile["size_mm"][0] for tile in tiles) >= x1
    assert min(tile["origin_mm"][1] for tile in tiles) <= y0
    assert max(tile["origin_mm"][1] + tile["size_mm"][1] for tile in tiles) >= y1
