"""Seeded disorder: a piece shaken before it is let go, never with a wire through another."""

import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import wire_points
from chaingen.geometry.distance import smallest_gaps
from chaingen.geometry.near import near_pairs
from chaingen.geometry.solids import distances
from chaingen.solve.drape.energy import Poses
from chaingen.solve.drape.setting import Setting

ROUNDS = 40
"""Random moves of every body."""

NODES = 256
"""Points of each ring, and as many a length of other bodies, at which clearance from solids is measured."""

LEFT = 0.02
"""Part of the thinnest wire's radius that every gap keeps."""


def _too_near(bodies: Setting, poses: Poses, least: float) -> npt.NDArray[np.bool_]:
    """Which bodies are nearer than `least` [mm] to another or its clearance, or to a solid, shape (n,)."""
    rings = bodies.at(poses)
    apart = bodies.clearance + least
    pairs = near_pairs(rings, margin=apart)
    gaps, _ = smallest_gaps(rings, pairs)
    bad: npt.NDArray[np.bool_] = np.zeros(len(rings), dtype=bool)
    bad[pairs[gaps < apart].ravel()] = True
    points, wires, owners = wire_points(rings, NODES)
    # Half way between points a wire comes nearer to a thin thing that crosses it by about this much.
    half = np.pi * bodies.radii[owners] / NODES
    bend = np.where(bodies.is_ring, bodies.radii, bodies.thinnest)[owners]
    bulge = 0.5 * half**2 * (1.0 / wires + 1.0 / bend)
    for solid in bodies.solids:
        bad[owners[distances(solid, points)[:, 0] - wires - bulge < least]] = True
    return bad


def shaken_up(bodies: Setting, poses: Poses, amount: float, seed: int) -> Poses:
    """The poses after many small random moves, none long enough to change a link; what would touch stays.

    Args:
        bodies: The bodies and solids.
        poses: Poses free of contact.
        amount: 0 to 1; moves and tilts are of `amount` half wire radii, normal spread.
        seed: Seed of the moves.
    """
    rng = np.random.default_rng(seed)
    n = len(bodies.radii)
    least = LEFT * bodies.thin
    for _ in range(ROUNDS):
        moves = np.clip(rng.normal(size=(n, bodies.width)), -0.8, 0.8)
        step = 0.5 * amount * bodies.thinnest[:, None] * moves
        step[:, 3:][np.arange(bodies.width - 3) >= bodies.turns[:, None]] = 0.0
        for _ in range(20):
            trial = poses.stepped(step, bodies.radii)
            bad = _too_near(bodies, trial, least)
            bad &= (step != 0.0).any(axis=1)
            if not bad.any():
                poses = trial
                break
            step[bad] = 0.0
    return poses
