"""Combs of loose rings: rings lie on both sides of runners, which a main joins that ends in a button.

Everything has its middle in one level plane. Runners go along x from the main, which goes along y from the
button at y = 0; what fits on one runner has no other main, and the button stands at its beginning. Feeders
are square to their runner, and the cut of a ring is farthest from it. The lowest point is at z = 0, as it
lies on a plate.

Rings are laid in rows, the largest first, each as near to its runner's beginning as it goes.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import ceil, pi

import numpy as np

from chaingen.design.service import Axes, Service, Sprues
from chaingen.geometry.types import Floats
from chaingen.prepare.batch import Batch
from chaingen.prepare.checks import by
from chaingen.prepare.fed_ring import FedRing, fed_ring, least_shift, placed_rows, thickest_wire
from chaingen.prepare.loose import CannotPrepare, LooseRings
from chaingen.prepare.sprue_layout import Foot, Named, Rod, SprueLayout, layouts_in_room, sprued_batches
from chaingen.prepare.sprues import FLARE, Bar, button_height
from chaingen.solve.check import ROUND_OFF
from chaingen.stock.metals import Metal

X, Y, UP = np.eye(3)

BELOW, ABOVE = -1.0, 1.0
"""The side of its runner that a row is on, along y."""


def comb_batches(rings: Sequence[LooseRings], service: Service, *, tolerance: float) -> tuple[Batch, ...]:
    """Combs of loose rings, named ``comb-1`` and so on, each of one metal.

    Args:
        rings: The rings that are made.
        service: The service.
        tolerance: Farthest the meshes may lie from the true surface [mm].

    Raises:
        CannotPrepare: A ring cannot be placed in the room, or not be fed.
    """
    return sprued_batches(_laid, "comb", rings, service, tolerance)


def comb_layouts(rings: Sequence[LooseRings], service: Service, metal: Metal) -> list[Named]:
    """The combs of rings of one metal, each with the names of its kinds; see `comb_batches`."""
    return layouts_in_room(_laid, rings, service, metal)


def _laid(rings: Sequence[LooseRings], service: Service, metal: Metal, room: Axes) -> list[Named]:
    """Combs of rings of one metal that keep to a room, all sizes on them."""
    sprues = service.sprues or Sprues()
    thickest = thickest_wire([each.size for each in rings], service)
    main, foot = sprues.main_diameter(thickest), sprues.button_diameter(thickest)
    fed = [(each, fed_ring(each.size, service, sprues, main, 0.5 * pi)) for each in rings]
    fed.sort(key=lambda pair: -pair[1].outside)
    site = _Site(tuple(kind for _, kind in fed), main, foot, service.spacing, room)
    for kind, (each, _) in enumerate(fed):
        alone = _comb(site, [kind], 1, 0.0)
        if alone is None or alone.left:
            raise CannotPrepare(_too_large(site, kind, each, metal))
    queue = [kind for kind, (each, _) in enumerate(fed) for _ in range(each.count)]
    names = tuple(each.size.name for each, _ in fed)
    return [(_layout(site, comb), names) for comb in _combs(site, queue)]


@dataclass(frozen=True, slots=True)
class _Row:
    """Rings on one side of a runner: their kinds, and where their feeders are along it [mm]."""

    side: float
    kinds: tuple[int, ...]
    places: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class _Runner:
    """A runner at a height along y [mm], with its two rows, first the one below."""

    y: float
    rows: tuple[_Row, _Row]


@dataclass(frozen=True, slots=True)
class _Comb:
    """A comb.

    Attributes:
        runners: Its runners.
        single: Whether it has but one, and no other main.
        depth: Its size along y [mm].
        left: Kinds of the rings that did not go on it.
    """

    runners: tuple[_Runner, ...]
    single: bool
    depth: float
    left: tuple[int, ...]


@dataclass(eq=False)
class _Site:
    """What combs of one metal are built of, and what is known about it."""

    kinds: tuple[FedRing, ...]
    main: float
    button: float
    spacing: float
    room: Axes
    shifts: dict[tuple[str, int, int, float], float] = field(default_factory=dict)

    @property
    def level(self) -> float:
        """Height of the plane that all has its middle in [mm]."""
        return max(0.5 * self.button, 0.5 * self.main, *(kind.wire_radius for kind in self.kinds))

    @property
    def edge(self) -> float:
        """Where the axis of a main along y is, and of a single runner along y the least [mm]."""
        return 0.5 * max(self.button, self.main)

    @property
    def past(self) -> float:
        """How far the main goes on past the last runner, for its fillet's sake [mm]."""
        return 0.5 * (1.0 + FLARE) * self.main

    def reach(self, kind: int) -> float:
        """How far a ring reaches from the axis of its runner [mm]."""
        fed = self.kinds[kind]
        return fed.stand + fed.outside

    def beside(self, first: int, second: int) -> float:
        """How much farther along a runner than one ring's the feeder of another of the same row is [mm]."""
        return self._shift("beside", first, second, 0.0)

    def over(self, lower: int, upper: int, along: float) -> float:
        """How far apart runners are for a ring above one and a ring below the next to have room [mm].

        Args:
            lower: Kind of the ring above the one.
            upper: Kind of the ring below the next.
            along: How much farther along its runner the one's feeder is than the other's [mm].
        """
        return self._shift("over", lower, upper, round(abs(along), 9))

    def _shift(self, how: str, one: int, other: int, along: float) -> float:
        key = how, one, other, along
        if key not in self.shifts:
            sides = (ABOVE, ABOVE) if how == "beside" else (ABOVE, BELOW)
            rows = [
                placed_rows(self.kinds[kind].rows(), *_poses(self.kinds[kind], side, [x], 0.0, 0.0))[0]
                for kind, side, x in zip((one, other), sides, (0.0, along), strict=True)
            ]
            most = 2.0 * (self.reach(one) + self.reach(other)) + self.spacing
            self.shifts[key] = least_shift(rows[0], rows[1], X if how == "beside" else Y, most, self.spacing)
        return self.shifts[key]

    def row(self, queue: Sequence[int], side: float, start: float, most: int, lag: float) -> _Row:
        """A row of the first rings of a queue, up to `most` and as far as the room goes.

        Args:
            queue: Kinds.
            side: The side of the runner.
            start: Where rings may begin [mm].
            most: Most rings.
            lag: How much later than that it begins, over the outside of its first ring.
        """
        places: list[float] = []
        for kind in queue[:most]:
            fed = self.kinds[kind]
            x = start + max(fed.outside, fed.foot)
            if not places:
                x += lag * (fed.outside + 0.5 * self.spacing)
            for before, place in zip(queue, places, strict=False):
                x = max(x, place + self.beside(before, kind))
            # The runner's round end begins behind the last fillet.
            if x + max(fed.outside, fed.foot + 0.5 * self.main) > self.room[0] + ROUND_OFF:
                break
            places.append(x)
        return _Row(side, tuple(queue[: len(places)]), tuple(places))

    def apart(self, lower: _Row, upper: _Row) -> float:
        """How far apart two runners are whose rows face one another [mm]."""
        least = [self.reach(kind) + self.spacing + 0.5 * self.main for kind in (*lower.kinds, *upper.kinds)]
        least += [
            self.over(one, other, x - z)
            for one, x in zip(lower.kinds, lower.places, strict=True)
            for other, z in zip(upper.kinds, upper.places, strict=True)
            if abs(x - z) < self.kinds[one].outside + self.kinds[other].outside + self.spacing
        ]
        # Rings stay on their side of the middle between, so that none comes to a feeder of the other row.
        stands = [max((self.kinds[kind].stand for kind in row.kinds), default=0.0) for row in (lower, upper)]
        return max(sum(stands), self.main + self.spacing, *least)


