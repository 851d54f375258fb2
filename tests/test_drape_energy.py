"""The drape's contact energy and linear algebra against finite differences, invariance and dense numpy."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.distance import smallest_gaps
from chaingen.geometry.linking import linked
from chaingen.geometry.solids import Solid, SolidKind, bar, distances, oval
from chaingen.solve.drape import linear
from chaingen.solve.drape.bounds import farthest, pair_bound, solid_bound
from chaingen.solve.drape.energy import (
    Poses,
    barrier,
    circle_distance,
    node_counts,
    pair_energy,
    solid_energy,
)
from chaingen.solve.drape.model import Barrier, Model, Setting, poses_of, semidefinite
from chaingen.solve.drape.worn import neck_form
from tests.conftest import random_rings, rings_of
from tests.oracles import circle_points, distance_to_circle

PAIR = np.array([[0, 1]])
REACH = 0.1


@dataclass(frozen=True)
class Contact:
    """Energy, gradient, Hessian and normal force of one contact, and the places that press."""

    energy: float
    grad: np.ndarray
    block: np.ndarray
    force: float
    least: float
    press: np.ndarray


def pair_contact(poses, rings, *, pairs=PAIR, reach=REACH, stiffness=1.3, times=1, derivatives=True):
    nodes = times * node_counts(rings.radii, rings.wire_radii, reach)
    grads, blocks, forces = np.empty((1, 10)), np.empty((1, 10, 10)), np.empty(1)
    touch, press = np.empty((4096, 3), dtype=np.int64), np.empty((4096, 4))
    energy, least, found = pair_energy(
        poses.centres, poses.frames, rings.radii, rings.wire_radii, pairs, np.array([stiffness]), nodes,
        reach, derivatives, grads, blocks, forces, touch, press,
    )  # fmt: skip
    assert found <= 4096
    return Contact(energy, grads[0], blocks[0], float(forces[0]), least, press[:found])


def solid_contact(poses, rings, solid, *, reach=REACH, stiffness=1.3, times=1, derivatives=True):
    nodes = times * node_counts(rings.radii, rings.wire_radii, reach)
    grads, blocks, forces = np.zeros((1, 5)), np.zeros((1, 5, 5)), np.empty(1)
    touch, press = np.empty((4096, 3), dtype=np.int64), np.empty((4096, 4))
    energy, least, found = solid_energy(
        poses.centres, poses.frames, rings.radii, rings.wire_radii, int(solid.kind), solid.numbers,
        np.array([stiffness]), nodes, reach, derivatives, grads, blocks, forces, touch, press,
    )  # fmt: skip
    assert found <= 4096
    return Contact(energy, grads[0], blocks[0], float(forces[0]), least, press[:found])


def turned_about(rng, normals, most):
    """Normals turned by up to `most` [rad] in random directions."""
    out = normals + np.tan(most) * rng.uniform(-1.0, 1.0, normals.shape)
    return out / np.linalg.norm(out, axis=1)[:, None]


def pulled_to(rings, gap):
    """The second ring moved along the line between nearest points until the gap is `gap`, by bisection."""
    for _ in range(60):
        gaps, points = smallest_gaps(rings, PAIR)
        away = points[0, 1] - points[0, 0]
        off = gap - gaps[0]
        if abs(off) < 1e-6:
            break
        move = off * away / np.linalg.norm(away)
        rings = replace(rings, centres=rings.centres + np.array([[0.0] * 3, move]))
    return rings


def crossing(rng):
    """Linked about at right angles and pulled taut: wires cross."""
    R = rng.uniform(1.5, 4.0, 2)
    r = rng.uniform(0.25, 0.6, 2)
    rings = rings_of(((0, 0, 0), (0, 0, 1), R[0], r[0]), ((R.sum() - r.sum(), 0, 0), (0, 1, 0), R[1], r[1]))
    rings = replace(rings, normals=turned_about(rng, rings.normals, 0.3))
    return pulled_to(rings, rng.uniform(0.3, 0.7) * REACH)


def side_by_side(rng):
    """Nearly parallel and unlike in size, outsides touching along a stretch."""
    R = rng.uniform(1.5, 4.0, 2)
    r = rng.uniform(0.25, 0.6, 2)
    rings = rings_of(((0, 0, 0), (0, 0, 1), R[0], r[0]), ((R.sum() + r.sum(), 0, 0), (0, 0, 1), R[1], r[1]))
    rings = replace(rings, normals=turned_about(rng, rings.normals, 0.2))
    return pulled_to(rings, rng.uniform(0.3, 0.7) * REACH)


def coaxial(rng):
    """One on the other all along, tilted and shifted by less than the barrier's reach."""
    R, r = rng.uniform(1.5, 4.0), rng.uniform(0.25, 0.6)
    height = 2.0 * r + 0.5 * REACH
    shift = rng.uniform(-0.05, 0.05, 2)
    rings = rings_of(
        ((0, 0, 0), (0, 0, 1), R, r), ((*shift, height), (0, 0, 1), R + rng.uniform(-0.02, 0.02), r)
    )
    return replace(rings, normals=turned_about(rng, rings.normals, 0.2 * REACH / R))


