"""The server's temporary folder, and those that servers left behind which were killed.

Each folder holds a file that its server has locked. The system takes the lock back however the server ends:
a folder whose lock is to be had is nobody's any more. Only folders of the same user are looked at, no link is
followed, and where the system has no such locks nothing is removed.
"""

import os
import shutil
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from chaingen.errors import BadInput, Problem

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]

PREFIX = "chaingen-page-"

LOCK = "lock"


@contextmanager
def own_folder() -> Iterator[Path]:
    """A folder that nobody else may look into, for as long as it is needed.

    Raises:
        BadInput: None can be made.
    """
    try:
        _remove_left()
        folder = tempfile.TemporaryDirectory(prefix=PREFIX, ignore_cleanup_errors=True)
        lock = _locked(Path(folder.name))
    except OSError as error:
        got = error.strerror or str(error)
        advice = "the environment variable TMPDIR names another"
        raise BadInput(
            [Problem("the folder for temporary files", got, "one that can be written", advice)]
        ) from None
    try:
        with folder as path:
            yield Path(path)
    finally:
        if lock is not None:
            os.close(lock)


def _locked(folder: Path) -> int | None:
    """The locked file of a new folder; None where there are no locks."""
    if fcntl is None:
        return None
    # It is locked before it has its name: who finds it there never takes it for one that was left.
    unnamed = folder / f"{LOCK}.new"
    lock = os.open(unnamed, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        # Some file systems have none; without its name it is left alone.
        os.close(lock)
        return None
    unnamed.rename(folder / LOCK)
    return lock


def _remove_left() -> None:
    """Remove the folders of this user's servers that ended without doing so."""
    if fcntl is None or not shutil.rmtree.avoids_symlink_attacks:
        return
    for entry in list(os.scandir(tempfile.gettempdir())):
        if entry.name.startswith(PREFIX):
            with suppress(OSError):
                if _is_left(entry.path):
                    shutil.rmtree(entry.path, ignore_errors=True)


def _is_left(path: str) -> bool:
    """Whether a path is that of a folder of this user's that no server has any more.

    Raises:
        OSError: It is none, or its lock is held.
    """
    folder = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
    try:
        if not _is_own(os.fstat(folder)):
            return False
        lock = os.open(LOCK, os.O_RDWR | os.O_NOFOLLOW | os.O_NONBLOCK, dir_fd=folder)
        try:
            kept = os.fstat(lock)
            if not (_is_own(kept) and stat.S_ISREG(kept.st_mode)):
                return False
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return True
        finally:
            os.close(lock)
    finally:
        os.close(folder)


def _is_own(found: os.stat_result) -> bool:
    """Whether something is this user's, and nobody else may touch it."""
    return found.st_uid == os.getuid() and not found.st_mode & 0o077
