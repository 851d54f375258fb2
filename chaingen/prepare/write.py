"""The files that a service is sent: for each batch an STL, which all take, and a 3MF, which says its unit."""

import datetime
from collections.abc import Sequence
from pathlib import Path

from chaingen.model.stl import write_stl
from chaingen.model.threemf import why_not, write_3mf
from chaingen.prepare.batch import Batch

FOLDER = "service"
"""The folder that they go into."""


def write_batches(
    folder: Path, batches: Sequence[Batch], *, title: str, date: datetime.date | None = None
) -> list[Path]:
    """Write each batch as STL, and as 3MF where lib3mf runs.

    Args:
        folder: Where they go.
        batches: What is sent.
        title: What the piece is called.
        date: The day it was made, for 3MF to tell; None when not given.

    Returns:
        The files.

    Raises:
        CannotWrite: A file cannot be written.
    """
    paths = []
    for batch in batches:
        paths.append(folder / f"{batch.name}.stl")
        write_stl(paths[-1], batch.model)
        if not why_not():
            paths.append(folder / f"{batch.name}.3mf")
            write_3mf(paths[-1], batch.model, title=f"{title}, {batch.name}", date=date)
    return paths
