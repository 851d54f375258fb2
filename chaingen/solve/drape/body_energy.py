"""Contact energy of wire bodies of arcs and straights, with exact derivatives: `energy` for any body.

The integral is the same: along every curve of either body the barrier of the distance to the curves of the
other. A curve counts for a node where its nearest point lies inside it or where the wire ends (there the wire
is round). At a joint inside a strand exactly one of the two neighbours counts, so that the energy goes over
from one to the other smoothly and does not depend on how a strand is cut. Nodes and curves: see `wires`.

A body has six unknowns, all in mm: the moves of its origin and its turns about the axes of its frame times
how far its centrelines reach. A ring among other bodies has the first five.

Limitation: beyond the axis of a bend the sum may jump where one curve of a strand takes over from another.
Only where a bend is tighter than the wires that touch there are thick does a wire ever come to such a place.
"""

from math import sqrt

import numba
import numpy as np

from chaingen.geometry.centrelines import FULL_TURN
from chaingen.geometry.shapes import CAP_END, CAP_START, RADIUS, SPAN, WIRE
from chaingen.geometry.solids import solid_distance
from chaingen.geometry.types import Floats, Ints
from chaingen.solve.drape.body_moments import add_body_contact, to_world
from chaingen.solve.drape.energy import (
    NEVER,
    barrier,
    circle_distance,
    level,
    note_press,
    point_to_circle,
)
from chaingen.solve.drape.moments import add_node
from chaingen.solve.drape.wires import Wires

INSIDE, BEGINNING, END = 1, 2, 4
"""Parts of a curve that count for a node; several may."""


@numba.njit(cache=True)
def nearest_of(wires: Wires, q: int, x: float, y: float, z: float) -> tuple[float, int]:
    """Least distance of a point to a curve, all in the body's frame, and which parts of the curve count."""
    table = wires.table
    planes = wires.planes
    ex = x - planes[q, 0, 0]
    ey = y - planes[q, 0, 1]
    ez = z - planes[q, 0, 2]
    if table[q, RADIUS] == 0.0 and table[q, SPAN] == 0.0:
        return sqrt(ex * ex + ey * ey + ez * ez), BEGINNING
    since = ex * planes[q, 0, 3] + ey * planes[q, 0, 4] + ez * planes[q, 0, 5]
    fx = x - planes[q, 1, 0]
    fy = y - planes[q, 1, 1]
    fz = z - planes[q, 1, 2]
    past = fx * planes[q, 1, 3] + fy * planes[q, 1, 4] + fz * planes[q, 1, 5]
    if table[q, RADIUS] == 0.0:
        if since >= 0.0 and past < 0.0:
            ex -= since * planes[q, 0, 3]
            ey -= since * planes[q, 0, 4]
            ez -= since * planes[q, 0, 5]
            return sqrt(ex * ex + ey * ey + ez * ez), INSIDE
    else:
        cx = x - table[q, 0]
        cy = y - table[q, 1]
        cz = z - table[q, 2]
        across = wires.across
        # Of the two ends only the nearer one can be passed, whatever the angle of the arc.
        late = cx * across[q, 3] + cy * across[q, 4] + cz * across[q, 5] >= 0.0
        if table[q, SPAN] >= FULL_TURN or (past < 0.0 if late else since >= 0.0):
            return (
                point_to_circle(cx, cy, cz, across[q, 0], across[q, 1], across[q, 2], table[q, RADIUS]),
                INSIDE,
            )
    parts = 0
    if table[q, CAP_START] > 0.0 and since < 0.0:
        parts += BEGINNING
    if table[q, CAP_END] > 0.0 and past >= 0.0:
        parts += END
    return sqrt(min(ex * ex + ey * ey + ez * ez, fx * fx + fy * fy + fz * fz)), parts


@numba.njit(cache=True)
def _off_line(x: float, y: float, z: float, ux: float, uy: float, uz: float, out: Floats) -> None:
    """Length of the way (x, y, z) from a line along u, or from a point where u is 0, with its derivatives."""
    d = max(sqrt(x * x + y * y + z * z), 1e-12)
    gx = x / d
    gy = y / d
    gz = z / d
    out[0] = d
    out[1] = gx
    out[2] = gy
    out[3] = gz
    out[4] = (1.0 - gx * gx - ux * ux) / d
    out[5] = (-gx * gy - ux * uy) / d
    out[6] = (-gx * gz - ux * uz) / d
    out[7] = (1.0 - gy * gy - uy * uy) / d
    out[8] = (-gy * gz - uy * uz) / d
    out[9] = (1.0 - gz * gz - uz * uz) / d


