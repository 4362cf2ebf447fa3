"""Print how far lengths are off that rest on cards alone, and on cards with a bar or a length, against what is said.

First many views of a simulated A1 sheet: the camera is not the fitted model (pinhole with forward k1, k2 and a
principal point off by 0.4 % of the width), files' focal lengths are 2 % off, printers 1 %. Then rendered 12 MP photos:
the cards' own PDF, drawn by pdfium, lies on the bundled plan in uneven light, and the program finds it.
Run: python -m benchmarks.cards_error [--views N] [--photos N] [--seed S] [--only NAME]
"""

import argparse
import math
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pypdfium2

from benchmarks.laid_cards import PX_PER_MM, Lying, Print, photo_with_cards
from calibration.adjust import adjust
from calibration.calibration import Calibration
from calibration.card_design import LONG_BAR_MM, SHORT_BAR_MM, CardDesign
from calibration.card_finder import FoundCard, find_cards
from calibration.kind import Kind
from calibration.observations import CLICK_SIGMA_PX, DRAUGHTING_MM, Cards, KnownDistance, LaidCard, Observation
from calibration.plane_map import Floats
from drawing.papers import PAPERS
from drawing.units import MM_PER_PT
from job.cards import READ_GIVE_MM, cards_observed
from job.cards_sheet import card_places_mm, write_cards
from job.job import Job, Sheet
from sample_scans.camera import Camera, camera_for, random_view
from sample_scans.photo import PhotoLook
from sample_scans.plan import school_plan

SHEET_MM = np.array([[0.0, 594.0], [841.0, 594.0], [841.0, 0.0], [0.0, 0.0]])
LENGTHS = 25
SHORTEST_MM = 50.0
CORNER_SIGMA_PX = 0.04
"""What the finder's corners are off in rendered photos, root mean square over blurs of 0.6-1.3 px and noise of 1-3;
the last line of the output measures it again."""

INSET_MM = 60.0
"""A card's middle from the sheet's edges."""


@dataclass(frozen=True)
class Printer:
    """What a printer makes of a mm in x and in y."""

    scale: tuple[float, float] = (1.0, 1.0)


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--views", type=int, default=300)
    parser.add_argument("--photos", type=int, default=8)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="part of the names of the rows of the first table to print")
    chosen = parser.parse_args()
    print(f"seed {chosen.seed}, {chosen.views} views x {LENGTHS} lengths; errors in % of the length")
    print(f"{'':46}{'median':>8}{'95 %':>8}{'max':>8}{'cover':>8}{'u95':>8}{'ms':>6}  findings")
    for name, gather in rows().items():
        if chosen.only not in name:
            continue
        _simulated(name, gather, views=chosen.views, seed=chosen.seed)
    if chosen.photos:
        _rendered(chosen.photos, chosen.seed)


Gather = Callable[[np.random.Generator, Camera], tuple[Observation, ...]]


def rows() -> dict[str, Gather]:
    """Give the rows of the first table."""
    exact = Printer()
    return {
        "four cards, printed as drawn and known to be": lambda rng, camera: (_laid(rng, camera, 4, exact, known=True),),
        "two cards, the same": lambda rng, camera: (_laid(rng, camera, 2, exact, known=True),),
        "one card, the same": lambda rng, camera: (_laid(rng, camera, 1, exact, known=True),),
        "four cards, printer 1 % off, one long known": _with_length,
        "four cards, printer 1 % off, long bar": lambda rng, camera: (_with_bars(rng, camera, 1),),
        "four cards, printer 1 % off, both bars": lambda rng, camera: (_with_bars(rng, camera, 2),),
    }


