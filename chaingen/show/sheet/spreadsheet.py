"""Tables for spreadsheets: comma-separated values (RFC 4180), UTF-8."""

import csv
import io
import math
from collections.abc import Sequence
from pathlib import Path

from chaingen.files import write_text

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
"""How a field begins that a spreadsheet may take for a formula, and run (common practice)."""


def _is_number(text: str) -> bool:
    """Whether a spreadsheet takes it for a plain number: digits, one point, a sign, an exponent."""
    try:
        return math.isfinite(float(text)) and "_" not in text and text == text.strip()
    except ValueError:
        return False


def _field(value: str | float | int) -> str:
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_FORMULA) and not _is_number(value) else value
    assert math.isfinite(value), "a number in a table is finite; leave the field empty where there is none"
    return repr(float(value)) if isinstance(value, float) else str(int(value))


def write_csv(path: Path, rows: Sequence[Sequence[str | float | int]], head: Sequence[str]) -> None:
    """Write a table for a spreadsheet.

    Texts that a spreadsheet would take for formulas get an apostrophe in front; numbers are written with a
    point and every digit that tells them apart.

    Args:
        path: The file.
        rows: Its rows, each as long as `head`.
        head: Heads of its columns.

    Raises:
        CannotWrite: See `chaingen.files.whole_file`.
    """
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow([_field(value) for value in head])
    for row in rows:
        assert len(row) == len(head), f"a row of {len(row)} fields under {len(head)} heads"
        writer.writerow([_field(value) for value in row])
    # Spreadsheets take a text for UTF-8 when it begins so.
    write_text(path, "\ufeff" + stream.getvalue())
