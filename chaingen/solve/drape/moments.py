"""Sums over a ring's nodes from which gradient and Hessian of a contact are put together.

A node of ring a at angle t sits at c_a + q, q = R (u cos t + v sin t), so that the derivatives of z1 (see
`energy`) by all unknowns are J = J0 + J1 cos t + J2 sin t with constant J. It is enough to sum each node's
force c1 G and stiffness M = c2 G G + c1 D times 1, cos t, sin t, cos^2 t, cos t sin t, sin^2 t, and to
multiply by J once for the whole contact, however many nodes it has.
"""

import numba
import numpy as np

from chaingen.geometry.types import Floats


@numba.njit(cache=True)
def add_node(g: Floats, c: float, s: float, c1: float, c2: float, force: Floats, stiff: Floats) -> None:
    """Add a node at cos t = c, sin t = s to the sums.

    Args:
        g: Distance, gradient G (3) and Hessian D (6) of the node's distance, shape (10,).
        c: cos t.
        s: sin t.
        c1: First derivative of the energy by the gap.
        c2: Second derivative.
        force: Sums of c1 G times 1, c, s, shape (3, 3).
        stiff: Sums of M (xx, xy, xz, yy, yz, zz) times 1, c, s, cc, cs, ss, shape (6, 6).
    """
    for k in range(3):
        part = c1 * g[1 + k]
        force[0, k] += part
        force[1, k] += c * part
        force[2, k] += s * part
    at = 0
    for i in range(3):
        for j in range(i, 3):
            part = c2 * g[1 + i] * g[1 + j] + c1 * g[4 + at]
            stiff[0, at] += part
            stiff[1, at] += c * part
            stiff[2, at] += s * part
            stiff[3, at] += c * c * part
            stiff[4, at] += c * s * part
            stiff[5, at] += s * s * part
            at += 1


@numba.njit(cache=True)
def cross(a: Floats, b: Floats, scale: float, out: Floats) -> None:
    """A x b times `scale`."""
    out[0] = scale * (a[1] * b[2] - a[2] * b[1])
    out[1] = scale * (a[2] * b[0] - a[0] * b[2])
    out[2] = scale * (a[0] * b[1] - a[1] * b[0])


@numba.njit(cache=True)
def times(sums: Floats, row: int, v: Floats, out: Floats) -> None:
    """Add the symmetric matrix in `row` times v to `out`."""
    m = sums[row]
    out[0] += m[0] * v[0] + m[1] * v[1] + m[2] * v[2]
    out[1] += m[1] * v[0] + m[3] * v[1] + m[4] * v[2]
    out[2] += m[2] * v[0] + m[4] * v[1] + m[5] * v[2]


@numba.njit(cache=True)
def dot(a: Floats, b: Floats) -> float:
    """A . b."""
    return float(a[0] * b[0] + a[1] * b[1] + a[2] * b[2])


@numba.njit(cache=True)
def own_turns(arm: Floats, frame: Floats, radius: float, turns: int, at: int, block: Floats) -> None:
    """Second-order part of a body's own turns, G . t x (t x q) / 2, from arm[i, k] = sum c1 G_i q_k."""
    trace = arm[0, 0] + arm[1, 1] + arm[2, 2]
    for i in range(turns):
        for j in range(turns):
            value = 0.0
            for p in range(3):
                for r in range(3):
                    value += 0.5 * arm[p, r] * (frame[i, r] * frame[j, p] + frame[j, r] * frame[i, p])
            if i == j:
                value -= trace
            block[at + 3 + i, at + 3 + j] += value / (radius * radius)