KINDS = {"crossing": crossing, "side by side": side_by_side, "coaxial": coaxial}


def random_turn(rng):
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    return turn * np.sign(np.linalg.det(turn))


def posed(rng, rings):
    """Poses with frames turned about the normals and the whole turned anyhow."""
    turn = random_turn(rng)
    poses = poses_of(
        Bodies(
            rings.centres @ turn.T + rng.normal(size=3), rings.normals @ turn.T, rings.radii, rings.wire_radii
        )
    )
    angle = rng.uniform(0.0, 2.0 * np.pi, len(rings))
    c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
    one, two, normal = (poses.frames[:, k] for k in range(3))
    return Poses(poses.centres, np.stack([c * one + s * two, c * two - s * one, normal], axis=1))


def slopes(energy, size, h):
    """Five-point first differences of an energy of a step."""
    out = np.empty(size)
    for i in range(size):
        e = np.eye(size)[i]
        out[i] = (8.0 * (energy(h * e) - energy(-h * e)) - energy(2.0 * h * e) + energy(-2.0 * h * e)) / (
            12.0 * h
        )
    return out


def bends(energy, size, h):
    """Second differences of an energy of a step, fourth order by Richardson's rule."""

    def once(h):
        out = np.empty((size, size))
        middle = energy(np.zeros(size))
        unit = h * np.eye(size)
        for i in range(size):
            out[i, i] = (energy(unit[i]) - 2.0 * middle + energy(-unit[i])) / (h * h)
            for j in range(i):
                out[i, j] = out[j, i] = (
                    energy(unit[i] + unit[j]) - energy(unit[i] - unit[j])
                    - energy(unit[j] - unit[i]) + energy(-unit[i] - unit[j])
                ) / (4.0 * h * h)  # fmt: skip
        return out

    return (4.0 * once(0.5 * h) - once(h)) / 3.0


@pytest.mark.parametrize("y", [0.02, 0.1, 0.35, 0.5, 0.9, 0.999])
def test_barrier_derivatives(y):
    value, first, second = barrier(y)
    h = 1e-4 * min(y, 1.0 - y)
    assert value == pytest.approx(-((1.0 - y) ** 2) * np.log(y), rel=1e-13)
    up, down = barrier(y + h), barrier(y - h)
    assert first == pytest.approx((up[0] - down[0]) / (2.0 * h), rel=1e-5, abs=1e-9)
    assert second == pytest.approx((up[1] - down[1]) / (2.0 * h), rel=1e-5, abs=1e-9)
    assert first < 0.0 < second


def test_barrier_ends_smoothly_at_its_reach():
    assert barrier(1.0) == barrier(2.0) == (0.0, 0.0, 0.0)
    value, first, second = barrier(1.0 - 1e-6)
    # -(1 - y)^2 log y is (1 - y)^3 to leading order.
    assert value == pytest.approx(1e-18, rel=1e-5)
    assert first == pytest.approx(-3e-12, rel=1e-5)
    assert second == pytest.approx(6e-6, rel=1e-5)


