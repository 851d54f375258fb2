"""Files that a design names, where the design came from someone who may read none but those beside it.

Of what the design says only the last part of the path counts, as a name in one folder: no name leads out of
it.
"""

import os
import re
import stat
from pathlib import Path

from chaingen.errors import BadInput, Problem
from chaingen.tables import shown

MOST_SEALED_BYTES = 200_000
"""A longer design, or file beside it, is not read where reading is sealed."""

MOST_NAME_BYTES = 200
"""A longer name is that of no file."""

_DEVICES = re.compile(r"(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³]|conin\$|conout\$)(\..*)?", re.IGNORECASE)
"""Names that stand for devices in some systems, whatever folder they are in."""


def base_name(name: str) -> str | None:
    """The last part of a path, of any system, as a file's name; None when it cannot be one."""
    base = re.split(r"[/\\]", name)[-1].strip()
    if not base or not base.isprintable() or re.search(r'[:<>"|?*]', base):
        return None
    if base.endswith(".") or base.startswith(".") or _DEVICES.fullmatch(base):
        return None
    return base if len(base.encode()) <= MOST_NAME_BYTES else None


def text_beside(name: str, folder: str | os.PathLike[str], *, where: str, what: str) -> tuple[str, str]:
    """The text of a file in a folder, by its name alone.

    Args:
        name: What the design says.
        folder: The folder; nothing outside it is read, and nothing in folders within it.
        where: The place in the design that names it.
        what: What it should be, such as ``a weave file``.

    Returns:
        The file's name and its text.

    Raises:
        BadInput: There is no such file, or it is too long or not UTF-8.
    """
    base = base_name(name)
    if base is None:
        raise BadInput([Problem(where, shown(name), f"the name of {what} beside the design")])
    # No link is followed, and nothing is waited for: a pipe of this name is no file.
    flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    flags |= getattr(os, "O_BINARY", 0)
    path = Path(folder) / base
    got, advice = f"{shown(base)}, which is not here", "add the file of that name to this design"
    missing = Problem(where, got, f"{what} that is here", advice)
    try:
        if not stat.S_ISREG(path.lstat().st_mode):
            raise BadInput([missing])
        with os.fdopen(os.open(path, flags), "rb") as stream:
            if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
                raise BadInput([missing])
            content = stream.read(MOST_SEALED_BYTES + 1)
    except (OSError, ValueError):
        raise BadInput([missing]) from None
    if len(content) > MOST_SEALED_BYTES:
        raise BadInput([Problem(base, f"over {MOST_SEALED_BYTES:,} bytes", f"{what}, which is far shorter")])
    try:
        return base, content.decode("utf-8-sig")
    except UnicodeDecodeError:
        expected = f"{what}: TOML in UTF-8"
        raise BadInput(
            [Problem(base, "text that is not UTF-8", expected, "save it again as UTF-8")]
        ) from None