def _simulated(name: str, gather: Gather, *, views: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    errors, gives, spent = [], [], 0.0
    codes: Counter[str] = Counter()
    for _ in range(views):
        camera = camera_for(SHEET_MM, random_view(rng), width_px=4000, height_px=3000)
        observations = gather(rng, camera)
        begin = time.process_time()
        calibration = _adjusted(observations, camera, rng)
        spent += time.process_time() - begin
        codes.update({finding.code for finding in calibration.findings})
        error, give = _lengths(rng, calibration, camera, SHEET_MM)
        errors.append(error)
        gives.append(give)
    _print(name, np.concatenate(errors), np.concatenate(gives), spent / views, codes)


def _adjusted(observations: Sequence[Observation], camera: Camera, rng: np.random.Generator) -> Calibration:
    return adjust(
        observations,
        width_px=camera.width_px,
        height_px=camera.height_px,
        kind=Kind.PHOTO,
        focal_35mm=camera.focal_35mm * (1 + 0.02 * rng.choice([-1, 1])),
    )


def _lengths(
    rng: np.random.Generator, calibration: Calibration, camera: Camera, sheet_mm: Floats
) -> tuple[Floats, Floats]:
    """Give error and give or take, as parts, of random lengths up to the sheet's diagonal."""
    low, high = sheet_mm.min(axis=0), sheet_mm.max(axis=0)
    starts, ends = rng.uniform(low, high, (2, 4 * LENGTHS, 2))
    far = np.hypot(*(ends - starts).T) >= SHORTEST_MM
    starts, ends = starts[far][:LENGTHS], ends[far][:LENGTHS]
    true = np.hypot(*(ends - starts).T)
    mm, u95_mm = calibration.lengths_u95(camera.to_picture(starts), camera.to_picture(ends), mark_sigma_px=0.0)
    return (mm - true) / true, u95_mm / true


def _print(name: str, error: Floats, give: Floats, seconds: float, codes: Counter[str]) -> None:
    off = np.abs(error)
    said = ", ".join(f"{code} {count}" for code, count in codes.most_common())
    print(
        f"{name:46}{100 * np.median(off):8.3f}{100 * np.quantile(off, 0.95):8.3f}{100 * off.max():8.2f}"
        f"{(off <= give).mean():8.3f}{100 * np.median(give):8.3f}{1000 * seconds:6.0f}  {said}",
        flush=True,
    )


def _laid(
    rng: np.random.Generator, camera: Camera, count: int, printer: Printer, *, known: bool, bars: int = 0
) -> Cards:
    """Lay cards near the corners, or one in the middle, each turned as it fell."""
    laid = []
    for n, lying in enumerate(_places(rng, SHEET_MM, [CardDesign(n + 1) for n in range(count)], printer)):
        mm = CardDesign(n + 1).inner_corners_mm()
        px = camera.to_picture(lying.on_plan_mm(mm))
        laid.append(LaidCard(f"card {n + 1}", mm, px + rng.normal(0, CORNER_SIGMA_PX, px.shape), CORNER_SIGMA_PX))
    measured = [(axis, scale, 1e-6) for axis, scale in enumerate(printer.scale)] if known else []
    for axis, drawn_mm in ((1, LONG_BAR_MM), (0, SHORT_BAR_MM))[:bars]:
        read = printer.scale[axis] + rng.uniform(-READ_GIVE_MM, READ_GIVE_MM) / drawn_mm
        measured.append((axis, read, READ_GIVE_MM / math.sqrt(3) / drawn_mm))
    return Cards(tuple(laid), bars=tuple(measured))


def _places(rng: np.random.Generator, sheet_mm: Floats, designs: Sequence[CardDesign], printer: Printer) -> list[Lying]:
    low, high = sheet_mm.min(axis=0) + INSET_MM, sheet_mm.max(axis=0) - INSET_MM
    corners = np.array([low, high, [low[0], high[1]], [high[0], low[1]]])
    if len(designs) == 1:
        corners = (low + high)[None] / 2
    lying = []
    for at, design in zip(corners, designs, strict=False):
        x, y = at + rng.uniform(-10, 10, 2)
        turn = rng.uniform(-0.2, 0.2) + rng.integers(4) * math.pi / 2
        blank = Print(np.zeros((1, 1), np.float32), design.outline_mm(), printer.scale)
        lying.append(Lying(blank, (float(x), float(y)), float(turn)))
    return lying


def _off_printer(rng: np.random.Generator) -> Printer:
    """A printer that is 1 % off one way and somewhat less the other, both too long or both too short."""
    sign = rng.choice([-1, 1])
    scale = [1 + 0.01 * sign, 1 + 0.01 * sign * rng.uniform(0.4, 1)]
    rng.shuffle(scale)
    return Printer((scale[0], scale[1]))


def _with_bars(rng: np.random.Generator, camera: Camera, bars: int) -> Cards:
    return _laid(rng, camera, 4, _off_printer(rng), known=False, bars=bars)


def _with_length(rng: np.random.Generator, camera: Camera) -> tuple[Observation, ...]:
    cards = _laid(rng, camera, 4, _off_printer(rng), known=False)
    return cards, _long_known(rng, camera, SHEET_MM)


def _long_known(rng: np.random.Generator, camera: Camera, sheet_mm: Floats) -> KnownDistance:
    """Give a length of two thirds of the sheet's width or more, clicked by hand."""
    low, high = sheet_mm.min(axis=0) + 30, sheet_mm.max(axis=0) - 30
    ends = rng.uniform(low, high, (2, 2))
    while np.hypot(*(ends[1] - ends[0])) < 0.67 * (high - low)[0]:
        ends = rng.uniform(low, high, (2, 2))
    (x0, y0), (x1, y1) = (camera.to_picture(ends) + rng.normal(0, CLICK_SIGMA_PX, (2, 2))).tolist()
    length_mm = float(np.hypot(*(ends[1] - ends[0]))) + rng.uniform(-DRAUGHTING_MM, DRAUGHTING_MM)
    return KnownDistance((x0, y0), (x1, y1), length_mm)


def _rendered(photos: int, seed: int) -> None:
    """Find the cards in rendered photos and print the same of what they tell."""
    prints = printed_cards(size_mm=60.0)
    plan = school_plan()
    print(f"\n{photos} rendered photos of 12 MP of a {np.ptp(plan.sheet_mm[:, 0]):.0f} mm sheet; four cards of the PDF")
    print(f"{'':46}{'median':>8}{'95 %':>8}{'max':>8}{'cover':>8}{'u95':>8}{'ms':>6}  findings")
    ways = ("one long known", "long bar, read to 0.2 mm", "both bars, read to 0.2 mm")
    told: dict[str, list[tuple[Floats, Floats, Counter[str]]]] = {way: [] for way in ways}
    corners, seconds, found = [], 0.0, 0
    for photo in range(photos):
        rng = np.random.default_rng([seed, photo])
        camera = camera_for(plan.sheet_mm, random_view(rng), width_px=4000, height_px=3000)
        printer = _off_printer(rng)
        empty = _places(rng, plan.sheet_mm, [CardDesign(n + 1) for n in range(4)], printer)
        lying = [
            Lying(Print(prints[n], one.card.box_mm, printer.scale), one.at_mm, one.turn_rad)
            for n, one in enumerate(empty)
        ]
        look = PhotoLook(blur_px=float(rng.uniform(0.6, 1.3)), noise=float(rng.uniform(1, 3)))
        grey = cv2.cvtColor(photo_with_cards(plan, camera, lying, look=look, seed=seed + photo), cv2.COLOR_RGB2GRAY)
        begin = time.perf_counter()
        cards = find_cards(np.asarray(grey, np.uint8))
        seconds += time.perf_counter() - begin
        found += len(cards)
        corners += [
            card.points_px - camera.to_picture(lying[card.number - 1].on_plan_mm(card.places_mm)) for card in cards
        ]
        long_mm, short_mm = (
            mm * printer.scale[axis] + rng.uniform(-READ_GIVE_MM, READ_GIVE_MM)
            for axis, mm in ((1, LONG_BAR_MM), (0, SHORT_BAR_MM))
        )
        known = _long_known(rng, camera, plan.sheet_mm)
        given: dict[str, tuple[Observation, ...]] = {
            ways[0]: (_observed(cards, None), known),
            ways[1]: (_observed(cards, f"{long_mm:.1f} mm"),),
            ways[2]: (_observed(cards, f"{long_mm:.1f} x {short_mm:.1f} mm"),),
        }
        for way, observations in given.items():
            calibration = _adjusted(observations, camera, rng)
            error, give = _lengths(rng, calibration, camera, plan.sheet_mm)
            told[way].append((error, give, Counter({finding.code for finding in calibration.findings})))
    for way, results in told.items():
        errors, gives, codes = zip(*results, strict=True)
        _print(
            f"printer 1 % off, {way}",
            np.concatenate(errors),
            np.concatenate(gives),
            seconds / photos,
            sum(codes, Counter()),
        )
    off = np.concatenate(corners)
    (bias_x, bias_y), (rms_x, rms_y) = off.mean(axis=0), np.sqrt((off**2).mean(axis=0))
    print(
        f"{found} of {4 * photos} cards found; their corners are off {rms_x:.3f}, {rms_y:.3f} px (rms of x and y), "
        f"{bias_x:+.3f}, {bias_y:+.3f} px on the whole; ms are of finding them"
    )


def _observed(found: Sequence[FoundCard], bar: str | None) -> Cards:
    job = Job("", Sheet(Path("photo.jpg"), ""), card_bar=bar)
    cards, _ = cards_observed(job, found, (), full_per_paper=1.0)
    assert cards is not None
    return cards


def printed_cards(*, size_mm: float) -> list[np.ndarray]:
    """Give the darkness of each card on the first sheet of the cards' PDF, as pdfium draws it."""
    paper = PAPERS["a4"]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "cards.pdf"
        write_cards(path, paper=paper, size_mm=size_mm)
        with pypdfium2.PdfDocument(path) as document:
            page = document[0].render(scale=PX_PER_MM * MM_PER_PT, grayscale=True).to_numpy()
    # The bitmap is rounded up to whole px: its own scale is what it is.
    across, down = page.shape[1] / paper.width_mm, page.shape[0] / paper.height_mm
    cards = []
    for number, (x_mm, y_mm) in enumerate(card_places_mm(paper, size_mm), 1):
        left, lower, right, upper = CardDesign(number, size_mm).outline_mm()
        size = round((right - left) * PX_PER_MM), round((upper - lower) * PX_PER_MM)
        column = (x_mm + left + (np.arange(size[0]) + 0.5) / PX_PER_MM) * across - 0.5
        row = (paper.height_mm - y_mm - upper + (np.arange(size[1]) + 0.5) / PX_PER_MM) * down - 0.5
        maps = np.meshgrid(column.astype(np.float32), row.astype(np.float32))
        drawn = cv2.remap(page[..., 0] if page.ndim == 3 else page, maps[0], maps[1], cv2.INTER_LINEAR)
        cards.append(np.asarray(1 - drawn.astype(np.float32) / 255))
    return cards


if __name__ == "__main__":
    main()
