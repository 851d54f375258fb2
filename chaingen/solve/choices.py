"""The finished length with one repeat fewer and more, and how many rings a number of repeats takes."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from math import pi

import numpy as np

from chaingen.design.design import MAX_RINGS, Design
from chaingen.solve.length import TautLengths
from chaingen.solve.place_weave import open_cells, rounds_near
from chaingen.weave.groups import RingSize, Run
from chaingen.weave.pieces import Chain, Piece, Section, Sections, Sheet, Strands
from chaingen.weave.tiling import FEWEST_ROUND, chain_cells, fewest_round, held, weave_cell

COUNTED_REPEATS = 8
"""Repeats up to which rings are counted one by one. What ends leave off lies within far fewer, so that from
here on every further repeat takes as many rings as the last."""

Sizes = Counter[RingSize]
"""How many rings of each size."""


@dataclass(frozen=True, slots=True)
class LengthChoice:
    """A length that a piece can be made in.

    Attributes:
        repeat: Number of repeats.
        rings: How many rings that takes; of a pair those of both.
        groups: How many groups of rings, of one strand, without what findings at the ends bring; or how many
            cells of a weave.
        length: Finished length [mm].
        inside: Circumference inside it when it is worn closed: the length less pi times the thickness of the
            chain [mm]; None for what is not worn so.
        ease: How much longer the length is than the wrist or neck [mm]; None without a measure.
    """

    repeat: int
    rings: int
    groups: int
    length: float
    inside: float | None
    ease: float | None


def length_choices(
    design: Design, lengths: TautLengths, thickness: float | None, measure: float | None
) -> tuple[LengthChoice, ...]:
    """The next shorter piece, this one, and the next longer, as far as there are such.

    Args:
        design: The design, its number of repeats settled.
        lengths: Its finished lengths by number of repeats, with what a repeat adds: from `lengths_of` with a
            target.
        thickness: Thickness of the chain [mm]; None for what is not worn closed.
        measure: Wrist or neck [mm]; None when not given.

    Returns:
        In order of length; none for sheets and sections, whose length does not go by one number of repeats.
    """
    if not goes_by_repeats(design):
        return ()
    counts = ring_numbers(design)
    found = []
    for repeat in _near(design):
        rings = counts(repeat).total()
        if rings > MAX_RINGS and repeat != design.repeating.repeat:
            continue
        length = lengths.at(repeat)
        found.append(
            LengthChoice(
                repeat=repeat,
                rings=rings * design.made,
                groups=_groups(design.repeated(repeat).repeating),
                length=length,
                inside=None if thickness is None else length - pi * thickness,
                ease=None if measure is None else length - measure,
            )
        )
    return tuple(found)


def goes_by_repeats(design: Design) -> bool:
    """Whether the piece has one number of repeats that makes it longer."""
    return isinstance(design.repeating, Run | Chain)


def fewest_repeats(piece: Piece) -> int:
    """The fewest repeats of a piece: of a closed loop as many as make one."""
    if isinstance(piece, Run) and piece.closed:
        others = len(piece.first) + len(piece.last)
        return max(1, -(-(FEWEST_ROUND - others) // len(piece.cell)))
    return fewest_round(piece.weave) if isinstance(piece, Chain) and piece.closed else 1


def _near(design: Design) -> list[int]:
    """The number of repeats that is next below the design's own, that, and the one next above."""
    piece = design.repeating
    own, least = piece.repeat, fewest_repeats(piece)
    if isinstance(piece, Chain) and piece.closed:
        # A turning chain comes round with some numbers of cells only; one that never does is bent by force.
        round_ = [repeat for repeat in rounds_near(piece) if repeat >= least]
        below, above = ([r for r in round_ if r < own], [r for r in round_ if r > own])
        if round_:
            return [*below[:1], own, *above[:1]]
    return [repeat for repeat in (own - 1, own, own + 1) if repeat == own or repeat >= least]


def _groups(piece: Piece) -> int:
    if isinstance(piece, Run):
        return sum(isinstance(group.size, RingSize) for group in piece.groups())
    return piece.repeat


def ring_numbers(design: Design) -> Callable[[int], Sizes]:
    """How many rings of each size one piece of a design takes, by its number of repeats.

    Args:
        design: A design that goes by repeats.

    Returns:
        A function of the number of repeats; counts are those of the placed piece, rings that nothing would
        hold left off.
    """
    known: dict[int, Sizes] = {}

    def counted(repeat: int) -> Sizes:
        if repeat not in known:
            known[repeat] = rings_of(design.piece_of(repeat))
        return known[repeat]

    def numbers(repeat: int) -> Sizes:
        few = max(COUNTED_REPEATS, fewest_repeats(design.repeating))
        if repeat <= few + 1:
            return counted(repeat)
        base, more = counted(few), counted(few + 1)
        return Counter({size: base[size] + (repeat - few) * (more[size] - base[size]) for size in more})

    return numbers


def rings_of(piece: Piece) -> Sizes:
    """How many rings of each size a piece takes, counted without placing it; not of sheets.

    Args:
        piece: A run, a chain or sections.
    """
    assert not isinstance(piece, Sheet), "what an outline keeps is known once it is placed"
    parts: tuple[Section, ...] = piece.parts if isinstance(piece, Sections) else (piece,)
    total: Sizes = Counter()
    for part in parts:
        one, times = (part.part, part.count) if isinstance(part, Strands) else (part, 1)
        for size, count in (_of_run(one) if isinstance(one, Run) else _of_chain(one)).items():
            total[size] += times * count
    return total


def _of_run(run: Run) -> Sizes:
    total: Sizes = Counter()
    for group in run.groups():
        if isinstance(group.size, RingSize):
            total[group.size] += group.count
    return total


def _of_chain(chain: Chain) -> Sizes:
    sizes = dict(chain.chosen)
    cell = weave_cell(chain.weave, sizes)
    if chain.closed:
        cells = chain_cells(chain.repeat)
        everything = np.ones((len(cells), len(cell)), dtype=bool)
        kept = held(chain.weave, cell, cells, everything, around=chain.repeat)
    else:
        _, kept = open_cells(chain, cell)
    total: Sizes = Counter()
    for ring, count in zip(chain.weave.rings, kept.sum(axis=0).tolist(), strict=True):
        total[sizes[ring.role]] += count
    return total
