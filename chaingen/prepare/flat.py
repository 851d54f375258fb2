"""Loose rings side by side on plates, each by itself.

A ring lies flat, its axis along z, with its lowest point at z = 0. Plates are packed as discs of the rings'
outside, of each metal by itself, for castings of different metals shrink differently. All rings of a plate
are turned alike, with their cuts towards gaps between neighbours, as far as one turn serves them all.

Plates that follow one another and are alike are one file and a number of copies.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from math import pi

import numpy as np
from scipy.spatial import cKDTree

from chaingen.design.service import Axes, Service
from chaingen.geometry.types import Floats
from chaingen.make.counts import ring_weight
from chaingen.model.kinds import Kind, Material, Model
from chaingen.model.mesh import Mesh
from chaingen.model.open_ring import open_ring_extent, open_ring_mesh
from chaingen.prepare.batch import Batch
from chaingen.prepare.checks import by
from chaingen.prepare.loose import CannotPrepare, LooseRings, by_metal, opened_size, rooms
from chaingen.prepare.packing import pack_discs
from chaingen.solve.check import ROUND_OFF
from chaingen.stock.metals import Metal
from chaingen.weave.groups import RingSize

TURNS = 24
"""Directions that are tried for the cuts of a plate."""

BESIDE = 1.5
"""Neighbours of a ring are looked for up to this many outside diameters of it away."""


@dataclass(frozen=True, eq=False)
class _Ring:
    """Rings of one size as they are laid: their size as cast, mesh, box, and the room that they keep to."""

    name: str
    cast: RingSize
    mesh: Mesh
    outside: float
    height: float
    room: Axes


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
    for metal, own in by_metal(rings).items():
        kinds = [_laid(each.size, metal, service, tolerance) for each in own]
        plates = _plates(kinds, [each.count for each in own], service.spacing)
        for _, alike in groupby(plates, key=lambda plate: (plate.kind_of, plate.centres.tobytes())):
            same = list(alike)
            name = f"rings-{len(batches) + 1}"
            batches.append(_batch(name, same[0], len(same), kinds, metal, service))
    return tuple(batches)


@dataclass(frozen=True, eq=False)
class _Plate:
    """Kinds of the rings on a plate, those of one size one after another, and their middles [mm]."""

    kind_of: tuple[int, ...]
    centres: Floats


def _plates(kinds: Sequence[_Ring], counts: Sequence[int], spacing: float) -> list[_Plate]:
    """Plates of so many rings of each kind, those together that keep to the same room."""
    plates: list[_Plate] = []
    for room in sorted({ring.room for ring in kinds}, reverse=True):
        shared = [count if ring.room == room else 0 for ring, count in zip(kinds, counts, strict=True)]
        kind_of = np.repeat(np.arange(len(kinds)), shared)
        outsides = np.array([kind.outside for kind in kinds])[kind_of]
        for packed in pack_discs(outsides, room[:2], spacing):
            # Bodies of one size follow one another, as those who count them like it.
            own = kind_of[packed.discs]
            order = np.argsort(own, kind="stable")
            plates.append(_Plate(tuple(own[order].tolist()), packed.centres[order]))
    return plates


def _laid(size: RingSize, metal: Metal, service: Service, tolerance: float) -> _Ring:
    cast = opened_size(size, service)
    low, high = open_ring_extent(cast, service.cut, service.opened)
    outside, height = 2.0 * high[0], high[2] - low[2]
    box = outside, outside, height
    holding = [
        room
        for room in rooms(service, metal)
        if all(side <= most + ROUND_OFF for side, most in zip(box, room, strict=True))
    ]
    if not holding:
        raise CannotPrepare(
            f"ring {size.name} takes {by(box)} as it is cast in {metal.name}, and there is room for "
            f"{by(service.room(metal))}"
        )
    room = holding[0]
    mesh = open_ring_mesh(cast, cut=service.cut, opened=service.opened, tolerance=tolerance)
    # Beyond the room by no more than rounding.
    return _Ring(size.name, cast, mesh, min(outside, room[0], room[1]), height, room)


def _batch(
    name: str, plate: _Plate, copies: int, kinds: Sequence[_Ring], metal: Metal, service: Service
) -> Batch:
    """One plate; its rings are numbered within it, for there may be copies of it."""
    kind_of = plate.kind_of
    numbers: dict[str, int] = {}
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
        copies=copies,
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
