"""Trees of loose rings: rings on feeders, in tiers round a main that stands on its button.

The main is the axis z and goes up; the button's foot is at z = 0. Each ring lies in an upright plane through
the main, its cut farthest from it, so that no two rings of different directions can be linked. A tier has
rings of one size at one height, in some of the evenly spaced directions of its size; every tier may be turned
by half a step. Tiers are set from the button up, the largest rings first, each as low as it goes.

What tiers keep from one another is in `tiers`.

Where the main stands in the room, and how many directions a size has, is chosen for the shortest trees.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import ceil, inf, sin

import numpy as np

from chaingen.design.service import Axes, Service, Sprues
from chaingen.geometry.types import Floats
from chaingen.prepare.batch import Batch
from chaingen.prepare.checks import by
from chaingen.prepare.fed_ring import FedRing, angle_of, fed_ring, thickest_wire
from chaingen.prepare.loose import CannotPrepare, LooseRings
from chaingen.prepare.sprue_layout import Foot, Named, Rod, SprueLayout, layouts_in_room, sprued_batches
from chaingen.prepare.sprues import button_height
from chaingen.prepare.tiers import UP, Base, Site, Tier, poses_of
from chaingen.solve.check import ROUND_OFF
from chaingen.stock.metals import Metal

EACH_ROUND, STEP_ROUND = 24, 1.08
"""Every number of directions up to the first is tried, and of more in steps of the second first."""

SAMPLE = 9
"""Tiers by which the pitch of a size is told."""

HALVINGS = 20
"""How finely trees are made equally high."""


def tree_batches(rings: Sequence[LooseRings], service: Service, *, tolerance: float) -> tuple[Batch, ...]:
    """Trees of loose rings, named ``tree-1`` and so on, each of one metal.

    Args:
        rings: The rings that are made.
        service: The service.
        tolerance: Farthest the meshes may lie from the true surface [mm].

    Raises:
        CannotPrepare: A ring cannot be placed in the room, or not be fed.
    """
    return sprued_batches(_grown, "tree", rings, service, tolerance)


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
    site = Site(kinds, main, foot, service.spacing, room)
    base, choice = _choose(site, fed, metal)
    tiers = []
    for kind, (each, _) in enumerate(fed):
        round_it = choice[kind]
        most = max(len(slots) for slots in site.slots(kind, round_it, base))
        count = ceil(each.count / most)
        tiers += [(kind, round_it, part) for part in _evenly(each.count, count)]
    names = tuple(each.size.name for each, _ in fed)
    return [(_layout(site, tree), names) for tree in _trees(site, base, tiers)]


@dataclass(eq=False)
class _Tree:
    """Tiers set one upon another."""

    site: Site
    base: Base
    tiers: list[Tier] = field(default_factory=list)
    top: float = 0.0

    def next(self, kind: int, count: int, rings: int) -> Tier | None:
        """The next tier as low as it goes; None where no turn of it holds so many rings in the room."""
        best: Tier | None = None
        for half in (0, 1):
            directions = self.site.directions(kind, count, self.base, half, rings)
            if directions is None:
                continue
            height = self._height(kind, directions)
            if best is None or height < best.height - ROUND_OFF:
                best = Tier(kind, directions, height)
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

    def add(self, tier: Tier) -> None:
        """Set a tier that `next` gave."""
        self.tiers.append(tier)
        self.top = max(self.top, self.site.top(tier.kind, tier.height))


def _choose(
    site: Site, fed: Sequence[tuple[LooseRings, FedRing]], metal: Metal
) -> tuple[Base, dict[int, int]]:
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


def _least_height(site: Site, base: Base, kind: int, most: int) -> tuple[float, int]:
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


def _height_of_ring(site: Site, base: Base, kind: int, count: int) -> float:
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


def _too_large(site: Site, fed: Sequence[tuple[LooseRings, FedRing]], metal: Metal) -> str:
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


def _trees(site: Site, base: Base, tiers: Sequence[tuple[int, int, int]]) -> list[_Tree]:
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


def _filled(site: Site, base: Base, tiers: Sequence[tuple[int, int, int]], most: float) -> list[_Tree] | None:
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


def _layout(site: Site, tree: _Tree) -> SprueLayout:
    kind_of: list[int] = []
    rotations, centres = [], []
    for tier in tree.tiers:
        turned, middles = poses_of(site.kinds[tier.kind], tier.directions, tier.height)
        kind_of += [tier.kind] * len(tier.directions)
        rotations.append(turned)
        centres.append(middles)
    top = max(site.end(tier.kind, tier.height) for tier in tree.tiers)
    begin = button_height(site.button, site.main) * UP
    return SprueLayout(
        site.kinds, np.array(kind_of), np.concatenate(rotations), np.concatenate(centres),
        (Rod(begin, top * UP, site.main),), Foot(np.zeros(3), UP, site.button), site.room,
    )  # fmt: skip
