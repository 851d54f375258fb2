"""The mechanics of a drape at one barrier: energy, forces and stiffness of rings, solids and gravity."""

from dataclasses import dataclass, replace

import numpy as np

from chaingen.geometry.bodies import Bodies, axes_across
from chaingen.geometry.near import near_pairs
from chaingen.geometry.solids import Solid
from chaingen.geometry.types import Floats, Ints
from chaingen.solve.drape.bounds import farthest, pair_bound, solid_bound
from chaingen.solve.drape.energy import Poses, node_counts, pair_energy, solid_energy
from chaingen.solve.drape.friction import Grip, add_friction, carried, slip_energy

SWING = 20.0
"""Longest way that a ring may go in a step, in outside radii of the largest ring."""

LEAST_GAP = 0.05
"""No step ends with a node nearer than this part of the barrier's reach. Nodes lie so close that wires bulge
by less between them: there is then room everywhere."""

SLIP = 0.1
"""Slip at which friction is full, as part of the barrier's reach: the springs are then about as stiff as the
contacts."""


@dataclass(frozen=True, eq=False)
class Setting:
    """What hangs, what holds it, and what pulls.

    Attributes:
        radii: Centreline radii [mm], shape (n,).
        wire_radii: Wire radii [mm], shape (n,).
        loads: Force on each ring's centre [ring weights], shape (n, 3); gravity is ``(0, 0, -weight)``.
        solids: What the rings hang on, lie on or go round.
        friction: Coefficient of friction, wire on wire and wire on solid.
    """

    radii: Floats
    wire_radii: Floats
    loads: Floats
    solids: tuple[Solid, ...]
    friction: float


