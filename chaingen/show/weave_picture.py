"""A picture of a weave: a few cells of its usual sizes, placed, from three-quarter view."""

from dataclasses import replace
from pathlib import Path

from chaingen.errors import CannotDraw
from chaingen.show.camera import four_views
from chaingen.show.look import plain_look
from chaingen.show.picture import draw_views
from chaingen.solve.place import place
from chaingen.solve.place_weave import NothingLeft
from chaingen.stock.metals import METALS, Metal
from chaingen.weave.pieces import Chain, Sheet
from chaingen.weave.weave import Repeats, Weave

CHAIN_RINGS = 24
"""About so many rings of a chain are shown."""

LEAST_CELLS, MOST_CELLS = 3, 12
"""Fewest and most cells of a chain."""

SHEET_RINGS = 48
"""About so many rings of a sheet are shown."""

LEAST_SIDE = 3
"""Fewest cells along either side of a sheet."""


def sample_piece(weave: Weave) -> Chain | Sheet:
    """A few cells of a weave in its usual sizes."""
    rings = len(weave.rings)
    if weave.repeats is Repeats.CHAIN:
        cells = min(MOST_CELLS, max(LEAST_CELLS, -(-CHAIN_RINGS // rings)))
        return Chain(weave, weave.usual, repeat=cells)
    cells = max(LEAST_SIDE**2, SHEET_RINGS // rings)
    shape = 1.0
    if weave.pose is not None and weave.pose.across is not None:
        shape = abs(weave.pose.across[1]) / weave.pose.period
    columns = max(LEAST_SIDE, round((cells * shape) ** 0.5))
    return Sheet(weave, weave.usual, columns=columns, rows=max(LEAST_SIDE, round(cells / columns)))


def draw_weave(weave: Weave, path: Path, *, metal: Metal = METALS[0]) -> Path:
    """Draw a few cells of a weave.

    Args:
        weave: The weave.
        path: The PNG file to write.
        metal: What it is shown in.

    Raises:
        CannotDraw: Pictures cannot be drawn here; the message says what to install.
        CannotWrite: The file cannot be written.
    """
    try:
        placement = place(sample_piece(weave))
    except NothingLeft as reason:
        raise CannotDraw(f"{weave.title} cannot be drawn: of a few cells {reason}") from None
    rings = placement.rings
    middle = rings.centres.mean(axis=0)
    slanted = next(view for view in four_views(rings, middle) if view.name == "three-quarter")
    look = plain_look(metal, len(rings))
    (written,) = draw_views(path.parent, rings, [replace(slanted, name=path.stem)], look=look)
    return written
