"""Small setups brought to rest: statics, invariance, and never a collision or a changed link on the way."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaingen.geometry.bodies import Bodies, concatenate
from chaingen.geometry.solids import bar, distances, plane
from chaingen.solve.check import check
from chaingen.solve.drape.disorder import shaken_up
from chaingen.solve.drape.energy import Poses
from chaingen.solve.drape.model import Barrier, Setting, poses_of
from chaingen.solve.drape.rest import Settling, unbalanced_force
from chaingen.weave.graph import row_graph
from tests.conftest import rings_of, side, size
from tests.oracles import circle_points

NONE = np.empty(0, dtype=np.int64)


def chain(sizes, *, pull=0.9, along=(0.0, 0.0, -1.0)):
    """A straight chain of rings linked at right angles, of (inside diameter, wire), and its link graph.

    Each ring is drawn `pull` of the way from being centred on the last ring's wire to being taut.
    """
    along = np.array(along)
    one = np.array([0.0, 1.0, 0.0])
    two = np.cross(along, one)
    rows, at = [], 0.0
    for k, (inside, wire) in enumerate(sizes):
        radius = 0.5 * (inside + wire)
        if k:
            before = 0.5 * sum(sizes[k - 1])
            # Taut when inside meets inside; a ring centred on the other's wire is as far from it all round.
            taut = 0.5 * (sizes[k - 1][0] + inside)
            at += (1.0 - pull) * max(before, radius) + pull * taut
        rows.append((at * along, one if k % 2 == 0 else two, radius, 0.5 * wire))
    graph = row_graph(
        tuple(side(1, size(inside, wire, f"ring {k}")) for k, (inside, wire) in enumerate(sizes))
    )
    return rings_of(*rows), graph


def hung(sizes, *, friction=0.0, weights=None):
    """A chain hung on a thin bar through its first ring."""
    rings, graph = chain(sizes)
    inside, wire = sizes[0]
    thick = 0.3 * wire
    peg = bar(np.array([0.0, 0.0, 0.5 * inside - thick - 0.3 * wire]), np.array([0.0, 1.0, 0.0]), thick)
    return laden(rings, (peg,), friction, weights), poses_of(rings), graph


def laden(rings, solids, friction, weights=None):
    """Bodies whose weights go with their wire, 1 on average."""
    if weights is None:
        weights = rings.radii * rings.wire_radii**2
        weights = weights / weights.mean()
    loads = np.zeros((len(rings), 3))
    loads[:, 2] = -weights
    return Setting(rings.radii, rings.wire_radii, loads, solids, friction)


def settling_of(bodies, poses, share=0.1, *, watch=None):
    reach = share * float(bodies.wire_radii.min())
    return Settling(bodies, poses, Barrier(reach, 1.0, NONE, np.empty(0)), watch=watch)


def rings_at(bodies, poses):
    return Bodies(poses.centres, poses.frames[:, 2], bodies.radii, bodies.wire_radii)


FOUR = [(4.0, 1.0), (5.0, 0.8), (3.5, 0.7), (4.5, 1.1)]


def test_energy_never_rises_between_steps():
    """Without friction, at one barrier, from disorder to rest."""
    for seed in range(3):
        bodies, poses, _ = hung(FOUR)
        settling = settling_of(bodies, shaken_up(bodies, poses, 1.0, seed))
        start = settling.terms().energy
        _, reached = settling.relax(1e-4, 300)
        assert reached
        barriers, energies = np.array([(0, start), *settling.energies]).T
        assert settling.steps == len(energies) - 1 > 8
        same = np.diff(barriers) == 0.0
        assert same.sum() > 6
        assert (np.diff(energies) <= 1e-12 * np.abs(energies[:-1]))[same].all()
        assert energies[same.argmin() if not same.all() else -1] < start - 1e-3


def test_energies_are_those_of_the_poses():
    """What is kept as energy is what the model says of the poses that a watcher sees."""
    bodies, poses, _ = hung(FOUR)
    seen = []
    settling = settling_of(bodies, poses, watch=seen.append)
    settling.relax(1e-3, 6)
    assert len(seen) == len(settling.energies) == settling.steps
    settling.model.near(seen[-1], 1.0)
    last = settling.energies[-1][0]
    of_last = [
        (poses, energy)
        for poses, (number, energy) in zip(seen, settling.energies, strict=True)
        if number == last
    ]
    for poses, energy in of_last:
        assert settling.model.energy(poses) == pytest.approx(energy, rel=1e-12)


@pytest.mark.parametrize("count", [2, 3, 4, 5, 6])
@pytest.mark.parametrize("friction", [0.0, 0.2])
def test_the_bar_carries_the_weight(count, friction):
    """Statics: support equals weight, and each joint carries the weight of all rings below it."""
    sizes = [(4.0 + 0.3 * k, 1.0) for k in range(count)]
    bodies, poses, graph = hung(sizes, friction=friction)
    settling = settling_of(bodies, poses)
    terms, reached = settling.relax(1e-5, 300)
    assert reached
    assert settling.support() == pytest.approx(1.0, abs=1e-4)
    assert check(graph, rings_at(bodies, settling.poses)).sound
    weights = -bodies.loads[:, 2]
    # Contacts come in the order of their keys: joints k, k + 1 by pair, then the bar with ring 0.
    solids = len(bodies.solids)
    for k in range(count - 1):
        here = terms.keys == k * (count + solids) + k + 1
        below = weights[k + 1 :].sum()
        # A place bears at most sqrt(1 + mu^2) of its normal force; normals fan out where wire lies in wire.
        assert below * 0.999 < np.hypot(1.0, friction) * terms.forces[here].sum() < 1.1 * below
    assert terms.forces[terms.keys == count].sum() == pytest.approx(weights.sum(), rel=0.1)


@pytest.mark.parametrize("friction", [0.0, 0.2])
def test_a_chain_hangs_wire_on_wire(friction):
    """Taut length N ID + 2 WD (derived), once the barrier's reach is small; every centre below the last."""
    count = 5
    bodies, poses, graph = hung([(4.0, 1.0)] * count, friction=friction)
    settling = settling_of(bodies, poses)
    for share in (0.03, 0.01, 0.003):
        settling.relax(1e-3, 200)
        assert settling.shrink(share * 0.5, 1e-3, 200)
    _, reached = settling.relax(1e-4, 200)
    assert reached
    rings = rings_at(bodies, settling.poses)
    low, high = rings.bounds()
    assert high[2] - low[2] == pytest.approx(count * 4.0 + 2.0, rel=5e-4)
    assert check(graph, rings).sound
    if not friction:
        assert np.ptp(rings.centres[:, 0]) < 0.01


