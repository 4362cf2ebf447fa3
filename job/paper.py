"""Squared and ruled paper under a drawing: what is said of it, and its crossings as places to mark."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.calibration import Calibration
from digitize.strokes import Strokes
from drawing.findings import Finding, Level
from pictures.squared_paper import SquaredPaper

Floats = NDArray[np.float64]

CODE = "squared-paper"

CLEAR_PX = 14.0
"""A crossing nearer to a drawn line than this is no place to mark: a mark is pulled from 6 px, and belongs to the
drawing wherever it lies within reach of both."""


def paper_noted(paper: SquaredPaper) -> Finding:
    """Say that the paper's lines were left out, their distance in px."""
    apart = " and ".join(f"{family.pitch_px:.0f}" for family, _ in paper.families)
    return Finding(CODE, Level.NOTE, "the paper", _words(paper, f"{apart} px apart"))


def told_in_mm(
    findings: tuple[Finding, ...], paper: SquaredPaper | None, calibration: Calibration
) -> tuple[Finding, ...]:
    """Give findings with the paper's spacing in mm, now that the scale is known."""
    if paper is None:
        return findings
    apart = " and ".join(f"{_apart_mm(steps, calibration):.2f}" for steps in paper.steps_px())
    text = _words(paper, f"{apart} mm apart at full size")
    return tuple(replace(one, text=text) if one.code == CODE else one for one in findings)


def clear_crossings_px(paper: SquaredPaper | None, strokes: Strokes) -> Floats:
    """Give the crossings of squared paper that no drawn line comes near, (N, 2) picture px."""
    crossings = np.empty((0, 2)) if paper is None else paper.crossings_px()
    if not len(crossings) or not strokes.links:
        return crossings
    # Few plans lie on squared paper, and it takes a while to load.
    from scipy.spatial import cKDTree

    drawn = cKDTree(np.concatenate([link.points_px for link in strokes.links]))
    far, _ = drawn.query(crossings, distance_upper_bound=CLEAR_PX)
    clear: Floats = crossings[~np.isfinite(far)]
    return clear


def _words(paper: SquaredPaper, apart: str) -> str:
    kind = "Squared" if len(paper.families) == 2 else "Ruled"
    return (
        f"{kind} paper with lines about {apart} was found under the drawing, and its lines were left out. "
        "If a line drawn exactly along one of them is missing, trace it by hand; if these lines belong to the drawing, "
        'give found = "squared paper" under [[ignore]] in job.toml.'
    )


def _apart_mm(steps: Floats, calibration: Calibration) -> float:
    """The middle distance of neighbouring lines, square to them."""
    here, other, further = (calibration.to_plan(np.ascontiguousarray(steps[:, k])) for k in range(3))
    way, aside = further - other, here - other
    across = np.abs(way[:, 0] * aside[:, 1] - way[:, 1] * aside[:, 0]) / np.hypot(*way.T)
    return float(np.median(across))
