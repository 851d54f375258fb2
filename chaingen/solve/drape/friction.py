"""Friction of wires on wires and on solids: Coulomb's law by lagged springs.

Every place where wires press carries a small tangential spring, stretched by s [mm]. During one step of the
drape the normal forces and directions stay those of its start ("lagged", Li et al. 2020, "Incremental
potential contact", ACM Trans. Graph. 39(4), section 5), and the spring's energy

    mu N h(|s + slip|),   h(u) = u^2 / (2 d) for u < d, u - d / 2 beyond

is part of what the step minimises: the force grows with the slip up to mu N and no further. After the step
the spring keeps a stretch of at most d, the rest has slid. A place that sticks keeps its spring, so that a
piece at rest does not creep.
"""

from dataclasses import dataclass
from math import sqrt

import numba
import numpy as np
import numpy.typing as npt

from chaingen.geometry.types import Floats, Ints

SLID = 1e-6
"""A place has slid when its spring was pulled beyond its limit by this part of it."""


@dataclass(frozen=True, eq=False)
class Grip:
    """Places that press, with their springs.

    Attributes:
        bodies: The two bodies, the one that the place is a node of first; -1 for a solid, shape (k, 2).
        keys: What tells places apart from step to step: pair or solid, and side, shape (k,).
        node: Node on the first body, shape (k,).
        press: Normal force [weights] and direction, shape (k, 4).
        arms: From either body's centre to the place [mm], shape (k, 2, 3).
        stretch: Stretch of the springs [mm], shape (k, 3).
        slid: Whether the place slid in the last step: then it is taken to go on sliding, shape (k,).
    """

    bodies: Ints
    keys: Ints
    node: Ints
    press: Floats
    arms: Floats
    stretch: Floats
    slid: npt.NDArray[np.bool_]

    def picked(self, use: npt.NDArray[np.bool_]) -> "Grip":
        """The places where `use` is true."""
        return Grip(
            self.bodies[use],
            self.keys[use],
            self.node[use],
            self.press[use],
            self.arms[use],
            self.stretch[use],
            self.slid[use],
        )


@numba.njit(cache=True)
def _slip(
    k: int,
    bodies: Ints,
    press: Floats,
    arms: Floats,
    frames: Floats,
    radii: Floats,
    step: Floats,
    out: Floats,
) -> None:
    """Tangential move of place k's two wires against each other by a step, to first order."""
    for side in range(2):
        body = bodies[k, side]
        if body < 0:
            continue
        sign = 1.0 if side == 0 else -1.0
        tx = (step[body, 3] * frames[body, 0, 0] + step[body, 4] * frames[body, 1, 0]) / radii[body]
        ty = (step[body, 3] * frames[body, 0, 1] + step[body, 4] * frames[body, 1, 1]) / radii[body]
        tz = (step[body, 3] * frames[body, 0, 2] + step[body, 4] * frames[body, 1, 2]) / radii[body]
        if step.shape[1] > 5:
            tx += step[body, 5] * frames[body, 2, 0] / radii[body]
            ty += step[body, 5] * frames[body, 2, 1] / radii[body]
            tz += step[body, 5] * frames[body, 2, 2] / radii[body]
        qx, qy, qz = arms[k, side, 0], arms[k, side, 1], arms[k, side, 2]
        out[0] += sign * (step[body, 0] + ty * qz - tz * qy)
        out[1] += sign * (step[body, 1] + tz * qx - tx * qz)
        out[2] += sign * (step[body, 2] + tx * qy - ty * qx)
    along = out[0] * press[k, 1] + out[1] * press[k, 2] + out[2] * press[k, 3]
    out[0] -= along * press[k, 1]
    out[1] -= along * press[k, 2]
    out[2] -= along * press[k, 3]


@numba.njit(cache=True)
def _energy(
    bodies: Ints, press: Floats, arms: Floats, stretch: Floats, frames: Floats, radii: Floats, step: Floats,
    mu: float, slip: float, stretched: Floats, slid: npt.NDArray[np.bool_],
) -> float:  # fmt: skip
    energy = 0.0
    u = np.empty(3)
    for k in range(len(bodies)):
        u[0] = stretch[k, 0]
        u[1] = stretch[k, 1]
        u[2] = stretch[k, 2]
        _slip(k, bodies, press, arms, frames, radii, step, u)
        size = sqrt(u[0] * u[0] + u[1] * u[1] + u[2] * u[2])
        if size < slip:
            energy += mu * press[k, 0] * 0.5 * size * size / slip
        else:
            energy += mu * press[k, 0] * (size - 0.5 * slip)
        keep = 1.0 if size <= slip else slip / size
        slid[k] = size > (1.0 + SLID) * slip
        for a in range(3):
            stretched[k, a] = keep * u[a]
    return energy


