"""Cards lying in a rendered photo: what the cards' PDF prints, taken through the camera with blur, light and noise."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_scans.camera import Camera
from sample_scans.photo import PhotoLook, encoded, photograph, smooth_noise
from sample_scans.truth import PlanTruth

Floats = NDArray[np.float64]

FINER = 4
"""A card is taken into the picture on a grid this many times finer than its px, blurred there, and then sampled."""

NODE_PX = 4
"""Between px so far apart the map back to the card is straight to 0.0002 mm."""

PAPER, INK = (0.88, 0.88, 0.90), 0.05
"""A card's own paper, whiter than the plan's, and what a printer's black leaves of its light."""

PX_PER_MM = 40.0
"""Of the printed card: 1016 dpi, finer than any camera sees."""


@dataclass(frozen=True)
class Print:
    """A card as it came out of the printer: darkness 0..1 (H, W) at PX_PER_MM nominal mm, and its box.

    `box_mm` is left, lower, right, upper from the pattern's middle, nominal; the printer makes x `scale[0]` and y
    `scale[1]` times as long.
    """

    darkness: NDArray[np.float32]
    box_mm: tuple[float, float, float, float]
    scale: tuple[float, float] = (1.0, 1.0)


@dataclass(frozen=True)
class Lying:
    """A print, where on the plan its pattern's middle lies (mm), and how far it is turned anticlockwise."""

    card: Print
    at_mm: tuple[float, float]
    turn_rad: float = 0.0

    def on_plan_mm(self, nominal_mm: Floats) -> Floats:
        """Give where nominal places of the card lie on the plan."""
        cos, sin = np.cos(self.turn_rad), np.sin(self.turn_rad)
        turned = (nominal_mm * self.card.scale) @ np.array([[cos, sin], [-sin, cos]])
        return np.asarray(turned + self.at_mm)


def photo_with_cards(
    plan: PlanTruth, camera: Camera, cards: Sequence[Lying], *, look: PhotoLook, seed: int, quality: int = 92
) -> NDArray[np.uint8]:
    """Give an RGB photo, through JPEG once, of a plan with cards lying on it."""
    picture = photograph(plan.strokes, plan.sheet_mm, camera, look=look, rng=np.random.default_rng(seed))
    bare = photograph((), plan.sheet_mm, camera, look=replace(look, noise=0.0), rng=np.random.default_rng(seed))
    rng = np.random.default_rng(seed + 1)
    for card in cards:
        _lay(picture, bare, camera, card, look, rng)
    done, data = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    back = cv2.imdecode(data, cv2.IMREAD_COLOR)
    return np.ascontiguousarray(np.asarray(back, np.uint8)[..., ::-1])


