"""Friction's springs against finite differences, and Coulomb's law on a slope."""

from dataclasses import replace

import numpy as np
import pytest

from chaingen.geometry.solids import Solid, SolidKind, bar
from chaingen.solve.drape.friction import Grip, add_friction, carried, slip_energy
from chaingen.solve.drape.model import SLIP, Barrier, Model, Setting, poses_of
from chaingen.solve.drape.rest import Settling
from tests.conftest import rings_of

REACH = 0.05
MU = 0.2
NONE = np.empty(0, dtype=np.int64)


def barrier(reach=REACH, stiffness=1.0):
    return Barrier(reach, stiffness, NONE, np.empty(0))


def hooked_on_a_bar(friction=MU):
    """Two unlike linked rings, the upper one on a bar, all pressing, turned out of every symmetry."""
    upper, lower, wire, thick = 2.5, 1.8, 0.5, 0.4
    drop = upper + lower - wire - thick - 0.4 * REACH
    rings = rings_of(((0, 0, 0), (0.1, 1, 0.03), upper, wire), ((0, 0, -drop), (1, 0.05, 0.02), lower, thick))
    peg = bar(np.array([0.0, 0.0, upper - wire - 1.0 - 0.5 * REACH]), np.array([0.1, 1.0, 0.0]), 1.0)
    loads = np.array([[0.0, 0.0, -1.0], [0.0, 0.0, -0.7]])
    return Setting(rings.radii, rings.wire_radii, loads, (peg,), friction), poses_of(rings)


def gripping(rng, share):
    """The places that press there, with random stretches of up to `share` of the slip at which friction is
    full."""
    bodies, poses = hooked_on_a_bar()
    model = Model(bodies, barrier())
    model.near(poses, 0.5)
    grip = model.terms(poses, None).grip
    stretch = rng.normal(size=(len(grip.keys), 3))
    normal = grip.press[:, 1:]
    stretch -= (stretch * normal).sum(axis=1)[:, None] * normal
    stretch *= (share * SLIP * REACH / np.linalg.norm(stretch, axis=1))[:, None]
    assert (grip.bodies[:, 1] >= 0).any()
    assert (grip.bodies[:, 1] < 0).any()
    return bodies, poses, replace(grip, stretch=stretch)


def derivatives(bodies, poses, grip):
    """Gradient, shape (2, 5), and Hessian of the springs, shape (10, 10), of pair and bar together."""
    slip = SLIP * REACH
    on = grip.bodies[:, 1] >= 0
    pair, pair_block = np.zeros((1, 10)), np.zeros((1, 10, 10))
    add_friction(
        grip.picked(on), poses.frames, bodies.radii, MU, slip, np.zeros(on.sum(), dtype=np.int64),
        np.array([0]), pair, pair_block,
    )  # fmt: skip
    own, own_block = np.zeros((2, 5)), np.zeros((2, 5, 5))
    add_friction(
        grip.picked(~on), poses.frames, bodies.radii, MU, slip, grip.bodies[~on, 0].copy(), np.arange(2),
        own, own_block,
    )  # fmt: skip
    block = pair_block[0]
    for k in range(2):
        block[5 * k : 5 * k + 5, 5 * k : 5 * k + 5] += own_block[k]
    return pair[0].reshape(2, 5) + own, block


def energy_of(bodies, poses, grip):
    def energy(x):
        return slip_energy(grip, poses.frames, bodies.radii, x.reshape(2, 5), MU, SLIP * REACH)[0]

    return energy


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9])
def test_spring_derivatives_by_differences(rng, share):
    """Below the full slip the energy is a square: differences are exact but for round-off."""
    bodies, poses, grip = gripping(rng, share)
    energy, eye = energy_of(bodies, poses, grip), 1e-5 * np.eye(10)
    grad, block = derivatives(bodies, poses, grip)
    force = MU * grip.press[:, 0].sum()
    assert force > 0.2
    slope = np.array([energy(e) - energy(-e) for e in eye]) / 2e-5
    assert grad.ravel() == pytest.approx(slope, abs=1e-8 * force)
    middle = energy(np.zeros(10))
    bend = np.array([[energy(a + b) - energy(a) - energy(b) + middle for b in eye] for a in eye]) / 1e-10
    assert block == pytest.approx(bend, abs=1e-4 * np.abs(bend).max())
    assert np.linalg.eigvalsh(block).min() > -1e-9 * np.abs(block).max()


