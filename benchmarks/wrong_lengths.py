"""How often a length that was given wrong is named, what it does to the result, and how often right ones are blamed.

The views are those of `benchmarks.simulated_views`: corners of a rectangle with its size, its border's sides, and four
known distances of 200 mm and more, marked to 0.5 px. Run: python -m benchmarks.wrong_lengths [--views N] [--seed S]
[--rows PATTERN]
"""

import argparse
import fnmatch
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from benchmarks.calibration_error import calibrated
from benchmarks.simulated_views import Scene, photo, random_lengths
from calibration.observations import CalibrationError, KnownDistance, Observation
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


def _all_right(scene: Scene, *, views: int, seed: int) -> str:
    rng = np.random.default_rng(seed + 1)
    alarms = [not calibrated(photo(rng, scene)).settled for _ in range(views)]
    return f"{views} good sets: false alarms {np.mean(alarms):.2%}"


def _known_places(observations: Sequence[Observation]) -> list[int]:
    return [i for i, seen in enumerate(observations) if isinstance(seen, KnownDistance)]


if __name__ == "__main__":
    main()
