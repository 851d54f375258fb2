"""Repeats in a row of steps: few lines that say it, nested at most two deep.

A row of signs is folded twice. A pass looks for the way to write the row with the fewest lines, where so many
signs that come again at once are written as these signs and one line "again"; the second pass does the same
with the lines of the first, which may hold repeats themselves; what is repeated and holds none is folded
inside. How long a repeat the first pass may take decides what is left for the second, so that several are
tried; the shortest result counts.
"""

from dataclasses import dataclass

import numba
import numpy as np

from chaingen.geometry.types import Ints
from chaingen.make.order.steps import Instruction

FIRST_PERIODS = (0, 1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64)
"""Longest repeats that the first pass may take, each tried: within columns of a sheet short ones serve."""

MOST_WORK = 40_000_000
"""Comparisons of a pass: in a very long row the second looks for shorter repeats only."""


GIVEN_UP = 2
"""So many of a block's repeats at most are left to what follows."""


@dataclass(frozen=True, slots=True)
class Again:
    """Some lines that are made several times.

    Attributes:
        block: The lines: signs, or repeats of signs.
        times: How often they are made in all, 2 or more.
    """

    block: "tuple[Line, ...]"
    times: int

    @property
    def lines(self) -> int:
        """How many lines it takes."""
        return 1 + lines_of(self.block)


Line = int | Again


def lines_of(row: tuple[Line, ...]) -> int:
    """How many lines a folded row takes."""
    return sum(1 if isinstance(line, int) else line.lines for line in row)


@numba.njit(cache=True)
def _best(signs: Ints, costs: Ints, longest: int) -> tuple[Ints, Ints]:
    """The way to write a row with the fewest lines, repeats of repeats not counted.

    Args:
        signs: What stands in the row; equal signs can be one another's repeat, shape (n,).
        costs: How many lines each takes, shape (n,).
        longest: Signs in a repeated block at most.

    Returns:
        At each place how many signs the block has that is repeated from there, 0 for none, and how often it
        is made, shape (n,) each.
    """
    n = len(signs)
    total = np.zeros(n + 1, dtype=np.int64)
    before = np.zeros(n + 1, dtype=np.int64)
    for k in range(n):
        before[k + 1] = before[k] + costs[k]
    period = np.zeros(n, dtype=np.int64)
    times = np.zeros(n, dtype=np.int64)
    same = np.zeros(longest + 1, dtype=np.int64)
    for k in range(n - 1, -1, -1):
        total[k] = costs[k] + total[k + 1]
        for p in range(1, min(longest, n - k - 1) + 1):
            same[p] = same[p] + 1 if signs[k] == signs[k + p] else 0
            if same[p] < p:
                continue
            most = 1 + same[p] // p
            # The last ones may serve better in what follows.
            for often in range(most, max(1, most - 1 - GIVEN_UP), -1):
                lines = before[k + p] - before[k] + 1 + total[k + p * often]
                if lines < total[k]:
                    total[k] = lines
                    period[k] = p
                    times[k] = often
    return period, times


def _pass(row: tuple[Line, ...], longest: int) -> tuple[Line, ...]:
    """A row with repeats of at most so many lines folded."""
    if longest < 1 or len(row) < 2:
        return row
    known: dict[Line, int] = {}
    signs = np.array([known.setdefault(line, len(known)) for line in row], dtype=np.int64)
    costs = np.array([1 if isinstance(line, int) else line.lines for line in row], dtype=np.int64)
    period, times = (found.tolist() for found in _best(signs, costs, min(longest, len(row) - 1)))
    folded: list[Line] = []
    k = 0
    while k < len(row):
        if period[k]:
            folded.append(Again(row[k : k + period[k]], times[k]))
            k += period[k] * times[k]
        else:
            folded.append(row[k])
            k += 1
    return tuple(folded)


def folded(signs: list[int]) -> tuple[Line, ...]:
    """A row of signs with its repeats folded, nested at most two deep.

    Args:
        signs: The row; equal numbers mean equal steps.
    """
    best: tuple[Line, ...] = tuple(signs)
    for longest in FIRST_PERIODS:
        once = _pass(tuple(signs), longest)
        twice = _pass(once, max(1, min(len(once), MOST_WORK // max(1, len(once)))))
        for found in (_inside(twice), _inside(once)):
            if lines_of(found) < lines_of(best):
                best = found
    return best


def _inside(row: tuple[Line, ...]) -> tuple[Line, ...]:
    """A row with repeats folded inside what is repeated, where that holds none yet."""
    return tuple(
        Again(_pass(line.block, len(line.block)), line.times)
        if isinstance(line, Again) and all(isinstance(inner, int) for inner in line.block)
        else line
        for line in row
    )


def instructions_of(signs: list[int]) -> tuple[tuple[Instruction, ...], tuple[int, ...]]:
    """Numbered lines for a row of steps, and the steps of which there is a picture.

    Args:
        signs: A number for each step; equal numbers mean that a maker does the same.

    Returns:
        The lines, and the place of the first step of each number.
    """
    first: dict[int, int] = {}
    for place, sign in enumerate(signs):
        first.setdefault(sign, place)
    picture = {sign: k for k, sign in enumerate(first)}
    lines: list[Instruction] = []

    def write(row: tuple[Line, ...], place: int) -> int:
        for line in row:
            if isinstance(line, int):
                lines.append(Instruction(len(lines) + 1, place, picture[line]))
                place += 1
                continue
            begin = len(lines) + 1
            after = write(line.block, place)
            lines.append(
                Instruction(len(lines) + 1, None, first=begin, last=len(lines), times=line.times - 1)
            )
            place += (after - place) * line.times
        return place

    end = write(folded(signs), 0)
    assert end == len(signs)
    assert pictures_in_order(tuple(lines)) == [picture[sign] for sign in signs]
    return tuple(lines), tuple(first.values())


def pictures_in_order(instructions: tuple[Instruction, ...]) -> list[int]:
    """The picture of every step, one by one, by doing what the lines say."""
    done: list[list[int]] = []
    for line in instructions:
        if line.picture is not None:
            done.append([line.picture])
        else:
            # What a line that repeats did stands for itself when it is repeated.
            done.append([p for other in done[line.first - 1 : line.last] for p in other] * line.times)
    return [picture for own in done for picture in own]