@numba.njit(cache=True)
def add_products(force: Floats, stiff: Floats, z: Floats, size: int, grad: Floats, block: Floats) -> None:
    """Add J^T f and J^T M J, with J = z[0] + z[1] cos t + z[2] sin t, from the sums of `add_node`.

    Args:
        force: See `add_node`.
        stiff: See `add_node`.
        z: Derivatives of z1 by the unknowns: constant, times cos t, times sin t, shape (3, size or more, 3).
        size: How many unknowns there are.
        grad: The gradient is added [weights].
        block: The Hessian is added [weights / mm].
    """
    v = np.empty((3, 3))
    for i in range(size):
        grad[i] += dot(z[0, i], force[0]) + dot(z[1, i], force[1]) + dot(z[2, i], force[2])
        v[:] = 0.0
        times(stiff, 0, z[0, i], v[0])
        times(stiff, 1, z[1, i], v[0])
        times(stiff, 2, z[2, i], v[0])
        times(stiff, 1, z[0, i], v[1])
        times(stiff, 3, z[1, i], v[1])
        times(stiff, 4, z[2, i], v[1])
        times(stiff, 2, z[0, i], v[2])
        times(stiff, 4, z[1, i], v[2])
        times(stiff, 5, z[2, i], v[2])
        for j in range(i, size):
            value = dot(v[0], z[0, j]) + dot(v[1], z[1, j]) + dot(v[2], z[2, j])
            block[i, j] += value
            if j > i:
                block[j, i] += value


@numba.njit(cache=True)
def add_contact(
    force: Floats, stiff: Floats, frame_a: Floats, radius_a: float, apart: Floats, frame_b: Floats,
    radius_b: float, oa: int, ob: int, grad: Floats, block: Floats,
) -> None:  # fmt: skip
    """Add the gradient and Hessian that the sums of one side of a contact stand for.

    Args:
        force: See `add_node`.
        stiff: See `add_node`.
        frame_a: Frame of the ring whose nodes were summed, shape (3, 3).
        radius_a: Its centreline radius [mm].
        apart: From the other ring's centre to its centre [mm], shape (3,).
        frame_b: Frame of the other ring.
        radius_b: The other's centreline radius [mm]; 0 for a solid, which does not move.
        oa: Where the first ring's five unknowns begin.
        ob: Where the other's begin.
        grad: The gradient is added [weights], shape (5,) or (10,).
        block: The Hessian is added [weights / mm], shape (5, 5) or (10, 10).
    """
    both = radius_b > 0.0
    size = 10 if both else 5
    # Derivatives of z1 by the unknowns: constant, times cos t, times sin t.
    z = np.zeros((3, 10, 3))
    for k in range(3):
        z[0, oa + k, k] = 1.0
        # Tilts about u and v move the node along the normal n: u x v = n and v x u = -n.
        z[2, oa + 3, k] = frame_a[2, k]
        z[1, oa + 4, k] = -frame_a[2, k]
    if both:
        for k in range(3):
            z[0, ob + k, k] = -1.0
        for k in range(2):
            cross(frame_b[k], apart, -1.0 / radius_b, z[0, ob + 3 + k])
            cross(frame_b[k], frame_a[0], -radius_a / radius_b, z[1, ob + 3 + k])
            cross(frame_b[k], frame_a[1], -radius_a / radius_b, z[2, ob + 3 + k])
    add_products(force, stiff, z, size, grad, block)
    # Sums of c1 G q and of c1 G w, w = apart + q.
    arm = np.empty((3, 3))
    for p in range(3):
        for r in range(3):
            arm[p, r] = radius_a * (force[1, p] * frame_a[0, r] + force[2, p] * frame_a[1, r])
    own_turns(arm, frame_a, radius_a, 2, oa, block)
    if not both:
        return
    trace = arm[0, 0] + arm[1, 1] + arm[2, 2]
    h = np.empty(3)
    for i in range(2):
        f = frame_b[i]
        # With the moves: -G . (f x (x_a - x_b)) = -(G x f) . (x_a - x_b).
        cross(force[0], f, -1.0 / radius_b, h)
        row = ob + 3 + i
        for k in range(3):
            block[row, oa + k] += h[k]
            block[oa + k, row] += h[k]
            block[row, ob + k] -= h[k]
            block[ob + k, row] -= h[k]
        # With the first ring's tilts: -G . (f x (e x q)) = -(G . e)(f . q) + (G . q)(f . e).
        for k in range(2):
            e = frame_a[k]
            value = trace * dot(f, e)
            for p in range(3):
                for r in range(3):
                    value -= e[p] * arm[p, r] * f[r]
            value /= radius_a * radius_b
            block[row, oa + 3 + k] += value
            block[oa + 3 + k, row] += value
    for p in range(3):
        for r in range(3):
            arm[p, r] += force[0, p] * apart[r]
    own_turns(arm, frame_b, radius_b, 2, ob, block)
