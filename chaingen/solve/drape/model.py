"""The mechanics of a drape at one barrier: energy, forces and stiffness of bodies, solids and gravity."""

from dataclasses import dataclass, replace

import numpy as np

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.near import near_pairs
from chaingen.geometry.types import Floats, Ints
from chaingen.solve.drape.bounds import farthest, pair_bound, solid_bound
from chaingen.solve.drape.energy import Poses
from chaingen.solve.drape.friction import Grip, add_friction, carried, slip_energy
from chaingen.solve.drape.parts import (
    Nodes,
    Room,
    Rows,
    embedded,
    evaluate,
    nodes_for,
    pair_rows,
    places,
    solid_rows,
)
from chaingen.solve.drape.setting import Barrier, Setting, poses_of

__all__ = ["LEAST_GAP", "SLIP", "SWING", "Barrier", "Model", "Setting", "Terms", "poses_of", "semidefinite"]

SWING = 20.0
"""Longest way that a body may go in a step, in outside radii of the largest body."""

LEAST_GAP = 0.05
"""No step ends with a node nearer than this part of the barrier's reach. Nodes lie so close that wires bulge
by less between them: there is then room everywhere."""

SLIP = 0.1
"""Slip at which friction is full, as part of the barrier's reach: the springs are then about as stiff as the
contacts."""


