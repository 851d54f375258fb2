"""Contact energy of wires on wires and wires on solids, with exact derivatives.

Along each centreline the barrier of the gap is integrated by the trapezoid rule,

    E = sum over pairs  K / 2  (e / w)  [ integral over a of B(g / e) ds + integral over b of B(g / e) ds ],
    B(y) = -(1 - y)^2 log y  for y < 1, else 0

(B as in Li et al. 2020, "Incremental potential contact", ACM Trans. Graph. 39(4), for the squared distance
there). It is smooth where contacts split, merge, or run along the whole ring, which a sum over closest
points is not. e is the reach of the barrier [mm] and w = sqrt(2 (r_a + r_b) e) about the length of a contact
of crossing wires, so that K is about the force at which the gap is e / 2.

A ring has five unknowns, all in mm: the moves of its centre and its two tilts times its radius. Nodes sit
evenly on its centreline and move with it as a rigid body. For a node at `c_a + q` and the other ring's
centre `c_b`, w = c_a + q - c_b, the distance d(w) of the node to the other circle has the gradient G and the
Hessian D, both closed form, and to second order in moves x and tilts t

    d' = d + G . z1 + G . z2 + z1 . D z1 / 2,
    z1 = x_a - x_b + t_a x q - t_b x w,
    z2 = t_a x (t_a x q) / 2 - t_b x (x_a - x_b + t_a x q) + t_b x (t_b x w) / 2.
"""

from dataclasses import dataclass
from math import cos, log, pi, sin, sqrt

import numba
import numpy as np

from chaingen.geometry.solids import solid_distance
from chaingen.geometry.types import Floats, Ints
from chaingen.solve.drape.moments import add_contact, add_node

NODES_IN_REACH = 3.5
"""Nodes on the length w of a contact. Four times as many change the energy at rest by less than 1e-3 of it
and forces by less than 4e-3."""

NODES_A_PLACE = 4
"""Neighbouring nodes that make one place for friction, about the length of a contact of crossing wires."""

NEVER = 1e-4
"""A gap under this part of the barrier's reach has no finite energy."""


@dataclass(frozen=True, eq=False)
class Poses:
    """Poses of n bodies on their way.

    Attributes:
        centres: Ring centres and origins of other bodies [mm], shape (n, 3).
        frames: Their x, y and z axes as rows, shape (n, 3, 3); of a ring two unit vectors in its plane and
            its unit normal.
    """

    centres: Floats
    frames: Floats

    def stepped(self, step: Floats, radii: Floats) -> "Poses":
        """The poses after a step of moves and turns [mm], shape (n, 5) or (n, 6); turns are rigid."""
        turn = np.einsum("nk,nka->na", step[:, 3:] / radii[:, None], self.frames[:, : step.shape[1] - 3])
        angle = np.linalg.norm(turn, axis=1)
        axis = turn / np.maximum(angle, 1e-300)[:, None]
        s, c = np.sin(angle)[:, None, None], np.cos(angle)[:, None, None]
        frames = self.frames
        along = np.einsum("nka,na->nk", frames, axis)[:, :, None] * axis[:, None, :]
        frames = along + c * (frames - along) + s * np.cross(axis[:, None, :], frames)
        # Round-off is taken out, so that frames stay orthonormal over any number of steps.
        normal = frames[:, 2] / np.linalg.norm(frames[:, 2], axis=1)[:, None]
        first = frames[:, 0] - np.einsum("na,na->n", frames[:, 0], normal)[:, None] * normal
        first /= np.linalg.norm(first, axis=1)[:, None]
        return Poses(self.centres + step[:, :3], np.stack([first, np.cross(normal, first), normal], axis=1))


@numba.njit(cache=True)
def barrier(y: float) -> tuple[float, float, float]:
    """B(y) and its first two derivatives; y > 0."""
    if y >= 1.0:
        return 0.0, 0.0, 0.0
    left = 1.0 - y
    ln = log(y)
    return (
        -left * left * ln,
        2.0 * left * ln - left * left / y,
        -2.0 * ln + 4.0 * left / y + left * left / (y * y),
    )