@numba.njit(cache=True)
def _derivatives(
    bodies: Ints, press: Floats, arms: Floats, stretch: Floats, frames: Floats, radii: Floats, turns: Ints,
    mu: float, slid: npt.NDArray[np.bool_], slip: float, row: Ints, first: Ints, grads: Floats,
    blocks: Floats,
) -> None:  # fmt: skip
    width = grads.shape[1]
    z = np.empty((width, 3))
    v = np.empty(3)
    for k in range(len(bodies)):
        size = 0.0
        for a in range(3):
            size += stretch[k, a] * stretch[k, a]
        size = sqrt(size)
        force = mu * press[k, 0]
        # h'(u) / u and what is left of h'' along u.
        stiff = force / slip
        z[:] = 0.0
        for side in range(2):
            body = bodies[k, side]
            if body < 0:
                continue
            at = 0 if body == first[row[k]] else width // 2
            sign = 1.0 if side == 0 else -1.0
            for a in range(3):
                z[at + a, a] = sign
            qx, qy, qz = arms[k, side, 0], arms[k, side, 1], arms[k, side, 2]
            for t in range(turns[body]):
                ex, ey, ez = frames[body, t, 0], frames[body, t, 1], frames[body, t, 2]
                f = sign / radii[body]
                z[at + 3 + t, 0] = f * (ey * qz - ez * qy)
                z[at + 3 + t, 1] = f * (ez * qx - ex * qz)
                z[at + 3 + t, 2] = f * (ex * qy - ey * qx)
        m = row[k]
        for i in range(width):
            along = z[i, 0] * press[k, 1] + z[i, 1] * press[k, 2] + z[i, 2] * press[k, 3]
            for a in range(3):
                z[i, a] -= along * press[k, 1 + a]
        for i in range(width):
            for a in range(3):
                v[a] = stiff * z[i, a]
                grads[m, i] += v[a] * stretch[k, a]
            if slid[k] and size > 0.5 * slip:
                # Sliding resists across the slide only; along it the force is constant.
                along = (z[i, 0] * stretch[k, 0] + z[i, 1] * stretch[k, 1] + z[i, 2] * stretch[k, 2]) / (
                    size * size
                )
                for a in range(3):
                    v[a] -= stiff * along * stretch[k, a]
            for j in range(width):
                blocks[m, i, j] += v[0] * z[j, 0] + v[1] * z[j, 1] + v[2] * z[j, 2]


def slip_energy(
    grip: Grip, frames: Floats, radii: Floats, step: Floats, mu: float, slip: float
) -> tuple[float, Floats, npt.NDArray[np.bool_]]:
    """Energy of the springs after a step, their stretch then, and whether they slid.

    Args:
        grip: The places that press.
        frames: Frames of the bodies, shape (n, 3, 3).
        radii: Centreline radii, or how far centrelines reach from the origin [mm], shape (n,).
        step: The step [mm], shape (n, 5) or (n, 6).
        mu: Coefficient of friction.
        slip: Stretch at which friction is full [mm].

    Returns:
        Energy [weights mm], stretch [mm], shape (k, 3), and whether each place slid, shape (k,).
    """
    stretched, slid = np.empty_like(grip.stretch), np.empty_like(grip.slid)
    energy = _energy(
        grip.bodies, grip.press, grip.arms, grip.stretch, frames, radii, step, mu, slip, stretched, slid
    )
    return energy, stretched, slid


def add_friction(
    grip: Grip, frames: Floats, radii: Floats, mu: float, slip: float, row: Ints, first: Ints, grads: Floats,
    blocks: Floats, turns: Ints | None = None,
) -> None:  # fmt: skip
    """Add the springs' gradients and Hessians at the start of a step.

    Args:
        grip: The places that press.
        frames: Frames of the bodies, shape (n, 3, 3).
        radii: Centreline radii, or how far centrelines reach from the origin [mm], shape (n,).
        mu: Coefficient of friction.
        slip: Stretch at which friction is full [mm].
        row: Row of `grads` and `blocks` that each place belongs to, shape (k,).
        first: The body whose unknowns come first in each row, shape (m,).
        grads: Gradients [weights], shape (m, w), or (m, 2 w) for pairs, with w unknowns a body.
        blocks: Hessians [weights / mm], shape (m, w, w) or (m, 2 w, 2 w).
        turns: How many turns each body has, shape (n,); two where left out.
    """
    if turns is None:
        turns = np.full(len(radii), 2, dtype=np.int64)
    _derivatives(
        grip.bodies,
        grip.press,
        grip.arms,
        grip.stretch,
        frames,
        radii,
        turns,
        mu,
        grip.slid,
        slip,
        row,
        first,
        grads,
        blocks,
    )


def carried(old: Grip | None, new: Grip, limit: float) -> Grip:
    """The new places with the stretch of the nearest old place of the same pair and side.

    Args:
        old: Places of the last step, with their stretch after it.
        new: Places now.
        limit: Longest stretch [mm].
    """
    stretch, slid = np.zeros_like(new.stretch), np.zeros_like(new.slid)
    if old is not None and len(old.keys) and len(new.keys):
        top = int(max(old.node.max(), new.node.max())) + 1
        order = np.argsort(old.keys * top + old.node, kind="stable")
        keys = (old.keys * top + old.node)[order]
        wanted = new.keys * top + new.node
        after = np.searchsorted(keys, wanted)
        best = np.full(len(wanted), top)
        source = np.full(len(wanted), -1)
        for shift in (-1, 0):
            place = np.clip(after + shift, 0, len(keys) - 1)
            same = old.keys[order[place]] == new.keys
            away = np.where(same, np.abs(keys[place] - wanted), top)
            nearer = away < best
            best = np.where(nearer, away, best)
            source = np.where(nearer, order[place], source)
        known = source >= 0
        stretch[known] = old.stretch[source[known]]
        slid[known] = old.slid[source[known]]
        normal = new.press[:, 1:]
        stretch -= np.einsum("ka,ka->k", stretch, normal)[:, None] * normal
        size = np.linalg.norm(stretch, axis=1)
        stretch *= np.minimum(1.0, limit / np.maximum(size, 1e-300))[:, None]
    return Grip(new.bodies, new.keys, new.node, new.press, new.arms, stretch, slid)
