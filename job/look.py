"""look: number the corners, crossings and line ends of a picture over it."""

import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drawing.findings import Finding
from job.errors import JobError
from job.job import Sheet
from job.progress import Progress
from job.see import see
from report.look import write_look

PROGRAM = "scantling"

PAGE_SUFFIXES = (".html", ".htm")


@dataclass(frozen=True, slots=True)
class Looked:
    """The page written, and the (N, 2) landmarks on it, picture px, number n in row n - 1."""

    page: Path
    landmarks_px: NDArray[np.float64]
    findings: tuple[Finding, ...]


def look(source: Path, *, page: int, to: Path | None, progress: Progress) -> Looked:
    """Write the numbered picture; by default `<stem>-look.html` where the command runs.

    Raises
    ------
    ScantlingError
        In one sentence.
    """
    path = to or Path(f"{source.stem}-look.html")
    if path.suffix.lower() not in PAGE_SUFFIXES:
        # A slip in -o must not put a page in the place of somebody's plan.
        raise JobError(
            f"-o names {path}; look writes a page for a browser, so its name must end in .html: name another."
        )
    seen = see(Sheet(source.absolute(), sha256="", page=page), (), progress)
    with progress.stage("numbering the points"):
        try:
            with tempfile.TemporaryDirectory(prefix=f".{PROGRAM}-", dir=path.parent) as folder:
                beside = Path(folder) / "page.html"
                write_look(beside, seen.picture, seen.landmarks_px)
                beside.replace(path)
        except OSError as error:
            why = (error.strerror or str(error)).lower()
            raise JobError(f"{path} cannot be written ({why}); name another place with -o.") from error
    return Looked(path, seen.landmarks_px, seen.findings)
