"""Rings and other wire bodies as arrays, one row a body.

Conventions, for the whole package: millimetres; a ring is the torus round the circle with centre `c`, unit
normal `n` (its sign means nothing) and centreline radius `R`, swept by a wire of radius `r`. Inside
diameter is ``2 R - 2 r``, wire diameter ``2 r``. Any other body has a `Shape` in a frame of its own: its
origin is at `c`, its z along `n` and its x along the body's axis; R is then the distance of the farthest
point of its centrelines from `c`, and r its largest wire radius, so that ``R + r`` bounds every body.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from chaingen.geometry.shapes import COLUMNS, FIRST, ORIGIN, RADIUS, REAL, SECOND, SPAN, WIRE, Shape, reach_of
from chaingen.geometry.types import Floats, Ints


@dataclass(frozen=True, eq=False)
class Bodies:
    """Poses and sizes of n bodies.

    Attributes:
        centres: Ring centres and origins of other bodies [mm], shape (n, 3).
        normals: Unit normals of the ring planes, z axes of other bodies, shape (n, 3).
        radii: Centreline radii [mm], shape (n,).
        wire_radii: Wire radii [mm], shape (n,).
        axes: x axes, unit and square to the normals, shape (n, 3); of rings they mean nothing. None where all
            are rings.
        shapes: The shapes that there are.
        shape_of: Each body's shape, -1 for a ring, shape (n,); None where all are rings.
    """

    centres: Floats
    normals: Floats
    radii: Floats
    wire_radii: Floats
    axes: Floats | None = None
    shapes: tuple[Shape, ...] = ()
    shape_of: Ints | None = None

    def __post_init__(self) -> None:
        """Check shapes: a wrong one is a bug of ours."""
        n = len(self.radii)
        assert self.centres.shape == (n, 3)
        assert self.normals.shape == (n, 3)
        assert self.radii.shape == self.wire_radii.shape == (n,)
        assert (self.axes is None) == (self.shape_of is None)
        assert self.axes is None or self.axes.shape == (n, 3)

    def __len__(self) -> int:
        return len(self.radii)

    def __getitem__(self, index: Ints | slice | npt.NDArray[np.bool_]) -> "Bodies":
        """The bodies at `index` (a slice, an index array or a mask)."""
        axes = None if self.axes is None else self.axes[index]
        shape_of = None if self.shape_of is None else self.shape_of[index]
        return Bodies(
            self.centres[index], self.normals[index], self.radii[index], self.wire_radii[index], axes,
            self.shapes, shape_of,
        )  # fmt: skip

    @property
    def all_rings(self) -> bool:
        """Whether every body is a round ring."""
        return self.shape_of is None or bool((self.shape_of < 0).all())

    @property
    def is_ring(self) -> npt.NDArray[np.bool_]:
        """Which bodies are round rings, shape (n,)."""
        if self.shape_of is None:
            return np.ones(len(self), dtype=bool)
        return np.asarray(self.shape_of < 0)

    def shape(self, index: int) -> Shape | None:
        """The shape of a body; None of a ring."""
        if self.shape_of is None or self.shape_of[index] < 0:
            return None
        return self.shapes[int(self.shape_of[index])]

    @property
    def inside_diameters(self) -> Floats:
        """Inside diameters of rings [mm], shape (n,)."""
        return 2.0 * (self.radii - self.wire_radii)

    @property
    def wire_diameters(self) -> Floats:
        """Wire diameters [mm], shape (n,)."""
        return 2.0 * self.wire_radii

    @property
    def eye_radii(self) -> Floats:
        """Centreline radii of rings, and of the smallest eye of other bodies [mm], shape (n,)."""
        if self.shape_of is None:
            return self.radii
        of_shape = np.array([*(shape.eye_radius for shape in self.shapes), 0.0])
        return np.where(self.shape_of < 0, self.radii, of_shape[self.shape_of])

    @property
    def thinnest(self) -> Floats:
        """Each body's smallest wire radius [mm], shape (n,)."""
        if self.shape_of is None:
            return self.wire_radii
        of_shape = np.array([*(shape.thinnest for shape in self.shapes), 0.0])
        return np.where(self.shape_of < 0, self.wire_radii, of_shape[self.shape_of])

    def first_axes(self) -> Floats:
        """X axes, where there are none any that serve, shape (n, 3)."""
        return axes_across(self.normals)[0] if self.axes is None else self.axes

    def frames(self) -> Floats:
        """Each body's x, y and z axes as rows, shape (n, 3, 3)."""
        first = self.first_axes()
        return np.stack([first, np.cross(self.normals, first), self.normals], axis=1)

    def posed(self, centres: Floats, normals: Floats, axes: Floats | None = None) -> "Bodies":
        """The same bodies elsewhere.

        Args:
            centres: Where to [mm], shape (n, 3).
            normals: Unit normals, shape (n, 3).
            axes: Unit x axes, shape (n, 3); where left out they are carried along with the normals.
        """
        if self.axes is None:
            return replace(self, centres=centres, normals=normals)
        if axes is None:
            axes = carried_axes(self.axes, self.normals, normals)
        return replace(self, centres=centres, normals=normals, axes=axes)

    def turned(self, rotation: Floats) -> "Bodies":
        """The bodies turned about the origin, by one matrix, shape (3, 3), or each by its own, (n, 3, 3)."""
        if rotation.ndim == 2:
            axes = None if self.axes is None else self.axes @ rotation.T
            return replace(
                self, centres=self.centres @ rotation.T, normals=self.normals @ rotation.T, axes=axes
            )
        turn = "nab,nb->na"
        axes = None if self.axes is None else np.einsum(turn, rotation, self.axes)
        return replace(
            self,
            centres=np.einsum(turn, rotation, self.centres),
            normals=np.einsum(turn, rotation, self.normals),
            axes=axes,
        )

    def moved(self, translation: Floats) -> "Bodies":
        """The bodies moved, shape (3,) or (n, 3) [mm]."""
        return replace(self, centres=self.centres + translation)

    def mirrored(self) -> "Bodies":
        """The mirror image in the plane y = 0."""
        mirror = np.array([1.0, -1.0, 1.0])
        axes = None if self.axes is None else self.axes * mirror
        # A mirrored frame is left-handed: the shapes' own mirror images make up for it.
        return replace(
            self,
            centres=self.centres * mirror,
            normals=-self.normals * mirror,
            axes=axes,
            shapes=tuple(shape.mirrored() for shape in self.shapes),
        )

    def thickened(self, more: float) -> "Bodies":
        """The same centrelines with wires whose radius is `more` [mm] larger."""
        return replace(
            self,
            wire_radii=self.wire_radii + more,
            shapes=tuple(shape.thickened(more) for shape in self.shapes),
        )

    def scaled_wires(self, factor: float) -> "Bodies":
        """The same centrelines with wires of `factor` times their radius."""
        return replace(
            self,
            wire_radii=factor * self.wire_radii,
            shapes=tuple(shape.with_wires(factor) for shape in self.shapes),
        )

    def primitives(self) -> "Primitives":
        """The curves that all bodies are made of; rings are one whole arc."""
        return _primitives(self)

    def half_extents(self) -> Floats:
        """Half sizes of each ring's axis-aligned bounding box [mm], shape (n, 3); exact. Rings only."""
        assert self.all_rings
        flat = np.sqrt(np.clip(1.0 - self.normals**2, 0.0, 1.0))
        return np.asarray(self.radii[:, None] * flat + self.wire_radii[:, None])

    def extents(self) -> tuple[Floats, Floats]:
        """Lower and upper corners [mm] of the boxes round each body's wires, each shape (n, 3); exact."""
        low = np.stack([self.centres[:, a] - self.reach(-axis) for a, axis in enumerate(np.eye(3))], axis=1)
        high = np.stack([self.centres[:, a] + self.reach(axis) for a, axis in enumerate(np.eye(3))], axis=1)
        return low, high

    def reach(self, direction: Floats) -> Floats:
        """How far each body reaches from its centre along a unit direction, (3,) or (n, 3) [mm]; exact."""
        along = self.normals @ direction if direction.ndim == 1 else (self.normals * direction).sum(axis=1)
        reach = self.radii * np.sqrt(np.clip(1.0 - along**2, 0.0, 1.0)) + self.wire_radii
        if self.all_rings:
            return np.asarray(reach)
        frames, towards = self.frames(), np.broadcast_to(direction, (len(self), 3))
        for k in np.flatnonzero(~self.is_ring):
            shape = self.shape(int(k))
            assert shape is not None
            reach[k] = reach_of(shape.primitives, frames[k] @ towards[k])
        return np.asarray(reach)

    def bounds(self) -> tuple[Floats, Floats]:
        """Lower and upper corner [mm] of the box round all wires, each shape (3,); exact."""
        low, high = self.extents()
        return low.min(axis=0), high.max(axis=0)


