"""The drape of bodies of arcs, straights and balls: against rings, differences, closed forms and statics."""

from dataclasses import replace
from math import pi

import numpy as np
import pytest

from chaingen.geometry.bodies import Bodies, concatenate, shaped
from chaingen.geometry.centrelines import Arc, Bend, Straight, bent_wire, circle, segment
from chaingen.geometry.shapes import Closure, Eye, Shape, Strand, ring_shape
from chaingen.geometry.solids import Solid, SolidKind, bar, distances, ledge, oval, plane
from chaingen.solve.drape.body_energy import BEGINNING, END, INSIDE, nearest_of, part_distance
from chaingen.solve.drape.bounds import pair_bound, solid_bound
from chaingen.solve.drape.disorder import shaken_up
from chaingen.solve.drape.energy import Poses, barrier
from chaingen.solve.drape.model import SLIP, Barrier, Model, Setting, poses_of
from chaingen.solve.drape.rest import Settling
from chaingen.solve.drape.starts import neck_form
from chaingen.solve.drape.wires import wires_of
from tests.conftest import rings_of
from tests.test_drape_energy import bends, slopes

NONE = np.empty(0, dtype=np.int64)
REACH = 0.1
UP = np.array([0.0, 0.0, 1.0])


def barrier_of(reach=REACH, stiffness=1.3):
    return Barrier(reach, stiffness, NONE, np.empty(0))


def hook(wire=0.4):
    """An open hook: a straight, an arc of 200 degrees about (0, 0, 0), a short straight the other way."""
    curves = bent_wire(
        [Bend(length=3.0), Bend(radius=2.0, angle=200.0), Bend(length=1.0)],
        begin=(-3.0, -2.0, 0.0), heading=(1.0, 0.0, 0.0), up=(0.0, 0.0, 1.0),
    )  # fmt: skip
    return Shape((Strand(curves, wire),), ())


def stadium(half=1.5, radius=1.2, wire=0.35):
    """An oval link in its plane of x and y, one closed strand."""
    curves = bent_wire(
        [Bend(length=2 * half), Bend(radius=radius, angle=180), Bend(length=2 * half),
         Bend(radius=radius, angle=180)],
        begin=(-half, -radius, 0.0),
    )  # fmt: skip
    eye = Eye("link", curves, (), wire, 2.0 * (radius - wire), Closure.SOLDERED)
    return Shape((Strand(curves, wire),), (eye,))


def pin(ball=0.9, wire=0.3):
    """A straight pin along x with a ball on its end."""
    stem = segment((-2.0, 0.0, 0.0), (2.0, 0.0, 0.0))
    end = Straight((2.6, 0.0, 0.0), (1.0, 0.0, 0.0), 0.0)
    return Shape((Strand((stem,), wire), Strand((end,), ball, "bead")), ())


def ball_of(radius=0.8):
    return Shape((Strand((Straight((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 0.0),), radius, "bead"),), ())


SHAPES = {"hook": hook(), "stadium": stadium(), "pin": pin(), "ball": ball_of()}


def random_turn(rng):
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    return turn * np.sign(np.linalg.det(turn))


def setting_of(bodies, *, solids=(), loads=None, friction=0.0, arms=None):
    loads = np.zeros((len(bodies), 3)) if loads is None else loads
    return Setting.of(bodies, loads, tuple(solids), friction, arms)


def model_of(setting, poses, **kinds):
    model = Model(setting, barrier_of(**kinds))
    model.near(poses, 1.0)
    return model


def dense(terms, width=6):
    """Gradient, shape (n w,), and Hessian of friction and all, (n w, n w), from the blocks."""
    n = len(terms.gradient)
    whole = np.zeros((n * width, n * width))
    for k in range(n):
        whole[width * k : width * k + width, width * k : width * k + width] += (
            terms.own[k] + terms.own_drag[k]
        )
    for (i, j), block in zip(terms.pairs, terms.blocks + terms.drag, strict=True):
        place = np.r_[width * i : width * i + width, width * j : width * j + width]
        whole[np.ix_(place, place)] += block
    return terms.gradient.ravel(), whole


def pushed_to(model, poses, gap, rng):
    """Poses with the second body brought in from some side until the nearest node has this gap."""
    apart = poses.centres[1] - poses.centres[0]

    def at(s, away):
        return replace(poses, centres=np.stack([poses.centres[0], poses.centres[1] - apart + s * away]))

    def nearer(s, away):
        trial = at(s, away)
        model.near(trial, 0.2)
        # The model tells its smallest gap up to the barrier's reach.
        return model._evaluate(trial, None)[1] < gap

    for _ in range(50):
        away = rng.normal(size=3)
        away /= np.linalg.norm(away)
        low = next((s for s in np.arange(12.0, -0.01, -0.05) if nearer(s, away)), None)
        if low is not None:
            break
    assert low is not None
    high = low + 0.05
    for _ in range(50):
        s = 0.5 * (low + high)
        low, high = (s, high) if nearer(s, away) else (low, s)
    return at(high, away)


PAIRS = [(a, b) for a in SHAPES for b in SHAPES if a <= b and (a, b) != ("ball", "ball")]


def touching_pair(a, b, seed):
    rng = np.random.default_rng(seed)
    bodies = concatenate([shaped(SHAPES[a]), shaped(SHAPES[b])])
    poses = Poses(np.zeros((2, 3)), np.stack([random_turn(rng), random_turn(rng)]))
    setting = setting_of(bodies)
    return setting, pushed_to(model_of(setting, poses), poses, rng.uniform(0.3, 0.6) * REACH, rng)


@pytest.mark.parametrize(("a", "b"), PAIRS)
@pytest.mark.parametrize("seed", range(4))
def test_gradient_and_hessian_of_a_pair(a, b, seed):
    setting, poses = touching_pair(a, b, seed)
    model = model_of(setting, poses)
    terms = model.terms(poses, None)
    assert terms.energy > 0.0

    def energy(x):
        return model.energy(poses.stepped(x.reshape(2, 6), setting.radii), 0.0)

    grad, block = dense(terms)
    block[np.arange(5, 12, 6), np.arange(5, 12, 6)] -= np.where(setting.turns == 2, 1.0, 0.0)
    assert np.abs(grad - slopes(energy, 12, 2e-4)).max() < 1e-5 * terms.forces.sum()
    bend = bends(energy, 12, 4e-4)
    assert np.abs(block - bend).max() < 1e-3 * np.abs(bend).max()
