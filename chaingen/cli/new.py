"""The commands `new` and `schema`: what a design file starts from and what may stand in it."""

import json
import os
import sys
from pathlib import Path
from typing import Any

import click

from chaingen.cli.app import QUIET, say, write_starter
from chaingen.cli.process import ProcessName

CHAINS = (
    "one-in-one",
    "two-in-one",
    "two-in-two",
    "three-in-three",
    "rosette-chain",
    "rosette-pairs",
    "rosette",
)
"""The chains of `chaingen new`; a test keeps them equal to the starters, which are not loaded for --help."""

PIECES = ("linked-bracelet", "graduated-earrings")
"""Its finished pieces likewise."""


@click.command()
@click.argument("path", type=click.Path(path_type=Path), default=Path("design.toml"))
@click.option("--chain", type=click.Choice(CHAINS), help="The chain of groups to start from.")
@click.option("--weave", help="A weave to start from instead: its name, or a weave file.")
@click.option(
    "--piece",
    type=click.Choice(PIECES),
    help="A finished piece with findings to start from instead: rosettes joined by links with loops and a "
    "clasp, or a pair of earrings with ear wires and beads.",
)
@click.option("--inside", help='Inside diameter, such as "4 mm"; with --chain and --weave.')
@click.option("--wire", help='Wire, such as "18 AWG"; with --chain and --weave.')
@click.option("--metal", default="sterling silver", show_default=True)
@click.option("--title", help="Title of the piece.")
@click.option("--repeat", type=int, help="How many times the groups or cells are made.")
@click.option("--length", help='Finished length instead, such as "7 1/4 in".')
@click.option("--columns", type=int, help="Cells of a sheet along.")
@click.option("--rows", type=int, help="Cells of a sheet across.")
@click.option("--outline", help='What a sheet is cut to instead: "circle:30 mm" or "drop:20 mm,34 mm".')
@click.option("--hand", type=click.Choice(["left", "right"]), help="The hand of a weave that has one.")
@click.option("--rosette", type=int, default=3, show_default=True, help="Rings in a rosette.")
@click.option("--clearance", default="0 mm", show_default=True, help="Gap asked for between wires.")
@click.option("--closed", is_flag=True, help="A closed loop instead of an open run.")
@click.option(
    "--process",
    type=ProcessName(),
    help="Also write what a service that makes the piece from its model needs to be told, for this process.",
)
@click.option("--force", is_flag=True, help="Replace a file that is there.")
@QUIET
def new(
    path: Path,
    chain: str | None,
    weave: str | None,
    piece: str | None,
    force: bool,
    quiet: bool,
    **options: Any,
) -> None:
    """Write a commented starter design to PATH (design.toml by default; - prints it)."""
    from chaingen.design.load import parse_design
    from chaingen.errors import BadInput, Problem

    starts = {"--chain": chain, "--weave": weave, "--piece": piece}
    given = [option for option, value in starts.items() if value is not None]
    if len(given) > 1:
        got, wanted = ("both", "one of the two") if len(given) == 2 else ("all three", "one of the three")
        raise BadInput([Problem(" and ".join(given), got, wanted)])
    if not given:
        chain, weave, piece = _choose_start()
    if chain is not None:
        text = trial = _chain_start(chain, options)
    elif piece is not None:
        text = trial = _piece_start(piece, options)
    else:
        folder = Path() if str(path) == "-" else path.parent
        text, trial = _weave_start(str(weave), folder, options)
    parse_design(trial, source="the new design")
    write_starter(path, text, force, "" if quiet else f"chaingen make {path}")


def _choose_start() -> tuple[str | None, str | None, str | None]:
    """Ask a person for a chain, a weave or a finished piece to start from."""
    from chaingen.design.piece_starter import PIECES as FINISHED
    from chaingen.design.starter import STARTERS
    from chaingen.errors import BadInput, Problem
    from chaingen.weave.catalogue import find_weave, weave_names

    if not sys.stdin.isatty():
        choice = (
            f"one of {', '.join(CHAINS)}; or --weave with a weave, which chaingen weaves lists; or --piece "
            f"with {' or '.join(PIECES)}"
        )
        raise BadInput([Problem("--chain", "nothing", choice)])
    for name, starter in STARTERS.items():
        say(f"{name}: {starter.about}")
    for name, finished in FINISHED.items():
        say(f"{name}: {finished.about}")
    others = [name for name in weave_names() if name not in CHAINS]
    for name in others:
        say(f"{name}: {find_weave(name).about}")
    chosen = click.prompt(
        "Which chain, piece or weave",
        type=click.Choice([*CHAINS, *PIECES, *others]),
        default="two-in-one",
        show_choices=False,
    )
    if chosen in CHAINS:
        return chosen, None, None
    return (None, None, chosen) if chosen in PIECES else (None, chosen, None)


def _chain_start(chain: str, options: dict[str, Any]) -> str:
    from chaingen.design.starter import starter_design
    from chaingen.errors import BadInput, Problem

    foreign = [key for key in ("columns", "rows", "outline", "hand") if options.pop(key) is not None]
    if foreign:
        raise BadInput([Problem(f"--{key}", f"--{key} with --chain", "--weave beside it") for key in foreign])
    return starter_design(chain, **options)


def _piece_start(piece: str, options: dict[str, Any]) -> str:
    from chaingen.design.piece_starter import starter_piece
    from chaingen.errors import BadInput, Problem

    foreign = [
        key
        for key in ("inside", "wire", "columns", "rows", "outline", "hand", "closed")
        if options.pop(key) not in (None, False)
    ]
    if foreign:
        raise BadInput(
            Problem(
                f"--{key}", f"--{key} with --piece", "--chain or --weave beside it", "change it in the file"
            )
            for key in foreign
        )
    return starter_piece(piece, **options)


def _weave_start(name: str, folder: Path, options: dict[str, Any]) -> tuple[str, str]:
    """A starter design for a weave, and the same to be tried before its folder is there."""
    from chaingen.design.weave_starter import starter_weave
    from chaingen.design.weaves import is_file, named_weave

    options.pop("rosette")
    weave = named_weave(name, where="--weave")
    if not is_file(name):
        text = starter_weave(weave, **options)
        return text, text
    # The design names the file from where it will lie itself.
    path = os.path.realpath(name)
    try:
        called = os.path.relpath(path, os.path.realpath(folder))
    except ValueError:  # on another drive
        called = path
    text, trial = (starter_weave(weave, name=Path(way).as_posix(), **options) for way in (called, path))
    return text, trial


@click.command()
@click.option("--weave", is_flag=True, help="The schema of a weave file instead.")
@click.option("--settings", is_flag=True, help="The schema of a settings file instead.")
def schema(weave: bool, settings: bool) -> None:
    """Print the JSON Schema of a design file, for editors."""
    from chaingen.design.schema import json_schema
    from chaingen.design.settings import settings_json_schema
    from chaingen.errors import BadInput, Problem
    from chaingen.weave.weave_schema import weave_json_schema

    if weave and settings:
        raise BadInput([Problem("--weave and --settings", "both", "one of the two")])
    found = weave_json_schema() if weave else settings_json_schema() if settings else json_schema()
    say(json.dumps(found, indent=2, ensure_ascii=False))