def test_barrier_at_half_its_reach():
    """Force K at a gap of half the reach is about what the stiffness promises: B'(1/2) = -ln 2 - 1/2."""
    assert barrier(0.5)[1] == pytest.approx(-np.log(2.0) - 0.5, rel=1e-14)


def test_distance_to_a_circle_by_differences(rng):
    out, near = np.empty(10), np.empty(10)
    place = {(0, 0): 4, (0, 1): 5, (0, 2): 6, (1, 1): 7, (1, 2): 8, (2, 2): 9}
    for _ in range(100):
        normal = rng.normal(size=3)
        normal /= np.linalg.norm(normal)
        w, radius = 2.0 * rng.normal(size=3), rng.uniform(0.5, 3.0)
        d = circle_distance(*w, *normal, radius, out)
        exact = distance_to_circle(w[None], np.zeros(3), normal, radius)[0]
        assert d == out[0] == pytest.approx(exact, abs=1e-12)
        rho = np.linalg.norm(w - (w @ normal) * normal)
        if d < 0.1 or rho < 0.1:
            continue
        h = 1e-5
        for a in range(3):
            move = h * np.eye(3)[a]
            up = circle_distance(*(w + move), *normal, radius, near)
            rise = near[1:4].copy()
            down = circle_distance(*(w - move), *normal, radius, near)
            assert out[1 + a] == pytest.approx((up - down) / (2.0 * h), abs=1e-8)
            for b in range(3):
                entry = out[place[min(a, b), max(a, b)]]
                assert entry == pytest.approx((rise[b] - near[1 + b]) / (2.0 * h), abs=1e-6)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(8))
def test_pair_gradient_and_hessian(kind, seed):
    """The Hessian is that of the energy along `Poses.stepped`, whose tilts are rotation vectors: second
    differences of the energy, not differences of the gradient, which would be taken in turned frames."""
    rng = np.random.default_rng(seed)
    rings = KINDS[kind](rng)
    poses = posed(rng, rings)
    here = pair_contact(poses, rings)
    assert here.energy > 0.0

    def energy(x):
        return pair_contact(poses.stepped(x.reshape(2, 5), rings.radii), rings, derivatives=False).energy

    scale = here.force
    slope = slopes(energy, 10, 2e-4)
    assert np.abs(here.grad - slope).max() < 1e-6 * scale
    bend = bends(energy, 10, 4e-4)
    assert np.abs(here.block - bend).max() < 2e-4 * np.abs(bend).max()
    assert here.block == pytest.approx(here.block.T, abs=1e-12 * np.abs(bend).max())


SLOPE = np.array([2.0, -1.0, 2.0]) / 3.0
SOLIDS = {
    "plane": Solid(SolidKind.PLANE, np.array([*SLOPE, -0.4])),
    "bar": bar(np.array([0.3, -0.2, 0.5]), np.array([1.0, 2.0, -0.5]), 0.8),
    "oval": oval(160.0, 1.35),
    "form": neck_form(60.0),
}


def against(rng, solid):
    """A ring of any pose, outside a solid by part of the reach; round the solid or beside it."""
    radius, wire = rng.uniform(1.5, 4.0), rng.uniform(0.25, 0.6)
    poses = posed(rng, rings_of(((0, 0, 0), (0, 0, 1), radius, wire)))
    rings = rings_of(((0, 0, 0), (0, 0, 1), radius, wire))
    angles = np.linspace(0.0, 2.0 * np.pi, 721)
    gap = rng.uniform(0.3, 0.7) * REACH
    poses = replace(poses, centres=30.0 * rng.normal(size=(1, 3)))
    for _ in range(200):
        points = circle_points(poses.centres[0], poses.frames[0, 2], radius, angles)
        out = distances(solid, points)
        nearest = np.argmin(out[:, 0])
        off = gap + wire - out[nearest, 0]
        if abs(off) < 1e-4:
            break
        poses = replace(poses, centres=poses.centres + off * out[nearest, 1:4])
    return rings, poses


