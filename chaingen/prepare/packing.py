"""Discs packed on plates: the largest first, equal ones in rows, smaller ones in what is left between.

A plate lies from (0, 0) to its width and depth. Discs keep their spacing from one another and none from the
border, which they may touch. A size opens a plate of its own in even rows, and goes before that into
what larger sizes left open on plates that there are: there each disc takes the place nearest the front, then
nearest the left, that touches two discs or borders.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from heapq import heappop, heappush
from math import floor, inf, sqrt

import numba
import numpy as np

from chaingen.geometry.types import Floats, Ints

ROUND_OFF = 1e-9
"""By this much [mm] discs may be nearer than asked or beyond the border."""


@dataclass(frozen=True, eq=False)
class DiscPlate:
    """Discs on one plate.

    Attributes:
        discs: Which of the discs given are on it, shape (k,).
        centres: Where they lie [mm], shape (k, 2).
    """

    discs: Ints
    centres: Floats


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows of equal discs, every other one shifted sideways.

    Attributes:
        first: Discs in the rows that stand at the border.
        second: Discs in the rows between.
        pitch: From disc to disc in a row [mm].
        shift: How far rows between are shifted [mm].
        rise: From row to row [mm].
        count: How many rows there are.
        upright: Whether rows run along the depth.
    """

    first: int
    second: int
    pitch: float
    shift: float
    rise: float
    count: int
    upright: bool

    @property
    def holds(self) -> int:
        """How many discs they hold."""
        return (self.count + 1) // 2 * self.first + self.count // 2 * self.second

    def rows_for(self, discs: int) -> int:
        """How many rows that many discs take."""
        pairs, rest = divmod(discs, self.first + self.second)
        return 2 * pairs + (rest > 0) + (rest > self.first)

    def centres(self, diameter: float) -> Floats:
        """Centres of the discs [mm], row by row, shape (k, 2)."""
        rows = []
        for row in range(self.count):
            odd = row % 2
            along = self.shift * odd + self.pitch * np.arange(self.second if odd else self.first)
            rows.append(np.column_stack([along, np.full(len(along), self.rise * row)]))
        found = 0.5 * diameter + np.concatenate(rows)
        return np.ascontiguousarray(found[:, ::-1]) if self.upright else found


def pack_discs(diameters: Floats, room: tuple[float, float], spacing: float) -> list[DiscPlate]:
    """Discs packed on as few plates as are found; the same for the same discs.

    Time goes with the number of different diameters.

    Args:
        diameters: The diameters of the discs [mm], shape (n,), none wider than the room.
        room: Width and depth of a plate [mm].
        spacing: Least distance between two discs [mm].
    """
    assert not len(diameters) or diameters.max() <= min(room) + ROUND_OFF, "a disc wider than the plate"
    # Discs half a spacing wider all round, on a plate that is wider likewise, only must not overlap.
    width, depth = room[0] + spacing, room[1] + spacing
    plates: list[tuple[list[Ints], Floats, Floats]] = []
    for wide in np.unique(diameters)[::-1].tolist():
        diameter = wide + spacing
        waiting = np.flatnonzero(diameters == wide)
        for number, (discs, centres, radii) in enumerate(plates):
            if not len(waiting):
                break
            free = _fill(centres, radii, 0.5 * diameter, len(waiting), width, depth)
            plates[number] = (
                [*discs, waiting[: len(free)]],
                np.concatenate([centres, free]),
                np.concatenate([radii, np.full(len(free), 0.5 * diameter)]),
            )
            waiting = waiting[len(free) :]
        while len(waiting):
            centres = best_rows(diameter, width, depth, len(waiting)).centres(diameter)[: len(waiting)]
            own = len(centres)
            plates.append(([waiting[:own]], centres, np.full(own, 0.5 * diameter)))
            waiting = waiting[own:]
    return [DiscPlate(np.concatenate(discs), centres - 0.5 * spacing) for discs, centres, _ in plates]


def best_rows(diameter: float, width: float, depth: float, wanted: int) -> Rows:
    """The rows that hold most equal discs; of those that hold all that are wanted the ones that take least.

    Args:
        diameter: Diameter of the discs [mm].
        width: Width of the plate [mm].
        depth: Depth of the plate [mm].
        wanted: How many discs there are.
    """

    def worth(rows: Rows) -> tuple[float, float]:
        if rows.holds < wanted:
            return (-rows.holds, inf)
        # Of the side that rows do not fill as much as can be stays free, as a part of the plate.
        taken = ((rows.rows_for(wanted) - 1) * rows.rise + diameter) / (width if rows.upright else depth)
        return (-wanted, round(taken, 9))

    return min(_all_rows(diameter, width, depth), key=worth)


def _all_rows(diameter: float, width: float, depth: float) -> Iterator[Rows]:
    for upright, along, across in ((False, width, depth), (True, depth, width)):
        free = along - diameter
        most = floor((free + ROUND_OFF) / diameter) + 1
        yield _rows(most, most, diameter, 0.0, diameter, across, upright)
        # Discs of a row spread to both borders let the next row come nearer.
        for each in range(1, most + 1):
            pitch = max(0.0, free) / (each - 0.5)
            if each == 1 or pitch >= diameter:
                yield _rows(each, each, pitch, 0.5 * pitch, diameter, across, upright)
            if each > 1:
                pitch = max(diameter, free / (each - 1))
                yield _rows(each, each - 1, pitch, 0.5 * pitch, diameter, across, upright)