@numba.njit(cache=True)
def part_distance(wires: Wires, q: int, part: int, x: float, y: float, z: float, out: Floats) -> None:
    """Distance of a point to one part of a curve, with gradient and Hessian, all in the body's frame."""
    table = wires.table
    planes = wires.planes
    if part != INSIDE:
        end = 0 if part == BEGINNING else 1
        _off_line(
            x - planes[q, end, 0], y - planes[q, end, 1], z - planes[q, end, 2], 0.0, 0.0, 0.0, out
        )  # fmt: skip
    elif table[q, RADIUS] == 0.0:
        ux = planes[q, 0, 3]
        uy = planes[q, 0, 4]
        uz = planes[q, 0, 5]
        ex = x - planes[q, 0, 0]
        ey = y - planes[q, 0, 1]
        ez = z - planes[q, 0, 2]
        along = ex * ux + ey * uy + ez * uz
        _off_line(ex - along * ux, ey - along * uy, ez - along * uz, ux, uy, uz, out)
    else:
        across = wires.across
        circle_distance(
            x - table[q, 0], y - table[q, 1], z - table[q, 2], across[q, 0], across[q, 1], across[q, 2],
            table[q, RADIUS], out,
        )  # fmt: skip


@numba.njit(cache=True)
def _path(wires: Wires, p: int, frame: Floats, out: Floats) -> None:
    """q0, A and B of a curve in the frame of the world."""
    one = wires.table[p, RADIUS] if wires.table[p, RADIUS] > 0.0 else 1.0
    for k in range(3):
        out[0, k] = out[1, k] = out[2, k] = 0.0
        for r in range(3):
            out[0, k] += wires.table[p, r] * frame[r, k]
            out[1, k] += one * wires.table[p, 3 + r] * frame[r, k]
            out[2, k] += one * wires.table[p, 6 + r] * frame[r, k]


@numba.njit(cache=True)
def _seen_from(
    a: int, b: int, centres: Floats, frames: Floats, apart: Floats, shift: Floats, turn: Floats
) -> None:
    """Where body a is in the frame of body b: a point q of a is at shift + turn q."""
    for k in range(3):
        apart[k] = centres[a, k] - centres[b, k]
    for i in range(3):
        shift[i] = 0.0
        for k in range(3):
            shift[i] += frames[b, i, k] * apart[k]
            turn[i, k] = 0.0
            for r in range(3):
                turn[i, k] += frames[b, i, r] * frames[a, k, r]


@numba.njit(cache=True)
def _candidates(wires: Wires, p: int, b: int, shift: Floats, turn: Floats, reach: float, found: Ints) -> int:
    """Curves of body b that a curve p, seen from there, may touch; how many."""
    x = shift[0]
    y = shift[1]
    z = shift[2]
    sphere = wires.spheres[p]
    for k in range(3):
        x += turn[0, k] * sphere[k]
        y += turn[1, k] * sphere[k]
        z += turn[2, k] * sphere[k]
    count = 0
    for q in range(wires.begins[b], wires.ends[b]):
        dx = x - wires.spheres[q, 0]
        dy = y - wires.spheres[q, 1]
        dz = z - wires.spheres[q, 2]
        far = sphere[3] + wires.spheres[q, 3] + wires.table[p, WIRE] + wires.table[q, WIRE] + reach
        if dx * dx + dy * dy + dz * dz < far * far:
            found[count] = q
            count += 1
    return count