@numba.njit(cache=True)
def circle_distance(
    wx: float, wy: float, wz: float, nx: float, ny: float, nz: float, radius: float, out: Floats
) -> float:
    """Distance of a point at `w` from a circle's centre to the circle; fills distance, gradient, Hessian."""
    h = wx * nx + wy * ny + wz * nz
    rx = wx - h * nx
    ry = wy - h * ny
    rz = wz - h * nz
    rho = sqrt(rx * rx + ry * ry + rz * rz)
    if rho < 1e-9 * radius:
        # On the axis every direction is as near: any of them will do, the barrier is far from here.
        rho = 1e-9 * radius
        rx, ry, rz = rho, 0.0, 0.0
    rx /= rho
    ry /= rho
    rz /= rho
    off = rho - radius
    d = max(sqrt(off * off + h * h), 1e-12)
    cr = off / d
    ch = h / d
    gx = cr * rx + ch * nx
    gy = cr * ry + ch * ny
    gz = cr * rz + ch * nz
    # Across G in the plane of axis and point, and around the axis.
    px = -ch * rx + cr * nx
    py = -ch * ry + cr * ny
    pz = -ch * rz + cr * nz
    fx = ny * rz - nz * ry
    fy = nz * rx - nx * rz
    fz = nx * ry - ny * rx
    ip = 1.0 / d
    ia = cr / rho
    out[0] = d
    out[1] = gx
    out[2] = gy
    out[3] = gz
    out[4] = ip * px * px + ia * fx * fx
    out[5] = ip * px * py + ia * fx * fy
    out[6] = ip * px * pz + ia * fx * fz
    out[7] = ip * py * py + ia * fy * fy
    out[8] = ip * py * pz + ia * fy * fz
    out[9] = ip * pz * pz + ia * fz * fz
    return d


@numba.njit(cache=True)
def point_to_circle(wx: float, wy: float, wz: float, nx: float, ny: float, nz: float, radius: float) -> float:
    """Distance alone."""
    h = wx * nx + wy * ny + wz * nz
    rho = sqrt(max(wx * wx + wy * wy + wz * wz - h * h, 0.0))
    return sqrt((rho - radius) * (rho - radius) + h * h)


@numba.njit(cache=True)
def _turns(nodes: Ints) -> tuple[Floats, Ints]:
    """Cos and sin of all nodes' angles, once for all rings of as many nodes, and where each ring's begin."""
    kinds = np.unique(nodes)
    table = np.empty((kinds.sum(), 2))
    starts = np.empty(len(kinds), dtype=np.int64)
    at = 0
    for k in range(len(kinds)):
        starts[k] = at
        for t in range(kinds[k]):
            table[at, 0] = cos(2.0 * pi * t / kinds[k])
            table[at, 1] = sin(2.0 * pi * t / kinds[k])
            at += 1
    return table, starts[np.searchsorted(kinds, nodes)]


@numba.njit(cache=True)
def note_press(
    row: int, side: int, node: int, force: float, g: Floats, found: int, touch: Ints, press: Floats
) -> int:
    """Note that a node presses: with the place noted last if that is the same, otherwise as a new place."""
    if 0 < found <= len(touch):
        last = touch[found - 1]
        if last[0] == row and last[1] == side and last[2] // NODES_A_PLACE == node // NODES_A_PLACE:
            press[found - 1, 0] += force
            for k in range(3):
                press[found - 1, 1 + k] += force * g[1 + k]
            return found
    if found < len(touch):
        touch[found, 0] = row
        touch[found, 1] = side
        touch[found, 2] = node
        press[found, 0] = force
        for k in range(3):
            press[found, 1 + k] = force * g[1 + k]
    return found + 1


@numba.njit(cache=True)
def level(found: int, press: Floats) -> None:
    """Bring the summed directions of places to unit length."""
    for m in range(min(found, len(press))):
        size = sqrt(press[m, 1] ** 2 + press[m, 2] ** 2 + press[m, 3] ** 2)
        for k in range(3):
            press[m, 1 + k] /= size


