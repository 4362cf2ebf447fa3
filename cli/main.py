"""The console script: runs a command, turns what went wrong into one sentence and an exit code."""

import errno
import gc
import os
import sys
from collections.abc import Sequence

from cli.say import say

DONE, TO_DECIDE, REFUSED, INTERRUPTED = 0, 1, 2, 130


def run() -> None:
    """Run what the command line says and leave with its exit code."""
    # Small equations wait longer for threads than they take: with them, drawing outlines took twice as long.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Libraries make objects by the ten thousand while they load, and none of them is garbage; pictures are freed
    # without looking for it.
    gc.set_threshold(50_000)
    try:
        code = main(sys.argv[1:])
    except KeyboardInterrupt:
        # Before the first command is even known.
        code = INTERRUPTED
    # Nor is it looked for among all that libraries loaded, on the way out.
    gc.freeze()
    sys.exit(code)


def main(arguments: Sequence[str]) -> int:
    """Run the command in `arguments`; give the exit code of the design.

    Anything that is neither bad input nor an interrupt is our bug: its traceback is
    shown and the exit code is 3.
    """
    code = _command(arguments)
    try:
        # What is still buffered would fail after the exit code is given, with Python's words instead of ours.
        sys.stdout.flush()
    except BrokenPipeError:
        _drop_output()
    except OSError as error:
        return _full(error)
    return code


def _command(arguments: Sequence[str]) -> int:
    import typer

    from cli.app import app
    from drawing.errors import ScantlingError

    # typer carries its own copy of what its usage errors derive from; the eldest is reached through a public one.
    usage_error = next(kind for kind in typer.BadParameter.__mro__ if kind.__base__ is Exception)
    assert issubclass(usage_error, Exception)
    try:
        result = app(args=list(arguments) or ["--help"], prog_name="scantling", standalone_mode=False)
    except ScantlingError as error:
        return _refuse(str(error))
    except usage_error as error:
        return _refuse(_usage_sentence(error))
    except (KeyboardInterrupt, typer.Abort):
        _say("interrupted; nothing was written")
        return INTERRUPTED
    except typer.Exit as leave:
        return int(leave.exit_code)
    except BrokenPipeError:
        # Whoever read our output has gone (a pager, `head`): nobody is left to tell.
        sys.stderr.close()
        return DONE
    except OSError as error:
        return _full(error)
    except Exception:  # noqa: BLE001 - the one place where a bug is told from bad input, by its exit code
        return _our_bug()
    return int(result or DONE)


OUR_BUG = 3


def _full(error: OSError) -> int:
    _drop_output()
    if error.errno != errno.ENOSPC:
        return _our_bug()
    return _refuse("The disk is full, or what our output goes to is; some room is needed: free it and run again.")


def _drop_output() -> None:
    """Let what is still buffered go nowhere: it cannot go where it should."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):
        # Standard output is no file of the system: there is nothing that could fail later.
        return


def _our_bug() -> int:
    """Show the traceback of what is being handled."""
    import traceback

    traceback.print_exc()
    return OUR_BUG


def _refuse(sentence: str) -> int:
    _say(sentence)
    return REFUSED


def _say(sentence: str) -> None:
    say(f"scantling: {' '.join(sentence.split())}", to_stderr=True)


def _usage_sentence(error: object) -> str:
    found = str(getattr(error, "format_message", lambda: str(error))()).rstrip(".")
    return f"{found}; the command line must fit `scantling --help`: type it again."
