"""Coils off lengths of wire: how many lengths the rings of one wire take, several sizes of them together.

Of each coil one turn and a tail of wire make no ring, and no coil goes on from one length to the next. Which
rings come off which length is bin packing whose things may be parted, each part at the cost of a coil more.
One size alone is solved exactly. Several are laid out in several ways, and the best is taken: the fewest
lengths, and of equally many the least wire. None fewer may exist that is not found; the layout is always
valid, and never takes more lengths than the sizes do one by one.

A length is told by its rings of each size: a tuple with a number for each.
"""

from bisect import insort
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import permutations
from math import floor

ROUND_OFF = 1e-9
"""Turns that may lack of a whole one: 2.4 mm of mandrel hold three turns of 0.8 mm wire, floats or not."""

MOST_PERMUTED = 4
"""Sizes in one wire whose every order is tried: 24 orders; of more, each size comes first and last once."""

SPARING = (0.0, 0.1, 0.25, 0.5)
"""Parts of what one length gives below which a scrap is not wound into: each further coil wastes wire."""

MOST_FITTED = 60
"""Lengths up to which layouts are also sought into a given number of them, which takes its square in time."""

Length = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Winding:
    """How rings of one size are wound and how wire for them is sold.

    Attributes:
        turn: Wire that a turn takes, along the helix and with its cut [mm].
        per_coil: Rings that the longest coil gives: one less than its turns.
        tail: Wire at the two ends of a coil together [mm].
        sold_in: Length of wire as it is sold [mm]; None when wire is as long as wanted.
    """

    turn: float
    per_coil: int
    tail: float
    sold_in: float | None

    def wire_of(self, rings: int, coils: int) -> float:
        """Wire for that many rings in that many coils [mm]."""
        return (rings + coils) * self.turn + coils * self.tail

    def coils_of(self, rings: int) -> int:
        """The fewest coils for that many rings off one wire."""
        return ceil_of(rings, self.per_coil)

    def parted(self, rings: int) -> tuple[int, ...]:
        """Rings of each of the fewest coils: full ones, and a short one last."""
        return tuple(min(self.per_coil, rings - done) for done in range(0, rings, self.per_coil))

    def least_wire(self, rings: int) -> float:
        """The least wire, in one length, for that many rings [mm]."""
        return self.wire_of(rings, self.coils_of(rings))

    def rings_of(self, wire: float) -> tuple[int, int]:
        """The most rings that a wire gives: rings in full coils, and those of a shorter one beside them.

        No other parting gives more, for the fewest coils lose the least wire to tails and ends.

        Args:
            wire: Its length [mm].
        """
        full = max(0, whole(wire / self.wire_of(self.per_coil, 1)))
        left = wire - full * self.wire_of(self.per_coil, 1)
        return full * self.per_coil, max(0, whole((left - self.tail) / self.turn) - 1)

    def of_length(self) -> tuple[int, int]:
        """The most rings that one length as it is sold gives, likewise."""
        assert self.sold_in is not None, "asked only where wire comes in lengths"
        return self.rings_of(self.sold_in)

    def lengths_and_coils(self, rings: int) -> tuple[int | None, int]:
        """The fewest lengths that serve, and the fewest coils to wind of that many.

        A further coil in a length never adds more rings than the one before it, so full coils come first
        wherever a length has room for one, and short ones last.
        """
        if self.sold_in is None:
            return None, self.coils_of(rings)
        lengths = self.alone(rings)
        return len(lengths), sum(map(self.coils_of, lengths))

    def alone(self, rings: int) -> list[int]:
        """Rings off each length when no other size is wound of it: the fewest lengths, then coils."""
        in_full, in_short = self.of_length()
        count = ceil_of(rings, in_full + in_short)
        beyond = max(0, rings - count * in_full)
        # Short coils only for what full ones leave: beside a full coil in some lengths, or in all alone.
        shorts = [min(in_short, beyond - done) for done in range(0, beyond, max(1, in_short))]
        fulls, taken = rings - beyond, []
        for k in range(count):
            taken.append(min(in_full, fulls) + (shorts[k] if k < len(shorts) else 0))
            fulls -= min(in_full, fulls)
        return taken


@dataclass(frozen=True, slots=True)
class Layout:
    """Lengths of wire that are used alike.

    Attributes:
        lengths: How many.
        rings: Rings wound off each of them, for each size; in the fewest coils.
    """

    lengths: int
    rings: Length


def lay_out(windings: Sequence[Winding], rings: Sequence[int]) -> tuple[Layout, ...]:
    """Which rings to wind off which length: few lengths, and of equally many the least wire that was found.

    Args:
        windings: How each size is wound, all of one wire that comes in lengths which give a ring of each.
        rings: How many of each.

    Returns:
        Lengths that are used alike, those with most rings of the first size first; none for no rings.
    """
    best = _one_by_one(windings, rings)
    if sum(count > 0 for count in rings) > 1:
        for found in _ways(windings, rings, best.total()):
            best = min(best, found, key=lambda lengths: (lengths.total(), _wire(windings, lengths)))
    return tuple(Layout(best[length], length) for length in sorted(best, reverse=True))


