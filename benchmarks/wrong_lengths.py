"""How often a length that was given wrong is named, what it does to the result, and how often right ones are blamed.

Also what a slip of the hand does, which puts one corner of the sized rectangle some px off.

The views are those of `benchmarks.simulated_views`: corners of a rectangle with its size, its border's sides, and four
known distances of 200 mm and more, marked to 0.5 px. Run: python -m benchmarks.wrong_lengths [--views N] [--seed S]
[--rows PATTERN]
"""

import argparse
import fnmatch
import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from benchmarks.calibration_error import calibrated
from benchmarks.simulated_views import Scene, photo, random_lengths
from calibration.observations import CLICK_SIGMA_PX, CalibrationError, Corners, KnownDistance, Observation
from drawing.findings import Level
from drawing.units import MM_PER_INCH

SAME_MM = 1e-3
"""Results as far apart are one."""

GIVEN = {
    "sized corners": Scene(size=True, knowns=4),
    "corners": Scene(knowns=4),
    "sized border": Scene(size=True, lines=True, knowns=4),
    "border": Scene(lines=True, knowns=4),
}

SLIPPED = {
    "sized corners": Scene(size=True),
    "sized corners, one known": Scene(size=True, knowns=1),
    "sized corners, border": Scene(size=True, lines=True),
    "sized corners, border, one known": Scene(size=True, lines=True, knowns=1),
}
SLIPS_PX = (3.0, 6.0, 12.0, 25.0)
"""How far one corner is off: a thick line's other edge, a double rule's other line, a careless click, a wrong place."""

Spoil = Callable[[float], float]

WRONG: dict[str, Spoil] = {
    "1 %": lambda mm: 1.01 * mm,
    "2 %": lambda mm: 0.98 * mm,
    "5 %": lambda mm: 1.05 * mm,
    "inches for mm": lambda mm: MM_PER_INCH * mm,
    "mm for inches": lambda mm: mm / MM_PER_INCH,
    "cm for mm": lambda mm: 10 * mm,
}