@dataclass(frozen=True, eq=False)
class Primitives:
    """The curves that bodies are made of, each kind of body's once, in the body's own frame.

    Attributes:
        table: One row a curve; columns as in `shapes`, shape (k, COLUMNS).
        begins: First row of each body, shape (n,).
        ends: Row after its last, shape (n,).
    """

    table: Floats
    begins: Ints
    ends: Ints


def _primitives(bodies: Bodies) -> Primitives:
    rings = bodies.is_ring
    sizes, of_size = np.unique(
        np.column_stack([bodies.radii, bodies.wire_radii])[rings], axis=0, return_inverse=True
    )
    table = np.zeros((len(sizes), COLUMNS))
    table[:, FIRST] = (1.0, 0.0, 0.0)
    table[:, SECOND] = (0.0, 1.0, 0.0)
    table[:, RADIUS], table[:, WIRE] = sizes.T
    table[:, SPAN], table[:, REAL] = 2.0 * np.pi, 1.0
    rows = [table, *(shape.primitives for shape in bodies.shapes)]
    starts = np.concatenate([[0], np.cumsum([len(part) for part in rows])]).astype(np.int64)
    begins, ends = np.empty(len(bodies), dtype=np.int64), np.empty(len(bodies), dtype=np.int64)
    begins[rings] = of_size.ravel()
    ends[rings] = of_size.ravel() + 1
    if bodies.shape_of is not None:
        begins[~rings] = starts[1 + bodies.shape_of[~rings]]
        ends[~rings] = starts[2 + bodies.shape_of[~rings]]
    return Primitives(np.ascontiguousarray(np.concatenate(rows)), begins, ends)


