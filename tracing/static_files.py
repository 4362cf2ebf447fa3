"""The page's own files, from the package."""

from functools import lru_cache
from pathlib import Path

from starlette.responses import Response

from tracing.one_script import one_script

STATIC = Path(__file__).parent / "static"

TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".woff2": "font/woff2",
}
"""What is served, under which type: the system's own table may call a script plain text, which a browser won't run."""


def static_file(name: str, *, root: Path = STATIC) -> Response | None:
    """Give a file below `root` by its name with forward slashes; None when there is no such file."""
    found = _read(name, root)
    return None if found is None else Response(found[0], media_type=found[1])


def page_script() -> Response:
    """Give all of the page's modules as one script."""
    return Response(_script(), media_type=TYPES[".js"])


@lru_cache(maxsize=1)
def _script() -> bytes:
    return one_script(STATIC / "js" / "main.js").encode()


@lru_cache(maxsize=256)
def _read(name: str, root: Path) -> tuple[bytes, str] | None:
    """A file's bytes and type. They are kept: each view of the page asks for them anew."""
    parts = name.split("/")
    if any(part in ("", ".", "..") or any(sign in part for sign in "\\:\0") for part in parts):
        return None
    kind = TYPES.get(Path(parts[-1]).suffix)
    if kind is None:
        return None
    try:
        path = root.joinpath(*parts).resolve()
        # A link inside could still lead out.
        if not path.is_relative_to(root.resolve()) or not path.is_file():
            return None
        return path.read_bytes(), kind
    except (OSError, ValueError):
        return None