@numba.njit(cache=True)
def body_pair_energy(
    centres: Floats, frames: Floats, radii: Floats, turns: Ints, wires: Wires, pairs: Ints, stiffness: Floats,
    reach: float, derivatives: bool, grads: Floats, blocks: Floats, forces: Floats, touch: Ints,
    press: Floats,
) -> tuple[float, float, int]:  # fmt: skip
    """Contact energy of all pairs; see `pair_energy` of `energy`.

    Args:
        centres: Origins of the bodies [mm], shape (n, 3).
        frames: Their frames, shape (n, 3, 3).
        radii: How far their centrelines reach [mm], shape (n,).
        turns: How many turns each has, shape (n,).
        wires: Their curves.
        pairs: Index pairs, shape (m, 2).
        stiffness: K of each pair [weights], shape (m,).
        reach: The barrier's reach e [mm].
        derivatives: Whether to fill the next two.
        grads: Receives each pair's gradient [weights], shape (m, 12).
        blocks: Receives each pair's Hessian [weights / mm], shape (m, 12, 12).
        forces: Receives the sum of the normal forces between each pair [weights], shape (m,).
        touch: Receives the pair, the side that the nodes belong to, and the first node's number in its body,
            of every place that presses, shape (k, 3); places beyond its length are counted only.
        press: Receives their normal force [weights] and their direction, shape (k, 4).

    Returns:
        The energy [weights mm], the smallest gap of any node [mm], at most `reach`, and how many places
        press; (inf, gap, 0) as soon as a node is nearer than `NEVER`.
    """
    found = 0
    energy = 0.0
    least = reach
    g = np.empty(10)
    gw = np.empty(10)
    force, stiff, path = np.empty((3, 3)), np.empty((6, 6)), np.empty((3, 3))
    apart, shift, turn = np.empty(3), np.empty(3), np.empty((3, 3))
    near = np.empty(len(wires.table), dtype=np.int64)
    parts = np.empty(len(wires.table), dtype=np.int64)
    gaps = np.empty(len(wires.table))
    for m in range(len(pairs)):
        if derivatives:
            grads[m] = 0.0
            blocks[m] = 0.0
        forces[m] = 0.0
        for side in range(2):
            a = pairs[m, side]
            b = pairs[m, 1 - side]
            oa = 6 * side
            _seen_from(a, b, centres, frames, apart, shift, turn)
            base = wires.starts[wires.begins[a]]
            for p in range(wires.begins[a], wires.ends[a]):
                count = _candidates(wires, p, b, shift, turn, reach, near)
                if count == 0:
                    continue
                force[:] = 0.0
                stiff[:] = 0.0
                pressing = False
                t = wires.starts[p]
                last = t + wires.counts[p]
                while t < last:
                    node = wires.nodes[t]
                    x = shift[0] + turn[0, 0] * node[0] + turn[0, 1] * node[1] + turn[0, 2] * node[2]
                    y = shift[1] + turn[1, 0] * node[0] + turn[1, 1] * node[1] + turn[1, 2] * node[2]
                    z = shift[2] + turn[2, 0] * node[0] + turn[2, 1] * node[1] + turn[2, 2] * node[2]
                    nearest = np.inf
                    for c in range(count):
                        distance, parts[c] = nearest_of(wires, near[c], x, y, z)
                        gaps[c] = distance - wires.table[p, WIRE] - wires.table[near[c], WIRE]
                        nearest = min(nearest, gaps[c])
                    if nearest >= reach:
                        # Distance changes no faster than arc length: nodes nearer than this are clear too.
                        ahead = int((nearest - reach) / wires.steps[p]) if wires.steps[p] > 0.0 else 1
                        t += max(1, ahead)
                        continue
                    t += 1
                    least = min(least, nearest)
                    if nearest < NEVER * reach:
                        return np.inf, least, 0
                    for c in range(count):
                        if gaps[c] >= reach or parts[c] == 0:
                            continue
                        q = near[c]
                        both = wires.table[p, WIRE] + wires.table[q, WIRE]
                        length = sqrt(2.0 * both * reach)
                        weight = 0.5 * stiffness[m] * (node[5] / length if node[5] > 0.0 else 1.0)
                        for part in (INSIDE, BEGINNING, END):
                            if not parts[c] & part:
                                continue
                            part_distance(wires, q, part, x, y, z, g)
                            gap = g[0] - both
                            if gap >= reach:
                                continue
                            value, first, second = barrier(gap / reach)
                            energy += weight * reach * value
                            forces[m] -= weight * first
                            if not derivatives:
                                continue
                            pressing = True
                            for k in range(3):
                                gw[1 + k] = (
                                    g[1] * frames[b, 0, k] + g[2] * frames[b, 1, k] + g[3] * frames[b, 2, k]
                                )
                            found = note_press(
                                m, side, t - 1 - base, -weight * first, gw, found, touch, press
                            )
                            add_node(
                                g, node[3], node[4], weight * first, weight * second / reach, force, stiff
                            )
                if pressing:
                    to_world(force, stiff, frames[b])
                    _path(wires, p, frames[a], path)
                    add_body_contact(
                        force, stiff, path, frames[a], radii[a], turns[a], apart, frames[b], radii[b],
                        turns[b], oa, 6 - oa, grads[m], blocks[m],
                    )  # fmt: skip
    level(found, press)
    return energy, least, found