def test_shrinking_the_reach_shrinks_the_gaps():
    bodies, poses, graph = hung(FOUR)
    settling = settling_of(bodies, poses)
    settling.relax(1e-4, 200)
    gaps = [check(graph, rings_at(bodies, settling.poses)).smallest_gap]
    for share in (0.05, 0.02):
        assert settling.shrink(share * 0.35, 1e-3, 200)
        settling.relax(1e-4, 200)
        gaps.append(check(graph, rings_at(bodies, settling.poses)).smallest_gap)
        assert settling.model.barrier.reach == pytest.approx(share * 0.35)
    assert gaps[0] > gaps[1] > gaps[2] > 0.0
    # All gaps go with the reach, near enough.
    assert gaps[2] / gaps[1] == pytest.approx(0.4, abs=0.1)


def turned(poses, solids, angle, shift):
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    moved = tuple(
        bar(turn @ one.numbers[:3] + shift, turn @ one.numbers[3:6], one.numbers[6]) for one in solids
    )
    return turn, Poses(poses.centres @ turn.T + shift, poses.frames @ turn.T), moved


@pytest.mark.parametrize("friction", [0.0, 0.2])
@pytest.mark.parametrize("angle", [0.7, 2.9])
def test_rest_is_the_same_wherever_it_hangs(friction, angle):
    """All turned about the plumb line and shifted, from disorder: Newton's steps are turned along, so that
    only round-off differs."""
    bodies, poses, _ = hung(FOUR, friction=friction)
    poses = shaken_up(bodies, poses, 0.6, 3)
    shift = np.array([12.0, -7.0, 30.0])
    turn, there, solids = turned(poses, bodies.solids, angle, shift)
    here, other = settling_of(bodies, poses), settling_of(replace(bodies, solids=solids), there)
    for one in (here, other):
        _, reached = one.relax(1e-4, 300)
        assert reached
    assert np.abs(other.poses.centres - (here.poses.centres @ turn.T + shift)).max() < 1e-3
    assert np.abs(other.poses.frames[:, 2] - here.poses.frames[:, 2] @ turn.T).max() < 1e-3


