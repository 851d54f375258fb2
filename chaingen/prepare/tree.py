"""Trees of loose rings: rings on feeders, in tiers round a main that stands on its button.

The main is the axis z and goes up; the button's foot is at z = 0. Each ring lies in an upright plane through
the main, its cut farthest from it, so that no two rings of different directions can be linked. A tier has
rings of one size at one height, in some of the evenly spaced directions of its size; every tier may be turned
by half a step. Tiers are set from the button up, the largest rings first, each as low as it goes.

All centrelines lie in upright half-planes from the main's middle. The distance of two points of two such
half-planes grows with the angle between these, whatever their heights, so of two tiers the rings that are
nearest in direction say how far apart they must be; no others need to be looked at.

Where the main stands in the room, and how many directions a size has, is chosen for the shortest trees.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import asin, atan2, ceil, cos, inf, pi, sin, sqrt, tau

import numpy as np
import numpy.typing as npt

from chaingen.design.service import Axes, Service, Sprues
from chaingen.geometry.types import Floats
from chaingen.prepare.batch import Batch
from chaingen.prepare.checks import by
from chaingen.prepare.fed_ring import FedRing, angle_of, fed_ring, least_shift, placed_rows, thickest_wire
from chaingen.prepare.loose import CannotPrepare, LooseRings, by_metal
from chaingen.prepare.sprue_layout import Foot, Named, Rod, SprueLayout, batches_of, layouts_in_room
from chaingen.prepare.sprues import button_height
from chaingen.solve.check import ROUND_OFF
from chaingen.stock.metals import Metal

MOST_ROUND = 360
"""Most directions of a tier."""

EACH_ROUND, STEP_ROUND = 24, 1.08
"""Every number of directions up to the first is tried, and of more in steps of the second first."""

SAMPLE = 9
"""Tiers by which the pitch of a size is told."""

HALVINGS = 20
"""How finely trees are made equally high."""

UP = np.array([0.0, 0.0, 1.0])


def tree_batches(rings: Sequence[LooseRings], service: Service, *, tolerance: float) -> tuple[Batch, ...]:
    """Trees of loose rings, named ``tree-1`` and so on, each of one metal.

    Args:
        rings: The rings that are made.
        service: The service.
        tolerance: Farthest the meshes may lie from the true surface [mm].

    Raises:
        CannotPrepare: A ring cannot be placed in the room, or not be fed.
    """
    batches: list[Batch] = []
    for metal, own in by_metal(rings).items():
        layouts = tree_layouts([each for each in own if each.count > 0], service, metal)
        batches += batches_of(layouts, "tree", len(batches) + 1, metal, service, tolerance)
    return tuple(batches)


def tree_layouts(rings: Sequence[LooseRings], service: Service, metal: Metal) -> list[Named]:
    """The trees of rings of one metal, each with the names of its kinds; see `tree_batches`."""
    return layouts_in_room(_grown, rings, service, metal)


def _grown(rings: Sequence[LooseRings], service: Service, metal: Metal, room: Axes) -> list[Named]:
    """Trees of rings of one metal that keep to a room, all sizes on them."""
    sprues = service.sprues or Sprues()
    thickest = thickest_wire([each.size for each in rings], service)
    main, foot = sprues.main_diameter(thickest), sprues.button_diameter(thickest)
    fed = [(each, fed_ring(each.size, service, sprues, main, angle_of(sprues))) for each in rings]
    fed.sort(key=lambda pair: -pair[1].outside)
    kinds = tuple(kind for _, kind in fed)
    site = _Site(kinds, main, foot, service.spacing, room)
    base, choice = _choose(site, fed, metal)
    tiers = []
    for kind, (each, _) in enumerate(fed):
        round_it = choice[kind]
        most = max(len(slots) for slots in site.slots(kind, round_it, base))
        count = ceil(each.count / most)
        tiers += [(kind, round_it, part) for part in _evenly(each.count, count)]
    names = tuple(each.size.name for each, _ in fed)
    return [(_layout(site, tree), names) for tree in _trees(site, base, tiers)]


@dataclass(frozen=True, slots=True)
class _Base:
    """Where the main stands: room on either side of it along x and y [mm], and the first direction [rad]."""

    left: float
    right: float
    front: float
    back: float
    towards: float


@dataclass(frozen=True, slots=True)
class _Tier:
    """Rings of one kind in some directions [rad], whose feeders' axes leave the main's at a height [mm]."""

    kind: int
    directions: Floats
    height: float


@dataclass(eq=False)
class _Site:
    """What trees of one metal are built of, and what is known about it."""

    kinds: tuple[FedRing, ...]
    main: float
    button: float
    spacing: float
    room: Axes
    rises: dict[tuple[int, int, float], float] = field(default_factory=dict)
    slots_of: dict[tuple[int, int, _Base], tuple[Floats, ...]] = field(default_factory=dict)
    chosen: dict[tuple[int, int, _Base, int, int], Floats] = field(default_factory=dict)
    turns: dict[tuple[int, int], float] = field(default_factory=dict)
    highest: dict[int, float] = field(default_factory=dict)
    heights: dict[tuple[int, int], float] = field(default_factory=dict)

    def rise(self, lower: int, upper: int, turn: float) -> float:
        """How much higher than one ring's another's feeder must leave the main for both to have room [mm].

        Args:
            lower: Kind of the one.
            upper: Kind of the other.
            turn: Angle between their directions [rad], at most half way round; the more the less.
        """
        turn = round(turn, 9)
        key = lower, upper, turn
        if key not in self.rises:
            one, other = (self.kinds[kind] for kind in (lower, upper))
            rows = [
                placed_rows(kind.rows(), *_poses(kind, [angle], 0.0))[0]
                for kind, angle in ((one, 0.0), (other, turn))
            ]
            most = sum(kind.stand + kind.outside + kind.foot for kind in (one, other)) + self.spacing
            self.rises[key] = max(
                least_shift(rows[0], rows[1], UP, most, self.spacing), self._rise_of_feet(one, other, turn)
            )
        return self.rises[key]

    def _rise_of_feet(self, lower: FedRing, upper: FedRing, turn: float) -> float:
        """The same for their fillets not to run into one another on the main.

        A foot is an ellipse, seen square to the main. Unrolled, where x along the main's girth is its radius
        times an angle, it lies in the ellipse that is as much wider as its own end is farther round, for the
        arc sine rises faster than its chord. Ellipses of one shape meet as circles do when stretched.
        """
        radius = 0.5 * self.main
        wide = [kind.feeder_radius + kind.flare for kind in (lower, upper)]
        farther = max(radius * asin(min(1.0, each / radius)) / each for each in wide)
        beside = radius * turn / (farther * sum(wide))
        if beside >= 1.0:
            return 0.0
        rise = (lower.foot + upper.foot) * sqrt(1.0 - beside**2)
        return max(0.0, rise + lower.mouth - upper.mouth)

    def highest_rise(self, upper: int) -> float:
        """How much higher than any other tier's feeder one of a kind need ever leave the main [mm]."""
        if upper not in self.highest:
            self.highest[upper] = max(self.rise(lower, upper, 0.0) for lower in range(len(self.kinds)))
        return self.highest[upper]

    def slots(self, kind: int, count: int, base: _Base) -> tuple[Floats, ...]:
        """Of `count` even directions those that keep rings of a kind in the room, and so half a step on."""
        key = kind, count, base
        if key not in self.slots_of:
            even = [base.towards + tau * (np.arange(count) + half) / count for half in (0.0, 0.5)]
            self.slots_of[key] = tuple(own[self._inside(self.kinds[kind], own, base)] for own in even)
        return self.slots_of[key]

    def _inside(self, kind: FedRing, angles: Floats, base: _Base) -> npt.NDArray[np.bool_]:
        out = kind.stand * sin(kind.angle)
        x, y = out * np.cos(angles), out * np.sin(angles)
        along = kind.radius * np.abs(np.cos(angles)) + kind.wire_radius - ROUND_OFF
        deep = kind.radius * np.abs(np.sin(angles)) + kind.wire_radius - ROUND_OFF
        inside = (-base.left <= x - along) & (x + along <= base.right)
        return np.asarray(inside & (-base.front <= y - deep) & (y + deep <= base.back))

    def directions(self, kind: int, count: int, base: _Base, half: int, rings: int) -> Floats | None:
        """Directions of so many rings, evenly among the slots [rad]; None where there are too few.

        Args:
            kind: Their kind.
            count: How many even directions there are.
            base: Where the main stands.
            half: Whether half a step on: 0 or 1.
            rings: How many rings there are.
        """
        slots = self.slots(kind, count, base)[half]
        if len(slots) < rings:
            return None
        key = kind, count, base, half, rings
        if key not in self.chosen:
            self.chosen[key] = slots[np.arange(rings) * len(slots) // rings]
        return self.chosen[key]

    def turn(self, one: Floats, other: Floats) -> float:
        """Least angle between directions of two tiers [rad], which `directions` gave."""
        # They are kept, and so is what they are known by.
        key = id(one), id(other)
        if key not in self.turns:
            self.turns[key] = least_turn(one, other)
        return self.turns[key]

    def lowest(self, kind: int) -> float:
        """The lowest height at which a feeder may leave the main [mm], for its fillet and its ring's sake."""
        fed, top = self.kinds[kind], button_height(self.button, self.main)
        ring = fed.stand * cos(fed.angle) - fed.outside
        return max(top + 0.5 * self.spacing + fed.foot - fed.mouth, top + self.spacing - ring)

    def end(self, kind: int, height: float) -> float:
        """Middle of the main's round end [mm] above a tier at a height."""
        fed = self.kinds[kind]
        return height + fed.mouth + fed.foot

    def top(self, kind: int, height: float) -> float:
        """How high a tier at a height reaches with the main below it [mm]."""
        fed = self.kinds[kind]
        ring = height + fed.stand * cos(fed.angle) + fed.outside
        return max(ring, self.end(kind, height) + 0.5 * self.main)

    def most_round(self, kind: int) -> int:
        """Most even directions in which rings of a kind have room beside one another."""
        return (
            bisect_left(
                range(2, MOST_ROUND + 1), True, key=lambda count: self.rise(kind, kind, tau / count) > 0.0
            )
            + 1
        )

    def bases(self) -> list[_Base]:
        """Places of the main: in the middle, at two sides, in a corner."""
        x, y, _ = self.room
        edge = 0.5 * max(self.button, self.main)
        found = [_Base(0.5 * x, 0.5 * x, 0.5 * y, 0.5 * y, angle) for angle in (0.0, 0.5 * pi, atan2(y, x))]
        found.append(_Base(edge, x - edge, 0.5 * y, 0.5 * y, 0.0))
        found.append(_Base(0.5 * x, 0.5 * x, edge, y - edge, 0.5 * pi))
        found.append(_Base(edge, x - edge, edge, y - edge, atan2(y - edge, x - edge)))
        return [
            base for base in found if min(base.right, base.back, base.left, base.front) >= edge - ROUND_OFF
        ]


@dataclass(eq=False)
class _Tree:
    """Tiers set one upon another."""

    site: _Site
    base: _Base
    tiers: list[_Tier] = field(default_factory=list)
    top: float = 0.0

    def next(self, kind: int, count: int, rings: int) -> _Tier | None:
        """The next tier as low as it goes; None where no turn of it holds so many rings in the room."""
        best: _Tier | None = None
        for half in (0, 1):
            directions = self.site.directions(kind, count, self.base, half, rings)
            if directions is None:
                continue
            height = self._height(kind, directions)
            if best is None or height < best.height - ROUND_OFF:
                best = _Tier(kind, directions, height)
        return best

    def _height(self, kind: int, directions: Floats) -> float:
        site = self.site
        height = site.lowest(kind)
        if self.tiers:
            height = max(height, self.tiers[-1].height)
        most = site.highest_rise(kind)
        for tier in reversed(self.tiers):
            # Those below are no higher.
            if tier.height + most <= height:
                break
            turn = site.turn(tier.directions, directions)
            height = max(height, tier.height + site.rise(tier.kind, kind, turn))
        return height

    def add(self, tier: _Tier) -> None:
        """Set a tier that `next` gave."""
        self.tiers.append(tier)
        self.top = max(self.top, self.site.top(tier.kind, tier.height))


def _choose(
    site: _Site, fed: Sequence[tuple[LooseRings, FedRing]], metal: Metal
) -> tuple[_Base, dict[int, int]]:
    """Where the main stands, and how many directions each kind has, for the least height of all tiers."""
    best, found = inf, None
    for base in site.bases():
        total, choice = 0.0, {}
        for kind, (each, _) in enumerate(fed):
            most = site.most_round(kind) if each.count > 1 else 1
            height, count = _least_height(site, base, kind, most)
            total += each.count * height
            choice[kind] = count
        if total < best - ROUND_OFF:
            best, found = total, (base, choice)
    if found is None or any(
        site.top(kind, site.lowest(kind)) > site.room[2] + ROUND_OFF for kind in found[1]
    ):
        raise CannotPrepare(_too_large(site, fed, metal))
    return found


def _least_height(site: _Site, base: _Base, kind: int, most: int) -> tuple[float, int]:
    """The least height that a ring of a kind takes [mm], and in how many directions, up to `most`.

    Of many directions some are tried first, and then those between the best and its neighbours.
    """
    tried = list(range(1, min(most, EACH_ROUND) + 1))
    while tried[-1] < most:
        tried.append(min(most, ceil(tried[-1] * STEP_ROUND)))
    found = [(_height_of_ring(site, base, kind, count), count) for count in tried]
    at = found.index(min(found))
    low, high = tried[max(0, at - 1)], tried[min(len(tried) - 1, at + 1)]
    found += [
        (_height_of_ring(site, base, kind, count), count)
        for count in range(low + 1, high)
        if count not in tried
    ]
    return min(found)


def _height_of_ring(site: _Site, base: _Base, kind: int, count: int) -> float:
    """Height that a ring of a kind takes in a tall tree [mm]; infinite where none fits."""
    most = max(len(slots) for slots in site.slots(kind, count, base))
    if most == 0:
        return inf
    # Where every direction is in the room, the place of the main changes nothing.
    key = kind, count
    free = all(len(slots) == count for slots in site.slots(kind, count, base))
    if free and key in site.heights:
        return site.heights[key]
    tree = _Tree(site, base)
    for _ in range(SAMPLE):
        tier = tree.next(kind, count, most)
        assert tier is not None, "one of both turns holds the most"
        tree.add(tier)
    # Millionths of a millimetre would decide between equally good ones.
    height = round((tree.tiers[-1].height - tree.tiers[0].height) / (most * (SAMPLE - 1)), 6)
    if free:
        site.heights[key] = height
    return height


def _too_large(site: _Site, fed: Sequence[tuple[LooseRings, FedRing]], metal: Metal) -> str:
    """What to say of the first size that does not go into the room on a tree of its own."""
    for kind, (each, own) in enumerate(fed):
        fits = any(len(site.slots(kind, 1, base)[0]) for base in site.bases())
        height = site.top(kind, site.lowest(kind))
        if not fits or height > site.room[2] + ROUND_OFF:
            out = own.stand * sin(own.angle) + own.outside + 0.5 * max(site.button, site.main)
            deep = max(2.0 * own.wire_radius, site.button, site.main)
            return (
                f"ring {each.size.name} takes {by((out, deep, height))} on its feeder with main and button, "
                f"as it is cast in {metal.name}, and there is room for {by(site.room)}"
            )
    return f"the rings cast in {metal.name} do not go on trees together in {by(site.room)}"


def _evenly(count: int, parts: int) -> list[int]:
    """A count in so many parts, larger ones first."""
    return [count // parts + (k < count % parts) for k in range(parts)]


def _trees(site: _Site, base: _Base, tiers: Sequence[tuple[int, int, int]]) -> list[_Tree]:
    """As few trees as hold the tiers, and these equally high as far as tiers go."""
    best = _filled(site, base, tiers, site.room[2] + ROUND_OFF)
    assert best is not None, "each size was seen to fit"
    low, high = 0.0, max(tree.top for tree in best)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        tried = _filled(site, base, tiers, middle)
        if tried is not None and len(tried) <= len(best):
            best, high = tried, middle
        else:
            low = middle
    return best


def _filled(
    site: _Site, base: _Base, tiers: Sequence[tuple[int, int, int]], most: float
) -> list[_Tree] | None:
    """Trees up to a height, filled in turn; None where a tier is too high for a tree of its own."""
    trees = [_Tree(site, base)]
    for kind, count, rings in tiers:
        tier = trees[-1].next(kind, count, rings)
        assert tier is not None, "the size has so many directions"
        if site.top(kind, tier.height) > most:
            trees.append(_Tree(site, base))
            tier = trees[-1].next(kind, count, rings)
            assert tier is not None
            if site.top(kind, tier.height) > most:
                return None
        trees[-1].add(tier)
    return trees if trees[0].tiers else trees[1:]


def _layout(site: _Site, tree: _Tree) -> SprueLayout:
    kind_of: list[int] = []
    rotations, centres = [], []
    for tier in tree.tiers:
        turned, middles = _poses(site.kinds[tier.kind], tier.directions, tier.height)
        kind_of += [tier.kind] * len(tier.directions)
        rotations.append(turned)
        centres.append(middles)
    top = max(site.end(tier.kind, tier.height) for tier in tree.tiers)
    begin = button_height(site.button, site.main) * UP
    return SprueLayout(
        site.kinds, np.array(kind_of), np.concatenate(rotations), np.concatenate(centres),
        (Rod(begin, top * UP, site.main),), Foot(np.zeros(3), UP, site.button), site.room,
    )  # fmt: skip


def least_turn(one: Floats, other: Floats) -> float:
    """Least angle between any of some directions and any of others [rad]."""
    sorted_ones = np.sort(one % tau)
    wanted = other % tau
    after = np.searchsorted(sorted_ones, wanted)
    between = np.abs(np.stack([sorted_ones[after % len(one)], sorted_ones[after - 1]]) - wanted)
    return float(np.minimum(between, tau - between).min())


def _poses(kind: FedRing, directions: Sequence[float] | Floats, height: float) -> tuple[Floats, Floats]:
    """Rotations from the frames of rings, shape (n, 3, 3), and their middles [mm], shape (n, 3).

    Args:
        kind: The ring on its feeder.
        directions: Directions from the main [rad], shape (n,).
        height: Where the axes of their feeders leave that of the main [mm].
    """
    angles = np.asarray(directions, dtype=np.float64)
    zero = np.zeros_like(angles)
    out = np.column_stack([np.cos(angles), np.sin(angles), zero])
    axes = np.column_stack([-np.sin(angles), np.cos(angles), zero])
    away = sin(kind.angle) * out + cos(kind.angle) * UP
    return np.stack([np.cross(-away, axes), -away, axes], axis=2), height * UP + kind.stand * away
