"""Near contacts of a graph at a state, linearised in the rings' poses.

A pair that is linked as asked must be clear everywhere, not only at its closest points: besides all local
minima, even samples of both circles enter the program, so that flat contacts (rings lying side by side) do
not zigzag.
"""

from dataclasses import dataclass
from math import pi

import numba
import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_matrix, csc_matrix

from chaingen.geometry.bodies import Bodies, axes_across
from chaingen.geometry.distance import MOST_MINIMA, nearest_on_circle, nearest_points, point_at
from chaingen.geometry.linking import disc_crossings
from chaingen.geometry.near import near_pairs
from chaingen.geometry.types import Floats, Ints
from chaingen.solve.body_contacts import Tables, collect_bodies, tables_of, wanted_eyes, write_row
from chaingen.solve.motion import UNKNOWNS, Motion, MotionKind
from chaingen.weave.graph import LinkGraph

REACH = 2.5
"""Wires up to this many radii of the smallest ring apart are contacts: more than the gaps of loose chains."""

CONTACT_SAMPLES = 8
"""Even samples of each circle of a pair that enter the linear program besides the local minima."""


@dataclass(frozen=True, eq=False)
class State:
    """Poses on their way: the rings of a piece or cell and the motion to the next cell."""

    rings: Bodies
    motion: Motion


@dataclass(frozen=True, eq=False)
class Rows:
    """Linearised contacts, one row each.

    Attributes:
        first: Index of the first ring, shape (m,).
        second: Index of the second ring, shape (m,).
        image: Image of the cell in which the second ring lies, an index into `cells`, shape (m,).
        sign: +1 where the pair is linked as asked, -1 where not, shape (m,).
        distance: Distance of the centrelines there [mm], shape (m,).
        direction: Unit vector from the second to the first nearest point, shape (m, 3).
        arms: From either ring's centre to its nearest point [mm], shape (m, 2, 3).
        both: Sum of the wire radii there [mm], shape (m,).
        is_minimum: Whether the row is a local minimum (the others are samples), shape (m,).
        cells: The images, as cells along and across, shape (k, 2).
    """

    first: Ints
    second: Ints
    image: Ints
    sign: Floats
    distance: Floats
    direction: Floats
    arms: Floats
    both: Floats
    is_minimum: npt.NDArray[np.bool_]
    cells: Ints


@numba.njit(cache=True)
def _collect(
    centres: Floats, normals: Floats, radii: Floats, wires: Floats,
    pairs: Ints, wanted: npt.NDArray[np.bool_], rotations: Floats, translations: Floats, reach: float,
    index: Ints, sign: Floats, distance: Floats, direction: Floats, arms: Floats, wires_there: Floats,
    minimum: npt.NDArray[np.bool_],
) -> int:  # fmt: skip
    """Fill the rows for all pairs; returns how many there are, or -1 when there is no room."""
    room = len(sign)
    m = 0
    angles = np.empty(MOST_MINIMA)
    found = np.empty((MOST_MINIMA, 2, 3))
    cb = np.empty(3)
    nb = np.empty(3)
    for k in range(len(pairs)):
        i = pairs[k, 0]
        j = pairs[k, 1]
        image = pairs[k, 2]
        for a in range(3):
            cb[a] = translations[image, a]
            nb[a] = 0.0
            for b in range(3):
                cb[a] += rotations[image, a, b] * centres[j, b]
                nb[a] += rotations[image, a, b] * normals[j, b]
        ca = centres[i]
        na = normals[i]
        begin = m
        if m + 2 * CONTACT_SAMPLES + MOST_MINIMA > room:
            return -1
        both = wires[i] + wires[j]
        crossed, _ = disc_crossings(ca, na, radii[i], cb, nb, radii[j])
        right = (crossed == 1) == wanted[k]
        count = nearest_points(ca, na, radii[i], cb, nb, radii[j], angles, found)
        best = -1
        for c in range(count):
            px, py, pz = found[c, 0, 0], found[c, 0, 1], found[c, 0, 2]
            qx, qy, qz = found[c, 1, 0], found[c, 1, 1], found[c, 1, 2]
            write_row(px, py, pz, qx, qy, qz, ca, cb, distance, direction, arms, m)
            if right:
                if distance[m] - both < reach:
                    index[m, 0] = i
                    index[m, 1] = j
                    index[m, 2] = image
                    sign[m] = 1.0
                    minimum[m] = True
                    m += 1
            elif best < 0:
                index[m, 0] = i
                index[m, 1] = j
                index[m, 2] = image
                sign[m] = -1.0
                minimum[m] = True
                best = m
                m += 1
            elif distance[m] < distance[best]:
                write_row(px, py, pz, qx, qy, qz, ca, cb, distance, direction, arms, best)
        if not right:
            for c in range(begin, m):
                wires_there[c] = both
            continue
        for c in range(2 * CONTACT_SAMPLES):
            t = 2.0 * pi * (c % CONTACT_SAMPLES) / CONTACT_SAMPLES
            if c < CONTACT_SAMPLES:
                px, py, pz = point_at(ca, na, radii[i], t)
                qx, qy, qz = nearest_on_circle(px, py, pz, cb, nb, radii[j])
            else:
                qx, qy, qz = point_at(cb, nb, radii[j], t)
                px, py, pz = nearest_on_circle(qx, qy, qz, ca, na, radii[i])
            write_row(px, py, pz, qx, qy, qz, ca, cb, distance, direction, arms, m)
            if distance[m] - both < reach:
                index[m, 0] = i
                index[m, 1] = j
                index[m, 2] = image
                sign[m] = 1.0
                minimum[m] = False
                m += 1
        for c in range(begin, m):
            wires_there[c] = both
    return m