def test_a_sliding_place_resists_no_further_slide(rng):
    """At full stretch and sliding, the energy is linear outwards: its slope is the gradient; the block has
    the bend across the slide only."""
    bodies, poses, grip = gripping(rng, 1.0)
    grip = replace(grip, slid=np.ones(len(grip.keys), dtype=bool)).picked(np.arange(len(grip.keys)) == 0)
    on_ring, other = grip.bodies[0]
    assert other >= 0
    grad, block = derivatives(bodies, poses, grip)
    outwards = np.zeros((2, 5))
    outwards[on_ring, :3] = grip.stretch[0] / np.linalg.norm(grip.stretch[0])
    across = np.zeros((2, 5))
    across[on_ring, :3] = np.cross(grip.press[0, 1:], outwards[on_ring, :3])
    energy = energy_of(bodies, poses, grip)
    full = MU * grip.press[0, 0]
    middle = energy(np.zeros(10))
    for length in (1e-4, 1e-2, 0.3):
        assert energy((length * outwards).ravel()) - middle == pytest.approx(full * length, rel=1e-9)
    assert (grad * outwards).sum() == pytest.approx(full, rel=1e-12)
    assert outwards.ravel() @ block @ outwards.ravel() == pytest.approx(
        0.0, abs=1e-12 * full / (SLIP * REACH)
    )
    assert across.ravel() @ block @ across.ravel() == pytest.approx(full / (SLIP * REACH), rel=1e-12)
    assert np.linalg.eigvalsh(block).min() > -1e-9 * np.abs(block).max()


def test_friction_never_passes_its_limit(rng):
    """Coulomb's law: whatever the step, a spring keeps at most the full slip, and so mu N, and lies across
    the normal."""
    bodies, poses, grip = gripping(rng, 0.5)
    slip = SLIP * REACH
    slides = set()
    for size in (1e-5, 1e-3, 0.1, 2.0):
        step = size * rng.normal(size=(2, 5))
        _, stretch, slid = slip_energy(grip, poses.frames, bodies.radii, step, MU, slip)
        length = np.linalg.norm(stretch, axis=1)
        assert (length <= slip * (1.0 + 1e-12)).all()
        assert np.abs((stretch * grip.press[:, 1:]).sum(axis=1)).max() < 1e-12
        assert slid.tolist() == (length > slip * (1.0 - 1e-9)).tolist()
        slides |= set(slid.tolist())
    assert slides == {True, False}


def test_common_motion_stretches_no_spring_between_rings(rng):
    """Both rings moved alike, and turned alike about one point: no slip where they touch each other."""
    bodies, poses, grip = gripping(rng, 0.0)
    grip = grip.picked(grip.bodies[:, 1] >= 0)
    moved = np.zeros((2, 5))
    moved[:, :3] = rng.normal(size=3)
    assert slip_energy(grip, poses.frames, bodies.radii, moved, MU, SLIP * REACH)[0] < 1e-25
    assert slip_energy(grip, poses.frames, bodies.radii, np.eye(2, 5), MU, SLIP * REACH)[0] > 1e-3


def settled_on_a_slope(degrees, friction, steps=150):
    """A ring laid flat on a sloping plane and let go: how far its centre went [mm], and if it rests."""
    slope = np.radians(degrees)
    up = np.array([np.sin(slope), 0.0, np.cos(slope)])
    wire = 0.5
    rings = rings_of(((wire + 0.5 * REACH) * up, up, 2.5, wire))
    solid = Solid(SolidKind.PLANE, np.array([*up, 0.0]))
    bodies = Setting(rings.radii, rings.wire_radii, np.array([[0.0, 0.0, -1.0]]), (solid,), friction)
    settling = Settling(bodies, poses_of(rings), barrier())
    terms, reached = settling.relax(1e-3, steps)
    moved = settling.poses.centres[0] - rings.centres[0]
    return moved, up, reached, settling, terms


@pytest.mark.parametrize("degrees", [0.0, 4.0, 10.0, 11.0])
def test_a_ring_stays_on_a_slope_that_friction_holds(degrees):
    """Coulomb's law: a body stays while tan(slope) <= mu; tan 11 deg = 0.194 (any textbook of statics)."""
    moved, _, reached, settling, terms = settled_on_a_slope(degrees, MU)
    assert reached
    assert np.linalg.norm(moved) < 0.05
    # The solid's whole force holds the weight up, friction's part of it along the slope.
    assert settling.support() == pytest.approx(1.0, abs=2e-3)
    assert terms.forces.sum() == pytest.approx(np.cos(np.radians(degrees)), abs=5e-3)


