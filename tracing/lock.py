"""One server a job: a lock that the system itself lets go of when its holder ends, however it ends."""

import errno
import os
import sys
from pathlib import Path

from tracing.errors import SessionError

LOCK_NAME = "job.lock"

TRIES = 5
"""How often a lock file that its last holder was just removing is made again."""

_CANNOT_LOCK = {errno.ENOLCK, errno.EOPNOTSUPP, errno.ENOSYS, errno.EINVAL}
"""What a disk answers that knows no locks."""


class JobLock:
    """The lock of a job's folder, held from `take` until `release`, or until this process is gone."""

    def __init__(self, path: Path, handle: int, *, held: bool) -> None:
        self._path = path
        self._handle: int | None = handle
        self.held = held
        """False where the disk knows no locks."""

    @staticmethod
    def take(folder: Path) -> "JobLock":
        """Take the lock of a folder; what a dead process left behind is no lock.

        Raises
        ------
        SessionError
            When another process holds it.
        OSError
            When the folder cannot be written.
        """
        path = folder / LOCK_NAME
        for _ in range(TRIES):
            handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
            try:
                held = _lock(handle)
            except BlockingIOError:
                said = _holder(handle)
                os.close(handle)
                raise SessionError(
                    f"The job in {folder} lies open in another window of this program{said}; one at a time can change "
                    "it: go on in that page, or end that program first."
                ) from None
            except OSError:
                os.close(handle)
                raise
            if held and not _is_still(path, handle):
                # Its last holder was just removing it: a file without a name keeps nobody out.
                os.close(handle)
                continue
            os.ftruncate(handle, 0)
            os.write(handle, f"{os.getpid()}\n".encode())
            return JobLock(path, handle, held=held)
        raise SessionError(f"The lock {path} comes and goes; it must stay put: close other programs, then try again.")

    def release(self) -> None:
        """Let go of the lock; once is enough."""
        if self._handle is None:
            return
        if sys.platform != "win32" and _is_still(self._path, self._handle):
            # While it is still ours: whoever waits for it then makes a new one.
            self._path.unlink(missing_ok=True)
        os.close(self._handle)
        self._handle = None


def _lock(handle: int) -> bool:
    """Lock an open file; False where the disk knows no locks. BlockingIOError when another holds it."""
    if sys.platform == "win32":
        import msvcrt

        try:
            # Far beyond the end, so that the process number can be read by those who are kept out.
            os.lseek(handle, 1 << 20, os.SEEK_SET)
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
            os.lseek(handle, 0, os.SEEK_SET)
        except OSError as error:
            raise BlockingIOError from error
        return True
    import fcntl

    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise
    except OSError as error:
        if error.errno in _CANNOT_LOCK:
            return False
        raise
    return True


def _is_still(path: Path, handle: int) -> bool:
    try:
        named, opened = path.stat(), os.fstat(handle)
    except OSError:
        return False
    return (named.st_ino, named.st_dev) == (opened.st_ino, opened.st_dev)


def _holder(handle: int) -> str:
    os.lseek(handle, 0, os.SEEK_SET)
    text = os.read(handle, 32).strip()
    return f" (process {text.decode()})" if text.isdigit() else ""