class Contacts:
    """Finds the linearised contacts of a graph at any state."""

    def __init__(self, graph: LinkGraph) -> None:
        self._size = len(graph)
        links, cells, eyes = graph.links.copy(), graph.offsets.copy(), graph.link_eyes.copy()
        # A link can be seen from either end; it is kept as seen from the cell that lies behind.
        behind = (cells[:, 0] < 0) | ((cells[:, 0] == 0) & (cells[:, 1] < 0))
        behind |= (cells == 0).all(axis=1) & (links[:, 0] > links[:, 1])
        links[behind], eyes[behind] = links[behind][:, ::-1], eyes[behind][:, ::-1]
        cells[behind] *= -1
        self._links, self._cells = links, cells
        self._keys = self._key(links, cells)
        self._eyes: dict[int, tuple[tuple[int, int], ...]] = {}
        for key, (one, two) in zip(self._keys.tolist(), eyes.tolist(), strict=True):
            self._eyes[key] = (*self._eyes.get(key, ()), (one, two))
        self._tables: tuple[Floats, Tables] | None = None
        self._room = 4096

    def _key(self, pairs: Ints, cells: Ints) -> Ints:
        image = cells[:, 0] * 1024 + cells[:, 1] + 512
        return np.asarray((image * self._size + pairs[:, 0]) * self._size + pairs[:, 1])

    def pairs(self, state: State) -> tuple[Ints, Ints, npt.NDArray[np.bool_]]:
        """Pairs that could meet, and all links.

        Returns:
            Index, index and image of each pair, shape (m, 3); the images, shape (k, 2); and whether each pair
            should be linked.
        """
        rings, motion = state.rings, state.motion
        margin = max(2.0 * float(rings.wire_radii.max()), REACH * float(rings.eye_radii.min()))
        if motion.kind is MotionKind.NONE:
            cells = np.zeros((1, 2), dtype=np.int64)
            near = near_pairs(rings, margin=margin)
            pairs = np.column_stack([near, np.zeros(len(near), dtype=np.int64)])
        else:
            reach = rings.radii + rings.wire_radii
            extent = np.ptp(rings.centres, axis=0)
            span = float(np.linalg.norm(extent) if motion.kind is MotionKind.SHEET else extent[0])
            cells = motion.images(float(2.0 * reach.max() + margin), span)
            rotations, translations = motion.transforms(cells)
            moved = np.einsum("kab,nb->kna", rotations, rings.centres) + translations[:, None, :]
            apart = np.linalg.norm(rings.centres[None, :, None, :] - moved[:, None, :, :], axis=3)
            close = apart < reach[None, :, None] + reach[None, None, :] + margin
            close[0] &= np.triu(np.ones((len(rings), len(rings)), dtype=bool), 1)
            k, i, j = np.nonzero(close)
            pairs = np.column_stack([i, j, k])
        missing = ~np.isin(self._keys, self._key(pairs, cells[pairs[:, 2]]))
        if missing.any():
            extra, of_extra = np.unique(self._cells[missing], axis=0, return_inverse=True)
            more = np.column_stack([self._links[missing], len(cells) + of_extra.ravel()])
            pairs, cells = np.concatenate([pairs, more]), np.concatenate([cells, extra])
        wanted = np.isin(self._key(pairs, cells[pairs[:, 2]]), self._keys)
        return np.ascontiguousarray(pairs), cells, wanted

    def _tables_of(self, bodies: Bodies) -> Tables:
        """The tables of the bodies, which stay the same while they move."""
        if self._tables is None or self._tables[0] is not bodies.radii:
            self._tables = bodies.radii, tables_of(bodies)
        return self._tables[1]

    def rows(self, state: State, reach: float) -> Rows:
        """Linearised contacts: wrongly linked pairs, and of the others places nearer than `reach` [mm]."""
        pairs, cells, wanted = self.pairs(state)
        rings = state.rings
        rotations, translations = state.motion.transforms(cells)
        mixed: Ints = np.empty((0, 3), dtype=np.int64)
        if not rings.all_rings:
            both_rings = rings.is_ring[pairs[:, :2]].all(axis=1)
            mixed, pairs, wanted = pairs[~both_rings], pairs[both_rings], wanted[both_rings]
        while True:
            room = self._room
            index = np.empty((room, 3), dtype=np.int64)
            sign = np.empty(room)
            distance = np.empty(room)
            direction = np.empty((room, 3))
            arms = np.empty((room, 2, 3))
            both = np.empty(room)
            minimum = np.empty(room, dtype=np.bool_)
            m = _collect(
                rings.centres, rings.normals, rings.radii, rings.wire_radii, pairs, wanted, rotations,
                translations, reach, index, sign, distance, direction, arms, both, minimum,
            )  # fmt: skip
            if m >= 0 and len(mixed):
                t = self._tables_of(rings)
                eyes, place = wanted_eyes(self._key(mixed, cells[mixed[:, 2]]), self._eyes)
                m = collect_bodies(
                    rings.centres, rings.frames(), t.primitives, t.begins, t.ends, t.loops.table,
                    t.loops.begins, t.loops.ends, t.loops.counts, t.loops.planar, t.loops.turns,
                    t.open_eyes, t.most, np.ascontiguousarray(mixed), eyes, place, rotations, translations,
                    reach, index, sign, distance, direction, arms, both, minimum, m,
                )  # fmt: skip
            if m >= 0:
                break
            self._room *= 2
        return Rows(
            index[:m, 0],
            index[:m, 1],
            index[:m, 2],
            sign[:m],
            distance[:m],
            direction[:m],
            arms[:m],
            both[:m],
            minimum[:m],
            cells,
        )


