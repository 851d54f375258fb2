"""Files that are written whole or not at all.

A file is written under a temporary name in the folder it will live in, brought to disk, then renamed over the
old one. When anything goes wrong the temporary file is removed and the old file stands as it was.
"""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from chaingen.errors import CannotWrite


@contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """Open a binary file that appears at `path` only when the block ends well.

    Args:
        path: Where the finished file goes; missing parent folders are made.

    Yields:
        A binary stream for the content.

    Raises:
        CannotWrite: The folder cannot be made or written, or the disk is full.
    """
    partial: Path | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=path.suffix, dir=path.parent)
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
