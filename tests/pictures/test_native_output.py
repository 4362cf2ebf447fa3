import os
import warnings

import pytest
from PIL import Image

from pictures.native_output import captured_messages


def test_what_is_printed_below_python_is_caught(capfd: pytest.CaptureFixture[str]) -> None:
    with captured_messages() as said:
        os.write(2, b"Premature end of JPEG file\n")
    os.write(2, b"after\n")

    assert said.text == "Premature end of JPEG file\n"
    assert capfd.readouterr().err == "after\n"


def fail_inside() -> None:
    with captured_messages():
        warnings.warn("odd tag", stacklevel=1)
        raise ZeroDivisionError


def test_everything_is_put_back_after_an_error(capfd: pytest.CaptureFixture[str]) -> None:
    before = Image.MAX_IMAGE_PIXELS

    with pytest.raises(ZeroDivisionError):
        fail_inside()
    os.write(2, b"heard\n")

    assert capfd.readouterr().err == "heard\n"
    assert before == Image.MAX_IMAGE_PIXELS
