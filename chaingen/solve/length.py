"""Finished length: how long a piece is when pulled straight, and how many repeats a length takes."""

from dataclasses import dataclass, field, replace

import numpy as np

from chaingen.solve.cells import cell_of
from chaingen.solve.check import ROUND_OFF
from chaingen.solve.place import place
from chaingen.solve.placement import Answer
from chaingen.solve.search import STARTS
from chaingen.solve.taut import Taut, taut_cell, taut_row
from chaingen.weave.pieces import Piece, Sections, Sheet

MODEL_REPEATS = 3
"""Repeats of the short run from which longer ones are reckoned: its middle has neighbours on both sides."""

ROW_RINGS = 240
"""Rows of more rings than this are not pulled as a whole."""


@dataclass(frozen=True, slots=True)
class TautLengths:
    """Lengths of a run by its number of repeats.

    Attributes:
        period: What each further repeat adds [mm].
        base: Length with `base_repeat` repeats [mm], outside to outside; 0 with 0 repeats for a closed loop.
        base_repeat: See `base`.
        shorter: Lengths with 1, 2, ... repeats [mm], as far as they are known.
        cell: The repeated cell pulled straight; None where none was.
    """

    period: float
    base: float
    base_repeat: int
    shorter: tuple[float, ...] = ()
    cell: Taut | None = field(default=None, compare=False, repr=False)

    def at(self, repeat: int) -> float:
        """Length with that many repeats [mm]."""
        if repeat <= len(self.shorter):
            return self.shorter[repeat - 1]
        return self.base + (repeat - self.base_repeat) * self.period

    def nearest_repeat(self, length: float) -> int:
        """The number of repeats whose length is nearest to `length` [mm]; of two as near, the smaller."""
        guess = max(1, self.base_repeat + round((length - self.base) / self.period))
        candidates = [*range(1, len(self.shorter) + 1), *range(max(1, guess - 1), guess + 2)]
        best: int = min(candidates, key=lambda repeat: (round(abs(self.at(repeat) - length), 6), repeat))
        return best


def _row_length(piece: Piece, starts: int) -> float | None:
    placement = place(piece, starts=starts)
    if placement.answer is not Answer.FITS or len(placement.graph) > ROW_RINGS:
        return None
    if len(placement.graph) == 1:
        low, high = placement.rings.bounds()
        return float((high - low)[np.argmax(high - low)])
    return taut_row(placement.graph, placement.rings).length


def taut_lengths(run: Piece, *, target: float | None = None, starts: int = STARTS) -> TautLengths | None:
    """Lengths of a piece for any number of repeats.

    Args:
        run: A run or a chain; of sections only the one number of repeats they have; of a sheet none.
        target: A length that repeats will be sought for [mm]; None when the run's own number of repeats
            stands.
        starts: Seeded starts of the cell's search.

    Returns:
        None when the rings do not fit at zero gap, for then no length is defined.
    """
    if isinstance(run, Sheet):
        return None
    if isinstance(run, Sections) or (target is None and not run.closed and run.repeat <= MODEL_REPEATS):
        length = _row_length(run, starts)
        return None if length is None else TautLengths(0.0, length, run.repeat)
    cell = cell_of(run, starts=starts)
    if cell.gap < -ROUND_OFF:
        return None
    taut = taut_cell(cell.graph, cell.state.rings, cell.state.motion)
    period = taut.length / cell.repeats
    if run.closed:
        return TautLengths(period, 0.0, 0, cell=taut)
    base = _row_length(run.repeated(MODEL_REPEATS), starts)
    if base is None:
        return None
    lengths = TautLengths(period, base, MODEL_REPEATS, cell=taut)
    if target is None or lengths.nearest_repeat(target) > MODEL_REPEATS:
        return lengths
    few = [_row_length(run.repeated(repeat), starts) for repeat in range(1, MODEL_REPEATS)]
    known = tuple(length for length in few if length is not None)
    return replace(lengths, shorter=known) if len(known) == len(few) else lengths
