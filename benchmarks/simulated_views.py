"""Simulated pictures of an A1 sheet, and what a builder and the finders would give about each.

The camera is not the fitted model: pinhole with forward k1 in [-0.06, 0.02] and k2 in [0, 0.02], a principal point off
by 0.4 % of the width, 24-28 mm equivalent, tilted to 25 degrees on both axes, 12 MP. What files say of the focal length
is 2 % off.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from calibration.kind import Kind
from calibration.observations import (
    CLICK_SIGMA_PX,
    DRAUGHTING_MM,
    LEAN_SIGMA_RAD,
    Corners,
    KnownDistance,
    Observation,
    PointPx,
    StraightLine,
)
from calibration.parameters import SHEAR_SIGMA, STRETCH_SIGMA
from calibration.plane_map import Floats
from sample_scans.camera import Camera, Scanner, View, camera_for, random_view, scanner_for

SHEET_MM = np.array([[0.0, 594.0], [841.0, 594.0], [841.0, 0.0], [0.0, 0.0]])
BORDER_MM = np.array([[20.0, 574.0], [821.0, 574.0], [821.0, 20.0], [20.0, 20.0]])
BORDER_SIZE_MM = (801.0, 554.0)
WIDTH_PX, HEIGHT_PX = 4000, 3000
SIDE_POINTS = 24
SIDE_SIGMA_PX = 0.05
CORNER_SIGMA_PX = 0.1
"""A side's centres, and the crossing of two sides: what the finder states of rendered photos, and of corners the most
that it states (`benchmarks.bordered_photos`)."""

SCAN_KNOWNS_MM = (((60.0, 300.0), (760.0, 300.0)), ((400.0, 60.0), (400.0, 540.0)))
"""Ends of a scan's known distances, the one along x and the one along y."""

LEAST_KNOWN_MM = 200.0
"""Shortest length that a builder gives of an A1 sheet."""


@dataclass(frozen=True)
class Drawn:
    """How truly a plan is drawn: corners, sag of lines and lengths given (half widths, mm), and a lean's sigma."""

    within_mm: float
    lean_rad: float
    lengths_mm: float


BY_HAND = Drawn(DRAUGHTING_MM, LEAN_SIGMA_RAD, DRAUGHTING_MM)
BY_MACHINE = Drawn(0.02, 0.0003, 0.02)
"""Plotters and printers place a line to 0.02 mm, with axes square to an arc minute."""
ON_A_PRINTED_SHEET = Drawn(BY_MACHINE.within_mm, BY_MACHINE.lean_rad, DRAUGHTING_MM)
"""A border that came with the paper, and a plan drawn into it by hand."""


@dataclass(frozen=True)
class Scene:
    """What is photographed and given.

    `size` gives the rectangle's size with its corners; `rectangle` False leaves the corners out; `lines` has the
    border's sides measured, which also places the corners. `knowns` are lengths anywhere on the sheet, as true as the
    plan is drawn; `crosses` are the sides and diagonals of four pencilled crosses. `focal_off` is how far the file's
    focal length is off (None: it says nothing).
    """

    rectangle: bool = True
    size: bool = False
    lines: bool = False
    knowns: int = 0
    crosses: bool = False
    drawn: Drawn = BY_HAND
    focal_off: float | None = 0.02
    leans_deg: tuple[tuple[float, float], tuple[float, float]] | None = None
    """Least and largest tilt about the rectangle's level and upright sides, held square; None: as builders do."""
    click_sigma_px: float = CLICK_SIGMA_PX


@dataclass(frozen=True)
class Taken:
    """One simulated picture and what was given about it."""

    picturing: Camera | Scanner
    kind: Kind
    focal_35mm: float | None
    observations: tuple[Observation, ...]


def photo(rng: np.random.Generator, scene: Scene) -> Taken:
    """Take a photo."""
    camera = camera_for(SHEET_MM, _view(rng, scene), width_px=WIDTH_PX, height_px=HEIGHT_PX)
    drawn = drawn_border(rng, scene.drawn)
    observations: list[Observation] = []
    if scene.rectangle:
        sigma_px = CORNER_SIGMA_PX if scene.lines else scene.click_sigma_px
        first, second, third, fourth = marked(rng, camera, drawn, sigma_px=sigma_px)
        width_mm, height_mm = BORDER_SIZE_MM if scene.size else (None, None)
        observations.append(Corners((first, second, third, fourth), width_mm, height_mm, sigma_px=sigma_px))
    if scene.lines:
        sides = [_side(rng, camera, drawn[i], drawn[(i + 1) % 4], scene.drawn) for i in range(4)]
        observations += [StraightLine(side, SIDE_SIGMA_PX) for side in sides]
    pairs = [random_ends(rng) for _ in range(scene.knowns)]
    if scene.crosses:
        crosses = BORDER_MM + rng.uniform(-30, 0, (4, 2)) * np.sign(BORDER_MM - BORDER_MM.mean(axis=0))
        pairs += [crosses[list(pair)] for pair in ((0, 1), (1, 2), (2, 3), (3, 0), (0, 2), (1, 3))]
    for number, ends in enumerate(pairs, 1):
        known = known_distance(rng, camera, ends, within_mm=scene.drawn.lengths_mm, sigma_px=scene.click_sigma_px)
        observations.append(replace(known, label=f"known distance {number}"))
    focal = None if scene.focal_off is None else camera.focal_35mm * (1 + scene.focal_off * rng.choice([-1, 1]))
    return Taken(camera, Kind.PHOTO, focal, tuple(observations))