def columns_of(bodies: Bodies, free: npt.NDArray[np.bool_]) -> tuple[Ints, int]:
    """First column of each free body in `jacobian`, -1 of the others, shape (n,), and how many there are."""
    unknowns = np.where(bodies.is_ring, 5, 6) * free
    after = np.cumsum(unknowns)
    return np.where(free, after - unknowns, -1).astype(np.int64), int(after[-1]) if len(after) else 0


def _kinds(bodies: Bodies) -> list[tuple[npt.NDArray[np.bool_], int]]:
    """Which bodies have how many unknowns."""
    rings = bodies.is_ring
    return [(rings, 5)] if bodies.all_rings else [(rings, 5), (~rings, 6)]


def turn_axes(bodies: Bodies) -> Floats:
    """The axes about which bodies turn: two across the normal of a ring; a shaped body's own, (n, 3, 3)."""
    one, two = axes_across(bodies.normals)
    axes = np.stack([one, two, bodies.normals], axis=1)
    if not bodies.all_rings:
        shaped = ~bodies.is_ring
        axes[shaped] = bodies.frames()[shaped]
    return axes


def jacobian(rows: Rows, state: State, free: npt.NDArray[np.bool_]) -> csc_matrix:
    """Derivatives of the contact distances, shape (m, unknowns of the free bodies + UNKNOWNS).

    Columns: three moves of each free body's centre [mm], a ring's two tilts or another body's three turns
    times its radius [mm], last the unknowns of the motion [mm]; see `columns_of`.
    """
    rings, motion = state.rings, state.motion
    column, width = columns_of(rings, free)
    kinds = _kinds(rings)
    axes = turn_axes(rings)[:, : 2 if len(kinds) == 1 else 3]
    rotations, translations = motion.transforms(rows.cells)
    m = len(rows.first)
    row_parts, column_parts, value_parts = [], [], []
    for ring, arm, side in ((rows.first, rows.arms[:, 0], 1.0), (rows.second, rows.arms[:, 1], -1.0)):
        direction = rows.direction
        if side < 0:
            # The image turns with its cell: look at it from the cell's own frame.
            back = rotations[rows.image]
            direction = np.einsum("mba,mb->ma", back, direction)
            arm = np.einsum("mba,mb->ma", back, arm)
        torque = np.cross(arm, direction) / rings.radii[ring][:, None]
        values = side * np.column_stack([direction, np.einsum("ma,mka->mk", torque, axes[ring])])
        for kind, unknowns in kinds:
            keep = (column[ring] >= 0) & kind[ring]
            row_parts.append(np.repeat(np.flatnonzero(keep), unknowns))
            column_parts.append((column[ring][keep][:, None] + np.arange(unknowns)).ravel())
            value_parts.append(values[keep, :unknowns].ravel())
    if motion.kind is MotionKind.SHIFT or motion.kind is MotionKind.SHEET:
        turned = rotations[rows.image]
        points = np.einsum("mab,mb->ma", turned, rings.centres[rows.second]) + translations[rows.image]
        points += rows.arms[:, 1]
        slopes = motion.slopes(rows.cells[rows.image], points)
        values = -np.einsum("mua,ma->mu", slopes, rows.direction)
        row_parts.append(np.repeat(np.arange(m), UNKNOWNS))
        column_parts.append(np.tile(width + np.arange(UNKNOWNS), m))
        value_parts.append(values.ravel())
    return coo_matrix(
        (np.concatenate(value_parts), (np.concatenate(row_parts), np.concatenate(column_parts))),
        shape=(m, width + UNKNOWNS),
    ).tocsc()