def least_lengths(windings: Sequence[Winding], rings: Sequence[int]) -> int:
    """Lengths that no layout goes below: all wire, in coils as long as a mandrel and a length allow."""
    total = 0.0
    for winding, count in zip(windings, rings, strict=True):
        in_full, in_short = winding.of_length()
        longest = winding.per_coil if in_full else in_short
        total += winding.wire_of(count, ceil_of(count, longest))
    sold_in = windings[0].sold_in
    assert sold_in is not None, "asked only where wire comes in lengths"
    return -whole(-total / sold_in)


def _wire(windings: Sequence[Winding], lengths: Counter[Length]) -> float:
    return sum(count * _of_one(windings, length) for length, count in lengths.items())


def _of_one(windings: Sequence[Winding], length: Length) -> float:
    """Wire used of one length [mm]."""
    return sum(winding.least_wire(n) for winding, n in zip(windings, length, strict=True))


def _one_by_one(windings: Sequence[Winding], rings: Sequence[int]) -> Counter[Length]:
    """No length serves two sizes."""
    size = range(len(windings))
    return Counter(tuple(n if j == k else 0 for j in size) for k in size for n in windings[k].alone(rings[k]))


def _ways(windings: Sequence[Winding], rings: Sequence[int], most: int) -> Iterator[Counter[Length]]:
    """Layouts to choose from, beside one of so many lengths."""
    fewest = most
    for order in _orders(len(windings)):
        for sparing in SPARING:
            found = _filled(windings, rings, order, sparing)
            fewest = min(fewest, found.total())
            yield found
    if fewest > MOST_FITTED:
        return
    # Into a given number of lengths, from as few as there can be until some way serves.
    for count in range(least_lengths(windings, rings), fewest + 1):
        ways = [(by_coil, spread) for by_coil in (False, True) for spread in (False, True)]
        fitted = [_fitted(windings, rings, count, by_coil=a, spread=b) for a, b in ways]
        yield from (lengths for lengths in fitted if lengths is not None)
        if any(fitted):
            return


def _orders(count: int) -> Iterator[Sequence[int]]:
    """Orders in which sizes are wound."""
    if count <= MOST_PERMUTED:
        yield from permutations(range(count))
        return
    for k in range(count):
        rest = [j for j in range(count) if j != k]
        yield from ([k, *rest], [k, *rest[::-1]], [*rest, k], [*rest[::-1], k])


def _filled(
    windings: Sequence[Winding], rings: Sequence[int], order: Sequence[int], sparing: float
) -> Counter[Length]:
    """Length by length, each size as far as it goes, and the next one into what is left of the length."""
    left, lengths = list(rings), Counter[Length]()
    while any(left):
        length, free = [0] * len(left), windings[0].sold_in
        assert free is not None, "asked only where wire comes in lengths"
        for k in order:
            winding = windings[k]
            n = min(left[k], sum(winding.rings_of(free)))
            scrap = any(length) and n < min(left[k], sparing * sum(winding.of_length()))
            if n and not scrap:
                length[k] = n
                free -= winding.least_wire(n)
        # As long as there is enough of every size in it the next length comes out the same.
        times = min(own // n for own, n in zip(left, length, strict=True) if n)
        lengths[tuple(length)] += times
        left = [own - times * n for own, n in zip(left, length, strict=True)]
    return lengths


def _fitted(
    windings: Sequence[Winding], rings: Sequence[int], count: int, *, by_coil: bool, spread: bool
) -> Counter[Length] | None:
    """Into so many lengths, the longest part first and whole where it goes; None where some do not go in.

    Args:
        windings: How each size is wound.
        rings: How many of each.
        count: How many lengths.
        by_coil: Whether parts are coils to begin with, else what one length gives.
        spread: Whether a part that goes in nowhere whole goes where least is free, else where most is.
    """
    sold_in = windings[0].sold_in
    assert sold_in is not None, "asked only where wire comes in lengths"
    parts: list[tuple[float, int, int]] = []
    for k, winding in enumerate(windings):
        in_full, in_short = winding.of_length()
        most = min(winding.per_coil, in_full + in_short) if by_coil else in_full + in_short
        for start in range(0, rings[k], most):
            n = min(most, rings[k] - start)
            parts.append((winding.least_wire(n), k, n))
    parts.sort()
    lengths, free = [[0] * len(windings) for _ in range(count)], [sold_in] * count
    while parts:
        _, k, n = parts.pop()
        winding = windings[k]
        room = [
            sum(winding.rings_of(free[j] + winding.least_wire(lengths[j][k]))) - lengths[j][k]
            for j in range(count)
        ]
        whole_in = [j for j in range(count) if room[j] >= n]
        part_in = [j for j in range(count) if room[j] > 0]
        if whole_in:
            j = min(whole_in, key=lambda j: (free[j], j))
        elif part_in:
            j = min(part_in, key=lambda j: (room[j] if spread else -room[j], j))
        else:
            return None
        taken = min(n, room[j])
        lengths[j][k] += taken
        free[j] = sold_in - _of_one(windings, tuple(lengths[j]))
        if taken < n:
            insort(parts, (winding.least_wire(n - taken), k, n - taken))
    return Counter(tuple(length) for length in lengths if any(length))


def ceil_of(count: int, each: int) -> int:
    """How many of `each` hold `count`: the quotient, up to the next whole one."""
    return -(-count // each)


def whole(quotient: float) -> int:
    """A quotient, down to a whole number, where floats may lack a little of one."""
    return floor(quotient + ROUND_OFF)
