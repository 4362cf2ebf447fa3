"""Ink told from paper, whatever the light."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from pictures.ink import faint_ink_mask, find_ink, ink_mask
from pictures.picture import Medium, Picture, Source

HEIGHT, WIDTH = 300, 420


def picture(grey: NDArray[np.uint8]) -> Picture:
    return Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))


def lit_paper(*, brightest: float, darkest: float, noise: float) -> NDArray[np.float64]:
    """Blank paper under light that falls off to one side."""
    random = np.random.default_rng(7)
    x = np.linspace(0, 1, WIDTH)
    light = brightest - (brightest - darkest) * x**2
    return np.tile(light, (HEIGHT, 1)) + random.normal(0, noise, (HEIGHT, WIDTH))


def grey(values: NDArray[np.float64]) -> NDArray[np.uint8]:
    return np.clip(np.round(values), 0, 255).astype(np.uint8)


def test_darkness_is_that_of_the_ink_under_any_light() -> None:
    paper = lit_paper(brightest=240, darkest=165, noise=0)
    ink = paper.copy()
    ink[140:146] *= 0.3

    found = find_ink(picture(grey(ink)))

    # Ink that gives back 0.3 of the light is 0.7 dark: 178 of 255.
    assert np.abs(found.darkness[143].astype(int) - 178).max() <= 8
    assert found.darkness[:100].max() <= 8
    assert not found.bilevel


@pytest.mark.parametrize("noise", [2.0, 5.0, 9.0])
def test_noise_is_measured_in_darkness(noise: float) -> None:
    paper = lit_paper(brightest=204, darkest=204, noise=noise)
    paper[150:153] = 30

    found = find_ink(picture(grey(paper)))

    assert found.noise == pytest.approx(noise * 255 / 204, rel=0.12)


@pytest.mark.parametrize("noise", [2.0, 8.0])
def test_a_thin_line_is_whole_and_noise_makes_few_specks(noise: float) -> None:
    paper = lit_paper(brightest=235, darkest=165, noise=0)
    cv2.line(paper, (20, 40), (400, 260), 20.0, 1, cv2.LINE_AA)
    paper = cv2.GaussianBlur(paper, (0, 0), 0.7)
    paper += np.random.default_rng(3).normal(0, noise, paper.shape)

    mask = ink_mask(find_ink(picture(grey(paper))), None)

    count, _, stats, _ = cv2.connectedComponentsWithStats(mask)
    largest = stats[1:, cv2.CC_STAT_WIDTH].max()
    # At 8 levels of noise and this blur even the dark end stands out; a break would halve the width of its piece.
    assert largest > 370
    assert count - 2 < 20


def test_a_soft_shadow_is_no_ink_and_a_line_across_it_is() -> None:
    paper = np.full((HEIGHT, WIDTH), 230.0)
    paper[:, 200:] *= 0.55
    paper = cv2.GaussianBlur(paper, (0, 0), 25)
    paper[150:153] *= 0.25

    mask = ink_mask(find_ink(picture(grey(paper))), None)

    assert mask[151].all()
    assert not mask[:140].any()
    assert not mask[170:].any()


# A lamp near the sheet bends the light over a few cm: a wide median alone is off by 14 levels here, and noise is ink.
def test_no_noise_becomes_ink_where_the_light_bends() -> None:
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    light = 240 * (1 - 0.45 * (0.5 + 0.5 * np.sin(4.2 * x / WIDTH + 2.8 * y / HEIGHT)))
    paper = light + np.random.default_rng(9).normal(0, 3, (HEIGHT, WIDTH))
    paper[150:153] -= 0.5 * light[150:153]

    found = find_ink(picture(grey(paper)))
    mask = ink_mask(found, None)

    assert mask[151].all()
    # Six of a hundred pixels were ink before the bend was followed; to the very edge it still is not.
    assert mask[40:140, 40:-40].mean() < 1e-3
    assert mask[163:-40, 40:-40].mean() < 1e-3
    # Half of the light is half dark: 127 of 255, whatever the light.
    along = np.convolve(found.darkness[151].astype(float), np.ones(20) / 20, "valid")
    assert np.abs(along - 127).max() <= 8


def test_dense_lines_do_not_become_paper() -> None:
    paper = np.full((HEIGHT, WIDTH), 240.0)
    paper[60:260:7, 60:360] = 40
    paper[61:261:7, 60:360] = 40

    found = find_ink(picture(grey(paper)))

    assert np.median(found.darkness[130:200:7, 100:300][0]) > 190
    assert np.median(found.darkness[61 + 4 : 200 : 7, 100:300]) < 10


def test_a_bilevel_picture_is_told_and_its_ink_kept() -> None:
    paper = np.full((HEIGHT, WIDTH), 255, np.uint8)
    paper[100:103, 50:350] = 0

    found = find_ink(picture(paper))

    assert found.bilevel
    assert found.noise == 0
    assert found.darkness[101, 200] > 200
    mask = ink_mask(found, None)
    assert mask[101, 60:340].all()
    assert not mask[:95].any()


def test_nothing_outside_of_the_polygon_is_ink() -> None:
    paper = np.full((HEIGHT, WIDTH), 240.0)
    paper[50:53] = 30
    within = np.array([[100.0, 20.0], [300.0, 20.0], [300.0, 90.0], [100.0, 90.0]])

    mask = ink_mask(find_ink(picture(grey(paper))), within)

    columns = np.flatnonzero(mask.any(axis=0))
    assert columns.min() >= 99
    assert columns.max() <= 301
    assert mask[51, 120:280].all()


@pytest.mark.parametrize("shape", [(1, 1), (2, 9), (9, 2), (40, 3)])
def test_tiny_pictures_are_taken(shape: tuple[int, int]) -> None:
    found = find_ink(picture(np.full(shape, 200, np.uint8)))

    assert found.darkness.shape == shape
    assert ink_mask(found, None).shape == shape


def test_turning_the_picture_turns_the_mask() -> None:
    paper = lit_paper(brightest=235, darkest=170, noise=3)
    cv2.line(paper, (30, 60), (390, 200), 40.0, 2, cv2.LINE_AA)
    upright = grey(paper)

    mask = ink_mask(find_ink(picture(upright)), None)
    turned = ink_mask(find_ink(picture(np.ascontiguousarray(np.rot90(upright)))), None)

    # Cells of the paper fall elsewhere by part of a cell, which moves a pixel here and there at the line's edge.
    assert np.count_nonzero(np.rot90(mask) != turned) < 0.02 * np.count_nonzero(mask) + 3


def test_a_faint_grainy_line_is_whole_and_a_soft_shadow_is_none() -> None:
    rng = np.random.default_rng(4)
    paper = np.full((HEIGHT, WIDTH), 235.0)
    grain = cv2.GaussianBlur(rng.normal(size=(HEIGHT, WIDTH)), (0, 0), 2.0)
    paper[150:153] -= 14 * (1 + 0.3 * grain[150:153] / grain.std())
    paper = cv2.GaussianBlur(paper, (0, 0), 0.8) + rng.normal(0, 0.7, paper.shape)
    shadow = np.full((HEIGHT, WIDTH), 230.0)
    shadow[:, 200:] *= 0.55
    shadow = np.asarray(cv2.GaussianBlur(shadow, (0, 0), 25), np.float64)

    found = find_ink(picture(grey(paper)))
    whole, firm = faint_ink_mask(found, None), ink_mask(found, None)

    assert whole[150:153].any(axis=0).mean() > 0.97
    assert firm[150:153].any(axis=0).mean() < 0.9
    assert not faint_ink_mask(find_ink(picture(grey(shadow))), None).any()
    assert whole[:140].mean() < 0.001