def _rows(
    first: int, second: int, pitch: float, shift: float, diameter: float, across: float, upright: bool
) -> Rows:
    """As many rows as a plate takes that has `across` [mm] for them; see `Rows`."""
    # Rows two apart stand one above the other, those between touch them where they are shifted.
    rise = max(0.5 * diameter, sqrt(max(0.0, diameter**2 - shift**2)))
    count = floor((across - diameter + ROUND_OFF) / rise) + 1
    return Rows(first, second, pitch, shift, rise, count, upright)


def _fill(centres: Floats, radii: Floats, radius: float, wanted: int, width: float, depth: float) -> Floats:
    """Places for equal discs among those that are there [mm], shape (k, 2), k up to `wanted`."""
    count = len(centres)
    discs = np.empty((count + wanted, 3))
    discs[:count, :2], discs[:count, 2] = centres, radii
    taken = _place(discs, count, radius, width, depth)
    return np.array(discs[count : count + taken, :2])


@numba.njit(cache=True)
def _place(discs: Floats, count: int, radius: float, width: float, depth: float) -> int:
    """Place equal discs among the first `count` ones.

    Args:
        discs: Centres and radii of discs [mm], shape (n, 3); the rest is filled with those placed.
        count: How many there are.
        radius: Radius of those to be placed [mm].
        width: Width of the plate [mm].
        depth: Depth of the plate [mm].

    Returns:
        How many were placed.
    """
    cell = 2.0 * radius
    for k in range(count):
        cell = max(cell, 2.0 * discs[k, 2])
    heads = np.full((int(width / cell) + 1, int(depth / cell) + 1), -1)
    after = np.full(len(discs), -1)
    # Places by how far they are from the front, then from the left.
    places = [(radius, radius), (radius, width - radius)]
    for k in range(count):
        _enter(discs, heads, after, k, cell)
        _touch(discs, heads, after, k, radius, width, depth, cell, places)
    placed = 0
    while len(places) and count + placed < len(discs):
        y, x = heappop(places)
        if _clear(discs, heads, after, x, y, radius, cell):
            k = count + placed
            discs[k, 0], discs[k, 1], discs[k, 2] = x, y, radius
            _enter(discs, heads, after, k, cell)
            _touch(discs, heads, after, k, radius, width, depth, cell, places)
            placed += 1
    return placed


@numba.njit(cache=True)
def _enter(discs: Floats, heads: Ints, after: Ints, k: int, cell: float) -> None:
    """Put a disc into its cell."""
    i = min(max(int(discs[k, 0] / cell), 0), heads.shape[0] - 1)
    j = min(max(int(discs[k, 1] / cell), 0), heads.shape[1] - 1)
    after[k] = heads[i, j]
    heads[i, j] = k


@numba.njit(cache=True)
def _clear(discs: Floats, heads: Ints, after: Ints, x: float, y: float, radius: float, cell: float) -> bool:
    """Whether a disc at (x, y) keeps clear of all others."""
    columns, rows = heads.shape
    i, j = int(x / cell), int(y / cell)
    for a in range(max(0, i - 1), min(columns, i + 2)):
        for b in range(max(0, j - 1), min(rows, j + 2)):
            k = heads[a, b]
            while k >= 0:
                dx, dy = discs[k, 0] - x, discs[k, 1] - y
                least = discs[k, 2] + radius - ROUND_OFF
                if dx * dx + dy * dy < least * least:
                    return False
                k = after[k]
    return True


@numba.njit(cache=True)
def _touch(
    discs: Floats, heads: Ints, after: Ints, k: int, radius: float, width: float, depth: float, cell: float,
    places: list[tuple[float, float]],
) -> None:  # fmt: skip
    """Add the places where a disc touches disc `k` and a border, or another disc entered before it."""
    x, y, reach = discs[k, 0], discs[k, 1], discs[k, 2] + radius
    for side in (-1.0, 1.0):
        for border in (radius, width - radius):
            squared = reach * reach - (border - x) ** 2
            if squared >= 0.0:
                _offer(
                    discs, heads, after, border, y + side * sqrt(squared), radius, width, depth, cell, places
                )
        for border in (radius, depth - radius):
            squared = reach * reach - (border - y) ** 2
            if squared >= 0.0:
                _offer(
                    discs, heads, after, x + side * sqrt(squared), border, radius, width, depth, cell, places
                )
    columns, rows = heads.shape
    i, j = int(x / cell), int(y / cell)
    for a in range(max(0, i - 2), min(columns, i + 3)):
        for b in range(max(0, j - 2), min(rows, j + 3)):
            other = heads[a, b]
            while other >= 0:
                # Both circles on which a centre may be meet in two points, beside the line of centres.
                dx, dy = discs[other, 0] - x, discs[other, 1] - y
                squared, beyond = dx * dx + dy * dy, discs[other, 2] + radius
                if other != k and 0.0 < squared <= (reach + beyond) ** 2:
                    part = 0.5 * (1.0 + (reach * reach - beyond * beyond) / squared)
                    off = sqrt(max(0.0, reach * reach / squared - part * part))
                    for side in (-off, off):
                        _offer(
                            discs, heads, after, x + part * dx - side * dy, y + part * dy + side * dx,
                            radius, width, depth, cell, places,
                        )  # fmt: skip
                other = after[other]


@numba.njit(cache=True)
def _offer(
    discs: Floats, heads: Ints, after: Ints, x: float, y: float, radius: float, width: float, depth: float,
    cell: float, places: list[tuple[float, float]],
) -> None:  # fmt: skip
    """Add a place if it is on the plate and free."""
    low, right, back = radius - ROUND_OFF, width - radius + ROUND_OFF, depth - radius + ROUND_OFF
    if low <= x <= right and low <= y <= back and _clear(discs, heads, after, x, y, radius, cell):
        # Those of one row are as far from the front, whatever the last digit says.
        heappush(places, (round(y, 9), x))
