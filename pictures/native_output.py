"""Keep what decoders written in C print off the terminal, and look at it: it is where they tell of damage."""

import os
import sys
import tempfile
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

_LOCK = threading.RLock()
_STDERR = 2


@dataclass(slots=True)
class Messages:
    """What was printed; filled when the block ends."""

    text: str = ""


@contextmanager
def captured_messages() -> Iterator[Messages]:
    """Run a block with the process's stderr caught in a file, and Python's warnings silent.

    One block at a time: stderr belongs to the whole process. Pillow's own size limit is lifted inside,
    `pictures.limits` having looked at the header. Where stderr is closed nothing is caught.
    """
    from PIL import Image

    messages = Messages()
    with _LOCK, tempfile.TemporaryFile() as caught, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        if sys.stderr is not None:
            sys.stderr.flush()
        pillow_limit, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None
        try:
            kept = os.dup(_STDERR)
        except OSError:
            kept = None
        try:
            if kept is not None:
                os.dup2(caught.fileno(), _STDERR)
            yield messages
        finally:
            if kept is not None:
                os.dup2(kept, _STDERR)
                os.close(kept)
            Image.MAX_IMAGE_PIXELS = pillow_limit
            caught.seek(0)
            messages.text = caught.read().decode("utf-8", "replace")
