"""The maker's sheet as files: the page, the PDF, the table for a spreadsheet, the pictures of the steps."""

import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from chaingen.errors import CannotDraw
from chaingen.make.result import Result
from chaingen.prepare.batch import Prepared
from chaingen.prepare.write import FOLDER
from chaingen.show.making import in_one
from chaingen.show.sheet.content import SheetPictures, sheet_document, sheet_rows
from chaingen.show.sheet.finding_figures import draw_findings
from chaingen.show.sheet.page import write_page
from chaingen.show.sheet.pdf import write_pdf
from chaingen.show.sheet.spreadsheet import write_csv
from chaingen.show.step_pictures import draw_steps
from chaingen.show.whole import whole_picture, write_picture

Progress = Callable[[str], None]

STEPS = "steps"
"""Folder of the pictures of the steps, in that of the pictures."""

FINDINGS = "findings"
"""Folder of the pictures of findings likewise."""

QUALITY = 90
"""JPEG quality of the pictures in page and PDF: a third of the bytes of PNG, and no eye sees it in print."""


@dataclass(frozen=True, slots=True)
class SheetFiles:
    """What was written.

    Attributes:
        paths: The files.
        no_pdf: Why there is no PDF; empty when there is one.
    """

    paths: tuple[Path, ...]
    no_pdf: str = ""


def write_sheet(
    folder: Path,
    result: Result,
    *,
    pictures: Path | None,
    not_drawn: str,
    on_progress: Progress,
    prepared: Prepared | None = None,
) -> SheetFiles:
    """Write sheet.html, sheet.csv, sheet.pdf where that can be done, and the pictures in them.

    Args:
        folder: Where they go.
        result: The piece, with its plan.
        pictures: The folder with the pictures of the piece; None where there are none.
        not_drawn: Why there are none; empty where nobody asked for any.
        on_progress: Told in words what is being done.
        prepared: The piece as prepared for its service; None where it is not.

    Raises:
        CannotWrite: A file cannot be written.
    """
    shown = SheetPictures(not_drawn=not_drawn)
    if pictures is not None:
        shown = replace(_drawn(pictures, result, on_progress), sent=_sent(folder / FOLDER, prepared))
    paths = [path for path in (shown.whole, *shown.steps, *shown.findings.values()) if path is not None]
    on_progress("writing the sheet")
    with tempfile.TemporaryDirectory(prefix="chaingen-") as temporary:
        document = sheet_document(result, _lighter(shown, Path(temporary)), prepared)
        page, table, pdf = (folder / f"sheet.{ending}" for ending in ("html", "csv", "pdf"))
        write_page(page, document)
        head, rows = sheet_rows(result)
        write_csv(table, rows, head)
        paths += [page, table]
        try:
            write_pdf(pdf, document)
        except CannotDraw as error:
            return SheetFiles(tuple(paths), str(error))
    return SheetFiles((*paths, pdf))


def _drawn(folder: Path, result: Result, on_progress: Progress) -> SheetPictures:
    """The pictures of a sheet; what is in the folder already is put together, the rest is drawn."""
    whole = folder / "whole.png"
    write_picture(whole, whole_picture(folder, result))
    steps: tuple[Path | None, ...] = ()
    if in_one(result.design.service):
        return SheetPictures(whole)
    if result.plan is not None and result.plan.order is not None:
        steps = draw_steps(
            folder / STEPS,
            result,
            result.plan.order,
            on_progress=lambda name: on_progress(f"drawing {name}"),
        )
    on_progress("drawing findings")
    return SheetPictures(whole, steps, draw_findings(folder / FINDINGS, result))


def _sent(folder: Path, prepared: Prepared | None) -> dict[str, Path]:
    """The pictures there are of what a service is sent, by the names of batches."""
    batches = () if prepared is None else prepared.batches
    paths = {batch.name: folder / f"{batch.name}.png" for batch in batches}
    return {name: path for name, path in paths.items() if path.exists()}


def _lighter(pictures: SheetPictures, folder: Path) -> SheetPictures:
    """The same pictures as JPEG files in a folder."""

    def jpeg(path: Path, number: int) -> Path:
        from PIL import Image

        made = folder / f"{number}-{path.stem}.jpg"
        Image.open(path).convert("RGB").save(made, quality=QUALITY, subsampling=0)
        return made

    return SheetPictures(
        None if pictures.whole is None else jpeg(pictures.whole, 0),
        tuple(None if path is None else jpeg(path, k) for k, path in enumerate(pictures.steps)),
        {name: jpeg(path, k) for k, (name, path) in enumerate(pictures.findings.items())},
        pictures.not_drawn,
        {name: jpeg(path, k) for k, (name, path) in enumerate(pictures.sent.items())},
    )
