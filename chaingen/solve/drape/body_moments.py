"""Gradient and Hessian of a contact of two wire bodies from sums over nodes: `moments` for any curve.

A node of body a sits at c_a + q, q = q0 + A f1 + B f2, with f1, f2 the cos and sin of the angle along an arc,
or the length along a straight and 0. z1 (see `energy`) is linear in f1 and f2 as for rings; its constant part
takes q0 as well, and there are three turns, about the axes of the body's frame.
"""

import numba
import numpy as np

from chaingen.geometry.types import Floats
from chaingen.solve.drape.moments import add_products, cross, dot, own_turns


@numba.njit(cache=True)
def to_world(force: Floats, stiff: Floats, frame: Floats) -> None:
    """Turn sums that were made in a body's frame into the frame of the world.

    Args:
        force: See `add_node` of `moments`, shape (3, 3).
        stiff: See there, shape (6, 6).
        frame: The body's frame, shape (3, 3).
    """
    v = np.empty(3)
    full = np.empty((3, 3))
    half = np.empty((3, 3))
    for m in range(3):
        for k in range(3):
            v[k] = force[m, 0] * frame[0, k] + force[m, 1] * frame[1, k] + force[m, 2] * frame[2, k]
        for k in range(3):
            force[m, k] = v[k]
    for m in range(6):
        at = 0
        for i in range(3):
            for j in range(i, 3):
                full[i, j] = full[j, i] = stiff[m, at]
                at += 1
        for i in range(3):
            for k in range(3):
                half[i, k] = full[i, 0] * frame[0, k] + full[i, 1] * frame[1, k] + full[i, 2] * frame[2, k]
        at = 0
        for i in range(3):
            for j in range(i, 3):
                stiff[m, at] = frame[0, i] * half[0, j] + frame[1, i] * half[1, j] + frame[2, i] * half[2, j]
                at += 1


@numba.njit(cache=True)
def add_body_contact(
    force: Floats, stiff: Floats, path: Floats, frame_a: Floats, radius_a: float, turns_a: int, apart: Floats,
    frame_b: Floats, radius_b: float, turns_b: int, oa: int, ob: int, grad: Floats, block: Floats,
) -> None:  # fmt: skip
    """Add the gradient and Hessian that the sums of one side of a contact stand for.

    Args:
        force: See `add_node` of `moments`, in the frame of the world.
        stiff: See there.
        path: q0, A and B of the curve whose nodes were summed, in the frame of the world [mm], shape (3, 3).
        frame_a: Frame of its body, shape (3, 3).
        radius_a: How far its centrelines reach [mm].
        turns_a: How many turns it has.
        apart: From the other body's origin to its origin [mm], shape (3,).
        frame_b: Frame of the other body.
        radius_b: How far the other's centrelines reach [mm]; 0 for a solid, which does not move.
        turns_b: How many turns it has.
        oa: Where the first body's six unknowns begin.
        ob: Where the other's begin.
        grad: The gradient is added [weights], shape (6,) or (12,).
        block: The Hessian is added [weights / mm], shape (6, 6) or (12, 12).
    """
    both = radius_b > 0.0
    size = 12 if both else 6
    # Derivatives of z1 by the unknowns: constant, times f1, times f2.
    z = np.zeros((3, 12, 3))
    for k in range(3):
        z[0, oa + k, k] = 1.0
    for t in range(turns_a):
        for m in range(3):
            cross(frame_a[t], path[m], 1.0 / radius_a, z[m, oa + 3 + t])
    if both:
        middle = np.empty(3)
        for k in range(3):
            z[0, ob + k, k] = -1.0
            middle[k] = apart[k] + path[0, k]
        for t in range(turns_b):
            cross(frame_b[t], middle, -1.0 / radius_b, z[0, ob + 3 + t])
            for m in range(1, 3):
                cross(frame_b[t], path[m], -1.0 / radius_b, z[m, ob + 3 + t])
    add_products(force, stiff, z, size, grad, block)
    # Sums of c1 G q and of c1 G w, w = apart + q.
    arm = np.empty((3, 3))
    for p in range(3):
        for r in range(3):
            arm[p, r] = force[0, p] * path[0, r] + force[1, p] * path[1, r] + force[2, p] * path[2, r]
    own_turns(arm, frame_a, radius_a, turns_a, oa, block)
    if not both:
        return
    trace = arm[0, 0] + arm[1, 1] + arm[2, 2]
    h = np.empty(3)
    for i in range(turns_b):
        f = frame_b[i]
        # With the moves: -G . (f x (x_a - x_b)) = -(G x f) . (x_a - x_b).
        cross(force[0], f, -1.0 / radius_b, h)
        row = ob + 3 + i
        for k in range(3):
            block[row, oa + k] += h[k]
            block[oa + k, row] += h[k]
            block[row, ob + k] -= h[k]
            block[ob + k, row] -= h[k]
        # With the first body's turns: -G . (f x (e x q)) = -(G . e)(f . q) + (G . q)(f . e).
        for k in range(turns_a):
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
    own_turns(arm, frame_b, radius_b, turns_b, ob, block)
