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

from chaingen.geometry.rings import Floats, Ints
from chaingen.geometry.solids import solid_distance

NODES_IN_REACH = 3.5
"""Nodes on the length w of a contact. Four times as many change the energy at rest by less than 1e-3 of it
and forces by less than 4e-3."""

NEVER = 1e-4
"""A gap under this part of the barrier's reach has no finite energy."""


@dataclass(frozen=True, eq=False)
class Poses:
    """Poses of n rings on their way.

    Attributes:
        centres: Ring centres [mm], shape (n, 3).
        frames: Two unit vectors in the ring plane and the unit normal, as rows, shape (n, 3, 3).
    """

    centres: Floats
    frames: Floats

    def stepped(self, step: Floats, radii: Floats) -> "Poses":
        """The poses after a step of moves and tilts [mm], shape (n, 5); tilts turn the ring rigidly."""
        turn = np.einsum("nk,nka->na", step[:, 3:] / radii[:, None], self.frames[:, :2])
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
def _point_to_circle(
    wx: float, wy: float, wz: float, nx: float, ny: float, nz: float, radius: float
) -> float:
    """Distance alone."""
    h = wx * nx + wy * ny + wz * nz
    rho = sqrt(max(wx * wx + wy * wy + wz * wz - h * h, 0.0))
    return sqrt((rho - radius) * (rho - radius) + h * h)


@numba.njit(cache=True)
def _columns(
    qx: float, qy: float, qz: float, frame: Floats, radius: float, sign: float, at: int, z: Floats
) -> None:
    """z1's derivatives by the five unknowns of a body: `sign` its side, `q` the arm of its tilts."""
    for k in range(3):
        for m in range(3):
            z[at + k, m] = 0.0
        z[at + k, k] = sign
    for k in range(2):
        ex = frame[k, 0]
        ey = frame[k, 1]
        ez = frame[k, 2]
        f = sign / radius
        z[at + 3 + k, 0] = f * (ey * qz - ez * qy)
        z[at + 3 + k, 1] = f * (ez * qx - ex * qz)
        z[at + 3 + k, 2] = f * (ex * qy - ey * qx)


@numba.njit(cache=True)
def _tilt_curve(
    g: Floats,
    qx: float,
    qy: float,
    qz: float,
    frame: Floats,
    radius: float,
    c1: float,
    at: int,
    block: Floats,
) -> None:
    """Second-order part of a body's own tilts, G . t x (t x q) / 2."""
    gq = g[1] * qx + g[2] * qy + g[3] * qz
    for i in range(2):
        gi = g[1] * frame[i, 0] + g[2] * frame[i, 1] + g[3] * frame[i, 2]
        qi = qx * frame[i, 0] + qy * frame[i, 1] + qz * frame[i, 2]
        for j in range(2):
            gj = g[1] * frame[j, 0] + g[2] * frame[j, 1] + g[3] * frame[j, 2]
            qj = qx * frame[j, 0] + qy * frame[j, 1] + qz * frame[j, 2]
            value = 0.5 * (gj * qi + gi * qj)
            if i == j:
                value -= gq
            block[at + 3 + i, at + 3 + j] += c1 * value / (radius * radius)


@numba.njit(cache=True)
def _add_rank(g: Floats, z: Floats, size: int, c1: float, c2: float, grad: Floats, block: Floats) -> None:
    """Add c1 G . z1 to the gradient and c1 z1 D z1 + c2 (G . z1)^2 to the Hessian."""
    for i in range(size):
        gz = g[1] * z[i, 0] + g[2] * z[i, 1] + g[3] * z[i, 2]
        grad[i] += c1 * gz
        ax = c2 * gz * g[1] + c1 * (g[4] * z[i, 0] + g[5] * z[i, 1] + g[6] * z[i, 2])
        ay = c2 * gz * g[2] + c1 * (g[5] * z[i, 0] + g[7] * z[i, 1] + g[8] * z[i, 2])
        az = c2 * gz * g[3] + c1 * (g[6] * z[i, 0] + g[8] * z[i, 1] + g[9] * z[i, 2])
        for j in range(i, size):
            value = ax * z[j, 0] + ay * z[j, 1] + az * z[j, 2]
            block[i, j] += value
            if j > i:
                block[j, i] += value


