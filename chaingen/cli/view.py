"""The command `view`."""

from pathlib import Path

import click

from chaingen.cli.app import DESIGN, print_result, progress


@click.command()
@DESIGN
def view(design: Path) -> None:
    """Open a DESIGN in an interactive window."""
    from chaingen.design.load import load_design
    from chaingen.make.pair import both
    from chaingen.pipeline import build
    from chaingen.show.look import look_of
    from chaingen.show.screen import require_screen
    from chaingen.show.window import open_window

    loaded = load_design(design)
    require_screen()  # before anything is placed, which may take long
    with progress(True) as tell:
        result = build(loaded.bare(), on_progress=tell)
    print_result(result, {}, False, False)
    graph, rings, metals = result.placement.graph, result.placement.rings, result.metals
    if result.design.pair:
        two = both(graph, rings, metals)
        rings, metals = two.bodies, two.metals
    open_window(
        rings,
        look=look_of(metals, graph),
        collided=result.collided,
        title=result.design.title,
    )