@pytest.mark.parametrize("name", SOLIDS)
@pytest.mark.parametrize("seed", range(6))
def test_solid_gradient_and_hessian(name, seed):
    rng = np.random.default_rng(100 + seed)
    solid = SOLIDS[name]
    rings, poses = against(rng, solid)
    here = solid_contact(poses, rings, solid)
    assert here.energy > 0.0

    def energy(x):
        stepped = poses.stepped(x.reshape(1, 5), rings.radii)
        return solid_contact(stepped, rings, solid, derivatives=False).energy

    assert np.abs(here.grad - slopes(energy, 5, 2e-4)).max() < 1e-6 * here.force
    bend = bends(energy, 5, 4e-4)
    assert np.abs(here.block - bend).max() < 2e-4 * np.abs(bend).max()
    assert here.block == pytest.approx(here.block.T, abs=1e-12 * np.abs(bend).max())


def test_a_ring_lying_flat_on_a_plane():
    """Every node presses: K (e / w) B times the circumference, with w of the one wire."""
    rings = rings_of(((0, 0, 0.5 + 0.4 * REACH), (0, 0, 1), 2.0, 0.5))
    here = solid_contact(poses_of(rings), rings, Solid(SolidKind.PLANE, np.array([0.0, 0.0, 1.0, 0.0])))
    length = np.sqrt(2.0 * 0.5 * REACH)
    value, first, second = barrier(0.4)
    around = 2.0 * np.pi * 2.0
    assert here.energy == pytest.approx(1.3 * REACH / length * value * around, rel=1e-12)
    assert here.force == pytest.approx(-1.3 / length * first * around, rel=1e-12)
    assert here.grad[2] == pytest.approx(-here.force, rel=1e-12)
    assert here.block[2, 2] == pytest.approx(1.3 / (length * REACH) * second * around, rel=1e-12)


@pytest.mark.parametrize("kind", KINDS)
def test_forces_are_the_sum_of_what_presses(kind, rng):
    rings = KINDS[kind](rng)
    here = pair_contact(posed(rng, rings), rings)
    assert here.force == pytest.approx(here.press[:, 0].sum(), rel=1e-12)
    assert (here.press[:, 0] > 0.0).all()
    assert np.linalg.norm(here.press[:, 1:], axis=1) == pytest.approx(np.ones(len(here.press)), abs=1e-12)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(5))
def test_action_is_reaction(kind, seed):
    """Forces of a pair sum to nothing, and so do their torques about any point."""
    rng = np.random.default_rng(seed)
    rings = KINDS[kind](rng)
    poses = posed(rng, rings)
    grad = pair_contact(poses, rings).grad.reshape(2, 5)
    scale = np.abs(grad).max()
    assert grad[:, :3].sum(axis=0) == pytest.approx(np.zeros(3), abs=1e-11 * scale)
    # A circle takes no torque about its normal; the rest is what the tilts' gradients say.
    torque = np.einsum("nk,nka->na", rings.radii[:, None] * grad[:, 3:], poses.frames[:, :2])
    torque += np.cross(poses.centres, grad[:, :3])
    spin = [grad_spin(poses, rings, body) * poses.frames[body, 2] for body in range(2)]
    assert torque.sum(axis=0) + np.sum(spin, axis=0) == pytest.approx(np.zeros(3), abs=1e-4 * scale)


def grad_spin(poses, rings, body):
    """Energy's slope by a turn of one ring about its own normal: nothing but the nodes' spacing."""
    h = 1e-5

    def energy(angle):
        frames = poses.frames.copy()
        c, s = np.cos(angle), np.sin(angle)
        one, two = poses.frames[body, 0], poses.frames[body, 1]
        frames[body, 0], frames[body, 1] = c * one + s * two, c * two - s * one
        return pair_contact(Poses(poses.centres, frames), rings, derivatives=False).energy

    return (energy(h) - energy(-h)) / (2.0 * h)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(5))