def scan(rng: np.random.Generator, knowns: int, drawn: Drawn = BY_HAND) -> Taken:
    """Take a scan, with a length along x, or one each along x and y (`SCAN_KNOWNS_MM`)."""
    stretch, shear = rng.normal(0, STRETCH_SIGMA), rng.normal(0, SHEAR_SIGMA)
    scanner = scanner_for(
        SHEET_MM, dpi=300, skew_deg=rng.uniform(-2, 2), stretch=(math.exp(-stretch / 2), math.exp(stretch / 2))
    )
    lean = np.array([[1, shear / 2], [shear / 2, 1]])
    scanner = replace(scanner, matrix=lean @ scanner.matrix)
    pairs = [np.array(pair) for pair in SCAN_KNOWNS_MM[:knowns]]
    given = tuple(known_distance(rng, scanner, pair, within_mm=drawn.lengths_mm) for pair in pairs)
    return Taken(scanner, Kind.SCAN, None, given)


def random_ends(rng: np.random.Generator) -> Floats:
    """Give two places on the sheet at least a builder's shortest length apart, mm."""
    while True:
        ends = rng.uniform(SHEET_MM.min(axis=0), SHEET_MM.max(axis=0), (2, 2))
        if np.hypot(*(ends[1] - ends[0])) >= LEAST_KNOWN_MM:
            return np.asarray(ends)


def known_distance(
    rng: np.random.Generator,
    picturing: Camera | Scanner,
    ends_mm: Floats,
    *,
    sigma_px: float = CLICK_SIGMA_PX,
    within_mm: float = DRAUGHTING_MM,
) -> KnownDistance:
    """Give a length as a builder does: marks put by hand, its figure true to the draughting (half width, mm)."""
    length = float(np.hypot(*(ends_mm[1] - ends_mm[0]))) + rng.uniform(-within_mm, within_mm)
    first, second = marked(rng, picturing, ends_mm, sigma_px=sigma_px)
    return KnownDistance(first, second, length, sigma_px=sigma_px)


def drawn_border(rng: np.random.Generator, drawn: Drawn) -> Floats:
    """Give the border's corners as drawn, mm."""
    middle = BORDER_MM.mean(axis=0)
    corners = BORDER_MM - middle
    corners[:, 0] += rng.normal(0, drawn.lean_rad) * corners[:, 1]
    return np.asarray(corners + middle + rng.uniform(-drawn.within_mm, drawn.within_mm, (4, 2)))


def marked(
    rng: np.random.Generator, picturing: Camera | Scanner, points_mm: Floats, *, sigma_px: float
) -> tuple[PointPx, ...]:
    """Give marks put on places of the plan, px."""
    px = picturing.to_picture(points_mm)
    px = np.clip(px + rng.normal(0, sigma_px, px.shape), 0, (picturing.width_px - 1, picturing.height_px - 1))
    return tuple((float(x), float(y)) for x, y in px)


def random_lengths(rng: np.random.Generator, picturing: Camera | Scanner, count: int) -> tuple[Floats, Floats, Floats]:
    """Give lengths of every direction up to the sheet's diagonal: starts and ends in px, and what they are, mm."""
    ends_mm = rng.uniform(SHEET_MM.min(axis=0), SHEET_MM.max(axis=0), (2, count, 2))
    true_mm = np.hypot(*(ends_mm[1] - ends_mm[0]).T)
    return picturing.to_picture(ends_mm[0]), picturing.to_picture(ends_mm[1]), true_mm


def _view(rng: np.random.Generator, scene: Scene) -> View:
    view = random_view(rng)
    if scene.leans_deg is None:
        return view
    level, upright = (rng.uniform(*lean) * rng.choice([-1, 1]) for lean in scene.leans_deg)
    return replace(view, tilt_x_deg=float(level), tilt_y_deg=float(upright), turn_deg=0.0)


def _side(rng: np.random.Generator, camera: Camera, start_mm: Floats, end_mm: Floats, drawn: Drawn) -> Floats:
    """Give centres along a drawn side, px; as drawn and laid it sags."""
    t = (np.arange(SIDE_POINTS) + 0.5) / SIDE_POINTS
    along = end_mm - start_mm
    across = np.array([-along[1], along[0]]) / np.hypot(*along)
    sag = 4 * t * (1 - t) * rng.uniform(-drawn.within_mm, drawn.within_mm)
    px = camera.to_picture(start_mm + t[:, None] * along + sag[:, None] * across)
    return np.asarray(px + rng.normal(0, SIDE_SIGMA_PX, px.shape))