def test_equal_starts_come_to_equal_rest():
    """Bit by bit: nothing depends on what ran before."""
    ends = []
    for _ in range(2):
        bodies, poses, _ = hung(FOUR, friction=0.2)
        settling = settling_of(bodies, shaken_up(bodies, poses, 1.0, 5))
        settling.relax(1e-3, 200)
        ends.append(settling.poses.centres.tolist() + settling.poses.frames.tolist())
    assert ends[0] == ends[1]


def test_an_upright_ring_on_a_table_falls_flat():
    """Of all poses of a ring on a table, flat has the lowest centre: r over the plane."""
    rings = rings_of(((0.0, 0.0, 3.03), (1.0, 0.0, 0.05), 2.5, 0.5))
    bodies = laden(rings, (plane(),), 0.0)
    settling = settling_of(bodies, poses_of(rings))
    terms, reached = settling.relax(1e-4, 200)
    assert reached
    assert abs(settling.poses.frames[0, 2, 2]) == pytest.approx(1.0, abs=1e-5)
    assert 0.5 < settling.poses.centres[0, 2] < 0.5 + settling.model.barrier.reach
    assert terms.forces.sum() == pytest.approx(1.0, abs=1e-3)


def test_not_enough_steps_is_told():
    bodies, poses, graph = hung(FOUR)
    settling = settling_of(bodies, shaken_up(bodies, poses, 1.0, 1))
    terms, reached = settling.relax(1e-6, 2)
    assert not reached
    assert settling.steps <= 2
    assert unbalanced_force(terms.gradient, bodies) > 1e-6
    assert check(graph, rings_at(bodies, settling.poses)).sound


@pytest.mark.parametrize(("ratio", "degrees"), [(0.1, 53.130), (0.2, 36.870), (0.25, 30.0)])
def test_a_joint_twisted_too_far_hangs_taut_again(ratio, degrees):
    """A taut joint of equal rings turns freely up to sin(alpha) = 1 - 2 r / R (derived), and no farther: from
    beyond, weight turns it back within, until centres are 2 (R - r) apart."""
    alpha = np.radians(degrees + 15.0)
    lower = (np.cos(alpha), np.sin(alpha), 0)
    rings = rings_of(((0, 0, 0), (0, 1, 0), 1.0, ratio), ((0, 0, -1.0), lower, 1.0, ratio))
    peg = bar(np.array([0.0, 0.0, 1.0 - 1.6 * ratio]), np.array([0.0, 1.0, 0.0]), 0.5 * ratio)
    bodies = laden(rings, (peg,), 0.0)
    settling = settling_of(bodies, poses_of(rings))
    settling.relax(1e-3, 200)
    for share in (0.03, 0.01):
        assert settling.shrink(share * ratio, 1e-3, 200)
    _, reached = settling.relax(1e-4, 200)
    assert reached
    one, two = settling.poses.frames[:, 2]
    assert np.degrees(np.arcsin(abs(one @ two))) < degrees
    apart = np.linalg.norm(settling.poses.centres[1] - settling.poses.centres[0])
    assert apart == pytest.approx(2.0 - 2.0 * ratio, rel=2e-3)


