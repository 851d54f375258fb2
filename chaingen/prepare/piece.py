"""A piece in one as it is sent: all parts in their places, some welded, with sprues or without."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import pi

import numpy as np

from chaingen.design.service import Service, Sprues
from chaingen.findings.finding import Finding
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Floats, Ints
from chaingen.make.metals import RingMetals
from chaingen.model.kinds import Kind, Model, model_of
from chaingen.model.solids import joined, mesh_of_solid
from chaingen.prepare.batch import PATTERN, SPRUED, WEIGHED_AT, Batch
from chaingen.prepare.cast import cast_bodies
from chaingen.prepare.checks import against_build, smallest_gap
from chaingen.prepare.feeding import Feeding, feed, sprued_solid
from chaingen.prepare.loose import CannotPrepare
from chaingen.prepare.sent import Sent, ServiceCheck, State, named
from chaingen.prepare.shells import Shells, touching
from chaingen.prepare.welds import Welds, weld_solid, welds_of
from chaingen.stock.metals import Metal
from chaingen.weave.graph import LinkGraph

MOST_FED = 1000
"""Shells of the largest piece whose feeders are looked for."""

MOST_NAMED = 5
"""Bodies that are named one by one in a check."""

LESS_ROOM = "with a thinner main or shorter feeders, or leave the sprues to whoever casts it"
"""What could be done about a piece whose sprues take too much room."""


@dataclass(frozen=True, eq=False)
class Assembled:
    """A piece as placed, its mirror image, or as it lies in a scene.

    Attributes:
        bodies: The bodies as finished.
        graph: Their link graph.
        metals: Their metals.
    """

    bodies: Bodies
    graph: LinkGraph
    metals: RingMetals


@dataclass(frozen=True, eq=False)
class Patterns:
    """What comes of a piece.

    Attributes:
        batches: The pattern, and the same with sprues where these are asked for and reach every shell.
        checks: What was checked on the way.
    """

    batches: tuple[Batch, ...]
    checks: tuple[ServiceCheck, ...]


@dataclass(frozen=True, eq=False)
class _Cast:
    """A piece as it is cast."""

    bodies: Bodies
    gap: float
    graph: LinkGraph
    welds: Welds
    metal: Metal
    service: Service
    tolerance: float

    @property
    def cluster_of(self) -> Ints:
        """The shell that each body is part of, shape (n,)."""
        return self.welds.cluster_of(len(self.bodies))


def patterns_of(
    piece: Assembled, service: Service, tolerance: float, *, suffix: str = "", fed: bool = True
) -> Patterns:
    """A piece in one as it is sent; raises `CannotPrepare` where its metals or welds do not allow it.

    Args:
        piece: The piece.
        service: What makes it.
        tolerance: Farthest the meshes may lie from the true surface [mm].
        suffix: What the names of batches end with.
        fed: Whether feeders are looked for; only of castings.
    """
    metal = _one_metal(piece.metals, service)
    bodies = cast_bodies(piece.bodies, service.finishing)
    gap, _ = smallest_gap(Sent.of(piece.bodies, piece.graph, piece.metals, service))
    welds = welds_of(bodies, piece.graph, service)
    cast = _Cast(bodies, gap, piece.graph, welds, metal, service, tolerance)
    model = model_of(bodies, piece.graph, piece.metals, tolerance=tolerance)
    model = replace(model, stretch=service.stretch(metal))
    welded, added = _welded(model, cast)
    of = metal if service.process.casts else None
    weight = 0.0 if of is None else (volume_of(cast.bodies, cast.graph, service) + added) * of.density / 1000
    parts = int(cast.cluster_of.max()) + 1
    pattern = Batch(f"{PATTERN}{suffix}", standing(welded, bodies.bounds()[0]), of, parts, (), weight)
    checks = (_apart(cast),)
    if of is None or not fed:
        return Patterns((pattern,), checks)
    sprued, told = _sprued(model, cast, pattern)
    return Patterns((pattern, *sprued), (*checks, *told))


def standing(model: Model, low: Floats) -> Model:
    """A model moved so that the lowest corner of its box, `low` [mm] where not stretched, is the origin."""
    return replace(model, centres=model.centres - low)


def volume_of(bodies: Bodies, graph: LinkGraph, service: Service) -> float:
    """Volume of bodies as cast [mm3]: by the theorem of Pappus, findings by their wires."""
    rings = bodies.is_ring
    volume = float((2.0 * pi**2 * bodies.radii * bodies.wire_radii**2)[rings].sum())
    for body in np.flatnonzero(~rings).tolist():
        finding = graph.members[body].size
        assert isinstance(finding, Finding), "what is no ring is a finding"
        volume += replace(finding, shape=finding.shape.thickened(0.5 * service.finishing)).wire_volume
    return volume


def must_be_castable(metals: Sequence[Metal], service: Service) -> None:
    """Raise `CannotPrepare` where coloured wire is to be cast: what that would weigh tells nothing."""
    for metal in metals:
        if service.process.casts and metal.under:
            raise CannotPrepare(f"{metal.name} is a coloured wire, and cannot be cast")


def _one_metal(metals: RingMetals, service: Service) -> Metal:
    """The metal of a piece; one of them where they shrink alike and it is printed."""
    used: list[Metal] = [metals.metals[k] for k in np.unique(metals.of_ring).tolist()]
    must_be_castable(used, service)
    names = " and ".join(dict.fromkeys(metal.base for metal in used))
    if service.process.casts and len({metal.base for metal in used}) > 1:
        raise CannotPrepare(f"nothing is prepared of a piece of {names}: a casting in one is of one metal")
    if len({service.stretch(metal) for metal in used}) > 1:
        raise CannotPrepare(f"{names} shrink differently, so that no one pattern fits them")
    return used[0]


def _welded(model: Model, cast: _Cast) -> tuple[Model, float]:
    """The model with bodies that are welded as one, and the volume that welds add [mm3]."""
    if not cast.welds.rods:
        return model, 0.0
    shells, kinds, names = Shells(cast.bodies, cast.tolerance), list(model.kinds), list(model.names)
    added = 0.0
    clusters = [own for own in cast.welds.clusters(len(cast.bodies)) if len(own) > 1]
    alone = np.ones(len(cast.bodies), dtype=bool)
    for own in clusters:
        alone[list(own)] = False
        parts = [shells[body] for body in own]
        rods = [weld_solid(rod, cast.tolerance) for rod in cast.welds.rods if rod.pair[0] in own]
        solid = joined(parts + rods)
        added += _added(cast, own)
        material = next(kind.material for kind in model.kinds if own[0] in kind.bodies)
        name = " with ".join(model.names[body] for body in own)
        kinds.append(Kind(f"soldered {name}", mesh_of_solid(solid), material, np.array([len(names)])))
        names.append(name)
    kept = [replace(kind, bodies=kind.bodies[alone[kind.bodies]]) for kind in kinds[: len(model.kinds)]]
    kinds = [kind for kind in kept if len(kind.bodies)] + kinds[len(model.kinds) :]
    return _only(replace(model, kinds=tuple(kinds), names=tuple(names)), len(clusters)), added


def _added(cast: _Cast, own: Sequence[int]) -> float:
    """Volume that welds add to bodies that they make one [mm3]."""
    tolerance = min(cast.tolerance, WEIGHED_AT)
    shells = Shells(cast.bodies, tolerance)
    parts = [shells[body] for body in own]
    rods = [weld_solid(rod, tolerance) for rod in cast.welds.rods if rod.pair[0] in own]
    return float(joined(parts + rods).volume() - sum(part.volume() for part in parts))


def _only(model: Model, more: int) -> Model:
    """The model with `more` bodies at the origin, and without those that no kind has any more."""
    rotations = np.concatenate([model.rotations, np.repeat(np.eye(3)[None], more, axis=0)])
    centres = np.concatenate([model.centres, np.zeros((more, 3))])
    kept = np.unique(np.concatenate([kind.bodies for kind in model.kinds]))
    place = np.full(len(centres), -1)
    place[kept] = np.arange(len(kept))
    return replace(
        model,
        kinds=tuple(replace(kind, bodies=place[kind.bodies]) for kind in model.kinds),
        rotations=rotations[kept],
        centres=centres[kept],
        names=tuple(model.names[body] for body in kept.tolist()),
    )


def _sprued(model: Model, cast: _Cast, pattern: Batch) -> tuple[tuple[Batch, ...], tuple[ServiceCheck, ...]]:
    """The piece with sprues, where these are asked for and reach every shell; and whether they do."""
    if pattern.parts > MOST_FED:
        text = f"not looked for: {pattern.parts:,} parts are more than {MOST_FED:,}"
        return (), (ServiceCheck("feeders", State.WARN, text),)
    service, sprues = cast.service, cast.service.sprues
    found = feed(
        cast.bodies,
        sprues or Sprues(),
        # Between wires that are nearer to one another than the process wants, there is no more to keep.
        gap=min(service.smallest_gap / min(service.stretch(cast.metal)), max(cast.gap, 0.0)),
        tolerance=cast.tolerance,
        clusters=cast.cluster_of,
        welds=cast.welds.rods,
    )
    if found.unfed or sprues is None:
        return (), (_fed(cast, found, pattern.parts),)
    solid = sprued_solid(cast.bodies, found, cast.welds.rods, cast.tolerance)
    weighed = min(cast.tolerance, WEIGHED_AT)
    shells = Shells(cast.bodies, weighed)
    own = sum(shells[body].volume() for body in range(len(cast.bodies)))
    fine = solid if weighed == cast.tolerance else sprued_solid(cast.bodies, found, cast.welds.rods, weighed)
    material = replace(model.materials[model.kinds[0].material], name=cast.metal.name)
    kind = Kind(f"piece with sprues, {cast.metal.name}", mesh_of_solid(solid), 0, np.array([0]))
    low, high = (np.array(corner) for corner in np.reshape(solid.bounding_box(), (2, 3)))
    whole = Model(
        (kind,), (material,), np.eye(3)[None], -low[None], ("piece with sprues",), stretch=model.stretch
    )
    metal = cast.metal.density / 1000.0
    batch = Batch(
        pattern.name.replace(PATTERN, SPRUED, 1),
        whole,
        cast.metal,
        pattern.parts,
        (),
        pattern.pieces_weight,
        # The welds are in the pieces' weight already.
        (fine.volume() - own) * metal
        - (pattern.pieces_weight - volume_of(cast.bodies, cast.graph, service) * metal),
    )
    sides, told = high - low, "the piece with its sprues"
    sent = (sides * np.array(model.stretch)).tolist()
    size = against_build(
        "size with sprues", told, sides.tolist(), sent, service, advice=LESS_ROOM, when="as cast"
    )
    return (batch,), (_fed(cast, found, pattern.parts), size)


def _apart(cast: _Cast) -> ServiceCheck:
    """Whether no two shells touch; bodies that are welded are one."""
    found = touching(cast.bodies, cast.tolerance, cast.cluster_of)
    if not found:
        return ServiceCheck("parts apart", State.PASS, "no two parts touch")
    pairs = [" and ".join(cast.graph.names[body] for body in pair) for pair in found]
    bodies = tuple(sorted({body for pair in found for body in pair}))
    return ServiceCheck("parts apart", State.FAIL, f"{named(pairs, MOST_NAMED)} touch", bodies)


def _fed(cast: _Cast, found: Feeding, parts: int) -> ServiceCheck:
    """Whether every shell has a feeder of its own."""
    if found.unfed:
        names = named([cast.graph.names[body] for body in found.unfed], MOST_NAMED)
        text = f"no straight feeder reaches {names}, {len(found.unfed):,} of {parts:,} parts: cannot be fed"
        return ServiceCheck("feeders", State.FAIL, text, found.unfed)
    each = "the one part" if parts == 1 else f"each of {parts:,} parts"
    if cast.service.sprues is None:
        text = f"{each} can have one of its own; sprues are left to whoever casts it"
    else:
        text = f"{each} has one of its own"
    return ServiceCheck("feeders", State.PASS, text)