def stepped(state: State, free: npt.NDArray[np.bool_], step: Floats) -> State:
    """The state after a step; see `jacobian` for its entries."""
    rings = state.rings
    column, _ = columns_of(rings, free)
    moves = np.zeros((len(rings), 6))
    for kind, unknowns in _kinds(rings):
        own = np.flatnonzero(free & kind)
        moves[own, :unknowns] = step[column[own][:, None] + np.arange(unknowns)]
    turns = np.einsum("nk,nka->na", moves[:, 3:], turn_axes(rings)) / rings.radii[:, None]
    normals = rings.normals + np.cross(turns, rings.normals)
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    axes = rings.axes
    if axes is not None:
        axes = axes + np.cross(turns, axes)
        axes -= (axes * normals).sum(axis=1)[:, None] * normals
        axes /= np.linalg.norm(axes, axis=1)[:, None]
    return State(
        rings.posed(rings.centres + moves[:, :3], normals, axes), state.motion.stepped(step[-UNKNOWNS:])
    )


def picked_rows(rows: Rows, use: npt.NDArray[np.bool_]) -> Rows:
    """The rows where `use` is true."""
    return Rows(
        rows.first[use], rows.second[use], rows.image[use], rows.sign[use], rows.distance[use],
        rows.direction[use], rows.arms[use], rows.both[use], rows.is_minimum[use], rows.cells,
    )  # fmt: skip
