"""Printing to the terminal: text only, whatever a file's name or a job's holds."""

import os
import sys
from typing import TextIO

SHOWN_FOR_CONTROL = "?"


def say(text: str, *, to_stderr: bool = False) -> None:
    """Print text on its lines.

    Control signs would move the cursor or colour the screen, and are shown as ?. A sign that the terminal's encoding
    lacks (a Windows console has no true minus) becomes ? too: it is no reason to fail after the work is done.
    """
    stream: TextIO = sys.stderr if to_stderr else sys.stdout
    shown = "".join(sign if sign.isprintable() or sign == "\n" else SHOWN_FOR_CONTROL for sign in text)
    encoding = stream.encoding or "utf-8"
    try:
        print(shown.encode(encoding, errors="replace").decode(encoding), file=stream, flush=True)
    except BrokenPipeError:
        # Whoever read our output has gone (a pager, `head`): what was done stays done, and its exit code tells so.
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
