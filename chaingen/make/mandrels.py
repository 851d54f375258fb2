"""What to wind rings on: the mandrel wanted, the nearest at hand, and what each makes of the piece.

A ring is cut off its coil and closed, so that the wire the cut took is missing round it: its inside diameter
is that of the coil less kerf / pi. Close-wound turns are taken for flat circles.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from math import isfinite, pi

from chaingen.design.bench import Bench, CutWay, WireData
from chaingen.errors import BadInput, Problem
from chaingen.make.forming import MandrelChoice, MandrelPlan, Spring
from chaingen.make.result import Result
from chaingen.make.springback import calibration, inside_off, mandrel_for
from chaingen.solve.place import place
from chaingen.solve.placement import Answer
from chaingen.solve.sizes import is_plain, size_table
from chaingen.solve.verdict import SCAN_STARTS, Fit, best_gap, fit_of, sample_of
from chaingen.stock.mandrels import SAME_MANDREL, Mandrel, read_mandrels
from chaingen.stock.tempers import find_temper, spelt_temper, tempers_of
from chaingen.tables import key
from chaingen.weave.groups import RingSize, Run
from chaingen.weave.pieces import Chain, Sheet, findings_of

SAW_KERF = 0.25
"""What a cut takes when nobody said so [mm]: a fine jeweller's blade, common practice."""

FLUSH_PART = 0.5
"""What flush cutters take when nobody said so, as a part of the wire: both sides of a cut must be trimmed
flat, common practice."""

CHOICES = 3
"""Mandrels at hand that are told for one ring size."""

SAME_INSIDE = 0.005
"""Rings whose inside diameters differ by less are the same [mm]: wire is not rounder than that."""

MOST_SOLVED = 100
"""Bodies that are placed anew, over all ring sizes, to find out what mandrels make of a piece: some ten
seconds of work. Counted and not timed, so that equal designs get equal answers."""

CELL_COST = 6
"""What a weave's repeating cell, or a loop's, counts as then."""

WHOLE_LOOP = 40
"""Loops that a sample with one repeat more stands for are placed themselves up to this many bodies: the bend
of a shorter one depends on their number too much. It was seen to be worth 0.2 mm at 15 rings."""

NOT_SAID = "temper not given"
"""Stands for the temper of wire of which only its figures are given."""

GIVEN = "given"


class NoTemper(ValueError):
    """Wire of which too little is known; in words for its maker, without where they said it.

    Attributes:
        got: What was said.
        known: The tempers that there is data of.
        missing: The figures that were not given: ``youngs_modulus``, ``yield_strength``.
    """

    def __init__(self, got: str, known: tuple[str, ...], missing: tuple[str, ...]) -> None:
        self.got, self.known, self.missing = got, known, missing
        super().__init__(got)

    def problem(self, where: str, keys: Mapping[str, str]) -> Problem:
        """The problem, with the names that the missing figures go by there."""
        figures = " and ".join(keys[name] for name in self.missing)
        tempers = f"a temper with data: {', '.join(self.known)}; or " if self.known else ""
        return Problem(where, self.got, f"{tempers}the wire's own figures as {figures}")


def spring_from(metal: str, data: WireData) -> Spring | None:
    """How wire springs by the tables and by what its maker knows of it, without a trial coil.

    Args:
        metal: The metal's name in `stock.metals`.
        data: What the maker says; it goes before the tables.

    Returns:
        None where nothing is said and nothing known.

    Raises:
        NoTemper: The metal has no data of the temper said, or one figure only is known.
    """
    tempers = tempers_of(metal)
    modulus, strength = data.youngs_modulus, data.yield_strength
    usual = tempers[0] if tempers else None
    known = usual if data.temper is None else find_temper(metal, data.temper)
    if modulus is not None and strength is not None:
        name = NOT_SAID if data.temper is None else spelt_temper(data.temper)
        return Spring(name, modulus, strength, GIVEN)
    if known is None:
        if data == WireData():
            return None
        figures = (("youngs_modulus", modulus), ("yield_strength", strength))
        missing = tuple(name for name, value in figures if value is None)
        got = f"one figure of {metal} alone" if data.temper is None else f"{data.temper!r} of {metal}"
        if not tempers or data.temper is not None:
            got += ", of which there is no data"
        raise NoTemper(got, tuple(temper.name for temper in tempers), missing)
    own = [name for name, value in (("modulus", modulus), ("yield", strength)) if value is not None]
    return Spring(
        known.name if data.temper is not None or strength is None else NOT_SAID,
        known.youngs_modulus if modulus is None else modulus,
        known.yield_strength if strength is None else strength,
        f"{known.source}; {own[0]} given" if own else known.source,
        assumed=data.temper is None and strength is None,
    )


