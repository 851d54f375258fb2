"""Seeded disorder: a piece shaken before it is let go, never with a wire through another."""

import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import Bodies, centreline_points
from chaingen.geometry.distance import smallest_gaps
from chaingen.geometry.near import near_pairs
from chaingen.geometry.solids import distances
from chaingen.solve.drape.energy import Poses
from chaingen.solve.drape.model import Setting

ROUNDS = 40
"""Random moves of every ring."""

NODES = 256
"""Points of each ring that its clearance from solids is measured at."""

LEFT = 0.02
"""Part of the thinnest wire's radius that every gap keeps."""


def _too_near(bodies: Setting, poses: Poses, least: float) -> npt.NDArray[np.bool_]:
    """Which rings are nearer than `least` [mm] to another or to a solid, shape (n,)."""
    rings = Bodies(poses.centres, poses.frames[:, 2], bodies.radii, bodies.wire_radii)
    pairs = near_pairs(rings, margin=least)
    gaps, _ = smallest_gaps(rings, pairs)
    bad: npt.NDArray[np.bool_] = np.zeros(len(rings), dtype=bool)
    bad[pairs[gaps < least].ravel()] = True
    points = centreline_points(rings, NODES)
    # Half way between points a wire comes nearer to a thin thing that crosses it by about this much.
    half = np.pi * bodies.radii / NODES
    bulge = 0.5 * half**2 * (1.0 / bodies.wire_radii + 1.0 / bodies.radii)
    for solid in bodies.solids:
        away = distances(solid, points.reshape(-1, 3))[:, 0].reshape(points.shape[:2]).min(axis=1)
        bad |= away - bodies.wire_radii - bulge < least
    return bad


def shaken_up(bodies: Setting, poses: Poses, amount: float, seed: int) -> Poses:
    """The poses after many small random moves, none long enough to change a link; what would touch stays.

    Args:
        bodies: The rings and solids.
        poses: Poses free of contact.
        amount: 0 to 1; moves and tilts are of `amount` half wire radii, normal spread.
        seed: Seed of the moves.
    """
    rng = np.random.default_rng(seed)
    n = len(bodies.radii)
    least = LEFT * float(bodies.wire_radii.min())
    for _ in range(ROUNDS):
        step = 0.5 * amount * bodies.wire_radii[:, None] * np.clip(rng.normal(size=(n, 5)), -0.8, 0.8)
        for _ in range(20):
            trial = poses.stepped(step, bodies.radii)
            bad = _too_near(bodies, trial, least)
            bad &= (step != 0.0).any(axis=1)
            if not bad.any():
                poses = trial
                break
            step[bad] = 0.0
    return poses
