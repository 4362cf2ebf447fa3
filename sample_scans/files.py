"""Where the bundled files are."""

from importlib.resources import files
from pathlib import Path


def sample_path(name: str) -> Path:
    """Give the path of a bundled file, such as plan_photo.jpg; FileNotFoundError when there is none of that name.

    The project's wheel is installed unpacked, so that a bundled file is a file on disk.
    """
    path = Path(str(files("sample_scans").joinpath(name)))
    if not path.is_file():
        raise FileNotFoundError(f"There is no bundled file {name}; python -m sample_scans.generate DIR makes them.")
    return path