def _comb(site: _Site, queue: Sequence[int], most: int, lag: float) -> _Comb | None:
    """A comb of the first rings of a queue; None where not even one goes on.

    Args:
        site: The site.
        queue: Kinds, the largest first.
        most: Most rings of a row.
        lag: How much later every row below a runner begins, over the outside of its first ring.
    """
    if 2.0 * site.level > site.room[2] + ROUND_OFF:
        return None
    single = _single(site, queue, most, lag)
    return single if single is not None and not single.left else _several(site, queue, most, lag) or single


def _single(site: _Site, queue: Sequence[int], most: int, lag: float) -> _Comb | None:
    """A comb of one runner that begins in the button."""
    start = button_height(site.button, site.main) + site.spacing
    below = site.row(queue, BELOW, start, most, lag)
    rest = queue[len(below.kinds) :]
    above = site.row(rest, ABOVE, start, most, 0.0)
    y = max(site.edge, *(site.reach(kind) for kind in below.kinds), 0.0)
    fits = [site.reach(kind) for kind in above.kinds]
    depth = y + max(site.edge, *fits, 0.0)
    if depth > site.room[1] + ROUND_OFF:
        above = _Row(ABOVE, (), ())
        depth = y + site.edge
    if not below.kinds or depth > site.room[1] + ROUND_OFF:
        return None
    return _Comb((_Runner(y, (below, above)),), True, depth, tuple(rest[len(above.kinds) :]))


def _several(site: _Site, queue: Sequence[int], most: int, lag: float) -> _Comb | None:
    """A comb of runners that begin in a main."""
    deep = site.room[1] + ROUND_OFF
    fillet = FLARE * 0.5 * site.main
    # Where a runner leaves the main, their fillet fills the corner.
    corner = min(kind.free for kind in site.kinds) < fillet + site.spacing
    begin = site.edge + 0.5 * site.main + site.spacing + (fillet if corner else 0.0)
    runners: list[_Runner] = []
    depth = 0.0
    while queue:
        first = not runners
        start = max(begin, site.edge + 0.5 * site.button + site.spacing) if first else begin
        below = site.row(queue, BELOW, start, most, lag)
        if not below.kinds:
            break
        if first:
            lowest = button_height(site.button, site.main) + 0.5 * site.main + fillet
            y = max(lowest, *(site.reach(kind) for kind in below.kinds))
        else:
            y = runners[-1].y + site.apart(runners[-1].rows[1], below)
        end = y + site.past + 0.5 * site.main
        if end > deep:
            break
        rest = queue[len(below.kinds) :]
        above = site.row(rest, ABOVE, begin, most, 0.0)
        if any(y + site.reach(kind) > deep for kind in above.kinds):
            above = _Row(ABOVE, (), ())
        queue = rest[len(above.kinds) :]
        runners.append(_Runner(y, (below, above)))
        depth = max(end, *(y + site.reach(kind) for kind in above.kinds), depth)
        if not above.kinds:
            break
    return _Comb(tuple(runners), False, depth, tuple(queue)) if runners else None