def spring_of(
    metal: str, bench: Bench, *, base: str | None = None, design_metal: str | None = None
) -> Spring | None:
    """How wire of a metal springs, as the bench says, with the factor of its trial coils.

    A temper that the bench says of all wire may be none of this metal: one settings file serves designs in
    every metal. Of its wire is then known what is said of that metal itself, and mostly nothing.

    Args:
        metal: The metal's name, or that of a coloured wire.
        bench: How the maker works.
        base: The metal beneath a coloured wire; what is said of it serves where nothing is said of the wire.
        design_metal: The design's metal, of which a trial coil is that names none; None lets such a coil
            serve any metal.

    Returns:
        None where nothing is known.

    Raises:
        BadInput: There is no data of the temper, or too few figures; or a trial coil that cannot be.
    """
    of_table = metal if base is None else base
    named = dict(bench.wires)
    entry = metal if metal in named or base is None else base
    data = bench.wire(entry)
    own = named.get(entry, WireData())
    general = ""
    if own.temper is None and data.temper is not None and find_temper(of_table, data.temper) is None:
        # A modulus alone does not tell how wire springs; where nothing else is known it is asked for more.
        if own.yield_strength is None and (own.youngs_modulus is None or tempers_of(of_table)):
            return None
        general, data = spelt_temper(data.temper), own
    place = f"bench.metals.{key(entry)}"
    try:
        spring = spring_from(of_table, data)
    except NoTemper as error:
        where = place if own.temper is None else f"{place}.temper"
        keys = {name: f"{place}.{name}" for name in error.missing}
        raise BadInput([error.problem(where, keys)]) from None
    if spring is None:
        return None
    return _calibrated(replace(spring, temper=general or spring.temper), metal, base, design_metal, bench)


def _calibrated(
    spring: Spring, metal: str, base: str | None, design_metal: str | None, bench: Bench
) -> Spring:
    """The same with the mean factor of the trial coils that are of this metal and temper."""
    factors, problems = [], []
    for number, trial in enumerate(bench.trials, start=1):
        of = design_metal if trial.metal is None else trial.metal
        if of is not None and of not in (metal, base):
            continue
        if trial.temper is not None and spelt_temper(trial.temper) != spring.temper:
            continue
        try:
            factors.append(calibration(trial, spring))
        except ValueError as error:
            got = f"inside {trial.inside:g} mm off a mandrel of {trial.mandrel:g} mm"
            problems.append(Problem(f"bench.trials[{number}]", got, str(error)))
    if problems:
        raise BadInput(problems)
    return replace(spring, calibration=sum(factors) / len(factors)) if factors else spring


def kerf_of(wire: float, bench: Bench) -> tuple[float, bool]:
    """What each cut takes of the wire [mm], and whether nobody said so.

    Args:
        wire: Wire diameter [mm].
        bench: How the maker works.
    """
    if bench.kerf is not None:
        return bench.kerf, False
    return (SAW_KERF if bench.cut is CutWay.SAW else FLUSH_PART * wire), True


def mandrel_wanted(inside: float, wire: float, kerf: float, spring: Spring) -> float | None:
    """The mandrel off which rings, cut and closed, have an inside diameter [mm]; None where there is none.

    Args:
        inside: Inside diameter of the ring wanted [mm].
        wire: Wire diameter [mm].
        kerf: What a cut takes [mm].
        spring: How the wire springs.
    """
    return mandrel_for(inside + kerf / pi, wire, spring)


def ring_inside(mandrel: float, wire: float, kerf: float, spring: Spring) -> float | None:
    """Inside diameter of rings wound on a mandrel, cut and closed [mm]; None where they come to nothing.

    Args:
        mandrel: Diameter of the mandrel [mm].
        wire: Wire diameter [mm].
        kerf: What a cut takes [mm].
        spring: How the wire springs.
    """
    coil = inside_off(mandrel, wire, spring)
    return coil - kerf / pi if coil is not None and coil > kerf / pi else None


def nearest_mandrels(
    inside: float, wire: float, kerf: float, spring: Spring, mandrels: Iterable[Mandrel], most: int = CHOICES
) -> tuple[MandrelChoice, ...]:
    """The mandrels whose rings come nearest to an inside diameter, the nearest first.

    Args:
        inside: Inside diameter of the ring wanted [mm].
        wire: Wire diameter [mm].
        kerf: What a cut takes [mm].
        spring: How the wire springs.
        mandrels: Those to choose from; of several of one diameter the first counts.
        most: How many at most.
    """
    made: list[MandrelChoice] = []
    for mandrel in mandrels:
        found = ring_inside(mandrel.diameter, wire, kerf, spring)
        if found is not None and all(abs(mandrel.diameter - one.diameter) > SAME_MANDREL for one in made):
            made.append(MandrelChoice(mandrel.name, mandrel.diameter, found))
    return tuple(sorted(made, key=lambda choice: abs(choice.inside - inside))[:most])