@numba.njit(cache=True)
def pair_energy(
    centres: Floats, frames: Floats, radii: Floats, wires: Floats, pairs: Ints, stiffness: Floats,
    nodes: Ints, reach: float, derivatives: bool, grads: Floats, blocks: Floats, forces: Floats, touch: Ints,
    press: Floats,
) -> tuple[float, float, int]:  # fmt: skip
    """Contact energy of all pairs.

    Args:
        centres: Ring centres [mm], shape (n, 3).
        frames: See `Poses`.
        radii: Centreline radii [mm], shape (n,).
        wires: Wire radii [mm], shape (n,).
        pairs: Index pairs, shape (m, 2).
        stiffness: K of each pair [weights], shape (m,).
        nodes: Nodes on each ring, shape (n,).
        reach: The barrier's reach e [mm].
        derivatives: Whether to fill the next two.
        grads: Receives each pair's gradient [weights], shape (m, 10).
        blocks: Receives each pair's Hessian [weights / mm], shape (m, 10, 10).
        forces: Receives the sum of the normal forces between each pair [weights], shape (m,).
        touch: Receives the pair, the side that the nodes belong to, and the first node, of every place that
            presses, shape (k, 3); places beyond its length are counted only.
        press: Receives their normal force [weights] and their direction, shape (k, 4).

    Returns:
        The energy [weights mm], the smallest gap of any node [mm], at most `reach`, and how many places
        press; (inf, gap, 0) as soon as a node is nearer than `NEVER`.
    """
    found = 0
    energy = 0.0
    least = reach
    turns, begins = _turns(nodes)
    g = np.empty(10)
    force = np.empty((3, 3))
    stiff = np.empty((6, 6))
    apart = np.empty(3)
    for m in range(len(pairs)):
        if derivatives:
            grads[m] = 0.0
            blocks[m] = 0.0
        forces[m] = 0.0
        i = pairs[m, 0]
        j = pairs[m, 1]
        both = wires[i] + wires[j]
        sx = centres[i, 0] - centres[j, 0]
        sy = centres[i, 1] - centres[j, 1]
        sz = centres[i, 2] - centres[j, 2]
        far = radii[i] + radii[j] + both + reach
        if sx * sx + sy * sy + sz * sz > far * far:
            continue
        length = sqrt(2.0 * both * reach)
        for side in range(2):
            a = i if side == 0 else j
            b = j if side == 0 else i
            oa = 0 if side == 0 else 5
            ob = 5 - oa
            sign = 1.0 if side == 0 else -1.0
            apart[0] = sign * sx
            apart[1] = sign * sy
            apart[2] = sign * sz
            force[:] = 0.0
            stiff[:] = 0.0
            pressing = False
            nx = frames[b, 2, 0]
            ny = frames[b, 2, 1]
            nz = frames[b, 2, 2]
            count = nodes[a]
            step = 2.0 * pi * radii[a] / count
            weight = 0.5 * stiffness[m] * step / length
            t = 0
            while t < count:
                c = turns[begins[a] + t, 0]
                s = turns[begins[a] + t, 1]
                wx = apart[0] + radii[a] * (c * frames[a, 0, 0] + s * frames[a, 1, 0])
                wy = apart[1] + radii[a] * (c * frames[a, 0, 1] + s * frames[a, 1, 1])
                wz = apart[2] + radii[a] * (c * frames[a, 0, 2] + s * frames[a, 1, 2])
                gap = point_to_circle(wx, wy, wz, nx, ny, nz, radii[b]) - both
                if gap >= reach:
                    # Distance changes no faster than arc length: nodes nearer than this are clear as well.
                    t += max(1, int((gap - reach) / step))
                    continue
                t += 1
                least = min(least, gap)
                if gap < NEVER * reach:
                    return np.inf, least, 0
                value, first, second = barrier(gap / reach)
                energy += weight * reach * value
                forces[m] -= weight * first
                if not derivatives:
                    continue
                circle_distance(wx, wy, wz, nx, ny, nz, radii[b], g)
                pressing = True
                found = note_press(m, side, t - 1, -weight * first, g, found, touch, press)
                add_node(g, c, s, weight * first, weight * second / reach, force, stiff)
            if pressing:
                add_contact(
                    force, stiff, frames[a], radii[a], apart, frames[b], radii[b], oa, ob, grads[m], blocks[m]
                )
    level(found, press)
    return energy, least, found


