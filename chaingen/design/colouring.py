"""Patterns of metals over the rings of a piece: stripes, checks, a small bitmap."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from chaingen.geometry.types import Ints
from chaingen.stock.metals import Metal


class PatternKind(StrEnum):
    """How metals change over a piece."""

    STRIPES = "stripes"
    CHECKS = "checks"
    BITMAP = "bitmap"


@dataclass(frozen=True, slots=True)
class MetalPattern:
    """Which ring is of which metal, by its column and row.

    Attributes:
        kind: How metals change.
        metals: The metals, in order.
        width: Columns or rows of one stripe, or sides of one check, in rings.
        across: Whether stripes run across the piece, so that they change along it.
        bitmap: For a bitmap the number of a metal for each place, top row first; it is repeated over the
            piece.
    """

    kind: PatternKind
    metals: tuple[Metal, ...]
    width: int = 1
    across: bool = True
    bitmap: tuple[tuple[int, ...], ...] = ()

    def index(self, columns: Ints, rows: Ints) -> Ints:
        """Number of each ring's metal.

        Args:
            columns: Column of each ring, from 0, counted along the piece, shape (n,).
            rows: Row of each ring, from 0, counted from the top, shape (n,).
        """
        if self.kind is PatternKind.BITMAP:
            picture = np.array(self.bitmap, dtype=np.int64)
            return np.asarray(picture[rows % picture.shape[0], columns % picture.shape[1]])
        if self.kind is PatternKind.STRIPES:
            step = (columns if self.across else rows) // self.width
        else:
            step = columns // self.width + rows // self.width
        return np.asarray(step % len(self.metals))