@dataclass(frozen=True, eq=False)
class Terms:
    """Energy and its derivatives at some poses, w unknowns a body.

    Attributes:
        energy: Energy without friction [ring weights mm].
        least: Smallest gap of any node, at most the barrier's reach [mm].
        gradient: Its derivative with friction's force [ring weights], shape (n, w).
        own: Second derivatives of the contacts with solids [ring weights / mm], shape (n, w, w).
        own_drag: Those of friction on solids, positive semidefinite, shape (n, w, w).
        pairs: Pairs in contact, shape (m, 2).
        blocks: Second derivatives of their contacts, shape (m, 2 w, 2 w).
        drag: Those of friction between them, positive semidefinite, shape (m, 2 w, 2 w).
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
    """Evaluates energy and derivatives; finds near pairs anew only after bodies have moved far enough."""

    def __init__(self, bodies: Setting, barrier: Barrier, *, on: Nodes | None = None) -> None:
        self.bodies = bodies
        self.barrier = barrier
        self.on = on or nodes_for(bodies, barrier.reach)
        self._pairs: Ints = np.empty((0, 2), dtype=np.int64)
        self._pair_rows: list[Rows] = [pair_rows(bodies, barrier, self._pairs, False)]
        self._solid_rows = solid_rows(bodies, barrier)
        self._seen: Floats | None = None
        self._margin = 0.0
        self._room = 64 * len(bodies.radii)

    @property
    def nodes(self) -> Ints:
        """Nodes on each ring, shape (n,)."""
        return self.on.rings

    def near(self, poses: Poses, margin: float) -> None:
        """See to it that all pairs are known that may touch while no body moves by over margin / 2 [mm]."""
        b = self.bodies
        if self._seen is not None:
            moved = float(np.linalg.norm(poses.centres - self._seen, axis=1).max(initial=0.0))
            if 2.0 * moved + margin <= self._margin:
                return
        self._margin = 2.0 * margin
        self._seen = poses.centres.copy()
        # Spheres bound them all, whatever their shapes.
        spheres = Bodies(poses.centres, poses.frames[:, 2], b.radii, b.apart_radii)
        self._pairs = near_pairs(spheres, margin=self.barrier.reach + self._margin)
        if b.width == 5:
            self._pair_rows = [pair_rows(b, self.barrier, self._pairs, False)]
            return
        shaped = ~b.is_ring[self._pairs].all(axis=1)
        self._pair_rows = [
            pair_rows(b, self.barrier, self._pairs[shaped == one], one) for one in (False, True)
        ]

    def bound(self, poses: Poses, step: Floats) -> float:
        """Largest part of a step in which links cannot change, at most 1; sees to `near` for it."""
        b = self.bodies
        far = farthest(step)
        reach = SWING * float((b.radii + b.wire_radii).max())
        most = min(1.0, reach / max(far, 1e-300))
        self.near(poses, 2.0 * most * far)
        most = min(most, pair_bound(step, b.apart_thinnest, self._pairs))
        for solid in b.solids:
            most = min(
                most, solid_bound(step, poses.centres, b.radii, b.thinnest, int(solid.kind), solid.numbers)
            )
        return most

    def energy(self, poses: Poses, least: float = np.inf) -> float:
        """Energy without friction; infinite where a node is nearer than `LEAST_GAP` and than `least` [mm]."""
        energy, gap = self._evaluate(poses, None)
        return energy if gap >= min(least, LEAST_GAP * self.barrier.reach) else np.inf

    def clear(self, poses: Poses) -> bool:
        """Whether every wire is clear of every other, however little."""
        return bool(np.isfinite(self._evaluate(poses, None)[0]))

    def _evaluate(self, poses: Poses, rooms: list[Room] | None) -> tuple[float, float]:
        """Energy and smallest gap; fills rooms, those of pairs first, with derivatives as well."""
        b = self.bodies
        energy, least = -float((b.loads * poses.centres).sum()), self.barrier.reach
        if b.arms is not None:
            energy -= float((b.loads * np.einsum("nk,nka->na", b.arms, poses.frames)).sum())
        for number, rows in enumerate(self._pair_rows + self._solid_rows):
            room = rooms[number] if rooms else Room(rows, False, 0)
            more, near = evaluate(b, self.on, poses, self.barrier.reach, rows, room, rooms is not None)
            energy += more
            least = min(least, near)
        return energy, least

    def terms(self, poses: Poses, grip: Grip | None) -> Terms:
        """Energy, forces and stiffness at some poses.

        Args:
            poses: The poses, free of contact.
            grip: The places that pressed before this, with their stretch; None for none.
        """
        b, n, width = self.bodies, len(self.bodies.radii), self.bodies.width
        all_rows = self._pair_rows + self._solid_rows
        while True:
            rooms = [Room(rows, True, self._room) for rows in all_rows]
            energy, least = self._evaluate(poses, rooms)
            most = max(room.count for room in rooms)
            if most <= self._room:
                break
            self._room = 2 * most
        assert np.isfinite(energy), "derivatives are asked for where wires are clear only"
        now, part, row = self._grip(poses, rooms)
        slip = SLIP * self.barrier.reach
        if b.friction:
            now = carried(grip, now, slip)
        gradient = np.zeros((n, width))
        own, own_drag = np.zeros((n, width, width)), np.zeros((n, width, width))
        if width > 5:
            # What does nothing shall not make the whole singular.
            own[b.turns == 2, 5, 5] = 1.0
        pairs, blocks, drags, keys, forces = [], [], [], [], []
        for number, (rows, room) in enumerate(zip(all_rows, rooms, strict=True)):
            active = np.flatnonzero(room.forces > 0.0)
            keys.append(rows.keys[active])
            forces.append(room.forces[active])
            grads, block = embedded(room, rows, active, width)
            first, drag = rows.first[active], np.zeros_like(block)
            if b.friction and len(active):
                on = part == number
                add_friction(
                    now.picked(on), poses.frames, b.radii, b.friction, slip, np.searchsorted(active, row[on]),
                    first, grads, drag, b.turns,
                )  # fmt: skip
            if rows.solid is None:
                np.add.at(gradient, first, grads[:, :width])
                np.add.at(gradient, rows.bodies[active, 1], grads[:, width:])
                pairs.append(rows.bodies[active])
                blocks.append(block)
                drags.append(drag)
            else:
                gradient[first] += grads
                own[first] += block
                own_drag[first] += drag
        gradient[:, :3] -= b.loads
        if b.arms is not None:
            add_load(b, poses, gradient, own)
        order = np.argsort(np.concatenate(keys), kind="stable")
        return Terms(
            energy,
            least,
            gradient,
            own,
            own_drag,
            np.concatenate(pairs),
            np.concatenate(blocks),
            np.concatenate(drags),
            np.concatenate(keys)[order],
            np.concatenate(forces)[order],
            now,
        )

    def with_reach(self, reach: float, *, same_nodes: bool = True) -> "Model":
        """The same with another reach of the barrier, on the same nodes or on those that it needs."""
        other = Model(self.bodies, replace(self.barrier, reach=reach), on=self.on if same_nodes else None)
        other._pairs, other._pair_rows, other._room = self._pairs, self._pair_rows, self._room
        other._seen, other._margin = self._seen, self._margin
        return other

    def touching(self, poses: Poses) -> int:
        """How many contacts there are; none where a wire is nearer than allowed."""
        if not np.isfinite(self.energy(poses)):
            return 0
        return len(self.terms(poses, None).forces)

    def contact_gradient(self, poses: Poses) -> Floats:
        """Gradient of the contact energy alone, without gravity and friction [ring weights], shape (n, w)."""
        bare = replace(self.bodies, friction=0.0, loads=np.zeros_like(self.bodies.loads), arms=None)
        alone = Model(bare, self.barrier, on=self.on)
        alone._pairs, alone._pair_rows, alone._room = self._pairs, self._pair_rows, self._room
        return alone.terms(poses, None).gradient

    def solid_forces(self, poses: Poses, grip: Grip) -> float:
        """Upward force of all solids on all bodies, friction included [ring weights]."""
        n = len(self.bodies.radii)
        apart = replace(self.bodies, loads=np.zeros_like(self.bodies.loads), arms=None)
        alone = Model(apart, self.barrier, on=self.on)
        alone._room = self._room
        alone._seen, alone._margin = poses.centres, np.inf
        return -float(alone.terms(poses, grip).gradient[:, 2].sum()) if n else 0.0

    def _grip(self, poses: Poses, rooms: list[Room]) -> tuple[Grip, Ints, Ints]:
        """All places that press, the part of the contacts that each belongs to, and its row there."""
        found = [
            places(self.bodies, self.on, poses, rows, room)
            for rows, room in zip(self._pair_rows + self._solid_rows, rooms, strict=True)
        ]
        touch = np.concatenate([room.touch[: room.count] for room in rooms])
        part = np.repeat(np.arange(len(rooms)), [room.count for room in rooms])
        both, keys, arms = (np.concatenate(column) for column in zip(*found, strict=True))
        grip = Grip(
            both, keys, touch[:, 2], np.concatenate([room.press[: room.count] for room in rooms]), arms,
            np.zeros((len(touch), 3)), np.zeros(len(touch), dtype=bool),
        )  # fmt: skip
        return grip, part, touch[:, 0]

    def slip_energy(self, grip: Grip, poses: Poses, step: Floats) -> tuple[float, Grip]:
        """Energy of friction's springs after a step from `poses`, and the places as they are then."""
        b = self.bodies
        if not b.friction:
            return 0.0, grip
        energy, stretch, slid = slip_energy(
            grip, poses.frames, b.radii, step, b.friction, SLIP * self.barrier.reach
        )
        return energy, replace(grip, stretch=stretch, slid=slid)


