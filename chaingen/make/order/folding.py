"""Repeats in a row of steps: few lines that say it, nested at most two deep.

A row of signs is folded twice. A pass looks for the way to write the row with the fewest lines, where so many
signs that come again at once are written as these signs and one line "again"; the second pass does the same
with the lines of the first, which may hold repeats themselves; what is repeated and holds none is folded
inside. How long a repeat the first pass may take decides what is left for the second, so that several are
tried; the shortest result counts.

A repeat goes on by the same way each time, as all its steps do: only then are further times "the next ones
along". Steps know where they stand; of one that stands as far from the last as that does from the one before
it is said that it goes on evenly.
"""

from dataclasses import dataclass, replace

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
        ways: How far along each of the lines stands from the first one.
        onward: ... and each further time from the one before.
    """

    block: "tuple[Line, ...]"
    times: int
    ways: tuple[int, ...] = ()
    onward: int = 0

    @property
    def lines(self) -> int:
        """How many lines it takes."""
        return 1 + lines_of(self.block)


Line = int | Again


def lines_of(row: tuple[Line, ...]) -> int:
    """How many lines a folded row takes."""
    return sum(1 if isinstance(line, int) else line.lines for line in row)


@numba.njit(cache=True)
def _best(signs: Ints, places: Ints, around: int, costs: Ints, longest: int) -> tuple[Ints, Ints]:
    """The way to write a row with the fewest lines, repeats of repeats not counted.

    Args:
        signs: What stands in the row; equal signs can be one another's repeat, shape (n,).
        places: Where each stands; a repeat goes on evenly, shape (n,).
        around: After how many places it comes round; 0 if it does not.
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
    way = np.zeros(longest + 1, dtype=np.int64)
    for k in range(n - 1, -1, -1):
        total[k] = costs[k] + total[k + 1]
        for p in range(1, min(longest, n - k - 1) + 1):
            if signs[k] != signs[k + p]:
                same[p] = 0
                continue
            apart = places[k + p] - places[k]
            if around > 0:
                apart %= around
            same[p] = same[p] + 1 if same[p] > 0 and apart == way[p] else 1
            way[p] = apart
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


@dataclass(frozen=True, slots=True)
class _Row:
    """Lines with where each stands: its first step.

    Attributes:
        lines: The lines.
        places: Where they stand.
        around: After how many places they come round; 0 if they do not.
    """

    lines: tuple[Line, ...]
    places: tuple[int, ...]
    around: int

    def apart(self, first: int, then: int) -> int:
        """How far along one line stands from another."""
        way = self.places[then] - self.places[first]
        return way % self.around if self.around else way


def _pass(row: _Row, longest: int) -> _Row:
    """A row with repeats of at most so many lines folded."""
    count = len(row.lines)
    if longest < 1 or count < 2:
        return row
    known: dict[Line, int] = {}
    signs = np.array([known.setdefault(line, len(known)) for line in row.lines], dtype=np.int64)
    costs = np.array([1 if isinstance(line, int) else line.lines for line in row.lines], dtype=np.int64)
    places = np.array(row.places, dtype=np.int64)
    found = _best(signs, places, row.around, costs, min(longest, count - 1))
    period, times = (each.tolist() for each in found)
    folded: list[Line] = []
    kept: list[int] = []
    k = 0
    while k < count:
        kept.append(row.places[k])
        if period[k]:
            ways = tuple(row.apart(k, one) for one in range(k, k + period[k]))
            folded.append(Again(row.lines[k : k + period[k]], times[k], ways, row.apart(k, k + period[k])))
            k += period[k] * times[k]
        else:
            folded.append(row.lines[k])
            k += 1
    return _Row(tuple(folded), tuple(kept), row.around)


def folded(signs: list[int], places: list[int] | None = None, around: int = 0) -> tuple[Line, ...]:
    """A row of signs with its repeats folded, nested at most two deep.

    Args:
        signs: The row; equal numbers mean equal steps.
        places: Where each step stands; none where that does not matter.
        around: After how many places the piece comes round; 0 if it does not.
    """
    best: tuple[Line, ...] = tuple(signs)
    row = _Row(best, tuple(places) if places else (0,) * len(signs), around)
    for longest in FIRST_PERIODS:
        once = _pass(row, longest)
        twice = _pass(once, max(1, min(len(once.lines), MOST_WORK // max(1, len(once.lines)))))
        for found in (_inside(twice), _inside(once)):
            if lines_of(found) < lines_of(best):
                best = found
    return best


def _inside(row: _Row) -> tuple[Line, ...]:
    """A row with repeats folded inside what is repeated, where that holds none yet."""
    return tuple(
        replace(line, block=_pass(_Row(line.block, line.ways, row.around), len(line.block)).lines)
        if isinstance(line, Again) and all(isinstance(inner, int) for inner in line.block)
        else line
        for line in row.lines
    )


def instructions_of(
    signs: list[int], places: list[int] | None = None, around: int = 0
) -> tuple[tuple[Instruction, ...], tuple[int, ...]]:
    """Numbered lines for a row of steps, and the steps of which there is a picture.

    Args:
        signs: A number for each step; equal numbers mean that a maker does the same.
        places: Where each step stands, see `folded`.
        around: After how many places the piece comes round; 0 if it does not.

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

    end = write(folded(signs, places, around), 0)
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