def mandrel_plans(result: Result, bench: Bench) -> tuple[MandrelPlan, ...]:
    """What to wind the rings of a piece on, for every size and metal.

    Args:
        result: The built piece.
        bench: How its maker works.

    Raises:
        BadInput: See `spring_of`; or a mandrel that cannot be read.
    """
    at_hand = read_mandrels(bench.mandrels)
    main = result.design.metal.name
    plans = []
    for count in result.counts:
        size, metal = count.size, count.metal
        spring = spring_of(metal.name, bench, base=metal.under or None, design_metal=main)
        wanted: float | None = None
        choices: tuple[MandrelChoice, ...] = ()
        if spring is not None:
            ring = size.inside_diameter, size.wire_diameter, kerf_of(size.wire_diameter, bench)[0], spring
            wanted, choices = mandrel_wanted(*ring), nearest_mandrels(*ring, at_hand)
        plans.append(MandrelPlan(size, metal, spring, wanted, choices))
    return _judged(plans, _Trier(result))


def _judged(plans: list[MandrelPlan], trier: "_Trier") -> tuple[MandrelPlan, ...]:
    """The plans with gap and fit of their choices, as far as the work allows: best choices first."""
    found: dict[tuple[int, int], MandrelChoice] = {}
    for rank in range(CHOICES):
        for number, plan in enumerate(plans):
            if rank < len(plan.choices):
                choice = plan.choices[rank]
                told = trier.try_inside(plan.size, choice.inside)
                found[number, rank] = choice if told is None else replace(choice, gap=told[0], fit=told[1])
    return tuple(
        replace(plan, choices=tuple(found[number, rank] for rank in range(len(plan.choices))))
        for number, plan in enumerate(plans)
    )


class _Trier:
    """Finds out what a piece is with one ring size changed, within a bound of work.

    Attributes:
        left: Bodies that may still be placed.
    """

    def __init__(self, result: Result) -> None:
        self.result = result
        self.left = MOST_SOLVED
        self.gap = min(result.check.smallest_gap, result.placement.gap)
        self._known: dict[tuple[str, float], tuple[float, Fit] | None] = {}
        self._shift: float | None = None
        # Judged by the wires that its own verdict is judged by, so that a word changes with gaps alone.
        wires = 2.0 * result.placement.rings.thinnest
        pair = result.check.binding_pair
        self._wire = float(wires.min() if pair is None else wires[list(pair)].mean())

    def try_inside(self, size: RingSize, inside: float) -> tuple[float, Fit] | None:
        """Smallest gap [mm] and fit with rings of that size `inside` [mm] wide; None where not found out."""
        if not isfinite(self.gap):
            return None
        if abs(inside - size.inside_diameter) <= SAME_INSIDE:
            return self.gap, self.result.fit
        asked = size.name, round(inside, 9)
        if asked not in self._known:
            self._known[asked] = self._tried(size, inside)
        return self._known[asked]

    def _tried(self, size: RingSize, inside: float) -> tuple[float, Fit] | None:
        piece, wire = self.result.design.piece, size.wire_diameter
        if len(piece.sizes()) == 1 and not findings_of(piece):
            if self.result.fits:
                # The whole piece is made larger or smaller: distances of centrelines grow with the rings.
                grown = (inside + wire) / (size.inside_diameter + wire)
                return self._told((self.gap + wire) * grown - wire, True)
            if is_plain(piece) and not piece.closed:
                ((entry,),) = size_table(
                    piece, size.name, [inside], [wire], clearance=self.result.design.clearance
                )
                return entry.gap, entry.fit
        return self._solved(size, inside)

    def _told(self, gap: float, sound: bool) -> tuple[float, Fit]:
        clearance = self.result.design.clearance
        # A wide gap with links or shapes that are not those designed is no fit.
        right = sound or gap < clearance
        return gap, fit_of(gap - clearance, self._wire) if right else Fit.DOES_NOT_FIT

    def _solved(self, size: RingSize, inside: float) -> tuple[float, Fit] | None:
        """The same by placing the piece, or a sample of it, with the changed rings."""
        if inside <= size.wire_diameter:
            return inside - size.wire_diameter, Fit.DOES_NOT_FIT
        piece, clearance = self.result.design.piece, self.result.design.clearance
        sampled = sample_of(piece) != piece
        whole = piece.closed and sampled and piece.most_rings() <= WHOLE_LOOP
        shifts = piece.closed and sampled and not whole
        cost = piece.most_rings() if whole else self._cost()
        cost *= 2 if shifts and self._shift is None else 1
        if cost > self.left:
            return None
        self.left -= cost
        if self._shift is None:
            # What a loop's sample lacks or has more than the loop is taken to be so for the changed one too.
            self._shift = self.gap - best_gap(piece, clearance)[0] if shifts and self.result.fits else 0.0

        def change(one: RingSize) -> RingSize:
            return replace(one, inside_diameter=inside) if one.name == size.name else one

        if whole:
            placed = place(piece.resized(change), clearance=clearance, starts=SCAN_STARTS)
            return self._told(placed.gap, placed.answer is Answer.FITS)
        gap, sound = best_gap(piece.resized(change), clearance)
        return self._told(gap + self._shift, sound)

    def _cost(self) -> int:
        piece = self.result.design.piece
        rings = sample_of(piece).most_rings()
        by_cell = isinstance(piece, Sheet | Chain) or (
            isinstance(piece, Run) and piece.closed and not (piece.first or piece.last)
        )
        return min(rings, CELL_COST) if by_cell else rings
