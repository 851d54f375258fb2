"""The maker's sheet as files: the page, the PDF, the table for a spreadsheet, the pictures of the steps."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from chaingen.errors import CannotDraw
from chaingen.make.result import Result
from chaingen.show.sheet.content import SheetPictures, sheet_document, sheet_rows
from chaingen.show.sheet.page import write_page
from chaingen.show.sheet.pdf import write_pdf
from chaingen.show.sheet.spreadsheet import write_csv
from chaingen.show.step_pictures import draw_steps
from chaingen.show.whole import whole_picture, write_picture

Progress = Callable[[str], None]

STEPS = "steps"
"""Folder of the pictures of the steps, in that of the pictures."""


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
    folder: Path, result: Result, *, pictures: Path | None, not_drawn: str, on_progress: Progress
) -> SheetFiles:
    """Write sheet.html, sheet.csv, sheet.pdf where that can be done, and the pictures in them.

    Args:
        folder: Where they go.
        result: The piece, with its plan.
        pictures: The folder with the pictures of the piece; None where there are none.
        not_drawn: Why there are none; empty where nobody asked for any.
        on_progress: Told in words what is being done.

    Raises:
        CannotWrite: A file cannot be written.
    """
    paths: list[Path] = []
    shown = SheetPictures(not_drawn=not_drawn)
    if pictures is not None:
        whole = pictures / "whole.png"
        write_picture(whole, whole_picture(pictures, result))
        paths.append(whole)
        steps: tuple[Path | None, ...] = ()
        if result.plan is not None and result.plan.order is not None:
            steps = draw_steps(
                pictures / STEPS,
                result,
                result.plan.order,
                on_progress=lambda name: on_progress(f"drawing {name}"),
            )
        paths += [path for path in steps if path is not None]
        shown = SheetPictures(whole, steps)
    on_progress("writing the sheet")
    document = sheet_document(result, shown)
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
