"""Loose rings side by side on plates, each by itself.

A ring lies flat, its axis along z, with its lowest point at z = 0. Plates are packed as discs of the rings'
outside, of each metal by itself, for castings of different metals shrink differently. All rings of a plate
are turned alike, with their cuts towards gaps between neighbours, as far as one turn serves them all.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi

import numpy as np
from scipy.spatial import cKDTree

from chaingen.design.service import Service
from chaingen.geometry.types import Floats
from chaingen.make.counts import ring_weight
from chaingen.model.kinds import Kind, Material, Model
from chaingen.model.mesh import Mesh
from chaingen.model.open_ring import open_ring_extent, open_ring_mesh
from chaingen.prepare.batch import Batch
from chaingen.prepare.checks import by
from chaingen.prepare.loose import CannotPrepare, LooseRings, by_metal, opened_size
from chaingen.prepare.packing import DiscPlate, pack_discs
from chaingen.solve.check import ROUND_OFF
from chaingen.stock.metals import Metal
from chaingen.weave.groups import RingSize

TURNS = 24
"""Directions that are tried for the cuts of a plate."""

BESIDE = 1.5
"""Neighbours of a ring are looked for up to this many outside diameters of it away."""


@dataclass(frozen=True, eq=False)
class _Ring:
    """Rings of one size as they are laid: their size as cast, mesh, and box."""

    name: str
    cast: RingSize
    mesh: Mesh
    outside: float
    height: float


def flat_batches(rings: Sequence[LooseRings], service: Service, *, tolerance: float) -> tuple[Batch, ...]:
    """Plates of loose rings, named ``rings-1`` and so on.

    Args:
        rings: The rings that are made.
        service: The service.
        tolerance: Farthest the meshes may lie from the true surface [mm].

    Raises:
        CannotPrepare: A ring cannot be opened as asked, or does not go onto a plate.
    """
    batches: list[Batch] = []
    numbers: dict[str, int] = {}
    for metal, own in by_metal(rings).items():
        kinds = [_laid(each.size, metal, service, tolerance) for each in own]
        kind_of = np.repeat(np.arange(len(own)), [each.count for each in own])
        width, depth, _ = service.room(metal)
        outsides = np.array([kind.outside for kind in kinds])[kind_of]
        for plate in pack_discs(outsides, (width, depth), service.spacing):
            # Bodies of one size follow one another, as those who count them like it.
            order = np.argsort(kind_of[plate.discs], kind="stable")
            laid = DiscPlate(plate.discs[order], plate.centres[order])
            name = f"rings-{len(batches) + 1}"
            batches.append(_batch(name, laid, kind_of[laid.discs].tolist(), kinds, metal, service, numbers))
    return tuple(batches)


def _laid(size: RingSize, metal: Metal, service: Service, tolerance: float) -> _Ring:
    cast = opened_size(size, service)
    low, high = open_ring_extent(cast, service.cut, service.opened)
    outside, height = 2.0 * high[0], high[2] - low[2]
    room = service.room(metal)
    if any(side > most + ROUND_OFF for side, most in zip((outside, outside, height), room, strict=True)):
        raise CannotPrepare(
            f"ring {size.name} takes {by((outside, outside, height))} as it is cast in {metal.name}, and "
            f"there is room for {by(room)}"
        )
    mesh = open_ring_mesh(cast, cut=service.cut, opened=service.opened, tolerance=tolerance)
    return _Ring(size.name, cast, mesh, min(outside, room[0], room[1]), height)


def _batch(
    name: str,
    plate: DiscPlate,
    kind_of: Sequence[int],
    kinds: Sequence[_Ring],
    metal: Metal,
    service: Service,
    numbers: dict[str, int],
) -> Batch:
    """One plate; `numbers` counts the rings of each size that have a name already, and goes on counting."""
    names = []
    for kind in kind_of:
        size = kinds[kind].name
        numbers[size] = numbers.get(size, 0) + 1
        names.append(f"{size} {numbers[size]}")
    used = sorted(set(kind_of))
    bodies = [np.flatnonzero(np.array(kind_of) == kind) for kind in used]
    heights = np.array([kinds[kind].height for kind in kind_of])
    turn = _turn(plate.centres, np.array([kinds[kind].outside for kind in kind_of]))
    model = Model(
        kinds=tuple(
            Kind(f"ring {kinds[kind].name}, {metal.name}", kinds[kind].mesh, 0, own)
            for kind, own in zip(used, bodies, strict=True)
        ),
        materials=(Material(metal.name, metal.colour, metal.roughness),),
        rotations=np.repeat(turn[None], len(names), axis=0),
        centres=np.column_stack([plate.centres, 0.5 * heights]),
        names=tuple(names),
        stretch=service.stretch(metal),
    )
    counts = [(kinds[kind], len(own)) for kind, own in zip(used, bodies, strict=True)]
    return Batch(
        name=name,
        model=model,
        metal=metal,
        parts=len(names),
        rings=tuple((ring.name, count) for ring, count in counts),
        # An open ring has all the wire of the closed one.
        pieces_weight=sum(count * ring_weight(ring.cast, metal) for ring, count in counts),
    )


def _turn(centres: Floats, outsides: Floats) -> Floats:
    """The turn about z that brings cuts, at -y in a ring's own frame, farthest from their neighbours."""
    angles = 2.0 * pi * np.arange(TURNS) / TURNS
    pairs = cKDTree(centres).query_pairs(BESIDE * float(outsides.max()), output_type="ndarray")
    pairs = np.concatenate([pairs, pairs[:, ::-1]])
    between = centres[pairs[:, 1]] - centres[pairs[:, 0]]
    near = np.hypot(between[:, 0], between[:, 1]) <= BESIDE * outsides[pairs[:, 0]]
    pairs, between = pairs[near], between[near]
    # A turn by a takes -y to the direction a - pi/2; the cosine there with that of the nearest neighbour.
    towards = np.sin(angles) * between[:, :1] - np.cos(angles) * between[:, 1:]
    towards /= np.linalg.norm(between, axis=1)[:, None]
    worst = np.zeros((len(centres), TURNS))
    np.maximum.at(worst, pairs[:, 0], towards)
    # A cut that faces a neighbour counts as much as many that face half past one.
    best = float(angles[np.argmin(np.round((worst**4).mean(axis=0), 9))])
    cos, sin = np.cos(best), np.sin(best)
    return np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