@dataclass(frozen=True, eq=False)
class Barrier:
    """How contact is resisted.

    Attributes:
        reach: Reach of the barrier [mm].
        floor: Least stiffness of a contact [ring weights].
        keys: Pairs whose stiffness is known, sorted, ``i n + j``; solids are counted on from ring n.
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


@dataclass(frozen=True, eq=False)
class Terms:
    """Energy and its derivatives at some poses.

    Attributes:
        energy: Energy without friction [ring weights mm].
        least: Smallest gap of any node, at most the barrier's reach [mm].
        gradient: Its derivative with friction's force [ring weights], shape (n, 5).
        own: Second derivatives of the contacts with solids [ring weights / mm], shape (n, 5, 5).
        own_drag: Those of friction on solids, positive semidefinite, shape (n, 5, 5).
        pairs: Pairs in contact, shape (m, 2).
        blocks: Second derivatives of their contacts, shape (m, 10, 10).
        drag: Those of friction between them, positive semidefinite, shape (m, 10, 10).
        keys: Contacts by key, see `Barrier`.
        forces: Normal force of each contact [ring weights].
        grip: Places that press.
    """

    energy: float
    least: float
    gradient: Floats
    own: Floats
    own_drag: Floats
    pairs: Ints
    blocks: Floats
    drag: Floats
    keys: Ints
    forces: Floats
    grip: Grip


def poses_of(rings: Bodies) -> Poses:
    """Poses with frames across the normals."""
    one, two = axes_across(rings.normals)
    return Poses(rings.centres.copy(), np.stack([one, two, rings.normals], axis=1))


def semidefinite(blocks: Floats) -> Floats:
    """The nearest symmetric positive semidefinite matrices, shape (m, k, k)."""
    if not len(blocks):
        return blocks
    values, vectors = np.linalg.eigh(blocks)
    bad = values[:, 0] < 0.0
    if not bad.any():
        return blocks
    out = blocks.copy()
    v = vectors[bad]
    out[bad] = (v * np.maximum(values[bad], 0.0)[:, None, :]) @ v.transpose(0, 2, 1)
    return out


class Model:
    """Evaluates energy and derivatives; finds near pairs anew only after rings have moved far enough."""

    def __init__(self, bodies: Setting, barrier: Barrier) -> None:
        self.bodies = bodies
        self.barrier = barrier
        self.nodes = node_counts(bodies.radii, bodies.wire_radii, barrier.reach)
        self._pairs: Ints = np.empty((0, 2), dtype=np.int64)
        self._stiffness: Floats = np.empty(0)
        self._seen: Floats | None = None
        self._margin = 0.0
        self._room = 64 * len(bodies.radii)

    def near(self, poses: Poses, margin: float) -> None:
        """See to it that all pairs are known that may touch while no ring moves by over margin / 2 [mm]."""
        b, n = self.bodies, len(self.bodies.radii)
        if self._seen is not None:
            moved = float(np.linalg.norm(poses.centres - self._seen, axis=1).max(initial=0.0))
            if 2.0 * moved + margin <= self._margin:
                return
        self._margin = 2.0 * margin
        self._seen = poses.centres.copy()
        rings = Bodies(poses.centres, poses.frames[:, 2], b.radii, b.wire_radii)
        self._pairs = near_pairs(rings, margin=self.barrier.reach + self._margin)
        self._stiffness = self.barrier.of(self._pairs[:, 0] * (n + len(b.solids)) + self._pairs[:, 1])

    def bound(self, poses: Poses, step: Floats) -> float:
        """Largest part of a step in which links cannot change, at most 1; sees to `near` for it."""
        b = self.bodies
        far = farthest(step)
        reach = SWING * float((b.radii + b.wire_radii).max())
        most = min(1.0, reach / max(far, 1e-300))
        self.near(poses, 2.0 * most * far)
        most = min(most, pair_bound(step, b.wire_radii, self._pairs))
        for solid in b.solids:
            most = min(
                most, solid_bound(step, poses.centres, b.radii, b.wire_radii, int(solid.kind), solid.numbers)
            )
        return most

    def energy(self, poses: Poses, least: float = np.inf) -> float:
        """Energy without friction; infinite where a node is nearer than `LEAST_GAP` and than `least` [mm]."""
        energy, gap = self._evaluate(poses, None)
        return energy if gap >= min(least, LEAST_GAP * self.barrier.reach) else np.inf

    def clear(self, poses: Poses) -> bool:
        """Whether every wire is clear of every other, however little."""
        return bool(np.isfinite(self._evaluate(poses, None)[0]))

    def _evaluate(self, poses: Poses, out: "_Room | None") -> tuple[float, float]:
        """Energy and smallest gap."""
        b, reach = self.bodies, self.barrier.reach
        room = out or _Room(len(self._pairs), 0, 0)
        energy, least, room.count = pair_energy(
            poses.centres, poses.frames, b.radii, b.wire_radii, self._pairs, self._stiffness, self.nodes,
            reach, out is not None, room.grads, room.blocks, room.forces, room.touch, room.press,
        )  # fmt: skip
        energy -= float((b.loads * poses.centres).sum())
        n = len(b.radii)
        for number, solid in enumerate(b.solids):
            part = out.solids[number] if out else _Room(n, 0, 0)
            stiffness = self.barrier.of(np.arange(n) * (n + len(b.solids)) + n + number)
            more, near, part.count = solid_energy(
                poses.centres, poses.frames, b.radii, b.wire_radii, int(solid.kind), solid.numbers, stiffness,
                self.nodes, reach, out is not None, part.grads, part.blocks, part.forces, part.touch,
                part.press,
            )  # fmt: skip
            energy += more
            least = min(least, near)
        return float(energy), float(least)

    def terms(self, poses: Poses, grip: Grip | None) -> Terms:
        """Energy, forces and stiffness at some poses.

        Args:
            poses: The poses, free of contact.
            grip: The places that pressed before this, with their stretch; None for none.
        """
        b, n = self.bodies, len(self.bodies.radii)
        rows = self._pairs
        while True:
            out = _Room(len(rows), 10, self._room)
            out.solids = tuple(_Room(n, 5, self._room) for _ in b.solids)
            energy, least = self._evaluate(poses, out)
            most = max([out.count, *(part.count for part in out.solids)])
            if most <= self._room:
                break
            self._room = 2 * most
        assert np.isfinite(energy), "derivatives are asked for where wires are clear only"
        active = np.flatnonzero(out.forces > 0.0)
        grads, blocks, pairs = out.grads[active], out.blocks[active], rows[active]
        keys = [pairs[:, 0] * (n + len(b.solids)) + pairs[:, 1]]
        forces = [out.forces[active]]
        drag = np.zeros_like(blocks)
        slip = SLIP * self.barrier.reach
        now, row = self._grip(poses, out)
        if b.friction:
            now = carried(grip, now, slip)
            on = now.bodies[:, 1] >= 0
            add_friction(
                now.picked(on), poses.frames, b.radii, b.friction, slip, np.searchsorted(active, row[on]),
                pairs[:, 0].copy(), grads, drag,
            )  # fmt: skip
        gradient = np.zeros((n, 5))
        np.add.at(gradient, pairs[:, 0], grads[:, :5])
        np.add.at(gradient, pairs[:, 1], grads[:, 5:])
        gradient[:, :3] -= b.loads
        own, own_drag = np.zeros((n, 5, 5)), np.zeros((n, 5, 5))
        for number, one in enumerate(out.solids):
            touching = np.flatnonzero(one.forces > 0.0)
            keys.append(touching * (n + len(b.solids)) + n + number)
            forces.append(one.forces[touching])
            if not len(touching):
                continue
            solid_grads = one.grads[touching]
            solid_drag = np.zeros((len(touching), 5, 5))
            if b.friction:
                on = now.bodies[:, 1] == -1 - number
                add_friction(
                    now.picked(on), poses.frames, b.radii, b.friction, slip,
                    np.searchsorted(touching, row[on]), touching, solid_grads, solid_drag,
                )  # fmt: skip
            gradient[touching] += solid_grads
            own[touching] += one.blocks[touching]
            own_drag[touching] += solid_drag
        order = np.argsort(np.concatenate(keys), kind="stable")
        return Terms(
            energy,
            least,
            gradient,
            own,
            own_drag,
            pairs,
            blocks,
            drag,
            np.concatenate(keys)[order],
            np.concatenate(forces)[order],
            now,
        )

    def with_reach(self, reach: float, *, same_nodes: bool = True) -> "Model":
        """The same with another reach of the barrier, on the same nodes or on those that it needs."""
        other = Model(self.bodies, replace(self.barrier, reach=reach))
        if same_nodes:
            other.nodes = self.nodes
        other._pairs, other._stiffness, other._room = self._pairs, self._stiffness, self._room
        other._seen, other._margin = self._seen, self._margin
        return other

    def touching(self, poses: Poses) -> int:
        """How many contacts there are; none where a wire is nearer than allowed."""
        if not np.isfinite(self.energy(poses)):
            return 0
        return len(self.terms(poses, None).forces)

    def contact_gradient(self, poses: Poses) -> Floats:
        """Gradient of the contact energy alone, without gravity and friction [ring weights], shape (n, 5)."""
        bare = Model(replace(self.bodies, friction=0.0, loads=np.zeros_like(self.bodies.loads)), self.barrier)
        bare.nodes, bare._pairs, bare._stiffness, bare._room = (
            self.nodes,
            self._pairs,
            self._stiffness,
            self._room,
        )
        return bare.terms(poses, None).gradient

    def solid_forces(self, poses: Poses, grip: Grip) -> float:
        """Upward force of all solids on all rings, friction included [ring weights]."""
        n = len(self.bodies.radii)
        apart = replace(self.bodies, loads=np.zeros_like(self.bodies.loads))
        alone = Model(apart, self.barrier)
        alone.nodes, alone._room = self.nodes, self._room
        alone._seen, alone._margin = poses.centres, np.inf
        return -float(alone.terms(poses, grip).gradient[:, 2].sum()) if n else 0.0

    def _grip(self, poses: Poses, out: "_Room") -> tuple[Grip, Ints]:
        """All places that press, and the pair (or, for a solid, the ring) that each belongs to."""
        b, n = self.bodies, len(self.bodies.radii)
        row, side, node = out.touch[: out.count].T
        rings = self._pairs[row]
        lines = np.arange(len(row))
        bodies = [np.column_stack([rings[lines, side], rings[lines, 1 - side]])]
        keys = [2 * (rings[:, 0] * (n + len(b.solids)) + rings[:, 1]) + side]
        rows, nodes, press = [row], [node], [out.press[: out.count]]
        for number, part in enumerate(out.solids):
            ring, _, node = part.touch[: part.count].T
            bodies.append(np.column_stack([ring, np.full(len(ring), -1 - number)]))
            keys.append(2 * (ring * (n + len(b.solids)) + n + number))
            rows.append(ring)
            nodes.append(node)
            press.append(part.press[: part.count])
        both, at = np.concatenate(bodies), np.concatenate(nodes)
        angle = 2.0 * np.pi * at / self.nodes[both[:, 0]]
        frames = poses.frames[both[:, 0]]
        arm = b.radii[both[:, 0], None] * (
            np.cos(angle)[:, None] * frames[:, 0] + np.sin(angle)[:, None] * frames[:, 1]
        )
        other = poses.centres[both[:, 0]] + arm - poses.centres[both[:, 1]]
        grip = Grip(
            both, np.concatenate(keys), at, np.concatenate(press), np.stack([arm, other], axis=1),
            np.zeros((len(at), 3)), np.zeros(len(at), dtype=bool),
        )  # fmt: skip
        return grip, np.concatenate(rows)

    def slip_energy(self, grip: Grip, poses: Poses, step: Floats) -> tuple[float, Grip]:
        """Energy of friction's springs after a step from `poses`, and the places as they are then."""
        b = self.bodies
        if not b.friction:
            return 0.0, grip
        energy, stretch, slid = slip_energy(
            grip, poses.frames, b.radii, step, b.friction, SLIP * self.barrier.reach
        )
        return energy, replace(grip, stretch=stretch, slid=slid)


class _Room:
    """Arrays for a kernel to fill."""

    def __init__(self, rows: int, width: int, places: int) -> None:
        self.grads = np.empty((rows if width else 0, width)) if width == 10 else np.zeros((rows, width))
        self.blocks = np.zeros((rows if width else 0, width, width))
        self.forces = np.empty(rows)
        self.touch: Ints = np.empty((places, 3), dtype=np.int64)
        self.press = np.empty((places, 4))
        self.count = 0
        self.solids: tuple[_Room, ...] = ()