def _lay(
    picture: NDArray[np.uint8],
    bare: NDArray[np.uint8],
    camera: Camera,
    card: Lying,
    look: PhotoLook,
    rng: np.random.Generator,
) -> None:
    """Put one card into the picture, in place."""
    left, lower, right, upper = card.card.box_mm
    rim = np.array([[left, lower], [right, lower], [right, upper], [left, upper]])
    seen = camera.to_picture(card.on_plan_mm(rim))
    low = np.floor(seen.min(axis=0)).astype(int) - 6
    high = np.ceil(seen.max(axis=0)).astype(int) + 7
    low, high = np.maximum(low, 0), np.minimum(high, [camera.width_px, camera.height_px])
    size = (high - low) * FINER
    nominal = _fine_places_mm(camera, card, low, size)
    across = (nominal[:, 0] - left) * PX_PER_MM - 0.5
    down = (upper - nominal[:, 1]) * PX_PER_MM - 0.5
    # Finer than the camera's grid: averaged to it first, or it would alias.
    per_cell = PX_PER_MM * abs(nominal[1, 0] - nominal[0, 0]) + 1e-9
    soft = cv2.GaussianBlur(card.card.darkness, (0, 0), max(0.3, 0.45 * float(per_cell)))
    shape = (int(size[1]), int(size[0]))
    maps = across.astype(np.float32).reshape(shape), down.astype(np.float32).reshape(shape)
    ink = cv2.remap(soft, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    inside = ((nominal > [left, lower]) & (nominal < [right, upper])).all(axis=1).astype(np.float32).reshape(shape)
    # What the pixels' own width, and the softening above, have already blurred is part of the whole.
    rest = np.sqrt(max((look.blur_px * FINER) ** 2 - (FINER**2 - 1) / 12 - 0.45**2, 0.1))

    def sampled(fine: NDArray[np.float32]) -> NDArray[np.float32]:
        blurred = np.asarray(cv2.GaussianBlur(fine, (0, 0), rest))
        cells = blurred.reshape(shape[0] // FINER, FINER, shape[1] // FINER, FINER)
        return np.asarray(cells.mean(axis=(1, 3)), np.float32)

    ink, share = sampled(np.asarray(ink, np.float32)), sampled(np.asarray(inside, np.float32))
    box = np.s_[low[1] : high[1], low[0] : high[0]]
    shared = smooth_noise(ink.shape if min(ink.shape) > 256 else (300, 300), rng)[: ink.shape[0], : ink.shape[1]]
    for channel in range(3):
        light = _linear(bare[box][..., channel]) / look.paper[channel]
        card_light = light * PAPER[channel] * (1 - (1 - INK) * ink)
        levels = encoded(card_light.astype(np.float32)) * 255 + shared * look.noise
        levels += rng.standard_normal(ink.shape, dtype=np.float32) * (0.35 * look.noise)
        mixed = picture[box][..., channel] * (1 - share) + levels * share
        picture[box][..., channel] = np.clip(np.round(mixed), 0, 255)


def _fine_places_mm(camera: Camera, card: Lying, low: NDArray[np.int_], size: NDArray[np.int_]) -> Floats:
    """Give nominal mm of the card for each cell of the fine grid, from every fourth px."""
    nodes = np.ceil(size / FINER / NODE_PX).astype(int) + 2
    x, y = (low[axis] - 1 + NODE_PX * np.arange(nodes[axis]) for axis in (0, 1))
    coarse = _back(camera, card, np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)).reshape(nodes[1], nodes[0], 2)
    # Fine cell (0, 0) has its centre 3/8 px (at 4) before its pixel's.
    column = ((np.arange(size[0]) + 0.5) / FINER + 0.5) / NODE_PX
    row = ((np.arange(size[1]) + 0.5) / FINER + 0.5) / NODE_PX
    i, j = column.astype(int), row.astype(int)
    u, v = (column - i)[None, :, None], (row - j)[:, None, None]
    above = coarse[j][:, i] * (1 - u) + coarse[j][:, i + 1] * u
    below = coarse[j + 1][:, i] * (1 - u) + coarse[j + 1][:, i + 1] * u
    return np.asarray(above * (1 - v) + below * v).reshape(-1, 2)


def _back(camera: Camera, card: Lying, points_px: Floats) -> Floats:
    """Give nominal mm of the card for px: a polynomial of px through the forward map, good to a millionth of a card."""
    left, lower, right, upper = card.card.box_mm
    reach = 8.0
    x, y = np.meshgrid(np.linspace(left - reach, right + reach, 25), np.linspace(lower - reach, upper + reach, 25))
    nominal = np.column_stack([x.ravel(), y.ravel()])
    px = camera.to_picture(card.on_plan_mm(nominal))
    middle, spread = px.mean(axis=0), np.ptp(px, axis=0) / 2

    def terms(points: Floats) -> Floats:
        u, v = ((points - middle) / spread).T
        return np.column_stack([u**i * v**j for i in range(7) for j in range(7 - i)])

    fitted, *_ = np.linalg.lstsq(terms(px), nominal, rcond=None)
    return np.asarray(terms(points_px) @ fitted)


def _linear(levels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Give linear light of sRGB levels (IEC 61966-2-1)."""
    values = levels.astype(np.float32) / 255
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4).astype(np.float32)