def concatenate(parts: "list[Bodies]") -> Bodies:
    """All bodies of `parts` in order."""
    whole = Bodies(
        np.concatenate([p.centres for p in parts]),
        np.concatenate([p.normals for p in parts]),
        np.concatenate([p.radii for p in parts]),
        np.concatenate([p.wire_radii for p in parts]),
    )
    if all(part.shape_of is None for part in parts):
        return whole
    shapes = tuple(dict.fromkeys(shape for part in parts for shape in part.shapes))
    place = {shape: k for k, shape in enumerate(shapes)}
    shape_of = np.concatenate(
        [
            np.full(len(part), -1)
            if part.shape_of is None
            else np.array([*(place[shape] for shape in part.shapes), -1])[part.shape_of]
            for part in parts
        ]
    ).astype(np.int64)
    axes = np.concatenate([part.first_axes() for part in parts])
    return replace(whole, axes=axes, shapes=shapes, shape_of=shape_of)


def shaped(shape: Shape) -> Bodies:
    """One body of a shape at the origin, its frame the frame of the world."""
    return Bodies(
        np.zeros((1, 3)), np.array([[0.0, 0.0, 1.0]]), np.array([shape.radius]),
        np.array([shape.wire_radius]), np.array([[1.0, 0.0, 0.0]]), (shape,), np.zeros(1, dtype=np.int64),
    )  # fmt: skip


def centreline_points(bodies: Bodies, count: int) -> Floats:
    """Even points of all rings' centrelines [mm], shape (n, count, 3). Rings only; see `wire_points`."""
    assert bodies.all_rings
    one, two = axes_across(bodies.normals)
    angle = 2.0 * np.pi * np.arange(count) / count
    arms = np.cos(angle)[None, :, None] * one[:, None] + np.sin(angle)[None, :, None] * two[:, None]
    return np.asarray(bodies.centres[:, None] + bodies.radii[:, None, None] * arms)