@numba.njit(cache=True)
def solid_energy(
    centres: Floats, frames: Floats, radii: Floats, wires: Floats, kind: int, numbers: Floats,
    stiffness: Floats, nodes: Ints, reach: float, derivatives: bool, grads: Floats, blocks: Floats,
    forces: Floats, touch: Ints, press: Floats,
) -> tuple[float, float, int]:  # fmt: skip
    """Contact energy of all rings with one solid; see `pair_energy`, of which it is one side.

    Args:
        centres: Ring centres [mm], shape (n, 3).
        frames: See `Poses`.
        radii: Centreline radii [mm], shape (n,).
        wires: Wire radii [mm], shape (n,).
        kind: The solid's kind, a `SolidKind`.
        numbers: Its numbers.
        stiffness: K of each ring [weights], shape (n,).
        nodes: Nodes on each ring, shape (n,).
        reach: The barrier's reach [mm].
        derivatives: Whether to add to the next two.
        grads: Each ring's gradient is added [weights], shape (n, 5).
        blocks: Each ring's Hessian is added [weights / mm], shape (n, 5, 5).
        forces: Receives the sum of the normal forces on each ring [weights], shape (n,).
        touch: Receives the ring, 0 and the first node of every place that presses, shape (k, 3).
        press: Receives their normal force [weights] and their direction, shape (k, 4).

    Returns:
        Energy [weights mm], smallest gap of any node [mm], at most `reach`, and how many places press.
    """
    found = 0
    energy = 0.0
    least = reach
    turns, begins = _turns(nodes)
    g = np.empty(10)
    force = np.empty((3, 3))
    stiff = np.empty((6, 6))
    apart = np.zeros(3)
    for a in range(len(radii)):
        forces[a] = 0.0
        solid_distance(kind, numbers, centres[a, 0], centres[a, 1], centres[a, 2], g)
        if g[0] > radii[a] + wires[a] + reach:
            continue
        length = sqrt(2.0 * wires[a] * reach)
        count = nodes[a]
        step = 2.0 * pi * radii[a] / count
        weight = stiffness[a] * step / length
        force[:] = 0.0
        stiff[:] = 0.0
        pressing = False
        t = 0
        while t < count:
            c = turns[begins[a] + t, 0]
            s = turns[begins[a] + t, 1]
            x = centres[a, 0] + radii[a] * (c * frames[a, 0, 0] + s * frames[a, 1, 0])
            y = centres[a, 1] + radii[a] * (c * frames[a, 0, 1] + s * frames[a, 1, 1])
            z = centres[a, 2] + radii[a] * (c * frames[a, 0, 2] + s * frames[a, 1, 2])
            solid_distance(kind, numbers, x, y, z, g)
            gap = g[0] - wires[a]
            if gap >= reach:
                t += max(1, int((gap - reach) / step))
                continue
            t += 1
            least = min(least, gap)
            if gap < NEVER * reach:
                return np.inf, least, 0
            value, first, second = barrier(gap / reach)
            energy += weight * reach * value
            forces[a] -= weight * first
            if not derivatives:
                continue
            pressing = True
            found = note_press(a, 0, t - 1, -weight * first, g, found, touch, press)
            add_node(g, c, s, weight * first, weight * second / reach, force, stiff)
        if pressing:
            add_contact(force, stiff, frames[a], radii[a], apart, frames[a], 0.0, 0, 5, grads[a], blocks[a])
    level(found, press)
    return energy, least, found


def node_counts(radii: Floats, wires: Floats, reach: float, thinnest: float | None = None) -> Ints:
    """How many nodes each ring needs so that a contact of crossing wires is resolved, shape (n,).

    Args:
        radii: Centreline radii [mm], shape (n,).
        wires: Wire radii [mm], shape (n,).
        reach: The barrier's reach [mm].
        thinnest: Radius of the thinnest wire there is [mm]; of these when left out.
    """
    length = np.sqrt(2.0 * (wires + (wires.min() if thinnest is None else thinnest)) * reach)
    return np.asarray(np.ceil(2.0 * pi * radii * NODES_IN_REACH / length), dtype=np.int64)
