"""The command `owned`."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from chaingen.cli.app import DESIGN, JSON, QUIET, print_table, progress, say

if TYPE_CHECKING:
    from chaingen.make.owned import OwnedChoice
    from chaingen.make.result import Result

HOW = """rings at hand in the design or in the settings file, such as
  [[owned]]
  inside = "5 mm"
  wire = "18 AWG"
  count = 120"""


@click.command()
@DESIGN
@click.option(
    "--settings",
    type=click.Path(path_type=Path),
    help="A settings file that says how you work and which rings you have.",
)
@JSON
@QUIET
@click.pass_context
def owned(ctx: click.Context, design: Path, settings: Path | None, as_json: bool, quiet: bool) -> None:
    """Say which rings at hand make a DESIGN, and how long a piece they reach."""
    from chaingen.design.load import load_design
    from chaingen.errors import BadInput, Problem
    from chaingen.make.owned import MOST_CHOICES, owned_choices, wanted_metal
    from chaingen.pipeline import build
    from chaingen.solve.verdict import Fit

    loaded = load_design(design, settings=settings)
    bench = loaded.bench
    if not bench.owned:
        raise BadInput([Problem("owned", "no rings at hand", HOW)])
    with progress(not quiet) as tell:
        result = build(loaded.bare(), on_progress=tell)
        choices = owned_choices(result, bench, on_progress=tell)
    if as_json:
        say(json.dumps(_data(result, choices), indent=2))
    elif not quiet:
        say(loaded.title)
        if choices:
            head, rows = _table(result, choices)
            print_table("Rings at hand for this piece, the best first", head, rows, narrow=len(head))
            if len(choices) == MOST_CHOICES:
                say(f"The nearest {MOST_CHOICES} ways to combine them are told; there may be more.")
            say(f"Of each size {100.0 * bench.spare:g}% more is kept for spare rings.")
        elif loaded.piece.sizes():
            for size in loaded.piece.sizes():
                metal = wanted_metal(loaded, size)
                if metal is not None and all(own.metal not in (None, metal.name) for own in bench.owned):
                    say(f"No rings at hand are of {metal.name}, which {size.name!r} asks for.")
        else:
            say("This piece takes no rings.")
    ctx.exit(0 if any(choice.fit is not Fit.DOES_NOT_FIT for choice in choices) else 1)


def _table(result: "Result", choices: "tuple[OwnedChoice, ...]") -> tuple[list[str], list[list[str]]]:
    """Head and rows of the choices as text."""
    from chaingen.stock.gauges import gauge_name
    from chaingen.units import format_mm
    from chaingen.weave.pieces import Sheet

    names = [size.name for size, _ in choices[0].rings]
    goes_on = not isinstance(result.design.piece, Sheet) and result.design.repeating.repeat > 1
    head = [*names, "verdict", "gap", "repeats" if goes_on else "enough", "length", "lacking"]
    rows = []
    for choice in choices:
        made_of = []
        for _, own in choice.rings:
            wire = own.size.wire_diameter
            gauge = gauge_name(wire)
            metal = f", {own.metal}" if own.metal else ""
            size = f"{format_mm(own.size.inside_diameter)} of {format_mm(wire)}"
            made_of.append(f"{size}{f' ({gauge})' if gauge else ''}\n{own.count:,}{metal}")
        of = f"{choice.repeat} of {result.design.repeating.repeat}" if goes_on else ""
        rows.append(
            [
                *made_of,
                choice.fit.value,
                format_mm(choice.gap, 2) if abs(choice.gap) < 1e6 else "",
                of or ("yes" if choice.reaches else "no"),
                "" if choice.length is None else format_mm(choice.length, 1),
                ", ".join(f"{count:,} {name}" for name, count in choice.short),
            ]
        )
    return head, rows


def _data(result: "Result", choices: "tuple[OwnedChoice, ...]") -> dict[str, Any]:
    """The choices for JSON; lengths in mm."""
    from math import isfinite

    return {
        "format": "chaingen owned",
        "version": 1,
        "title": result.design.title,
        "repeat": result.design.repeating.repeat,
        "spare": result.design.bench.spare,
        "choices": [
            {
                "rings": [
                    {
                        "size": size.name,
                        "inside_diameter_mm": round(own.size.inside_diameter, 6),
                        "wire_diameter_mm": round(own.size.wire_diameter, 6),
                        "metal": own.metal,
                        "count": own.count,
                    }
                    for size, own in choice.rings
                ],
                "verdict": choice.fit.value,
                "smallest_gap_mm": round(choice.gap, 6) if isfinite(choice.gap) else None,
                "repeat": choice.repeat,
                "finished_length_mm": None if choice.length is None else round(choice.length, 6),
                "reaches": choice.reaches,
                "short": dict(choice.short),
            }
            for choice in choices
        ],
    }
