"""The command `page`."""

from pathlib import Path

import click

from chaingen.cli.app import SETTINGS, let_go_of_output, say


@click.command()
@click.argument("design", type=click.Path(path_type=Path), required=False)
@SETTINGS
@click.option(
    "--port", type=click.IntRange(0, 65535), default=0, help="The port to serve it at; a free one by default."
)
@click.option("--browser/--no-browser", default=True, help="Open it in the browser (the default) or not.")
def page(design: Path | None, settings: Path | None, port: int, browser: bool) -> None:
    """Open a page in the browser to design by eye, with a DESIGN or one to start from.

    It is served for this machine alone until Ctrl-C. What you make there stays in the page until you save it;
    the DESIGN's file is not changed.
    """
    from chaingen.page.serve import first_design, serve

    serve(first_design(design, settings), port=port, browser=browser, say=say)
    # Its terminal may be what has ended it.
    let_go_of_output()
