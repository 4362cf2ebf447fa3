"""Print how many of a sheet's straight lines are taken for straight, and how many gentle curves, over random views.

The sheet and camera are those of `bend_error`; among the long lines are arcs, S curves and lines with a rounded end
that leave a straight line by 0.15 to 2 % of their length.
Run: python -m benchmarks.straight_choice [--views N] [--seed N]
"""

import argparse
import time
from collections import Counter

import numpy as np

from benchmarks.bend_error import SHEET_MM, SIDE_POINTS, SIDE_SIGMA_PX, Row, Seen, given, inner_ends, rows
from calibration.adjust import adjust
from calibration.kind import Kind
from calibration.observations import CalibrationError, StraightLine
from calibration.plane_map import Floats
from calibration.straight_choice import straight_among
from sample_scans.camera import camera_for, random_view

BOW_PART = (0.0015, 0.02)
"""How far curves leave their chord, as part of it; spread evenly in its logarithm."""
SHOWS_MM = 0.5
"""A curve that bows by less is hardly told from a line drawn by hand."""
CURVES = 6
LENGTHS = 25


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--views", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="")
    chosen = parser.parse_args()
    print(f"seed {chosen.seed}, {chosen.views} views, {CURVES} curves among the lines of each; lines taken of straight")
    print("ones, of curves that bow by 0.5 mm and of those that bow less; then lengths, % at 95 %, and their coverage:")
    print("without any line found, with those taken, and with all straight ones and no other")
    for name, row in rows().items():
        if chosen.only in name and row.inner in (4, 10, 12):
            _row(name, row, views=chosen.views, seed=chosen.seed)


def _row(name: str, row: Row, *, views: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    taken: Counter[str] = Counter()
    among: Counter[str] = Counter()
    spent = []
    errors: tuple[list[Floats], ...] = ([], [], [])
    inside: tuple[list[Floats], ...] = ([], [], [])
    for _ in range(views):
        camera = camera_for(SHEET_MM, random_view(rng), width_px=4000, height_px=3000)
        seen = row.paper(rng, camera)
        everything = given(rng, seen, row)
        straight = [one for one in everything if isinstance(one, StraightLine) and one.label.startswith("inner")]
        rest = [one for one in everything if not any(one is other for other in straight)]
        curved = [_curve(rng, seen, n) for n in range(CURVES)]
        bows_mm = {line.label: bow_mm for line, bow_mm in curved}
        lines = [*straight, *(line for line, _ in curved)]
        lines.sort(key=lambda line: -float(np.hypot(*(line.points_px[-1] - line.points_px[0]))))
        view = {"width_px": 4000, "height_px": 3000, "kind": Kind.PHOTO}
        focal = camera.focal_35mm * (1 + 0.02 * rng.choice([-1, 1]))
        begin = time.process_time()
        chosen = straight_among(lines, rest, **view, focal_35mm=focal)  # type: ignore[arg-type]
        spent.append(time.process_time() - begin)
        for line in lines:
            kind = (
                "straight" if line.label not in bows_mm else "curved" if bows_mm[line.label] >= SHOWS_MM else "nearly"
            )
            among[kind] += 1
            taken[kind] += any(line is one for one in chosen)
        ends_mm = rng.uniform(SHEET_MM.min(axis=0), SHEET_MM.max(axis=0), (2, LENGTHS, 2))
        true = np.hypot(*(ends_mm[1] - ends_mm[0]).T)
        for place, more in enumerate(((), chosen, straight)):
            try:
                calibration = adjust([*rest, *more], **view, focal_35mm=focal)  # type: ignore[arg-type]
            except CalibrationError:
                continue
            starts_px, ends_px = seen.to_picture(ends_mm[0]), seen.to_picture(ends_mm[1])
            mm, u95_mm = calibration.lengths_u95(starts_px, ends_px, mark_sigma_px=0.0)
            errors[place].append(np.abs(mm / true - 1))
            inside[place].append(np.abs(mm - true) <= u95_mm)
    parts = " ".join(f"{kind} {taken[kind]}/{among[kind]}" for kind in ("straight", "curved", "nearly"))
    results = "; ".join(
        f"{100 * np.quantile(np.concatenate(error), 0.95):.3f} {np.concatenate(held).mean():.3f}"
        for error, held in zip(errors, inside, strict=True)
    )
    print(f"{name:42}{parts}, {1000 * np.mean(spent):.0f} ms; {results}", flush=True)


def _curve(rng: np.random.Generator, seen: Seen, number: int) -> tuple[StraightLine, float]:
    """Give a gentle curve of the plan as it is measured, and by how many mm it leaves a straight line."""
    start, end = inner_ends(rng)
    t = (np.arange(SIDE_POINTS) + 0.5) / SIDE_POINTS
    along = end - start
    length = float(np.hypot(*along))
    shapes = (4 * t * (1 - t), 10 * t * (1 - t) * (1 - 2 * t), np.maximum(t - 0.6, 0) ** 2 / 0.16)
    shape = shapes[rng.integers(len(shapes))]
    bow = float(np.exp(rng.uniform(*np.log(BOW_PART)))) * length * rng.choice([-1, 1])
    bowed = bow * shape
    off = bowed - np.polynomial.polynomial.polyval(t, np.polynomial.polynomial.polyfit(t, bowed, 1))
    across = np.array([-along[1], along[0]]) / length
    px = seen.to_picture(start + t[:, None] * along + bowed[:, None] * across)
    line = StraightLine(px + rng.normal(0, SIDE_SIGMA_PX, px.shape), SIDE_SIGMA_PX, f"curve {number}")
    return line, float(np.ptp(off))


if __name__ == "__main__":
    main()