def _combs(site: _Site, queue: Sequence[int]) -> list[_Comb]:
    """As few combs as hold a queue of rings, shared out evenly, on as few and as short runners as do."""
    filled = min((_filled(site, queue, lag) for lag in (0.0, 1.0)), key=len)
    count = len(filled)
    shared = [_shortest(site, queue[k::count]) for k in range(count)]
    # Where sizes differ much, what fits in turn need not fit when shared out.
    return filled if any(comb is None for comb in shared) else [comb for comb in shared if comb is not None]


def _filled(site: _Site, queue: Sequence[int], lag: float) -> list[_Comb]:
    """Combs filled in turn."""
    combs = []
    while queue:
        comb = _comb(site, queue, len(queue), lag) or _comb(site, queue, len(queue), 0.0)
        assert comb is not None, "each size was seen to fit"
        combs.append(comb)
        queue = comb.left
    return combs


def _shortest(site: _Site, queue: Sequence[int]) -> _Comb | None:
    """One comb of all of a queue on the fewest and then the shortest runners; None where there is none."""
    best: _Comb | None = None
    for lag in (0.0, 1.0):
        full = _comb(site, queue, len(queue), lag)
        if full is None or full.left:
            continue
        least, most = ceil(len(queue) / (2 * len(full.runners))), len(queue)
        for each in range(least, most + 1):
            comb = _comb(site, queue, each, lag)
            if comb is not None and not comb.left and len(comb.runners) <= len(full.runners):
                if best is None or _cost(comb) < _cost(best):
                    best = comb
                break
    return best


def _cost(comb: _Comb) -> tuple[int, float]:
    """What is least in the best comb: runners, then the way that metal runs in them and in the main [mm]."""
    ends = [max((x for row in runner.rows for x in row.places), default=0.0) for runner in comb.runners]
    return len(comb.runners), round(sum(ends) + comb.runners[-1].y, 6)


def _too_large(site: _Site, kind: int, each: LooseRings, metal: Metal) -> str:
    fed = site.kinds[kind]
    long = button_height(site.button, site.main) + site.spacing + 2.0 * fed.outside
    deep = max(site.edge, site.reach(kind)) + site.edge
    return (
        f"ring {each.size.name} takes {by((long, deep, 2.0 * site.level))} on its feeder with runner and "
        f"button, as it is cast in {metal.name}, and there is room for {by(site.room)}"
    )


def _layout(site: _Site, comb: _Comb) -> SprueLayout:
    level = site.level * UP
    height = button_height(site.button, site.main)
    kind_of: list[int] = []
    rotations, centres, rods = [], [], []
    trunk = Bar(Y, site.main)
    begin = height * X if comb.single else site.edge * X
    for runner in comb.runners:
        ends = []
        for row in runner.rows:
            for kind, x in zip(row.kinds, row.places, strict=True):
                turned, middles = _poses(site.kinds[kind], row.side, [x], runner.y, site.level)
                kind_of.append(kind)
                rotations.append(turned)
                centres.append(middles)
                ends.append(x + site.kinds[kind].foot)
        middle = runner.y * Y + level
        rods.append(Rod(begin + middle, max(ends) * X + middle, site.main, None if comb.single else trunk))
    if comb.single:
        foot = Foot(comb.runners[0].y * Y + level, X, site.button)
    else:
        foot = Foot(site.edge * X + level, Y, site.button)
        at = site.edge * X + level
        rods.insert(0, Rod(at + height * Y, at + (comb.runners[-1].y + site.past) * Y, site.main))
    return SprueLayout(
        site.kinds, np.array(kind_of), np.concatenate(rotations), np.concatenate(centres), tuple(rods), foot,
        site.room,
    )  # fmt: skip


def _poses(
    kind: FedRing, side: float, places: Sequence[float], y: float, level: float
) -> tuple[Floats, Floats]:
    """Rotations from the frames of rings, shape (n, 3, 3), and their middles [mm], shape (n, 3).

    Args:
        kind: The ring on its feeder.
        side: The side of the runner that they are on.
        places: Where their feeders are along the runner [mm], shape (n,).
        y: Where the runner is [mm].
        level: The height of it [mm].
    """
    away = side * Y
    turned = np.column_stack([np.cross(-away, UP), -away, UP])
    middles = np.asarray(places)[:, None] * X + (y + side * kind.stand) * Y + level * UP
    return np.repeat(turned[None], len(places), axis=0), middles
