"""Which parts of sheets are found on which patterns in several inks are printed one over another.

Run as `python -m benchmarks.coloured_patterns [--first SEED] [--sheets N] [--pens] [--pictures DIR]`. Every sheet is
pictured as a photo and as a colour scan, at 200, 300 or 400 dpi in turns; parts are drawn by the true map. Each picture
is looked at in grey as well, as the plain route that knows no colours.
"""

import argparse
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from benchmarks.right_parts import DPI, counts, write_cuttings
from benchmarks.truth_error import compare, loops_of, true_map
from digitize.draw_outlines import draw_outlines
from job.job import Found, Sheet
from job.progress import Silent
from job.see import see
from sample_scans.overprinted import coloured_plan, overprinted_plan, photo_of, scan_of
from sample_scans.rendered import Rendered, save_picture


def main() -> None:
    """Print a line for every picture, and the sums."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.coloured_patterns", description=__doc__)
    parser.add_argument("--first", type=int, default=0, metavar="SEED")
    parser.add_argument("--sheets", type=int, default=6, metavar="N")
    parser.add_argument(
        "--pens", action="store_true", help="hard plans instead, their measures and inner lines coloured"
    )
    parser.add_argument("--pictures", type=Path, metavar="DIR")
    asked = parser.parse_args()
    print(f"sheets {asked.first} to {asked.first + asked.sheets - 1}; missed, false + unsure, holes missed and false")
    sums = {name: np.zeros(6, np.int64) for name in ("grey", "colour")}
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(asked.first, asked.first + asked.sheets):
            for kind in ("photo", "scan"):
                dpi = DPI[seed % len(DPI)]
                sheet = coloured_plan(seed) if asked.pens else overprinted_plan(seed)
                rendered = photo_of(sheet, seed) if kind == "photo" else scan_of(sheet, seed, dpi=dpi)
                path = Path(folder) / f"sheet.{'jpg' if kind == 'photo' else 'png'}"
                save_picture(rendered, path)
                name = f"{seed:5} {kind if kind == 'photo' else f'{dpi} dpi':8}"
                sums["colour"] += _told(f"{name} colour", path, rendered, asked.pictures)
                Image.open(path).convert("L").save(path, exif=Image.open(path).getexif())
                sums["grey"] += _told(f"{name} grey  ", path, rendered, None)
    for name, total in sums.items():
        true, missed, false, unsure, no_hole, false_hole = total.tolist()
        print(
            f"{name:8} {missed} of {true} parts missed, {false} false and {unsure} unsure; "
            f"{no_hole} holes missed, {false_hole} false"
        )


def _told(name: str, path: Path, rendered: Rendered, pictures: Path | None) -> NDArray[np.int64]:
    seen = see(Sheet(path, "0" * 64), (Found.NAMES,), Silent())
    border = None if seen.border is None else seen.border.corners_px
    drawn = draw_outlines(seen.strokes.mapped(true_map(rendered.camera, rendered.plan)), border_px=border)
    found = compare(loops_of(drawn.drawing), rendered.plan)
    print(
        f"{name} {len(found.missed)} of {found.parts_true} missed, {found.false_parts} + {found.doubted_parts}, "
        f"holes {found.holes_true - found.holes_found} and {found.false_holes}  {', '.join(found.missed)}",
        flush=True,
    )
    if pictures is not None:
        pictures.mkdir(parents=True, exist_ok=True)
        write_cuttings(pictures / "-".join(name.split()), seen.picture.grey, found, rendered.plan, rendered.camera)
    return counts(found)


if __name__ == "__main__":
    main()
