from pathlib import Path

import pytest

from pictures.limits import check_page, check_size
from pictures.picture import PictureError


# ISO 216: A0 is 841 x 1189 mm, at 300 dpi 9933 x 14043 px = 139.5 MP; twice that for two sheets side by side.
@pytest.mark.parametrize("size", [(9933, 14043), (19866, 14043), (20_000, 20_000), (64, 64)])
def test_sizes_that_must_pass(size: tuple[int, int]) -> None:
    check_size(Path("plan.png"), width_px=size[0], height_px=size[1])


@pytest.mark.parametrize("size", [(20_001, 20_000), (100_000, 100_000), (2**31 - 1, 2**31 - 1)])
def test_too_large_says_size_limit_and_advice(size: tuple[int, int]) -> None:
    with pytest.raises(PictureError, match=rf"{size[0]} x {size[1]} px.*at most 400 megapixels.*300 dpi"):
        check_size(Path("plan.png"), width_px=size[0], height_px=size[1])


@pytest.mark.parametrize("size", [(63, 900), (900, 63), (0, 5), (-5, 900)])
def test_too_small(size: tuple[int, int]) -> None:
    with pytest.raises(PictureError, match="at least 64 px"):
        check_size(Path("plan.png"), width_px=size[0], height_px=size[1])


@pytest.mark.parametrize("page", [0, -1, 4, 10**12])
def test_page_that_is_not_there(page: int) -> None:
    with pytest.raises(PictureError, match=f"has 3 pages, page {page} was asked for.*1 to 3"):
        check_page(Path("plan.pdf"), page=page, pages=3)