def wire_points(bodies: Bodies, count: int) -> tuple[Floats, Floats, Ints]:
    """Points along all centrelines with the wire there.

    Args:
        bodies: The bodies.
        count: Points on a ring; a curve of another body has as many on a like angle or length, and at least
            both its ends.

    Returns:
        Points [mm], shape (m, 3); wire radius at each [mm], shape (m,); the body of each, shape (m,), in
        order.
    """
    rings = np.flatnonzero(bodies.is_ring)
    if len(rings) == len(bodies):
        points = centreline_points(bodies, count)
        return points.reshape(-1, 3), np.repeat(bodies.wire_radii, count), np.repeat(rings, count)
    parts, wires, owners = [], [], []
    frames = bodies.frames()
    round_ones = centreline_points(replace(bodies[rings], axes=None, shapes=(), shape_of=None), count)
    place = {int(k): number for number, k in enumerate(rings)}
    for k in range(len(bodies)):
        shape = bodies.shape(k)
        if shape is None:
            points, own = round_ones[place[k]], np.full(count, bodies.wire_radii[k])
        else:
            rows, own = curve_points(shape.primitives, count)
            points = bodies.centres[k] + rows @ frames[k]
        parts.append(points)
        wires.append(own)
        owners.append(np.full(len(points), k))
    return np.concatenate(parts), np.concatenate(wires), np.concatenate(owners).astype(np.int64)


def curve_points(primitives: Floats, count: int) -> tuple[Floats, Floats]:
    """Points along primitives in their own frame [mm], shape (m, 3), and the wire radius at each, (m,)."""
    size = max(float(np.linalg.norm(primitives[:, ORIGIN], axis=1).max()), float(primitives[:, RADIUS].max()))
    spacing = 2.0 * np.pi * max(size, 1e-9) / count
    parts, wires = [], []
    for row in primitives:
        length = row[SPAN] * (row[RADIUS] if row[RADIUS] else 1.0)
        steps = max(1, int(np.ceil(length / spacing)))
        t = np.linspace(0.0, row[SPAN], steps + 1)[:, None] if length else np.zeros((1, 1))
        if row[RADIUS]:
            points = row[ORIGIN] + row[RADIUS] * (np.cos(t) * row[FIRST] + np.sin(t) * row[SECOND])
        else:
            points = row[ORIGIN] + t * row[FIRST]
        parts.append(points)
        wires.append(np.full(len(points), row[WIRE]))
    return np.concatenate(parts), np.concatenate(wires)


def carried_axes(axes: Floats, before: Floats, after: Floats) -> Floats:
    """X axes carried along when normals turn by the shortest way, shape (n, 3) each."""
    cross = np.cross(before, after)
    dot = (before * after).sum(axis=1)
    # Rodrigues without an angle: v + c x v + c x (c x v) / (1 + dot); half turns go about the axis itself.
    share = 1.0 / np.maximum(1.0 + dot, 1e-9)
    once = np.cross(cross, axes)
    moved = axes + once + share[:, None] * np.cross(cross, once)
    moved = np.where((dot < -1.0 + 1e-9)[:, None], axes, moved)
    moved -= (moved * after).sum(axis=1)[:, None] * after
    return np.asarray(moved / np.linalg.norm(moved, axis=1)[:, None])


def axes_across(normals: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors across each normal, which complete it to a right-handed frame.

    Duff et al. 2017, "Building an orthonormal basis, revisited", JCGT 6(1); without a branch that would jump.

    Args:
        normals: Unit normals, shape (n, 3).

    Returns:
        First and second axis, shape (n, 3) each.
    """
    x, y, z = normals.T
    sign = np.where(z >= 0.0, 1.0, -1.0)
    a = -1.0 / (sign + z)
    b = x * y * a
    return (
        np.column_stack([1.0 + sign * x * x * a, sign * b, -sign * x]),
        np.column_stack([b, sign + y * y * a, -y]),
    )
