"""How many repeats of a design come nearest to the finished length that it asks for."""

from collections.abc import Callable
from dataclasses import replace

from chaingen.design.design import MAX_RINGS, Design
from chaingen.errors import BadInput, Problem
from chaingen.solve.cells import Cell, cell_of
from chaingen.solve.length import MODEL_REPEATS, TautLengths, taut_lengths
from chaingen.solve.place_weave import rounds_near
from chaingen.solve.rough import cell_period as rough_period
from chaingen.units import format_mm
from chaingen.weave.groups import Run
from chaingen.weave.pieces import Chain, Piece
from chaingen.weave.tiling import FEWEST_ROUND, fewest_round

Progress = Callable[[str], None]

TOO_SHORT = 0.25
"""A loop asked for that is shorter by this part than the shortest there is is refused."""


def with_repeats(design: Design, on_progress: Progress | None = None) -> Design:
    """The design with the number of repeats that comes nearest to the length it asks for.

    Where the rings do not fit, no length is defined: about as many repeats as the length takes then stand for
    the piece. A few would not do, for so short a row may have room where a longer one has none.

    Raises:
        BadInput: The length would take more rings than are accepted.
    """
    if design.length is None:
        return design
    if on_progress is not None:
        on_progress("pulling the cell straight")
    return repeated_by(design, lengths_of(design, design.length))


def repeated_by(design: Design, lengths: TautLengths | None, cell: Cell | None = None) -> Design:
    """The design with the number of repeats that comes nearest to the length it asks for, by known lengths.

    Args:
        design: The design, one that asks for a length.
        lengths: Its lengths by number of repeats; None where its rings do not fit.
        cell: The repeated cell, where it was solved another way than by `cell_of`.

    Raises:
        BadInput: The length would take more rings than are accepted.
    """
    assert design.length is not None
    piece = design.repeating
    if lengths is not None:
        repeat = lengths.nearest_repeat(design.length)
    else:
        # A short row has room where a long one has none, and a short loop is bent harder: the rough length
        # serves where there is no true one.
        repeat = max(1, round(design.length / _rough_period(piece, cell)))
    if isinstance(piece, Run) and piece.closed:
        repeat = max(repeat, -(-FEWEST_ROUND // len(piece.cell)))
    elif isinstance(piece, Chain) and piece.closed:
        repeat = max(repeat, fewest_round(piece.weave))
    if isinstance(piece, Chain) and piece.closed:
        # A turning chain comes round with some numbers of cells only.
        near, target = rounds_near(piece.repeated(repeat), cell=cell)[:2], design.length
        period = lengths.period if lengths is not None else _rough_period(piece, cell)
        repeat = min(near, key=lambda count: abs(count * period - target), default=repeat)
        if lengths is not None and design.length < (1.0 - TOO_SHORT) * lengths.at(repeat):
            least = f"at least {format_mm(lengths.at(repeat), 1)}, the shortest loop of this weave"
            raise BadInput([Problem("pattern.length", format_mm(design.length), least)])
    rings = design.piece_of(repeat).most_rings()
    if rings > MAX_RINGS:
        asked = f"{format_mm(design.length)}, which takes {rings:,} rings"
        raise BadInput([Problem("pattern.length", asked, f"a piece of at most {MAX_RINGS:,} rings")])
    return design.repeated(repeat)


def lengths_of(design: Design, target: float | None = None) -> TautLengths | None:
    """Taut lengths of a design's piece by its number of repeats; see `taut_lengths`."""
    weave = design.repeating
    if design.middle is None or (target is None and weave.repeat <= MODEL_REPEATS):
        return taut_lengths(design.piece, target=target)
    # Findings at the ends of a weave: what is between them grows by its cell.
    cell = taut_lengths(weave.repeated(MODEL_REPEATS + 1))
    few = taut_lengths(design.piece_of(MODEL_REPEATS))
    if cell is None or few is None:
        return None
    lengths = replace(few, period=cell.period, base_repeat=MODEL_REPEATS)
    if target is None or lengths.nearest_repeat(target) > MODEL_REPEATS:
        return lengths
    fewer = [taut_lengths(design.piece_of(repeat)) for repeat in range(1, MODEL_REPEATS)]
    known = tuple(one.base for one in fewer if one is not None)
    return replace(lengths, shorter=known) if len(known) == len(fewer) else lengths


def _rough_period(piece: Piece, cell: Cell | None) -> float:
    """About what a repeat adds to the length [mm]: of a weave what its cell does as placed."""
    if isinstance(piece, Run):
        return rough_period(piece.cell)
    assert isinstance(piece, Chain)
    return (cell or cell_of(piece)).state.motion.period
