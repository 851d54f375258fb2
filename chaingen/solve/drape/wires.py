"""The curves of bodies as the drape's kernels want them: where they join and end, and the nodes along them.

Everything is in the body's own frame [mm]. Every curve has nodes in the middle of equal parts, whole circles
as rings have them. Where a wire ends, and at a ball, there is one more whose length is that of a contact.

Two curves that join in a strand share the plane square to the wire between them, number for number: a place
near the joint is nearest to the inside of one of them and not of the other, whatever the round-off.
"""

from math import pi
from typing import NamedTuple

import numpy as np

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.centrelines import FULL_TURN
from chaingen.geometry.shapes import CAP_END, CAP_START, FIRST, ORIGIN, RADIUS, SECOND, SPAN, WIRE
from chaingen.geometry.types import Floats, Ints
from chaingen.solve.drape.energy import NODES_A_PLACE, NODES_IN_REACH


class Wires(NamedTuple):
    """Curves of bodies, each kind of body's once.

    Attributes:
        begins: First curve of each body, shape (n,).
        ends: Curve after its last, shape (n,).
        table: The curves as rows, see `chaingen.geometry.shapes`, shape (k, COLUMNS).
        planes: Point and unit direction of the wire at the beginning and at the end of each curve, shape
            (k, 2, 6).
        across: Unit normal of an arc's plane, and unit direction of the wire in its middle, shape (k, 6).
        spheres: Middle and radius of a sphere round each centreline, shape (k, 4).
        starts: First node of each curve, shape (k,).
        counts: How many nodes it has, shape (k,).
        nodes: Place of each node; the two functions in which it is linear: cos and sin of the angle along an
            arc, length along a straight and 0; and the length it stands for, 0 for that of a contact, shape
            (s, 6). Curves begin at multiples of `NODES_A_PLACE`; what is between them is not used.
        steps: Distance of neighbouring nodes of each curve, shape (k,).
    """

    begins: Ints
    ends: Ints
    table: Floats
    planes: Floats
    across: Floats
    spheres: Floats
    starts: Ints
    counts: Ints
    nodes: Floats
    steps: Floats

    def places(self, bodies: Ints, nodes: Ints) -> Floats:
        """Nodes by their number in their body: place, functions and length, shape (m, 6)."""
        return np.asarray(self.nodes[self.starts[self.begins[bodies]] + nodes])

    def curve_of(self, bodies: Ints, nodes: Ints) -> Ints:
        """The curve of each node, shape (m,)."""
        at = self.starts[self.begins[bodies]] + nodes
        return np.asarray(np.searchsorted(self.starts, at, side="right") - 1)

    def renumbered(self, before: "Wires", bodies: Ints, nodes: Ints) -> Ints:
        """The nodes nearest to those of the same curves with other nodes."""
        curve = before.curve_of(bodies, nodes)
        part = before.starts[before.begins[bodies]] + nodes - before.starts[curve]
        there = np.rint(part * (self.counts[curve] / before.counts[curve])).astype(np.int64)
        there = np.minimum(there, self.counts[curve] - 1)
        return np.asarray(self.starts[curve] - self.starts[self.begins[bodies]] + there)


def wires_of(bodies: Bodies, reach: float) -> Wires:
    """The curves of some bodies, with nodes for a barrier of this reach [mm]; poses do not matter."""
    curves = bodies.primitives()
    table = curves.table
    planes = np.array([_ends(row) for row in table]).reshape(-1, 2, 6)
    at = len(table) - sum(len(shape.primitives) for shape in bodies.shapes)
    for shape in bodies.shapes:
        strands = shape.strand_of
        for strand in set(strands):
            curves_of = at + np.flatnonzero(np.array(strands) == strand)
            # The joint is told once: by the end of the curve before it.
            planes[curves_of[1:], 0] = planes[curves_of[:-1], 1]
            if shape.strands[strand].closed:
                planes[curves_of[0], 0] = planes[curves_of[-1], 1]
        at += len(strands)
    across = np.concatenate([np.cross(table[:, FIRST], table[:, SECOND]), _ahead(table)], axis=1)
    thinnest = float(bodies.thinnest.min())
    starts, counts, steps = [], [], []
    nodes: list[Floats] = []
    total = 0
    for row in table:
        own, step = _nodes(row, reach, thinnest)
        starts.append(total)
        counts.append(len(own))
        steps.append(step)
        padded = -(-len(own) // NODES_A_PLACE) * NODES_A_PLACE
        nodes.append(np.concatenate([own, np.zeros((padded - len(own), 6))]))
        total += padded
    return Wires(
        curves.begins, curves.ends, table, planes, across, np.array([_sphere(row) for row in table]),
        np.array(starts, dtype=np.int64), np.array(counts, dtype=np.int64), np.concatenate(nodes),
        np.array(steps),
    )  # fmt: skip


def thicker(wires: Wires, more: float) -> Wires:
    """The same curves and nodes with wires whose radius is `more` [mm] larger."""
    if not more:
        return wires
    table = wires.table.copy()
    table[:, WIRE] += more
    return wires._replace(table=table)


def _point(row: Floats, t: Floats) -> Floats:
    """Points of a curve at parameters, shape (m,), as rows."""
    t = t[:, None]
    if row[RADIUS] == 0.0:
        return np.asarray(row[ORIGIN] + t * row[FIRST])
    return np.asarray(row[ORIGIN] + row[RADIUS] * (np.cos(t) * row[FIRST] + np.sin(t) * row[SECOND]))


def _direction(row: Floats, t: float) -> Floats:
    if row[RADIUS] == 0.0:
        return row[FIRST]
    return np.asarray(np.cos(t) * row[SECOND] - np.sin(t) * row[FIRST])


def _ends(row: Floats) -> Floats:
    points = _point(row, np.array([0.0, row[SPAN]]))
    return np.stack([np.concatenate([points[k], _direction(row, t)]) for k, t in enumerate((0.0, row[SPAN]))])


def _ahead(table: Floats) -> Floats:
    return np.stack([_direction(row, 0.5 * row[SPAN]) for row in table])


def _sphere(row: Floats) -> Floats:
    if row[RADIUS] and row[SPAN] > pi:
        return np.append(row[ORIGIN], row[RADIUS])
    # An arc of half a circle at most lies within the sphere on its chord.
    one, two = _point(row, np.array([0.0, row[SPAN]]))
    return np.append(0.5 * (one + two), 0.5 * np.linalg.norm(two - one))


def _nodes(row: Floats, reach: float, thinnest: float) -> tuple[Floats, float]:
    """The nodes of a curve as rows, and their distance [mm]."""
    arc, span = bool(row[RADIUS]), row[SPAN]
    length = span * row[RADIUS] if arc else span
    contact = np.sqrt(2.0 * (row[WIRE] + thinnest) * reach)
    count = int(np.ceil(length * NODES_IN_REACH / contact))
    whole = arc and span >= FULL_TURN
    if length == 0.0:
        t, lengths = np.zeros(1), np.zeros(1)
    elif whole:
        t, lengths = span * np.arange(count) / count, np.full(count, length / count)
    else:
        t, lengths = span * (np.arange(count) + 0.5) / count, np.full(count, length / count)
        if row[CAP_START]:
            t, lengths = np.concatenate([[0.0], t]), np.concatenate([[0.0], lengths])
        if row[CAP_END]:
            t, lengths = np.append(t, span), np.append(lengths, 0.0)
    functions = np.column_stack([np.cos(t), np.sin(t)] if arc else [t, np.zeros(len(t))])
    return np.column_stack([_point(row, t), functions, lengths]), length / max(count, 1)
