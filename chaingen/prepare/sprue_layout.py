"""Rings on their feeders with main, runners and button: where all is, and the one body that it makes."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import manifold3d
import numpy as np

from chaingen.design.service import Axes, Service
from chaingen.geometry.types import Floats, Ints
from chaingen.make.counts import ring_weight
from chaingen.model.kinds import Kind, Material, Model
from chaingen.model.solids import Solid, joined, mesh_of_solid, placed
from chaingen.prepare.batch import WEIGHED_AT, Batch
from chaingen.prepare.fed_ring import CLOSE, FedRing, placed_rows, room_beside, tightest
from chaingen.prepare.loose import CannotPrepare, LooseRings, by_metal, rooms
from chaingen.prepare.sprues import Bar, button, rod
from chaingen.solve.check import ROUND_OFF
from chaingen.stock.metals import Metal


@dataclass(frozen=True, eq=False)
class Rod:
    """A main or a runner.

    Attributes:
        begin: Middle of its first round end [mm], shape (3,); of one with a main a point on the main's axis.
        end: Middle of its last round end [mm], shape (3,).
        diameter: Its diameter [mm].
        main: What it branches off; None for a main.
    """

    begin: Floats
    end: Floats
    diameter: float
    main: Bar | None = None


@dataclass(frozen=True, eq=False)
class Foot:
    """A button: middle of its foot [mm] and the way to the main, shape (3,) each, and its diameter [mm]."""

    centre: Floats
    axis: Floats
    diameter: float


@dataclass(frozen=True, eq=False)
class SprueLayout:
    """Where rings, main, runners and button of one casting are, as cast.

    Attributes:
        kinds: The ring sizes, each on its feeder.
        kind_of: Which of them each ring is, shape (n,).
        rotations: Rotation from each ring's frame, shape (n, 3, 3).
        centres: Middle of each ring [mm], shape (n, 3).
        rods: Main and runners, the main that stands on the button first.
        button: The button.
        room: What it keeps to [mm].
    """

    kinds: tuple[FedRing, ...]
    kind_of: Ints
    rotations: Floats
    centres: Floats
    rods: tuple[Rod, ...]
    button: Foot
    room: Axes

    def rows(self) -> Floats:
        """Rows of all rings where they stand, shape (n, 4, COLUMNS); see `fed_ring`."""
        own = np.stack([kind.rows() for kind in self.kinds])
        return placed_rows(own[self.kind_of], self.rotations, self.centres)

    def bounds(self) -> tuple[Floats, Floats]:
        """Lowest and highest x, y and z of rings, rods and button [mm], shape (3,) each."""
        radii = np.array([kind.radius for kind in self.kinds])[self.kind_of, None]
        wires = np.array([kind.wire_radius for kind in self.kinds])[self.kind_of, None]
        # A circle reaches along x by its radius times the sine of the angle between x and its axis.
        reach = radii * np.sqrt(np.maximum(1.0 - self.rotations[:, :, 2] ** 2, 0.0)) + wires
        lows, highs = [self.centres - reach], [self.centres + reach]
        for each in self.rods:
            ends = np.stack([each.begin, each.end])
            lows.append(ends - 0.5 * each.diameter)
            highs.append(ends + 0.5 * each.diameter)
        foot = 0.5 * self.button.diameter * np.sqrt(np.maximum(1.0 - self.button.axis**2, 0.0))
        lows.append((self.button.centre - foot)[None])
        highs.append((self.button.centre + foot)[None])
        return np.concatenate(lows).min(axis=0), np.concatenate(highs).max(axis=0)

    def sprues(self, tolerance: float) -> Solid:
        """Main, runners and button as one, without feeders."""
        first = self.rods[0]
        solids = [
            rod(each.begin, each.end, each.diameter, main=each.main, tolerance=tolerance)
            for each in self.rods
        ]
        foot = self.button
        solids.append(button(foot.centre, foot.axis, foot.diameter, first.diameter, tolerance=tolerance))
        return joined(solids)

    def solid(self, tolerance: float) -> Solid:
        """All of it as one body; its rings are proven apart, see `prove`."""
        fed = []
        for number, kind in enumerate(self.kinds):
            own = self.kind_of == number
            if own.any():
                fed.append(_copies(kind.solid(tolerance), self.rotations[own], self.centres[own]))
        return joined([self.sprues(tolerance), *fed])

    def sprues_volume(self, tolerance: float) -> float:
        """Volume of all that is no ring [mm3]: outside of a main feeders meet nothing but their own ring."""
        sprues = self.sprues(tolerance)
        volume = float(sprues.volume())
        for number, kind in enumerate(self.kinds):
            own = np.flatnonzero(self.kind_of == number)
            if len(own):
                fed = kind.feeder(tolerance)
                outside = placed(fed, self.rotations[own[0]], self.centres[own[0]]) - sprues
                volume += len(own) * (outside.volume() - (fed ^ kind.ring(tolerance)).volume())
        return volume

    def same_as(self, other: "SprueLayout") -> bool:
        """Whether the same rings are in the same places of the same sprues."""
        return self._content() == other._content()

    def _content(self) -> tuple[object, ...]:
        ends = [np.concatenate([each.begin, each.end, [each.diameter]]).tobytes() for each in self.rods]
        foot = self.button
        return (
            self.kinds, self.kind_of.tobytes(), self.rotations.tobytes(), self.centres.tobytes(), ends,
            foot.centre.tobytes(), foot.axis.tobytes(), foot.diameter,
        )  # fmt: skip


def _copies(solid: Solid, rotations: Floats, centres: Floats) -> Solid:
    """Copies of a solid that do not touch one another, as one solid of as many shells.

    Joining them, or composing them of moved solids, takes six times as long.

    Args:
        solid: The solid, with its normals.
        rotations: How each copy is turned, shape (n, 3, 3).
        centres: Where its origin is [mm], shape (n, 3).
    """
    mesh = mesh_of_solid(solid)
    count, each = len(centres), len(mesh.vertices)
    offsets = each * np.arange(count)[:, None]
    points = np.arange(each) if mesh.point_of is None else mesh.point_of
    split = np.flatnonzero(points != np.arange(each))
    placed = np.empty((count, each, 6))
    placed[:, :, :3] = np.einsum("nij,vj->nvi", rotations, mesh.vertices) + centres[:, None]
    placed[:, :, 3:] = np.einsum("nij,vj->nvi", rotations, mesh.normals)
    faces = mesh.faces[None].astype(np.int64) + offsets[:, :, None]
    copies = manifold3d.Manifold(
        manifold3d.Mesh64(
            vert_properties=placed.reshape(-1, 6),
            tri_verts=faces.reshape(-1, 3).astype(np.uint64),
            merge_from_vert=(split + offsets).ravel().astype(np.uint64),
            merge_to_vert=(points[split] + offsets).ravel().astype(np.uint64),
        )
    )
    assert copies.status() == manifold3d.Error.NoError, f"copies that are no solid: {copies.status()}"
    return copies


def prove(layout: SprueLayout, room: Axes, spacing: float) -> None:
    """Stop if a layout does not keep its spacing, or not to its room.

    Args:
        layout: The layout.
        room: What can be built [mm].
        spacing: Least room between loose rings [mm].
    """
    rows = layout.rows()
    spare, one, other = tightest(rows, spacing)
    assert spare >= -CLOSE, f"rings {one} and {other} are {-spare} mm too near one another"
    bars = np.array([[*each.begin, *each.end, 0.5 * each.diameter] for each in layout.rods])
    beside = room_beside(rows, bars, spacing)
    assert beside >= -CLOSE, f"a ring is {-beside} mm too near a main or a runner"
    low, high = layout.bounds()
    assert (high - low <= np.asarray(room) + ROUND_OFF).all(), f"{high - low} in a room of {room}"


Named = tuple[SprueLayout, tuple[str, ...]]
"""A layout and the name of each of its kinds."""

Maker = Callable[[Sequence[LooseRings], Service, Metal, Axes], list[Named]]
"""Lays out rings of one metal, all sizes together, in a room, or raises `CannotPrepare`."""


def sprued_batches(
    make: Maker, what: str, rings: Sequence[LooseRings], service: Service, tolerance: float
) -> tuple[Batch, ...]:
    """Castings of loose rings, each of one metal, numbered from 1 on.

    Args:
        make: What lays them out.
        what: What they are, ``tree`` or so: what names of files begin with.
        rings: The rings that are made.
        service: The service.
        tolerance: Farthest the meshes may lie from the true surface [mm].

    Raises:
        CannotPrepare: A ring cannot be placed in the room, or not be fed.
    """
    batches: list[Batch] = []
    for metal, own in by_metal(rings).items():
        layouts = layouts_in_room(make, [each for each in own if each.count > 0], service, metal)
        batches += batches_of(layouts, what, len(batches) + 1, metal, service, tolerance)
    return tuple(batches)


def layouts_in_room(make: Maker, rings: Sequence[LooseRings], service: Service, metal: Metal) -> list[Named]:
    """Layouts of rings of one metal: sizes together that go into the same room, see `rooms`.

    Sizes that each go into it but not together, for thick wire has a thick main, are laid out by size.

    Args:
        make: What lays them out.
        rings: The rings.
        service: The service.
        metal: The metal.

    Raises:
        CannotPrepare: Not even the whole build holds a ring.
    """
    by_room: dict[Axes, list[LooseRings]] = {}
    for each in rings:
        by_room.setdefault(_room_of(make, each, service, metal), []).append(each)
    found = []
    for room in sorted(by_room, reverse=True):
        own = by_room[room]
        try:
            found += make(own, service, metal, room)
        except CannotPrepare:
            found += [layout for each in own for layout in make([each], service, metal, room)]
    return found


def _room_of(make: Maker, rings: LooseRings, service: Service, metal: Metal) -> Axes:
    """The first room that holds one of the rings."""
    *others, whole = rooms(service, metal)
    for room in others:
        try:
            make([replace(rings, count=1)], service, metal, room)
        except CannotPrepare:
            continue
        return room
    make([replace(rings, count=1)], service, metal, whole)
    return whole


def batches_of(
    layouts: Iterable[Named], what: str, first: int, metal: Metal, service: Service, tolerance: float
) -> list[Batch]:
    """Castings as files; those that follow one another and are alike are one file and a number of copies.

    Args:
        layouts: The castings.
        what: What they are, ``tree`` or so: what names of files begin with.
        first: The number of the first file.
        metal: The metal.
        service: The service.
        tolerance: Farthest the meshes may lie from the true surface [mm].
    """
    alike: list[tuple[Named, int]] = []
    for layout, names in layouts:
        if alike:
            (before, names_before), copies = alike[-1]
            if names == names_before and layout.same_as(before):
                alike[-1] = (before, names_before), copies + 1
                continue
        alike.append(((layout, names), 1))
    return [
        _batch_of(layout, f"{what}-{first + k}", names, copies, metal, service, tolerance)
        for k, ((layout, names), copies) in enumerate(alike)
    ]


def _batch_of(
    layout: SprueLayout,
    name: str,
    names: tuple[str, ...],
    copies: int,
    metal: Metal,
    service: Service,
    tolerance: float,
) -> Batch:
    """One casting as one body, proven to keep its spacing."""
    prove(layout, layout.room, service.spacing)
    solid = layout.solid(tolerance)
    counts = np.bincount(layout.kind_of, minlength=len(layout.kinds)).tolist()
    by_name: dict[str, int] = {}
    for own, count in zip(names, counts, strict=True):
        if count:
            by_name[own] = by_name.get(own, 0) + count
    what = name.rsplit("-", 1)[0]
    model = Model(
        kinds=(Kind(f"{what}, {metal.name}", mesh_of_solid(solid), 0, np.array([0])),),
        materials=(Material(metal.name, metal.colour, metal.roughness),),
        rotations=np.eye(3)[None],
        centres=np.zeros((1, 3)),
        names=(name,),
        stretch=service.stretch(metal),
    )
    return Batch(
        name=name,
        model=model,
        metal=metal,
        parts=len(layout.kind_of),
        rings=tuple(by_name.items()),
        # True volumes of wire; sprues from solids, less what is in both.
        pieces_weight=sum(
            n * ring_weight(kind.size, metal) for n, kind in zip(counts, layout.kinds, strict=True)
        ),
        sprues_weight=1e-3 * metal.density * layout.sprues_volume(min(tolerance, WEIGHED_AT)),
        copies=copies,
    )
