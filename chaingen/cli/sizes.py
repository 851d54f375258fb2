"""The command `sizes`."""

import json
from pathlib import Path

import click

from chaingen.cli.app import DESIGN, JSON, QUIET, length_of, print_table, progress, say


def _wires(text: str) -> list[float]:
    from chaingen.errors import BadInput, Problem
    from chaingen.stock.gauges import parse_wire
    from chaingen.tables import WIRE_LIMITS
    from chaingen.units import UnreadableLength, format_mm

    values, problems = [], []
    low, high = WIRE_LIMITS
    for part in text.split(","):
        try:
            value = parse_wire(part)
        except UnreadableLength as error:
            problems.append(Problem("--wires", repr(part.strip()), str(error)))
            continue
        if low <= value <= high:
            values.append(value)
        else:
            problems.append(Problem("--wires", repr(part.strip()), f"{format_mm(low)} to {format_mm(high)}"))
    if problems:
        raise BadInput(problems)
    return values


@click.command()
@DESIGN
@click.option("--ring", help="Name of the ring size to vary; may be left out when the pattern uses one.")
@click.option("--insides", help='Inside diameters, such as "3 mm, 3.5 mm, 4 mm".')
@click.option("--wires", help='Wires, such as "20 AWG, 18 AWG, 1.2 mm".')
@JSON
@QUIET
@click.pass_context
def sizes(
    ctx: click.Context,
    design: Path,
    ring: str | None,
    insides: str | None,
    wires: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Say how tight the pattern of a DESIGN can be, and which sizes suit it."""
    from chaingen.design.load import load_design
    from chaingen.pipeline import size_overview
    from chaingen.show.words import borders_line, table_rows, tightest_lines

    loaded = load_design(design)
    with progress(not quiet) as tell:
        overview = size_overview(
            loaded,
            ring=ring,
            insides=[length_of("--insides", part, 0.2, 500.0) for part in insides.split(",")]
            if insides
            else None,
            wires=_wires(wires) if wires else None,
            on_progress=tell,
        )
    if as_json:
        say(json.dumps(overview.as_data(), indent=2))
        return
    if quiet:
        return
    for line in tightest_lines(overview.tightest):
        say(line)
    head, rows = table_rows(overview.table)
    title = f"Smallest gap in mm for ring size {overview.ring!r}, and how it feels"
    print_table(title, head, rows, narrow=len(head))
    say(borders_line())
