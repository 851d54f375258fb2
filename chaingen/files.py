"""Files that are written whole or not at all.

A file is written under a temporary name in the folder it will live in, brought to disk, then renamed over the
old one. When anything goes wrong the temporary file is removed and the old file stands as it was.
"""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from chaingen.errors import CannotWrite


@contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """Open a binary file that appears at `path` only when the block ends well.

    Args:
        path: Where the finished file goes; missing parent folders are made, a link is followed.

    Yields:
        A binary stream for the content.

    Raises:
        CannotWrite: The folder cannot be made or written, or the disk is full.
    """
    partial: Path | None = None
    try:
        path = path.resolve()
        if path.exists() and not path.is_file():
            raise CannotWrite(f"cannot write {path}: it is there and is not a file")
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".part-", suffix=path.suffix[:8], dir=path.parent)
        partial = Path(name)
        with os.fdopen(handle, "wb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        # mkstemp makes files private; a finished file gets the usual permissions.
        mask = os.umask(0)
        os.umask(mask)
        partial.chmod(0o666 & ~mask)
        partial.replace(path)
        partial = None
    except OSError as error:
        raise CannotWrite(f"cannot write {path}: {error.strerror or error}") from error
    finally:
        if partial is not None:
            partial.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> None:
    """Write `text` as UTF-8 to `path`, whole or not at all.

    Raises:
        CannotWrite: See `whole_file`.
    """
    with whole_file(path) as stream:
        stream.write(text.encode())


@contextmanager
def staged(folder: Path) -> Iterator[Path]:
    """A folder to write many files into that appear in `folder` together, once the block ends well.

    When anything goes wrong nothing is left: neither the files, nor `folder` where it was made for them.
    Other files in `folder` are never touched.

    Args:
        folder: Where the files go in the end, under the same relative paths.

    Yields:
        An empty folder on the same disk.

    Raises:
        CannotWrite: The folder cannot be made or written, or the disk is full.
    """
    made = [part for part in (folder, *folder.parents) if not part.exists()]
    stage: Path | None = None
    try:
        folder.mkdir(parents=True, exist_ok=True)
        stage = Path(tempfile.mkdtemp(prefix=".part-", dir=folder))
        yield stage
        files = sorted(path for path in stage.rglob("*") if path.is_file())
        for path in files:
            target = folder / path.relative_to(stage)
            if target.exists() and not target.is_file():
                raise CannotWrite(f"cannot write {target}: it is there and is not a file")
            target.parent.mkdir(parents=True, exist_ok=True)
        for path in files:
            path.replace((folder / path.relative_to(stage)).resolve())
    except OSError as error:
        raise CannotWrite(f"cannot write to {folder}: {error.strerror or error}") from error
    finally:
        if stage is not None:
            shutil.rmtree(stage, ignore_errors=True)
        for part in made:
            # Only a folder made here and still empty goes again.
            with suppress(OSError):
                part.rmdir()
