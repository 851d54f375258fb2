"""Contacts of one kind as a kernel leaves them: ring on ring, body on body, or either on a solid."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from chaingen.geometry.shapes import RADIUS, SPAN, WIRE
from chaingen.geometry.types import Floats, Ints
from chaingen.solve.drape.body_energy import body_pair_energy, body_solid_energy
from chaingen.solve.drape.energy import Poses, node_counts, pair_energy, solid_energy
from chaingen.solve.drape.setting import Barrier, Setting
from chaingen.solve.drape.wires import Wires, thicker, wires_of


@dataclass(frozen=True, eq=False)
class Nodes:
    """The nodes at which contact is measured.

    Attributes:
        rings: Nodes on each ring, shape (n,); of other bodies they mean nothing.
        wires: The curves of all bodies with their nodes; None where all are rings.
        apart: The same with the wires that bodies have for one another, thicker by half the clearance.
    """

    rings: Ints
    wires: Wires | None
    apart: Wires | None

    def seen_by(self, rows: "Rows") -> Wires:
        """The curves as these contacts see them; where some body is no ring."""
        wires = self.apart if rows.solid is None else self.wires
        assert wires is not None
        return wires

    def renumbered(self, before: "Nodes", bodies: Ints, nodes: Ints) -> Ints:
        """The nodes nearest to those that had these numbers before."""
        if self.wires is not None and before.wires is not None:
            return self.wires.renumbered(before.wires, bodies, nodes)
        return np.rint(nodes * (self.rings[bodies] / before.rings[bodies])).astype(np.int64)


def nodes_for(bodies: Setting, reach: float) -> Nodes:
    """The nodes that a barrier of this reach [mm] needs."""
    wires = None
    if bodies.width > 5:
        count = len(bodies.radii)
        wires = wires_of(bodies.at(Poses(np.zeros((count, 3)), np.tile(np.eye(3), (count, 1, 1)))), reach)
    thinnest = float(bodies.thinnest.min(initial=np.inf))
    apart = None if wires is None else thicker(wires, 0.5 * bodies.clearance)
    # Nodes as thin wires need them lie close enough for thicker ones.
    return Nodes(node_counts(bodies.radii, bodies.wire_radii, reach, thinnest), wires, apart)


@dataclass(frozen=True, eq=False)
class Rows:
    """Contacts that there may be, one a row.

    Attributes:
        bodies: The two bodies, the one whose unknowns come first in front; of a solid the second is -1 less
            its number, shape (m, 2).
        keys: Contacts by key, see `Barrier`, shape (m,).
        stiffness: Their stiffness [ring weights], shape (m,).
        shaped: Whether one of the two is no ring.
        solid: Number of the solid; None for pairs.
    """

    bodies: Ints
    keys: Ints
    stiffness: Floats
    shaped: bool
    solid: int | None = None

    def __len__(self) -> int:
        return len(self.keys)

    @cached_property
    def first(self) -> Ints:
        """The body whose unknowns come first, shape (m,)."""
        return self.bodies[:, 0].copy()


def pair_rows(bodies: Setting, barrier: Barrier, pairs: Ints, shaped: bool) -> Rows:
    """Rows for pairs of bodies, shape (m, 2)."""
    keys = pairs[:, 0] * (len(bodies.radii) + len(bodies.solids)) + pairs[:, 1]
    return Rows(pairs, keys, barrier.of(keys), shaped)


def solid_rows(bodies: Setting, barrier: Barrier) -> list[Rows]:
    """Rows for all bodies with each solid, those for rings first."""
    n, rows = len(bodies.radii), []
    for number in range(len(bodies.solids)):
        for shaped in (False, True) if bodies.width > 5 else (False,):
            first = np.flatnonzero(bodies.is_ring != shaped)
            keys = first * (n + len(bodies.solids)) + n + number
            both = np.column_stack([first, np.full(len(first), -1 - number)])
            rows.append(Rows(both, keys, barrier.of(keys), shaped, number))
    return rows


class Room:
    """Arrays for a kernel to fill.

    Attributes:
        grads: Gradients of the rows [ring weights], shape (m, w).
        blocks: Their Hessians [ring weights / mm], shape (m, w, w).
        forces: Normal force of each row [ring weights], shape (m,).
        touch: Row, side and node of every place that presses, shape (k, 3).
        press: Their normal force [ring weights] and direction, shape (k, 4).
        count: How many places there are, more than there is room for at worst.
    """

    def __init__(self, rows: Rows, derivatives: bool, places: int) -> None:
        count = len(rows) if derivatives else 0
        width = (6 if rows.shaped else 5) * (2 if rows.solid is None else 1)
        # Kernels of solids add to what is there.
        self.grads = np.empty((count, width)) if rows.solid is None else np.zeros((count, width))
        self.blocks = np.zeros((count, width, width))
        self.forces = np.empty(len(rows))
        self.touch: Ints = np.empty((places if derivatives else 0, 3), dtype=np.int64)
        self.press = np.empty((places if derivatives else 0, 4))
        self.count = 0


def evaluate(
    bodies: Setting, nodes: Nodes, poses: Poses, reach: float, rows: Rows, room: Room, derivatives: bool
) -> tuple[float, float]:
    """Fill the room; returns energy [ring weights mm] and smallest gap [mm], at most `reach`."""
    out = room.grads, room.blocks, room.forces, room.touch, room.press
    if rows.solid is not None:
        solid = bodies.solids[rows.solid]
        kind, numbers = int(solid.kind), solid.numbers
    if rows.shaped:
        all_of = poses.centres, poses.frames, bodies.radii, bodies.turns, nodes.seen_by(rows)
        if rows.solid is None:
            energy, least, room.count = body_pair_energy(
                *all_of, rows.bodies, rows.stiffness, reach, derivatives, *out
            )
        else:
            energy, least, room.count = body_solid_energy(
                *all_of, rows.first, kind, numbers, rows.stiffness, reach, derivatives, *out
            )
    elif rows.solid is None:
        energy, least, room.count = pair_energy(
            poses.centres, poses.frames, bodies.radii, bodies.apart_radii, rows.bodies, rows.stiffness,
            nodes.rings, reach, derivatives, *out,
        )  # fmt: skip
    else:
        own = rows.first if bodies.width > 5 else slice(None)
        energy, least, room.count = solid_energy(
            poses.centres[own], poses.frames[own], bodies.radii[own], bodies.wire_radii[own], kind, numbers,
            rows.stiffness, nodes.rings[own], reach, derivatives, *out,
        )  # fmt: skip
    return float(energy), float(least)


def embedded(room: Room, rows: Rows, active: Ints, width: int) -> tuple[Floats, Floats]:
    """Gradients and Hessians of some rows for bodies of `width` unknowns: a ring's sixth does nothing."""
    grads, blocks = room.grads[active], room.blocks[active]
    if rows.shaped or width == 5:
        return grads, blocks
    m, count = len(active), 2 if rows.solid is None else 1
    wide, square = np.zeros((m, count, 6)), np.zeros((m, count, 6, count, 6))
    wide[:, :, :5] = grads.reshape(m, count, 5)
    square[:, :, :5, :, :5] = blocks.reshape(m, count, 5, count, 5)
    return wide.reshape(m, 6 * count), square.reshape(m, 6 * count, 6 * count)


