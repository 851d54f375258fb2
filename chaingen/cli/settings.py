"""The command `settings`: a settings file to start from."""

from pathlib import Path

import click

from chaingen.cli.app import QUIET, write_starter


@click.command()
@click.argument("path", type=click.Path(path_type=Path), default=Path("workshop.toml"))
@click.option("--force", is_flag=True, help="Replace a file that is there.")
@QUIET
def settings(path: Path, force: bool, quiet: bool) -> None:
    """Write a commented settings file to PATH (workshop.toml by default; - prints it).

    It says how you work, for all your designs: mandrels, wire, times, prices, rings at hand.
    """
    from chaingen.design.settings_starter import SETTINGS_TEXT

    write_starter(path, SETTINGS_TEXT, force, "" if quiet else f"chaingen make DESIGN --settings {path}")
