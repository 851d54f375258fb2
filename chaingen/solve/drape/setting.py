"""What hangs, what holds it and what pulls; and how contact is resisted."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import Bodies, axes_across
from chaingen.geometry.centrelines import FULL_TURN, Arc
from chaingen.geometry.shapes import Shape
from chaingen.geometry.solids import Solid
from chaingen.geometry.types import Floats, Ints
from chaingen.solve.drape.energy import Poses


@dataclass(frozen=True, eq=False)
class Setting:
    """What hangs, what holds it, and what pulls.

    A ring has five unknowns: the moves of its centre and its tilts about two lines in its plane. Where there
    is any other body, everything has six, turns about all three axes; a ring's sixth then does nothing.

    Attributes:
        radii: Centreline radii; of other bodies how far centrelines reach from the origin [mm], shape (n,).
        wire_radii: Wire radii, of other bodies the largest [mm], shape (n,).
        loads: Force on each body's centre of mass [ring weights], shape (n, 3); gravity is
            ``(0, 0, -weight)``.
        solids: What the bodies hang on, lie on or go round.
        friction: Coefficient of friction, wire on wire and wire on solid.
        arms: From each body's origin to its centre of mass, in its own frame [mm], shape (n, 3); None where
            they are the same.
        shapes: The shapes of bodies that are no rings.
        shape_of: Each body's shape, -1 for a ring, shape (n,); None where all are rings.
        clearance: Gap that bodies keep from one another, but not from solids [mm]: between them each wire
            counts as thicker by half of it all round.
    """

    radii: Floats
    wire_radii: Floats
    loads: Floats
    solids: tuple[Solid, ...]
    friction: float
    arms: Floats | None = None
    shapes: tuple[Shape, ...] = field(default=())
    shape_of: Ints | None = None
    clearance: float = 0.0

    @classmethod
    def of(
        cls,
        bodies: Bodies,
        loads: Floats,
        solids: tuple[Solid, ...],
        friction: float,
        arms: Floats | None = None,
        clearance: float = 0.0,
    ) -> "Setting":
        """The setting of some bodies, whose poses do not matter."""
        # A lone ball reaches nowhere: its turns are told at its surface.
        radii = np.where(bodies.radii > 0.0, bodies.radii, bodies.wire_radii)
        return cls(
            radii, bodies.wire_radii, loads, solids, friction, arms, bodies.shapes, bodies.shape_of, clearance
        )  # fmt: skip

    def __len__(self) -> int:
        return len(self.radii)

    @cached_property
    def is_ring(self) -> npt.NDArray[np.bool_]:
        """Which bodies are round rings, shape (n,)."""
        if self.shape_of is None:
            return np.ones(len(self.radii), dtype=bool)
        return np.asarray(self.shape_of < 0)

    @cached_property
    def width(self) -> int:
        """Unknowns of each body."""
        return 5 if bool(self.is_ring.all()) else 6

    @cached_property
    def turns(self) -> Ints:
        """How many turns each body has: two where a turn about z changes nothing, shape (n,)."""
        if self.shape_of is None:
            return np.full(len(self.radii), 2, dtype=np.int64)
        of_shape = np.array([*(2 if _is_round(shape) else 3 for shape in self.shapes), 2], dtype=np.int64)
        return np.asarray(of_shape[self.shape_of])

    @cached_property
    def thinnest(self) -> Floats:
        """Radius of each body's thinnest wire [mm], shape (n,)."""
        if self.shape_of is None:
            return self.wire_radii
        of_shape = np.array([*(shape.thinnest for shape in self.shapes), 0.0])
        return np.where(self.shape_of < 0, self.wire_radii, of_shape[self.shape_of])

    @cached_property
    def apart_radii(self) -> Floats:
        """Wire radii that bodies have for one another: with their part of the clearance [mm], shape (n,)."""
        return self.wire_radii + 0.5 * self.clearance

    @cached_property
    def apart_thinnest(self) -> Floats:
        """The same of each body's thinnest wire [mm], shape (n,)."""
        return self.thinnest + 0.5 * self.clearance

    @cached_property
    def thin(self) -> float:
        """Radius of the thinnest wire of all, beads not counted, by which barriers reach [mm]."""
        return thinnest_wire(self.at(_nowhere(len(self.radii))))

    def at(self, poses: Poses) -> Bodies:
        """The bodies at some poses."""
        normals = poses.frames[:, 2]
        if self.shape_of is None:
            return Bodies(poses.centres, normals, self.radii, self.wire_radii)
        return Bodies(
            poses.centres, normals, self.radii, self.wire_radii, poses.frames[:, 0], self.shapes,
            self.shape_of,
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Barrier:
    """How contact is resisted.

    Attributes:
        reach: Reach of the barrier [mm].
        floor: Least stiffness of a contact [ring weights].
        keys: Pairs whose stiffness is known, sorted, ``i n + j``; solids are counted on from body n.
        stiffness: Their stiffness [ring weights].
    """

    reach: float
    floor: float
    keys: Ints
    stiffness: Floats

    def of(self, keys: Ints) -> Floats:
        """Stiffness of pairs by their keys."""
        if not len(self.keys):
            return np.full(len(keys), self.floor)
        place = np.minimum(np.searchsorted(self.keys, keys), len(self.keys) - 1)
        return np.where(self.keys[place] == keys, self.stiffness[place], self.floor)


def poses_of(bodies: Bodies) -> Poses:
    """Poses of bodies; frames of rings are any across their normals."""
    if bodies.shape_of is not None:
        return Poses(bodies.centres.copy(), bodies.frames())
    one, two = axes_across(bodies.normals)
    return Poses(bodies.centres.copy(), np.stack([one, two, bodies.normals], axis=1))


def thinnest_wire(bodies: Bodies) -> float:
    """Radius of the thinnest wire of all bodies [mm]; beads count only where there is nothing else."""
    wires = [s.wire_radius for shape in bodies.shapes for s in shape.strands if s.part == "wire"]
    least = float(bodies.wire_radii[bodies.is_ring].min(initial=min(wires, default=np.inf)))
    return least if np.isfinite(least) else float(bodies.thinnest.min(initial=np.inf))


def _nowhere(count: int) -> Poses:
    return Poses(np.zeros((count, 3)), np.tile(np.eye(3), (count, 1, 1)))


def _is_round(shape: Shape) -> bool:
    """Whether a shape is a ring: one whole arc about the z axis."""
    curves = [curve for strand in shape.strands for curve in strand.curves]
    if len(curves) != 1 or not isinstance(curves[0], Arc):
        return False
    one = curves[0]
    off = np.hypot(one.centre[0], one.centre[1]), abs(one.start[2]), abs(one.ahead[2])
    return one.angle >= FULL_TURN and max(off) < 1e-12 * max(1.0, one.radius)
