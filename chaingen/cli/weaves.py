"""The command `weaves`."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from chaingen.cli.app import JSON, QUIET, print_list, progress, refuse_to_replace, say, write_starter

if TYPE_CHECKING:
    from chaingen.weave.weave import Weave


@click.command()
@click.argument("name", required=False)
@click.option("--picture", type=click.Path(path_type=Path), help="Draw a few cells into this PNG file.")
@click.option(
    "--write", type=click.Path(path_type=Path), help="Write the weave as a file to edit; - prints it alone."
)
@click.option("--force", is_flag=True, help="Replace files that are there.")
@JSON
@QUIET
def weaves(
    name: str | None, picture: Path | None, write: Path | None, force: bool, as_json: bool, quiet: bool
) -> None:
    """List the weaves that are known by name, or show the one called NAME (or the one in a weave file)."""
    from chaingen.errors import BadInput, Problem

    if name is None:
        given = [option for option, value in (("--picture", picture), ("--write", write)) if value]
        if given:
            raise BadInput([Problem(option, "no weave", "the name of a weave before it") for option in given])
        _list_weaves(as_json, quiet)
        return
    from chaingen.design.weaves import is_file, named_weave

    weave = named_weave(name, where="NAME")
    name = name if is_file(name) else weave.name
    if picture is not None:
        if picture.suffix.lower() != ".png":
            raise BadInput([Problem("--picture", repr(str(picture)), "a file that ends in .png")])
        refuse_to_replace(picture, force)
    if write is not None:
        _write_weave(weave, write, force)
        if str(write) == "-":
            return
    _show_weave(weave, name, picture, as_json, quiet)
    if write is not None and not (as_json or quiet):
        say(f"Wrote {write}; a design takes it as weave = {json.dumps(write.as_posix())}")


def _list_weaves(as_json: bool, quiet: bool) -> None:
    from chaingen.show.weave_words import LIST_HEAD, list_data, list_row
    from chaingen.weave.catalogue import find_weave, weave_names

    known = [find_weave(name) for name in weave_names()]
    if as_json:
        say(json.dumps([list_data(weave) for weave in known], indent=2))
    elif not quiet:
        print_list(list(LIST_HEAD), [list(list_row(weave)) for weave in known])
        say("chaingen weaves NAME shows one; chaingen new --weave NAME writes a design that uses it.")


def _write_weave(weave: "Weave", path: Path, force: bool) -> None:
    from chaingen.weave.weave_file import weave_text

    write_starter(path, weave_text(weave), force, "")


def _show_weave(weave: "Weave", name: str, picture: Path | None, as_json: bool, quiet: bool) -> None:
    from chaingen.show.weave_picture import draw_weave, sample_piece
    from chaingen.show.weave_words import picture_of, weave_data, weave_lines
    from chaingen.solve.sizes import tightest

    with progress(not quiet) as tell:
        if picture is not None:
            tell("drawing")
            draw_weave(weave, picture)
        if quiet and not as_json:
            return
        tell("finding the tightest")
        tight = tightest(sample_piece(weave))
    kept = picture_of(weave, name)
    if as_json:
        shown = str(picture) if picture is not None else kept
        say(json.dumps(weave_data(weave, tight, name, shown), indent=2))
        return
    for line in weave_lines(weave, tight, name):
        say(line)
    if picture is not None:
        say(f"Picture: {picture}")
    elif kept:
        say(f"Picture: {kept} in the project's own pictures; --picture FILE.png draws one.")
    else:
        say("Picture: --picture FILE.png draws one.")