@numba.njit(cache=True)
def body_solid_energy(
    centres: Floats, frames: Floats, radii: Floats, turns: Ints, wires: Wires, bodies: Ints, kind: int,
    numbers: Floats, stiffness: Floats, reach: float, derivatives: bool, grads: Floats, blocks: Floats,
    forces: Floats, touch: Ints, press: Floats,
) -> tuple[float, float, int]:  # fmt: skip
    """Contact energy of some bodies with one solid; see `body_pair_energy`, of which it is one side.

    Args:
        centres: Origins of all bodies [mm], shape (n, 3).
        frames: Their frames, shape (n, 3, 3).
        radii: How far their centrelines reach [mm], shape (n,).
        turns: How many turns each has, shape (n,).
        wires: Their curves.
        bodies: The bodies meant, shape (m,).
        kind: The solid's kind, a `SolidKind`.
        numbers: Its numbers.
        stiffness: K of each of them [weights], shape (m,).
        reach: The barrier's reach [mm].
        derivatives: Whether to add to the next two.
        grads: Their gradients are added [weights], shape (m, 6).
        blocks: Their Hessians are added [weights / mm], shape (m, 6, 6).
        forces: Receives the sum of the normal forces on each [weights], shape (m,).
        touch: Receives the row in `bodies`, 0 and the first node of every place that presses, shape (k, 3).
        press: Receives their normal force [weights] and their direction, shape (k, 4).

    Returns:
        Energy [weights mm], smallest gap of any node [mm], at most `reach`, and how many places press.
    """
    found = 0
    energy = 0.0
    least = reach
    g = np.empty(10)
    force, stiff, path = np.empty((3, 3)), np.empty((6, 6)), np.empty((3, 3))
    apart, turn = np.zeros(3), np.empty((3, 3))
    for m in range(len(bodies)):
        a = bodies[m]
        forces[m] = 0.0
        for i in range(3):
            for k in range(3):
                turn[i, k] = frames[a, k, i]
        base = wires.starts[wires.begins[a]]
        for p in range(wires.begins[a], wires.ends[a]):
            wire = wires.table[p, WIRE]
            sphere = wires.spheres[p]
            x = centres[a, 0] + turn[0, 0] * sphere[0] + turn[0, 1] * sphere[1] + turn[0, 2] * sphere[2]
            y = centres[a, 1] + turn[1, 0] * sphere[0] + turn[1, 1] * sphere[1] + turn[1, 2] * sphere[2]
            z = centres[a, 2] + turn[2, 0] * sphere[0] + turn[2, 1] * sphere[1] + turn[2, 2] * sphere[2]
            solid_distance(kind, numbers, x, y, z, g)
            if g[0] > sphere[3] + wire + reach:
                continue
            length = sqrt(2.0 * wire * reach)
            force[:] = 0.0
            stiff[:] = 0.0
            pressing = False
            t = wires.starts[p]
            last = t + wires.counts[p]
            while t < last:
                node = wires.nodes[t]
                x = centres[a, 0] + turn[0, 0] * node[0] + turn[0, 1] * node[1] + turn[0, 2] * node[2]
                y = centres[a, 1] + turn[1, 0] * node[0] + turn[1, 1] * node[1] + turn[1, 2] * node[2]
                z = centres[a, 2] + turn[2, 0] * node[0] + turn[2, 1] * node[1] + turn[2, 2] * node[2]
                solid_distance(kind, numbers, x, y, z, g)
                gap = g[0] - wire
                if gap >= reach:
                    ahead = int((gap - reach) / wires.steps[p]) if wires.steps[p] > 0.0 else 1
                    t += max(1, ahead)
                    continue
                t += 1
                least = min(least, gap)
                if gap < NEVER * reach:
                    return np.inf, least, 0
                weight = stiffness[m] * (node[5] / length if node[5] > 0.0 else 1.0)
                value, first, second = barrier(gap / reach)
                energy += weight * reach * value
                forces[m] -= weight * first
                if not derivatives:
                    continue
                pressing = True
                found = note_press(m, 0, t - 1 - base, -weight * first, g, found, touch, press)
                add_node(g, node[3], node[4], weight * first, weight * second / reach, force, stiff)
            if pressing:
                _path(wires, p, frames[a], path)
                add_body_contact(
                    force, stiff, path, frames[a], radii[a], turns[a], apart, frames[a], 0.0, 0, 0, 6,
                    grads[m], blocks[m],
                )  # fmt: skip
    level(found, press)
    return energy, least, found