ring_sizes = st.tuples(st.floats(3.0, 8.0), st.floats(0.5, 1.2)).filter(lambda ring: ring[0] >= 3.0 * ring[1])


@settings(max_examples=60, deadline=None)
@given(
    st.lists(ring_sizes, min_size=2, max_size=6),
    st.booleans(),
    st.sampled_from([0.0, 0.2]),
    st.integers(0, 10**6),
    st.sampled_from([3, 12, 60]),
)
def test_never_a_collision_never_a_changed_link(sizes, hangs, friction, seed, steps):
    """Random chains shaken and let go for few steps or many: every frame is free of collisions, with the
    links of the design, whether rest was reached or not."""
    if hangs:
        bodies, poses, graph = hung(sizes, friction=friction)
    else:
        rings, graph = chain(sizes, along=(1.0, 0.0, 0.0))
        low = (rings.centres[:, 2] - rings.half_extents()[:, 2]).min()
        rings = replace(rings, centres=rings.centres + np.array([0.0, 0.0, 0.3 - low]))
        bodies, poses = laden(rings, (plane(),), friction), poses_of(rings)
    assert check(graph, rings_at(bodies, poses)).sound
    shaken = shaken_up(bodies, poses, 1.0, seed)
    frames = [shaken]
    settling = settling_of(bodies, shaken, watch=frames.append)
    settling.relax(1e-3, steps)
    settling.change(settling.following_load(settling.terms(), 0.3))
    settling.shrink(0.02 * float(bodies.wire_radii.min()), 0.05, steps)
    settling.relax(1e-3, steps)
    frames.append(settling.poses)
    for frame in frames:
        report = check(graph, rings_at(bodies, frame))
        assert not report.collisions
        assert report.links_as_designed


def test_shaken_up_is_seeded_and_moves_every_ring():
    bodies, poses, graph = hung(FOUR)
    one, same, other = (shaken_up(bodies, poses, 1.0, seed) for seed in (1, 1, 2))
    assert one.centres.tolist() == same.centres.tolist()
    assert one.frames.tolist() == same.frames.tolist()
    assert np.linalg.norm(one.centres - other.centres, axis=1).min() > 1e-3
    assert np.linalg.norm(one.centres - poses.centres, axis=1).min() > 1e-2
    assert shaken_up(bodies, poses, 0.0, 1).centres.tolist() == poses.centres.tolist()
    assert check(graph, rings_at(bodies, one)).sound


def test_shaken_up_stays_clear_of_a_thin_bar():
    """Wide rings of thin wire on a thin peg: the distance to the bar is that of dense points."""
    sizes = [(8.0, 0.5), (8.0, 0.5)]
    bodies, poses, graph = hung(sizes)
    angles = np.linspace(0.0, 2.0 * np.pi, 3001)
    for seed in (1, 2, 3, 69, 143, 155, 161, 191):
        after = shaken_up(bodies, poses, 1.0, seed)
        for k in range(2):
            points = circle_points(after.centres[k], after.frames[k, 2], bodies.radii[k], angles)
            assert distances(bodies.solids[0], points)[:, 0].min() > bodies.wire_radii[k]
        assert check(graph, rings_at(bodies, after)).sound


def test_no_rings_are_at_rest_already():
    """A piece apart from everything with nothing to pull it takes no step."""
    rings = concatenate([rings_of(((9.0 * k, 0, 0), (0, 0, 1), 2.0, 0.5)) for k in range(3)])
    bodies = Setting(rings.radii, rings.wire_radii, np.zeros((3, 3)), (), 0.2)
    settling = settling_of(bodies, poses_of(rings))
    terms, reached = settling.relax(1e-9, 5)
    assert reached
    assert settling.steps == 0
    assert len(terms.pairs) == 0
    assert unbalanced_force(terms.gradient, settling.bodies) == 0.0