@numba.njit(cache=True)
def _cross_curve(
    g: Floats, z: Floats, frame: Floats, radius: float, c1: float, oa: int, ob: int, block: Floats
) -> None:
    """Second-order part of the target's tilts with everything else: -G . t_b x (x_a - x_b + t_a x q)."""
    for i in range(2):
        # -G . (f x v) = -(G x f) . v
        hx = -(g[2] * frame[i, 2] - g[3] * frame[i, 1]) / radius
        hy = -(g[3] * frame[i, 0] - g[1] * frame[i, 2]) / radius
        hz = -(g[1] * frame[i, 1] - g[2] * frame[i, 0]) / radius
        row = ob + 3 + i
        for k in range(5):
            value = c1 * (hx * z[oa + k, 0] + hy * z[oa + k, 1] + hz * z[oa + k, 2])
            block[row, oa + k] += value
            block[oa + k, row] += value
        for k in range(3):
            value = c1 * (hx * z[ob + k, 0] + hy * z[ob + k, 1] + hz * z[ob + k, 2])
            block[row, ob + k] += value
            block[ob + k, row] += value


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
        touch: Receives the pair, the side that a node belongs to, and the node, of every node in reach, shape
            (k, 3); nodes beyond its length are counted only.
        press: Receives their normal force [weights] and their direction, shape (k, 4).

    Returns:
        The energy [weights mm], the smallest gap of any node [mm], at most `reach`, and how many nodes are in
        reach; (inf, gap, 0) as soon as a node is nearer than `NEVER`.
    """
    found = 0
    energy = 0.0
    least = reach
    g = np.empty(10)
    z = np.empty((10, 3))
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
            wx0 = sx if side == 0 else -sx
            wy0 = sy if side == 0 else -sy
            wz0 = sz if side == 0 else -sz
            nx = frames[b, 2, 0]
            ny = frames[b, 2, 1]
            nz = frames[b, 2, 2]
            count = nodes[a]
            step = 2.0 * pi * radii[a] / count
            weight = 0.5 * stiffness[m] * step / length
            t = 0
            while t < count:
                angle = 2.0 * pi * t / count
                c = radii[a] * cos(angle)
                s = radii[a] * sin(angle)
                qx = c * frames[a, 0, 0] + s * frames[a, 1, 0]
                qy = c * frames[a, 0, 1] + s * frames[a, 1, 1]
                qz = c * frames[a, 0, 2] + s * frames[a, 1, 2]
                wx = wx0 + qx
                wy = wy0 + qy
                wz = wz0 + qz
                gap = _point_to_circle(wx, wy, wz, nx, ny, nz, radii[b]) - both
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
                if found < len(touch):
                    touch[found, 0] = m
                    touch[found, 1] = side
                    touch[found, 2] = t - 1
                    press[found, 0] = -weight * first
                    press[found, 1] = g[1]
                    press[found, 2] = g[2]
                    press[found, 3] = g[3]
                found += 1
                c1 = weight * first
                c2 = weight * second / reach
                _columns(qx, qy, qz, frames[a], radii[a], 1.0, oa, z)
                _columns(wx, wy, wz, frames[b], radii[b], -1.0, ob, z)
                _add_rank(g, z, 10, c1, c2, grads[m], blocks[m])
                _tilt_curve(g, qx, qy, qz, frames[a], radii[a], c1, oa, blocks[m])
                _tilt_curve(g, wx, wy, wz, frames[b], radii[b], c1, ob, blocks[m])
                _cross_curve(g, z, frames[b], radii[b], c1, oa, ob, blocks[m])
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
        kind: The solid's kind.
        numbers: The solid's numbers.
        stiffness: K of each ring [weights], shape (n,).
        nodes: Nodes on each ring, shape (n,).
        reach: The barrier's reach [mm].
        derivatives: Whether to add to the next two.
        grads: Each ring's gradient is added [weights], shape (n, 5).
        blocks: Each ring's Hessian is added [weights / mm], shape (n, 5, 5).
        forces: Receives the sum of the normal forces on each ring [weights], shape (n,).
        touch: Receives the ring, 0 and the node of every node in reach, shape (k, 3).
        press: Receives their normal force [weights] and their direction, shape (k, 4).

    Returns:
        Energy [weights mm], smallest gap of any node [mm], at most `reach`, and how many nodes are in reach.
    """
    found = 0
    energy = 0.0
    least = reach
    g = np.empty(10)
    z = np.empty((5, 3))
    for a in range(len(radii)):
        forces[a] = 0.0
        solid_distance(kind, numbers, centres[a, 0], centres[a, 1], centres[a, 2], g)
        if g[0] > radii[a] + wires[a] + reach:
            continue
        length = sqrt(2.0 * wires[a] * reach)
        count = nodes[a]
        step = 2.0 * pi * radii[a] / count
        weight = stiffness[a] * step / length
        t = 0
        while t < count:
            angle = 2.0 * pi * t / count
            c = radii[a] * cos(angle)
            s = radii[a] * sin(angle)
            qx = c * frames[a, 0, 0] + s * frames[a, 1, 0]
            qy = c * frames[a, 0, 1] + s * frames[a, 1, 1]
            qz = c * frames[a, 0, 2] + s * frames[a, 1, 2]
            solid_distance(kind, numbers, centres[a, 0] + qx, centres[a, 1] + qy, centres[a, 2] + qz, g)
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
            if found < len(touch):
                touch[found, 0] = a
                touch[found, 1] = 0
                touch[found, 2] = t - 1
                press[found, 0] = -weight * first
                press[found, 1] = g[1]
                press[found, 2] = g[2]
                press[found, 3] = g[3]
            found += 1
            c1 = weight * first
            c2 = weight * second / reach
            _columns(qx, qy, qz, frames[a], radii[a], 1.0, 0, z)
            _add_rank(g, z, 5, c1, c2, grads[a], blocks[a])
            _tilt_curve(g, qx, qy, qz, frames[a], radii[a], c1, 0, blocks[a])
    return energy, least, found


def node_counts(radii: Floats, wires: Floats, reach: float) -> Ints:
    """How many nodes each ring needs so that a contact of crossing wires is resolved, shape (n,).

    Args:
        radii: Centreline radii [mm], shape (n,).
        wires: Wire radii [mm], shape (n,).
        reach: The barrier's reach [mm].
    """
    length = np.sqrt(2.0 * (wires + wires.min()) * reach)
    return np.asarray(np.ceil(2.0 * pi * radii * NODES_IN_REACH / length), dtype=np.int64)