@pytest.mark.parametrize(("degrees", "friction"), [(12.0, MU), (13.0, MU), (30.0, MU), (2.0, 0.0)])
def test_a_ring_slides_down_a_steeper_slope(degrees, friction):
    """tan 12 deg = 0.213 is more than 0.2; without friction any slope will do."""
    moved, up, reached, _, _ = settled_on_a_slope(degrees, friction)
    assert not reached
    downhill = np.cross(up, np.cross(up, [0.0, 0.0, 1.0]))
    downhill /= np.linalg.norm(downhill)
    assert moved @ downhill > 2.0
    assert abs(moved @ up) < 0.1
    assert abs(moved[1]) < 0.05


def test_rest_on_a_slope_does_not_creep():
    _, _, reached, settling, _ = settled_on_a_slope(10.0, MU)
    assert reached
    before = settling.poses.centres.copy()
    settling.relax(1e-7, 60)
    assert np.linalg.norm(settling.poses.centres - before) < SLIP * REACH


def grip_of(rows, *, stretch=None, slid=None):
    """Places from rows of (key, node); normals along z."""
    count = len(rows)
    keys, node = (np.array(column, dtype=np.int64) for column in zip(*rows, strict=True))
    return Grip(
        np.tile([[0, 1]], (count, 1)),
        keys,
        node,
        np.tile([1.0, 0.0, 0.0, 1.0], (count, 1)),
        np.zeros((count, 2, 3)),
        np.zeros((count, 3)) if stretch is None else np.array(stretch, dtype=float),
        np.zeros(count, dtype=bool) if slid is None else np.array(slid),
    )


def test_carried_takes_the_nearest_place_of_the_same_pair_and_side():
    old = grip_of(
        [(4, 10), (4, 20), (5, 11), (8, 3)],
        stretch=[[0.1, 0, 0], [0.2, 0, 0], [0.3, 0, 0], [0.0, 0.4, 0.0]],
        slid=[True, False, False, True],
    )
    new = grip_of([(4, 19), (4, 12), (5, 90), (6, 3), (8, 3)])
    found = carried(old, new, 1.0)
    assert found.stretch == pytest.approx(
        np.array([[0.2, 0, 0], [0.1, 0, 0], [0.3, 0, 0], [0, 0, 0], [0, 0.4, 0]]), abs=1e-15
    )
    assert found.slid.tolist() == [False, True, False, False, True]
    assert found.node.tolist() == new.node.tolist()
    assert new.stretch.tolist() == np.zeros((5, 3)).tolist()


def test_carried_turns_with_the_normal_and_keeps_the_limit():
    """What was along the new normal is dropped, and what is left is no longer than the limit."""
    old = grip_of([(1, 0), (2, 0)], stretch=[[0.03, 0.0, 0.4], [3.0, 4.0, 0.0]])
    found = carried(old, grip_of([(1, 0), (2, 0)]), 0.1)
    assert found.stretch == pytest.approx(np.array([[0.03, 0.0, 0.0], [0.06, 0.08, 0.0]]), abs=1e-15)


def test_carried_from_nothing():
    new = grip_of([(1, 0), (2, 5)])
    assert not carried(None, new, 0.1).stretch.any()
    empty = new.picked(np.zeros(2, dtype=bool))
    assert not carried(empty, new, 0.1).stretch.any()
    assert len(carried(new, empty, 0.1).keys) == 0


def test_carried_in_any_order(rng):
    """Against a plain search through all old places."""
    for _ in range(20):
        old = grip_of([(int(k), int(n)) for k, n in rng.integers(0, [4, 60], (30, 2))])
        old = replace(old, stretch=np.column_stack([rng.normal(size=(30, 2)), np.zeros(30)]))
        new = grip_of([(int(k), int(n)) for k, n in rng.integers(0, [5, 60], (25, 2))])
        found = carried(old, new, 100.0)
        for key, node, stretch in zip(new.keys, new.node, found.stretch, strict=True):
            same = old.keys == key
            if not same.any():
                assert not stretch.any()
                continue
            away = np.where(same, np.abs(old.node - node), 1000)
            nearest = old.stretch[away == away.min()]
            assert np.abs(nearest - stretch).sum(axis=1).min() < 1e-12
