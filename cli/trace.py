"""trace: serve the page, say where it is, and say how to go on."""

import sys
from pathlib import Path

from cli.main import DONE
from cli.say import say
from cli.version import __version__


def trace(source: Path | None, *, open_browser: bool) -> int:
    """Serve the page of a picture or job until Ctrl-C; give the exit code."""
    from tracing.serve import serve

    def opened(address: str) -> None:
        say(f"The page is at {address}")
        say("It answers this computer alone. Every gesture is kept at once; Ctrl-C ends it.")
        if open_browser:
            _show(address)

    folder = serve(source, version=__version__, opened=opened)
    if folder is not None:
        say(f"The job is in {folder}; go on with: scantling trace {_quoted(folder / 'job.toml')}")
    return DONE


def _show(address: str) -> None:
    import webbrowser

    if not webbrowser.open(address):
        say("No browser could be opened: open that address in one by hand.")


def _quoted(path: Path) -> str:
    if sys.platform == "win32":
        return f'"{path}"' if " " in str(path) else str(path)
    import shlex

    return shlex.quote(str(path))
