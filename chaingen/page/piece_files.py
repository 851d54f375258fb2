"""The files of a piece as the page offers them: each with what it is for, and why others are not there."""

from collections.abc import Callable
from pathlib import Path, PurePosixPath
from typing import Any

from chaingen.files import write_text
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

DESIGN = "design.toml"
"""The design's own text among the files."""

GROUPS = (
    "The design",
    "Maker's sheet",
    "Models",
    "Pictures",
    "At rest",
    "For a service",
    "Pictures of the sheet",
    "For other programs",
)
"""What files are listed under, in this order."""

_FILES = {
    DESIGN: "the design itself, to open again",
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
        ``list``: each file's ``path``, ``bytes``, ``what`` it is for and its ``group``, the design's own text
        first; ``notes``: what is not there, and why.

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
        notes.append(
            f"No sheet.pdf: print sheet.html from the browser and save it as PDF, or {files.no_pdf}."
        )
    if files.no_3mf:
        notes.append(f"No piece.3mf: {files.no_3mf}.")
    if models and not result.fits:
        notes.append("No models were written, since it does not fit.")
    if service and result.design.service is None:
        notes.append("Nothing for a service: the design names none; choose how it is made first.")
    write_text(folder / DESIGN, result.design.source)
    names = [DESIGN, *(path.relative_to(folder).as_posix() for path in files.paths)]
    listed = [
        {
            "path": name,
            "bytes": (folder / name).stat().st_size,
            "what": what_for(name),
            "group": group_of(name),
        }
        for name in names
    ]
    return {"list": sorted(listed, key=lambda one: GROUPS.index(str(one["group"]))), "notes": notes}


def group_of(name: str) -> str:
    """What a file is listed under, by its path in the folder of a piece."""
    path = PurePosixPath(name)
    if name == DESIGN:
        return "The design"
    if path.parts[0] == "scenes":
        return "At rest"
    if path.parent.name == "service":
        return "For a service"
    if path.stem == "sheet":
        return "Maker's sheet"
    if path.suffix in _MODELS:
        return "Models"
    if path.suffix in (".png", ".gif"):
        return "Pictures" if path.parts[:-1] == ("pictures",) else "Pictures of the sheet"
    return "For other programs"


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
