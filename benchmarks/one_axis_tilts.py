"""How often a camera that leaned about one side of the rectangle alone is recognised and said, and what it costs.

Given are a border without its size, its measured sides, one known distance of 200 mm and more, and a focal length 2 %
off. Run: python -m benchmarks.one_axis_tilts [--views N] [--seed S]
"""

import argparse
from dataclasses import replace

import numpy as np

from benchmarks.calibration_error import calibrated, errors_of
from benchmarks.simulated_views import BY_MACHINE, Scene, photo

BORDERED = Scene(lines=True, knowns=1, drawn=BY_MACHINE)

LEANS = {
    "about the level sides alone": ((10.0, 25.0), (0.0, 2.0)),
    "about the upright sides alone": ((0.0, 2.0), (10.0, 25.0)),
    "over a corner": ((10.0, 25.0), (10.0, 25.0)),
    "hardly": ((0.0, 3.0), (0.0, 3.0)),
    "as builders do": None,
}
"""Least and largest tilt about the level and about the upright sides, degrees."""


def main() -> None:
    """Print a line for each way to lean."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--views", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    print(f"seed {chosen.seed}, {chosen.views} views a row; errors at 95 % of lengths, in % of the length")
    print(f"{'camera leaned':32}{'said':>8}{'errors':>9}{'where said':>12}{'where not':>11}{'cover':>8}")
    for name, lean in LEANS.items():
        rng = np.random.default_rng(chosen.seed)
        said, off, within = [], [], []
        for _ in range(chosen.views):
            taken = photo(rng, replace(BORDERED, leans_deg=lean))
            calibration = calibrated(taken)
            errors = errors_of(rng, taken, calibration)
            said.append("tilt-about-one-side" in [finding.code for finding in calibration.findings])
            off.append(errors.off)
            within.append(errors.off <= errors.said)
        parts = [np.array(off), np.array(off)[said], np.array(off)[~np.array(said)]]
        high = [f"{100 * np.quantile(part, 0.95):.3f}" if len(part) else "-" for part in parts]
        print(
            f"{name:32}{np.mean(said):8.1%}{high[0]:>9}{high[1]:>12}{high[2]:>11}{np.mean(within):8.3f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