def test_rigid_motion_of_a_pair_turns_the_gradient_along(kind, seed):
    rng = np.random.default_rng(seed)
    rings = KINDS[kind](rng)
    poses = posed(rng, rings)
    turn, shift = random_turn(rng), 20.0 * rng.normal(size=3)
    moved = Poses(poses.centres @ turn.T + shift, poses.frames @ turn.T)
    one, two = pair_contact(poses, rings), pair_contact(moved, rings)
    assert two.energy == pytest.approx(one.energy, rel=1e-9)
    assert two.force == pytest.approx(one.force, rel=1e-9)
    before, after = one.grad.reshape(2, 5), two.grad.reshape(2, 5)
    assert after[:, :3] == pytest.approx(before[:, :3] @ turn.T, abs=1e-9 * one.force)
    # Tilts are told in the rings' own frames, which turned along.
    assert after[:, 3:] == pytest.approx(before[:, 3:], abs=1e-9 * one.force)


def test_rigid_motion_of_ring_and_solid(rng):
    """A turned plane and bar with a turned ring."""
    for _ in range(5):
        turn, shift = random_turn(rng), 5.0 * rng.normal(size=3)
        for name in ("plane", "bar"):
            solid = SOLIDS[name]
            rings, poses = against(rng, solid)
            n = solid.numbers
            if name == "plane":
                normal = turn @ n[:3]
                other = Solid(SolidKind.PLANE, np.array([*normal, n[3] + normal @ shift]))
            else:
                other = bar(turn @ n[:3] + shift, turn @ n[3:6], n[6])
            moved = Poses(poses.centres @ turn.T + shift, poses.frames @ turn.T)
            one, two = solid_contact(poses, rings, solid), solid_contact(moved, rings, other)
            assert two.energy == pytest.approx(one.energy, rel=1e-8)
            assert two.grad[:3] == pytest.approx(turn @ one.grad[:3], abs=1e-8 * one.force)
            assert two.grad[3:] == pytest.approx(one.grad[3:], abs=1e-8 * one.force)


@pytest.mark.parametrize("kind", KINDS)
def test_swapping_a_pair_swaps_its_parts(kind, rng):
    rings = KINDS[kind](rng)
    poses = posed(rng, rings)
    one, two = pair_contact(poses, rings), pair_contact(poses, rings, pairs=PAIR[:, ::-1].copy())
    other = np.r_[5:10, 0:5]
    assert two.energy == pytest.approx(one.energy, rel=1e-12)
    assert two.force == pytest.approx(one.force, rel=1e-12)
    assert two.grad[other] == pytest.approx(one.grad, abs=1e-11 * one.force)
    assert two.block[np.ix_(other, other)] == pytest.approx(one.block, abs=1e-11 * np.abs(one.block).max())


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("widest", "share"), [(0.5, 1e-3), (0.7, 4e-3)])
def test_nodes_are_enough(kind, widest, share):
    """With twice the nodes the energy is the same to a thousandth at the gaps at which wires rest, up to half
    the barrier's reach; lighter contacts are shorter and a little coarser."""
    for seed in range(40):
        rng = np.random.default_rng(seed)
        rings = pulled_to(KINDS[kind](rng), rng.uniform(0.3, widest) * REACH)
        poses = posed(rng, rings)
        one, two = (pair_contact(poses, rings, times=times, derivatives=False) for times in (1, 2))
        assert one.energy == pytest.approx(two.energy, rel=share)


@pytest.mark.parametrize("kind", KINDS)
def test_energy_by_quadrature(kind, rng):
    """The integral of the docstring, by dense sampling of both circles."""
    rings = KINDS[kind](rng)
    poses = poses_of(rings)
    angles = np.arange(200_000) * 2.0 * np.pi / 200_000
    both = float(rings.wire_radii.sum())
    total = 0.0
    for a, b in ((0, 1), (1, 0)):
        points = circle_points(rings.centres[a], rings.normals[a], rings.radii[a], angles)
        y = (distance_to_circle(points, rings.centres[b], rings.normals[b], rings.radii[b]) - both) / REACH
        value = np.where(y < 1.0, -((1.0 - y) ** 2) * np.log(np.minimum(y, 1.0)), 0.0)
        total += 2.0 * np.pi * rings.radii[a] * value.mean()
    length = np.sqrt(2.0 * both * REACH)
    expected = 0.5 * 1.3 * REACH / length * total
    assert pair_contact(poses, rings, derivatives=False).energy == pytest.approx(expected, rel=1e-3)


