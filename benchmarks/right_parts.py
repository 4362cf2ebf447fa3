"""Which parts of hard invented plans are found, and what is taken for one besides: a line for every picture.

Run as `python -m benchmarks.right_parts [--first SEED] [--plans N] [--pictures DIR]`. Every plan is pictured as a
photo, a grey scan and a bilevel one, at 200, 300 or 400 dpi in turns; parts are drawn by the true map, so that only
finding is judged. With `--pictures`, a cutting is written for every part missed (its truth in red) and every loop that
is none (in blue).
"""

import argparse
import tempfile
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from benchmarks.truth_error import Compared, compare, loops_of, true_map
from digitize.draw_outlines import draw_outlines
from job.job import Found, Sheet
from job.progress import Silent
from job.see import see
from sample_scans.camera import Picturing
from sample_scans.hard_plan import hard_plan
from sample_scans.rendered import rendered_photo, rendered_scan, save_picture
from sample_scans.truth import PlanTruth

DPI = (200, 300, 400)
KINDS = ("photo", "grey", "bilevel")
BLACK_BELOW = 150
MARGIN_PX = 60
RED, BLUE = (0, 0, 255), (255, 80, 0)


def main() -> None:
    """Print a line for every picture, and the sums."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.right_parts", description=__doc__)
    parser.add_argument("--first", type=int, default=0, metavar="SEED")
    parser.add_argument("--plans", type=int, default=12, metavar="N")
    parser.add_argument("--pictures", type=Path, metavar="DIR")
    asked = parser.parse_args()
    print(f"plans {asked.first} to {asked.first + asked.plans - 1}; missed, false + unsure, holes missed and false")
    sums = {kind: np.zeros(6, np.int64) for kind in KINDS}
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(asked.first, asked.first + asked.plans):
            for kind in KINDS:
                sums[kind] += _told(seed, kind, Path(folder), asked.pictures)
    for name, total in [*sums.items(), ("all", sum(sums.values()))]:
        true, missed, false, unsure, no_hole, false_hole = np.asarray(total).tolist()
        print(
            f"{name:8} {missed} of {true} parts missed, {false} false and {unsure} unsure; "
            f"{no_hole} holes missed, {false_hole} false"
        )


def _told(seed: int, kind: str, folder: Path, pictures: Path | None) -> NDArray[np.int64]:
    plan = hard_plan(seed)
    dpi = DPI[seed % len(DPI)]
    rendered = rendered_photo(seed, plan=plan) if kind == "photo" else rendered_scan(seed, plan=plan, dpi=dpi)
    path = folder / f"plan.{'jpg' if kind == 'photo' else 'png'}"
    save_picture(rendered, path)
    if kind == "bilevel":
        Image.fromarray(np.asarray(Image.open(path).convert("L")) > BLACK_BELOW).save(path)
    seen = see(Sheet(path, "0" * 64), (Found.NAMES,), Silent())
    border = None if seen.border is None else seen.border.corners_px
    drawn = draw_outlines(seen.strokes.mapped(true_map(rendered.camera, plan)), border_px=border)
    found = compare(loops_of(drawn.drawing), plan)
    print(
        f"{seed:5} {kind:8} {'' if kind == 'photo' else f'{dpi} dpi':8} {len(found.missed)} of {found.parts_true} "
        f"missed, {found.false_parts} + {found.doubted_parts}, holes {found.holes_true - found.holes_found} and "
        f"{found.false_holes}  {', '.join(found.missed)}",
        flush=True,
    )
    if pictures is not None:
        pictures.mkdir(parents=True, exist_ok=True)
        write_cuttings(pictures / f"{seed}-{kind}", seen.picture.grey, found, plan, rendered.camera)
    return counts(found)


def counts(found: Compared) -> NDArray[np.int64]:
    """Give the true, missed, false and unsure parts, and the holes missed and false."""
    return np.array(
        [
            found.parts_true,
            len(found.missed),
            found.false_parts,
            found.doubted_parts,
            found.holes_true - found.holes_found,
            found.false_holes,
        ]
    )


def write_cuttings(stem: Path, grey: NDArray[np.uint8], found: Compared, plan: PlanTruth, camera: Picturing) -> None:
    wanted = [(part.name, part.boundary_mm, RED) for part in plan.parts if part.name in found.missed]
    wanted += [(f"false-{number}", loop, BLUE) for number, loop in enumerate(found.extra_mm)]
    for name, boundary_mm, colour in wanted:
        line_px = camera.to_picture(boundary_mm)
        low = np.maximum(np.floor(line_px.min(axis=0)).astype(int) - MARGIN_PX, 0)
        high = np.ceil(line_px.max(axis=0)).astype(int) + MARGIN_PX
        cutting = cv2.cvtColor(np.ascontiguousarray(grey[low[1] : high[1], low[0] : high[0]]), cv2.COLOR_GRAY2BGR)
        cv2.polylines(cutting, [np.round((line_px - low) * 16).astype(np.int32)], True, colour, 1, cv2.LINE_AA, 4)
        cv2.imwrite(f"{stem}-{name}.png", cutting)


if __name__ == "__main__":
    main()