def places(bodies: Setting, nodes: Nodes, poses: Poses, rows: Rows, room: Room) -> tuple[Ints, Ints, Floats]:
    """Where the places are that press.

    Returns:
        The two bodies of each, the one that the place is a node of first, shape (k, 2); their keys with the
        side, shape (k,); and the way from either body's middle to the place [mm], shape (k, 2, 3).
    """
    row, side, node = room.touch[: room.count].T
    both = rows.bodies[row]
    if rows.solid is None:
        lines = np.arange(len(row))
        both = np.column_stack([both[lines, side], both[lines, 1 - side]])
    frames = poses.frames[both[:, 0]]
    if rows.shaped:
        wires = nodes.seen_by(rows)
        arm = np.einsum("kr,kra->ka", wires.places(both[:, 0], node)[:, :3], frames)
        # Of a wire the centreline stands for the place, as for rings; a ball is touched at its surface.
        curve = wires.table[wires.curve_of(both[:, 0], node)]
        ball = (curve[:, RADIUS] == 0.0) & (curve[:, SPAN] == 0.0)
        arm -= np.where(ball, curve[:, WIRE], 0.0)[:, None] * room.press[: room.count, 1:]
    else:
        angle = 2.0 * np.pi * node / nodes.rings[both[:, 0]]
        arm = bodies.radii[both[:, 0], None] * (
            np.cos(angle)[:, None] * frames[:, 0] + np.sin(angle)[:, None] * frames[:, 1]
        )
    other = poses.centres[both[:, 0]] + arm - poses.centres[both[:, 1]]
    return both, 2 * rows.keys[row] + side, np.stack([arm, other], axis=1)