def test_far_and_overlapping_pairs():
    rings = rings_of(((0, 0, 0), (0, 0, 1), 2.0, 0.5), ((0, 0, 1.2), (0, 0, 1), 2.0, 0.5))
    far = pair_contact(poses_of(rings), rings)
    assert far.energy == far.force == 0.0
    assert not far.grad.any()
    assert not far.block.any()
    assert far.least == REACH
    deep = rings_of(((0, 0, 0), (0, 0, 1), 2.0, 0.5), ((0, 0, 0.9), (0, 0, 1), 2.0, 0.5))
    here = pair_contact(poses_of(deep), deep)
    assert here.energy == np.inf
    assert here.least < 0.0


@pytest.mark.parametrize("aspect", [3.0, 5.0, 12.0])
@pytest.mark.parametrize("apart", [True, False])
def test_no_energy_where_wires_overlap_between_nodes(aspect, apart):
    """Wires cross, outside to outside or hooked, with the place midway between two nodes of either ring: as
    long as the energy is finite there is a gap, or a frame on the way could show a collision."""
    wire = 0.5
    radius = wire * (aspect + 1.0)
    for reach in (0.05, 0.005):
        far = 2.0 * radius + (2.0 * wire if apart else -2.0 * wire)
        off = -2e-6 if apart else 2e-6
        rings = rings_of(((0, 0, 0), (0, 0, 1), radius, wire), ((far + off, 0, 0), (0, 1, 0), radius, wire))
        assert smallest_gaps(rings, PAIR)[0][0] == pytest.approx(-2e-6, abs=1e-9)
        bodies = Setting(rings.radii, rings.wire_radii, np.zeros((2, 3)), (), 0.0)
        model = Model(bodies, Barrier(reach, 1.0, np.empty(0, dtype=np.int64), np.empty(0)))
        half = np.pi / model.nodes
        # Node 0 stands half a step beside the place nearest to the other ring.
        toward = np.array([[1.0, 0.0, 0.0], [-1.0, 0.0, 0.0]])
        beside = np.cross(rings.normals, toward)
        c, s = np.cos(half)[:, None], np.sin(half)[:, None]
        frames = np.stack([c * toward + s * beside, c * beside - s * toward, rings.normals], axis=1)
        poses = Poses(rings.centres, frames)
        model.near(poses, 0.5)
        assert model.energy(poses) == np.inf


def test_stepped_turns_rigidly(rng):
    """A tilt of length R t turns the frame by t about that direction; frames stay orthonormal."""
    rings = random_rings(rng, 30)
    poses = posed(rng, rings)
    step = rng.normal(size=(30, 5))
    after = poses.stepped(step, rings.radii)
    assert after.centres == pytest.approx(poses.centres + step[:, :3], abs=1e-15)
    eye = np.broadcast_to(np.eye(3), (30, 3, 3))
    assert after.frames @ after.frames.transpose(0, 2, 1) == pytest.approx(eye, abs=1e-14)
    assert np.linalg.det(after.frames) == pytest.approx(np.ones(30))
    angle = np.linalg.norm(step[:, 3:], axis=1) / rings.radii
    cos = (after.frames[:, 2] * poses.frames[:, 2]).sum(axis=1)
    assert cos == pytest.approx(np.cos(angle), abs=1e-12)
    for k in range(200):
        poses = poses.stepped(np.random.default_rng(k).normal(size=(30, 5)), rings.radii)
    assert poses.frames @ poses.frames.transpose(0, 2, 1) == pytest.approx(eye, abs=1e-14)