def main() -> None:
    """Print a line for each kind of wrong length, of right ones, and of two that are wrong alike."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--views", type=int, default=300)
    parser.add_argument("--good", type=int, default=2000, help="good sets looked at for false alarms")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rows", default="*", help="which rows, as a shell pattern; a part of the name is enough")
    chosen = parser.parse_args()
    print(f"seed {chosen.seed}, {chosen.views} views a row; four known distances, one of them wrong")
    for given, scene in GIVEN.items():
        for wrong, spoil in WRONG.items():
            name = f"{given}, one of four wrong: {wrong}"
            if fnmatch.fnmatch(name, f"*{chosen.rows}*"):
                print(f"{name:48}{_one_wrong(scene, spoil, views=chosen.views, seed=chosen.seed)}", flush=True)
    for given, scene in GIVEN.items():
        name = f"{given}, two of two 5 % too long"
        # Without the rectangle's size nothing else tells the scale, and nothing can know.
        if scene.size and fnmatch.fnmatch(name, f"*{chosen.rows}*"):
            print(f"{name:48}{_two_wrong(scene, views=chosen.views, seed=chosen.seed)}", flush=True)
    for given, scene in SLIPPED.items():
        for slip_px in SLIPS_PX:
            name = f"{given}, one corner {slip_px:g} px off"
            if fnmatch.fnmatch(name, f"*{chosen.rows}*"):
                told = _one_slipped(scene, slip_px, views=chosen.views, seed=chosen.seed)
                print(f"{name:56}{told}", flush=True)
    for given, scene in GIVEN.items():
        name = f"{given}, four right"
        if fnmatch.fnmatch(name, f"*{chosen.rows}*"):
            print(f"{name:48}{_all_right(scene, views=chosen.good // len(GIVEN), seed=chosen.seed)}", flush=True)


def _one_wrong(scene: Scene, spoil: Spoil, *, views: int, seed: int) -> str:
    rng = np.random.default_rng(seed)
    named = same = disputed = silent = 0
    for _ in range(views):
        taken = photo(rng, scene)
        place = int(rng.choice(_known_places(taken.observations)))
        wrong, without = list(taken.observations), list(taken.observations)
        known = without.pop(place)
        assert isinstance(known, KnownDistance)
        wrong[place] = replace(known, length_mm=spoil(known.length_mm))
        try:
            calibration = calibrated(replace(taken, observations=tuple(wrong)))
        except CalibrationError as error:
            # Lengths in mixed-up units are refused by name: nothing is built from them.
            named += known.label in str(error).lower()
            same += known.label in str(error).lower()
            continue
        decide = [finding for finding in calibration.findings if finding.level is Level.DECIDE]
        left = [finding.about for finding in decide if finding.code == "given-left-out"]
        right = len(left) == 1 and left[0].startswith(known.label)
        named += right
        disputed += not right and any(known.label in finding.text.lower() for finding in decide)
        silent += not decide
        if right:
            starts, ends, _ = random_lengths(rng, taken.picturing, 10)
            rest = calibrated(replace(taken, observations=tuple(without)))
            apart_mm = rest.lengths_u95(starts, ends)[0] - calibration.lengths_u95(starts, ends)[0]
            same += bool(np.abs(apart_mm).max() < SAME_MM)
    return (
        f"named {named / views:6.1%}, result as if not given {same / views:6.1%}, asked about {disputed / views:.1%}, "
        f"passed in silence {silent / views:.1%}"
    )


def _two_wrong(scene: Scene, *, views: int, seed: int) -> str:
    rng = np.random.default_rng(seed)
    asked = refused = silent = 0
    for _ in range(views):
        taken = photo(rng, replace(scene, knowns=2))
        wrong = [
            replace(seen, length_mm=1.05 * seen.length_mm) if isinstance(seen, KnownDistance) else seen
            for seen in taken.observations
        ]
        try:
            calibration = calibrated(replace(taken, observations=tuple(wrong)))
        except CalibrationError:
            refused += 1
            continue
        if calibration.settled:
            silent += 1
        else:
            asked += 1
    return f"asked about {asked / views:6.1%}, refused {refused / views:6.1%}, passed in silence {silent / views:6.1%}"


def _one_slipped(scene: Scene, slip_px: float, *, views: int, seed: int) -> str:
    """Put one corner off, the others where clicks go; the border's lines, where they were found, are right."""
    rng = np.random.default_rng(seed)
    named = asked = silent = said = outside = lengths = 0
    for _ in range(views):
        taken = photo(rng, scene)
        corners, *others = taken.observations
        assert isinstance(corners, Corners)
        clicked_px = np.array(corners.points_px) + rng.normal(0, CLICK_SIGMA_PX, (4, 2)) * scene.lines
        turn = rng.uniform(0, 2 * math.pi)
        clicked_px[rng.integers(4)] += slip_px * math.cos(turn), slip_px * math.sin(turn)
        first, second, third, fourth = ((float(x), float(y)) for x, y in clicked_px)
        slipped = replace(corners, points_px=(first, second, third, fourth), sigma_px=CLICK_SIGMA_PX)
        try:
            calibration = calibrated(replace(taken, observations=(slipped, *others)))
        except CalibrationError as error:
            named += "corner" in str(error).lower()
            asked += "corner" not in str(error).lower()
            continue
        decide = [finding for finding in calibration.findings if finding.level is Level.DECIDE]
        about = any("corner" in f"{finding.about} {finding.text}".lower() for finding in decide)
        named += about
        asked += bool(decide) and not about
        if not decide:
            silent += 1
            said += any(finding.code == "nothing-checks" for finding in calibration.findings)
            starts_px, ends_px, true_mm = random_lengths(rng, taken.picturing, 10)
            mm, u95_mm = calibration.lengths_u95(starts_px, ends_px)
            outside += int((np.abs(mm - true_mm) > u95_mm).sum())
            lengths += len(true_mm)
    return (
        f"named {named / views:6.1%}, asked about {asked / views:6.1%}, passed in silence {silent / views:6.1%} "
        f"(told that nothing checks: {said}); of their lengths {outside / max(lengths, 1):.1%} outside what is stated"
    )


def _all_right(scene: Scene, *, views: int, seed: int) -> str:
    rng = np.random.default_rng(seed + 1)
    alarms = [not calibrated(photo(rng, scene)).settled for _ in range(views)]
    return f"{views} good sets: false alarms {np.mean(alarms):.2%}"


def _known_places(observations: Sequence[Observation]) -> list[int]:
    return [i for i, seen in enumerate(observations) if isinstance(seen, KnownDistance)]


if __name__ == "__main__":
    main()
