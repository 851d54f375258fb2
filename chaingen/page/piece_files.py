"""The files of a piece as the page offers them: each with what it is for, and why others are not there."""

from collections.abc import Callable
from pathlib import Path, PurePosixPath
from typing import Any

from chaingen.make.result import Result
from chaingen.pipeline import drape, export, for_service, plan

Data = dict[str, Any]

_MODELS = {
    ".3mf": "for printing: what most print services and slicers take best; in millimetres, and says so",
    ".stl": "for printing and casting services that take nothing else; tell them it is in millimetres",
    ".obj": "for drawing and rendering programs; tell them it is in millimetres",
    ".mtl": "the colours of the .obj file beside it",
    ".glb": "to show it: on a page, in a viewer, on a phone",
    ".step": "for programs that engineers use",
}
"""What each format is for."""

_FILES = {
    "placement.json": "where every part lies, for other programs",
    "placement-mirrored.json": "where every part of the second piece lies, for other programs",
    "report.json": "the verdict and its evidence, for other programs",
    "sheet.html": "the maker's sheet, to read on a screen",
    "sheet.pdf": "the maker's sheet, to print",
    "sheet.csv": "the maker's sheet as a table, for a spreadsheet",
}
"""What files of these names are for."""

_FILMS = {"turning.gif": "a full turn", "settling.gif": "the way to rest"}
"""What moves in pictures of these names."""


def written_files(
    result: Result,
    folder: Path,
    *,
    models: bool,
    pictures: bool,
    sheet: bool,
    service: bool,
    on_progress: Callable[[str], None],
) -> Data:
    """Write the files of a built piece, as `chaingen make` does.

    Args:
        result: What `build` gave; it is draped in the scenes of its design.
        folder: Where they go.
        models: Whether to write models, of the piece as placed and at rest.
        pictures: Whether to draw pictures, also those of the sheet and of what a service is sent.
        sheet: Whether to write the maker's sheet.
        service: Whether to prepare what a service is sent, where the design names one.
        on_progress: Told in words what is being done.

    Returns:
        ``list``: each file's ``path``, ``bytes`` and ``what``; ``notes``: what is not there, and why.

    Raises:
        BadInput: What the bench or the service says cannot be.
        CannotWrite: A file cannot be written; then none is.
    """
    if sheet:
        result = plan(result, on_progress=on_progress)
    result = drape(result, on_progress=on_progress)
    prepared = for_service(result, on_progress=on_progress) if service else None
    files = export(
        result, folder, models=models, pictures=pictures, prepared=prepared, on_progress=on_progress
    )
    notes = []
    if files.not_drawn:
        notes.append(f"No pictures: {files.not_drawn}.")
    if files.no_pdf:
        notes.append(f"No sheet.pdf: {files.no_pdf}.")
    if files.no_3mf:
        notes.append(f"No piece.3mf: {files.no_3mf}.")
    if models and not result.fits:
        notes.append("No models were written, since it does not fit.")
    names = [path.relative_to(folder).as_posix() for path in files.paths]
    return {
        "list": [
            {"path": name, "bytes": (folder / name).stat().st_size, "what": what_for(name)} for name in names
        ],
        "notes": notes,
    }


def what_for(name: str) -> str:
    """What a file is for, by its path in the folder of a piece."""
    path = PurePosixPath(name)
    at_rest = path.parts[0] == "scenes"
    rest = f", at rest: {path.parts[1]}" if at_rest else ""
    if path.parent.name == "service":
        what = "a picture of what the service is sent" if path.suffix == ".png" else "to send to the service"
    elif path.name in _FILES:
        what = _FILES[path.name]
    elif path.name in _FILMS:
        what = f"a picture that moves, {_FILMS[path.name]}"
    elif path.suffix == ".png":
        drawn_for_sheet = path.parts[:-1] != ("pictures",) and not at_rest
        what = "a picture for the maker's sheet" if drawn_for_sheet else f"a picture, {path.stem}"
    else:
        what = _MODELS[path.suffix]
    return what + rest