def test_a_step_within_the_bound_changes_no_link():
    """Random pairs, linked and not, thrown as far as the bound allows and no farther."""
    rng = np.random.default_rng(3)
    rings = random_rings(rng, 6000, spread=0.7)
    pairs = np.column_stack([np.arange(0, 6000, 2), np.arange(1, 6000, 2)])
    # As thick as the room they have: the bound rests on wires being clear, and thick wires move farthest.
    gaps, _ = smallest_gaps(Bodies(rings.centres, rings.normals, rings.radii, np.zeros(6000)), pairs)
    wires = np.repeat(0.5 * gaps, 2)
    step = rng.normal(size=(6000, 5)) * 10.0 ** rng.uniform(-1, 1, (6000, 1))
    for k, pair in enumerate(pairs):
        part = pair_bound(step[pair], wires[pair], PAIR)
        assert part < 1.0 or gaps[k] > 0.1
        step[pair] *= part
    before = linked(rings, pairs)
    moved = poses_of(rings).stepped(step, rings.radii)
    after = linked(replace(rings, centres=moved.centres, normals=moved.frames[:, 2]), pairs)
    assert before.tolist() == after.tolist()
    assert 500 < before.sum() < 2500
    # Farther steps do change links: the test can fail.
    far = poses_of(rings).stepped(5.0 * step, rings.radii)
    assert (
        linked(replace(rings, centres=far.centres, normals=far.frames[:, 2]), pairs).tolist()
        != before.tolist()
    )


def test_common_motion_is_free():
    step = np.tile([30.0, -20.0, 10.0, 0.0, 0.0], (2, 1))
    assert pair_bound(step, np.array([0.5, 0.5]), PAIR) == 1.0
    step[1, 0] += 2.0
    assert pair_bound(step, np.array([0.5, 0.5]), PAIR) == pytest.approx(0.99 * 1.0 / 2.0)


@pytest.mark.parametrize("name", SOLIDS)
def test_a_step_within_the_bound_stays_out_of_solids(name):
    """Centrelines of rings that are clear keep a way from the solid at every part of the step."""
    rng = np.random.default_rng(4)
    solid = SOLIDS[name]
    angles = np.linspace(0.0, 2.0 * np.pi, 181)
    for _ in range(40):
        rings, poses = against(rng, solid)
        step = rng.normal(size=(1, 5)) * 10.0 ** rng.uniform(-1, 1.5)
        part = solid_bound(step, poses.centres, rings.radii, rings.wire_radii, int(solid.kind), solid.numbers)
        for share in np.linspace(0.0, part, 7):
            after = poses.stepped(share * step, rings.radii)
            points = circle_points(after.centres[0], after.frames[0, 2], rings.radii[0], angles)
            assert distances(solid, points)[:, 0].min() > 0.0


def test_farthest_bounds_every_point(rng):
    rings = random_rings(rng, 50)
    poses = posed(rng, rings)
    step = rng.normal(size=(50, 5))
    after = poses.stepped(step, rings.radii)
    t = np.linspace(0.0, 2.0 * np.pi, 90)

    def points(p):
        arms = np.cos(t)[:, None, None] * p.frames[:, 0] + np.sin(t)[:, None, None] * p.frames[:, 1]
        return p.centres + rings.radii[:, None] * arms

    each = np.linalg.norm(step[:, :3], axis=1) + np.linalg.norm(step[:, 3:], axis=1)
    assert farthest(step) == pytest.approx(each.max(), rel=1e-12)
    assert (np.linalg.norm(after.centres - poses.centres, axis=1) <= each + 1e-12).all()
    assert (np.linalg.norm(points(after) - points(poses), axis=2) <= each + 1e-9).all()


def test_semidefinite_is_the_nearest(rng):
    """Negative eigenvalues go to nothing and the rest stay; sound blocks come back as they are."""
    blocks = rng.normal(size=(20, 10, 10))
    blocks = blocks + blocks.transpose(0, 2, 1)
    blocks[7] = blocks[7] @ blocks[7]
    out = semidefinite(blocks)
    assert out[7].tolist() == blocks[7].tolist()
    for block, mended in zip(blocks, out, strict=True):
        values = np.linalg.eigvalsh(block)
        assert np.sort(np.linalg.eigvalsh(mended)) == pytest.approx(np.maximum(values, 0.0), abs=1e-9)
        # Higham 1988, "Computing a nearest symmetric positive semidefinite matrix", Linear Algebra Appl. 103,
        # theorem 2.1: the distance in the Frobenius norm is that of the negative eigenvalues.
        apart = np.linalg.norm(block - mended)
        assert apart == pytest.approx(np.linalg.norm(np.minimum(values, 0.0)), abs=1e-9)
    assert semidefinite(np.empty((0, 10, 10))).shape == (0, 10, 10)