def add_load(bodies: Setting, poses: Poses, gradient: Floats, own: Floats) -> None:
    """Add what loads at the centres of mass do to turns: they pull on arms.

    Args:
        bodies: The bodies, with six unknowns each.
        poses: Their poses.
        gradient: Gradients are added [ring weights], shape (n, 6).
        own: Hessians are added [ring weights / mm], shape (n, 6, 6).
    """
    assert bodies.arms is not None
    arms = np.einsum("nk,nka->na", bodies.arms, poses.frames)
    # To second order a turn t moves the end of an arm by t x arm + t x (t x arm) / 2.
    turned = np.cross(poses.frames, arms[:, None]) / bodies.radii[:, None, None]
    real = np.arange(3) < bodies.turns[:, None]
    gradient[:, 3:] -= np.where(real, np.einsum("na,nka->nk", bodies.loads, turned), 0.0)
    load, arm = (np.einsum("na,nka->nk", v, poses.frames) for v in (bodies.loads, arms))
    both = 0.5 * (load[:, :, None] * arm[:, None, :] + load[:, None, :] * arm[:, :, None])
    both -= np.eye(3) * (load * arm).sum(axis=1)[:, None, None]
    bent = both / bodies.radii[:, None, None] ** 2
    own[:, 3:, 3:] -= np.where(real[:, :, None] & real[:, None, :], bent, 0.0)
