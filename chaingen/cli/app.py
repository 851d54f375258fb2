"""What the commands share: their group, errors as exit codes, progress, options and printing."""

import io
import json
import os
import shutil
import sys
import textwrap
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from chaingen.make.result import Result
    from chaingen.prepare.batch import Prepared

BAD_INPUT = 2
INTERRUPTED = 130
BROKEN = 70
"""Exit code for a fault of the program itself (EX_SOFTWARE of BSD's sysexits)."""

WANTS_JSON = "chaingen.json"
"""Key of the flag in click's shared notes."""

LEAST_TEXT = 40
"""A column of text with room for fewer letters in a line is not put beside others."""

PROGRESS_AFTER = 1.0
"""Seconds after which progress is shown."""


def say(text: str) -> None:
    """Print a line for people."""
    click.echo(text)


def let_go_of_output() -> None:
    """Print what is still to be printed; where nobody hears it any more that is no failure."""
    try:
        sys.stdout.flush()
    except OSError:
        # What is left would be tried again as the process ends, and fail it.
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


class Commands(click.Group):
    """Lists commands in the order of the work and turns every error into a message and an exit code."""

    def list_commands(self, _: click.Context) -> list[str]:
        """The names of the commands as they were added; click alone would sort them."""
        return list(self.commands)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the chosen command."""
        from chaingen.errors import BadInput, ChaingenError

        for stream in (sys.stdout, sys.stderr):
            # A terminal that lacks a letter shows a stand-in instead of failing.
            if isinstance(stream, io.TextIOWrapper):
                stream.reconfigure(errors="replace")
        try:
            return super().invoke(ctx)
        except BadInput as error:
            if ctx.meta.get(WANTS_JSON):
                fields = ("where", "got", "expected", "advice")
                click.echo(
                    json.dumps(
                        {"problems": [{f: getattr(p, f) for f in fields} for p in error.problems]}, indent=2
                    )
                )
            for problem in error.problems:
                click.echo(f"error: {problem}", err=True)
            ctx.exit(BAD_INPUT)
        except ChaingenError as error:
            click.echo(f"error: {error}", err=True)
            ctx.exit(BAD_INPUT)
        except (click.exceptions.Exit, click.ClickException, click.Abort):
            raise
        except KeyboardInterrupt:
            click.echo("stopped", err=True)
            ctx.exit(INTERRUPTED)
        except BrokenPipeError:
            # Whoever read the output has gone; nothing more can be told.
            sys.stderr.close()
            ctx.exit(0)
        except Exception as error:
            if os.environ.get("CHAINGEN_DEBUG"):
                raise
            kind = "memory ran out" if isinstance(error, MemoryError) else f"{type(error).__name__}: {error}"
            click.echo(f"error: a fault in chaingen itself ({kind}); CHAINGEN_DEBUG=1 shows where", err=True)
            ctx.exit(BROKEN)


@contextmanager
def progress(show: bool) -> Iterator[Callable[[str], None]]:
    """Show what is being done on the terminal's error stream once it takes longer than a second."""
    if not show or not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console

    console = Console(stderr=True)
    started = time.monotonic()
    status = console.status("")
    shown = False

    def tell(text: str) -> None:
        nonlocal shown
        status.update(f"{text} ({time.monotonic() - started:.0f} s)")

    import threading

    def appear() -> None:
        nonlocal shown
        shown = True
        status.start()

    timer = threading.Timer(PROGRESS_AFTER, appear)
    timer.daemon = True
    timer.start()
    try:
        yield tell
    finally:
        timer.cancel()
        if shown:
            status.stop()


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="chaingen", message="%(prog)s %(version)s")
def main() -> None:
    """Place, check, picture and export chains of wire rings, with the findings that finish them.

    A design is one readable TOML file; `chaingen new` writes one to start from. `chaingen weaves` lists the
    weaves that are known by name, `chaingen findings` the kinds of clasps, ear wires, pins and links.

    Exit codes: 0 it fits, 1 it does not fit or no fit was found, 2 bad input, 3 the search did not converge.
    """


DESIGN = click.argument("design", type=click.Path(path_type=Path))


SETTINGS = click.option(
    "--settings",
    type=click.Path(path_type=Path),
    help="A settings file that says how you work: mandrels, prices, rings at hand.",
)


def _note_json(ctx: click.Context, _: click.Parameter, value: bool) -> bool:
    """Remember where errors are told that they should be JSON too."""
    ctx.meta[WANTS_JSON] = value
    return value


JSON = click.option(
    "--json", "as_json", is_flag=True, callback=_note_json, help="Print the report as JSON instead of words."
)
QUIET = click.option("--quiet", is_flag=True, help="Leave the words out; errors are still told.")