def system(rng, n, extra, width=5):
    """Blocks of a chain with some other pairs, its dense matrix, and a right side."""
    chain = [(k, k + 1) for k in range(n - 1)]
    others = {tuple(sorted(rng.choice(n, 2, replace=False).tolist())) for _ in range(extra)}
    pairs = np.array(sorted(set(chain) | others), dtype=np.int64)
    root = rng.normal(size=(len(pairs), 2 * width, 2 * width))
    blocks = root @ root.transpose(0, 2, 1)
    half = rng.normal(size=(n, width, width))
    own = half @ half.transpose(0, 2, 1) + 0.1 * np.eye(width)
    dense = np.zeros((width * n, width * n))
    for k in range(n):
        dense[width * k : width * k + width, width * k : width * k + width] += own[k]
    for (i, j), block in zip(pairs, blocks, strict=True):
        place = np.r_[width * i : width * i + width, width * j : width * j + width]
        dense[np.ix_(place, place)] += block
    return own, pairs, blocks, dense, rng.normal(size=(n, width))


@pytest.mark.parametrize("width", [5, 6])
@pytest.mark.parametrize("widest", [10**6, 0])
@pytest.mark.parametrize(("n", "extra"), [(2, 0), (7, 0), (40, 0), (40, 25)])
def test_linear_systems_by_dense_numpy(monkeypatch, rng, widest, n, extra, width):
    """By band factors and by sparse factors."""
    monkeypatch.setattr(linear, "WIDEST_BAND", widest)
    own, pairs, blocks, dense, right = system(rng, n, extra, width)
    shuffled = rng.permutation(n)
    pairs = shuffled[pairs]
    place = (width * np.argsort(shuffled)[:, None] + np.arange(width)).ravel()
    found = linear.solve(linear.Ordering(n, pairs, width), own[np.argsort(shuffled)], pairs, blocks, right)
    exact = np.linalg.solve(dense[np.ix_(place, place)], right.ravel()).reshape(-1, width)
    assert found == pytest.approx(exact, abs=1e-8 * np.abs(exact).max())


def test_the_band_of_a_shuffled_chain_is_a_chains(rng):
    shuffled = rng.permutation(200)
    pairs = np.column_stack([shuffled[:-1], shuffled[1:]])
    assert linear.Ordering(200, pairs).band == 9
    assert linear.Ordering(200, pairs, 6).band == 11
    assert linear.Ordering(3, np.empty((0, 2), dtype=np.int64)).band == 4


def test_an_indefinite_system_is_refused_by_the_band(rng):
    own, pairs, blocks, _, right = system(rng, 12, 0)
    own[4] -= 1e3 * np.eye(5)
    assert linear.solve(linear.Ordering(12, pairs), own, pairs, blocks, right) is None


def test_no_solution_where_a_wide_system_is_not_positive_definite(monkeypatch):
    """As for narrow ones: an uphill step must never be taken for a Newton step."""
    from chaingen.solve.drape import linear

    monkeypatch.setattr(linear, "WIDEST_BAND", 0)
    n = 6
    pairs = np.array([[k, k + 1] for k in range(n - 1)])
    blocks = np.zeros((len(pairs), 10, 10))
    right = np.ones((n, 5))
    good = np.tile(2.0 * np.eye(5), (n, 1, 1))
    ordering = linear.Ordering(n, pairs)
    assert linear.solve(ordering, good, pairs, blocks, right) == pytest.approx(0.5 * right)
    bad = good.copy()
    bad[3, 2, 2] = -1.0
    assert linear.solve(ordering, bad, pairs, blocks, right) is None
    assert linear.solve(ordering, -good, pairs, blocks, right) is None