def print_result(
    result: "Result",
    report: dict[str, Any],
    as_json: bool,
    quiet: bool,
    prepared: "Prepared | None" = None,
) -> None:
    """Print what came out, as JSON or in words."""
    if as_json:
        say(json.dumps(report, indent=2))
    elif not quiet:
        from chaingen.show.plan_words import plan_lines
        from chaingen.show.service_words import failed_lines, service_lines
        from chaingen.show.words import rest_lines, verdict_lines

        say(result.design.title)
        plan = []
        if result.plan is not None and result.fits:
            plan = plan_lines(result.plan, result.design.service)
        headline, *verdict = verdict_lines(result)
        verdict = [headline, *failed_lines(result, prepared), *verdict]
        for line in verdict + service_lines(result, prepared) + plan + rest_lines(result):
            say(line)


def print_table(title: str, head: list[str], rows: list[list[str]], *, narrow: int) -> None:
    """Print a table; its first `narrow` columns are never broken into lines.

    Where these do not fit the terminal side by side, they are told in several tables that each begin with the
    first column.
    """
    from rich.console import Console
    from rich.table import Table

    width = terminal_width() or 40 + 24 * len(head)
    parts = _side_by_side(head, rows, width) if narrow == len(head) else [list(range(len(head)))]
    for columns in parts:
        # The title is told once, over the first table.
        table = Table(title=title if title and columns is parts[0] else None, title_justify="left")
        for number in columns:
            table.add_column(head[number], no_wrap=number < narrow)
        for row in rows:
            table.add_row(*(row[number] for number in columns))
        needed = 1 + sum(_column_width(head, rows, number) for number in columns if number < narrow)
        # Names and lines of files are shown as they stand, without rich's own signs. What is wider than the
        # terminal after all is left to it to break: nothing is cut.
        Console(width=max(width, needed), highlight=False, markup=False, emoji=False).print(table)


def print_list(head: list[str], rows: list[list[str]]) -> None:
    """Print a table whose last column is a text; in a narrow terminal the text stands below its row."""
    width = terminal_width()
    names = len(head) - 1
    widths = [_column_width(head, rows, number) for number in range(names)]
    if width is None or width - 1 - sum(widths) >= LEAST_TEXT + 3:
        print_table("", head, rows, narrow=names)
        return
    for row in [head, *rows]:
        fields = zip(row, widths[:-1], strict=False)
        say("".join(text.ljust(wide - 1) for text, wide in fields) + row[names - 1])
        for line in textwrap.wrap(row[-1], max(width - 5, 20)):
            say(f"    {line}")


def terminal_width() -> int | None:
    """Letters in a line of the terminal; None where the output goes elsewhere."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None


def _column_width(head: list[str], rows: list[list[str]], number: int) -> int:
    """Letters that a column takes in a table, with a space either side and a line."""
    from rich.cells import cell_len

    texts = (head[number], *(row[number] for row in rows))
    return 3 + max(cell_len(line) for text in texts for line in text.split("\n"))


def _side_by_side(head: list[str], rows: list[list[str]], width: int) -> list[list[int]]:
    """The columns of each of the tables that a table is told in: as many as fit, the first one in each."""
    parts: list[list[int]] = []
    room = 0
    first = 1 + _column_width(head, rows, 0)
    for number in range(1, len(head)):
        wide = _column_width(head, rows, number)
        if not parts or wide > room:
            parts.append([0])
            room = width - first
        parts[-1].append(number)
        room -= wide
    return parts or [[0]]


def length_of(option: str, text: str, low: float, high: float) -> float:
    """The length [mm] given to an option, from `low` to `high` [mm].

    Raises:
        BadInput: It is no length, or not between them.
    """
    from chaingen.errors import BadInput, Problem
    from chaingen.units import UnreadableLength, format_mm, parse_length

    try:
        value = parse_length(text)
    except UnreadableLength as error:
        raise BadInput([Problem(option, repr(text), str(error))]) from None
    if not low <= value <= high:
        raise BadInput([Problem(option, format_mm(value, 6), f"{format_mm(low, 6)} to {format_mm(high)}")])
    return value


def refuse_to_replace(path: Path, force: bool) -> None:
    """Raise `BadInput` where a file is there already and was not to be replaced."""
    from chaingen.errors import BadInput, Problem

    if path.exists() and not force:
        raise BadInput(
            [Problem(str(path), "a file that is there already", "a new name", "--force replaces it")]
        )


def write_starter(path: Path, text: str, force: bool, next_words: str) -> None:
    """Write a file to start from and say what comes next, if anything; the path ``-`` prints it."""
    from chaingen.files import write_text

    if str(path) == "-":
        click.echo(text, nl=False)
        return
    refuse_to_replace(path, force)
    write_text(path, text)
    if next_words:
        say(f"Wrote {path}. Next: {next_words}")
