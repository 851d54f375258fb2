"""Bodies of arcs, straights and balls brought to rest: statics by closed form, and never a collision."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaingen.design.scene import Scene, SceneKind
from chaingen.findings.catalogue import KINDS
from chaingen.geometry.bodies import concatenate, shaped
from chaingen.geometry.centrelines import Bend, bent_wire
from chaingen.geometry.distance import smallest_gaps
from chaingen.geometry.shapes import Shape, Strand
from chaingen.geometry.solids import bar, plane
from chaingen.solve.check import check
from chaingen.solve.drape.disorder import shaken_up
from chaingen.solve.drape.drape import drape
from chaingen.solve.drape.energy import Poses
from chaingen.solve.drape.masses import centre_of_mass
from chaingen.solve.drape.model import Barrier, Setting, poses_of
from chaingen.solve.drape.rest import Settling
from chaingen.solve.drape.settle import _wires_apart, cleared
from chaingen.solve.place import place
from chaingen.weave.graph import row_graph
from chaingen.weave.groups import Group, GroupKind, Run
from tests.conftest import rings_of, side, size
from tests.test_body_energy import NONE, ball_of, hook, pin, random_turn, setting_of, stadium, strand_points


def laden(bodies, arms, solids, friction=0.0, weights=None):
    loads = np.zeros((len(bodies), 3))
    loads[:, 2] = -1.0 if weights is None else -np.array(weights)
    return Setting.of(bodies, loads, solids, friction, np.array(arms))


def to_rest(setting, poses, *, shares=(0.1, 0.03, 0.01), tolerance=1e-4):
    settling = Settling(setting, poses, Barrier(shares[0] * setting.thin, 1.0, NONE, np.empty(0)))
    for share in shares[1:]:
        settling.relax(1e-3, 400)
        assert settling.shrink(share * setting.thin, 1e-3, 400)
    terms, reached = settling.relax(tolerance, 400)
    assert reached
    return settling, terms


def _mean_by_length(shape):
    total, length = np.zeros(3), 0.0
    for strand in shape.strands:
        for curve in strand.curves:
            t = (np.arange(20000) + 0.5) / 20000 * curve.span
            total += curve.length * np.array([curve.point(x) for x in t]).mean(axis=0)
            length += curve.length
    return total / length


def long_hook():
    """Two legs of 6 and 3 mm and a half circle about the origin between them."""
    curves = bent_wire(
        [Bend(length=6.0), Bend(radius=2.0, angle=180.0), Bend(length=3.0)], begin=(-6.0, -2.0, 0.0)
    )
    return Shape((Strand(curves, 0.4),), ())


@pytest.mark.parametrize("friction", [0.0, 0.2])
def test_a_hook_hangs_with_its_centre_of_mass_under_the_bar(friction):
    """Statics: one support bears the weight, and stands over the centre of mass but for friction's cone."""
    shape = long_hook()
    arm = _mean_by_length(shape)
    # Lengths 6, 2 pi and 3 with their middles at x = -3, 4 / pi and -1.5.
    assert arm[0] == pytest.approx((-18.0 + 2.0 * np.pi * 4.0 / np.pi - 4.5) / (9.0 + 2.0 * np.pi), rel=1e-6)
    # The bar lies within the bend, square to its plane; the hook begins turned away by half a radian.
    c, s = np.cos(0.5), np.sin(0.5)
    turn = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]) @ np.array(
        [[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]
    )
    peg = bar(np.zeros(3), np.array([0.0, 1.0, 0.0]), 0.7)
    setting = laden(shaped(shape), [arm], (peg,), friction)
    settling, terms = to_rest(setting, Poses(np.array([[0.0, 0.0, -0.85]]), turn[None]))
    end = settling.poses
    below = end.centres[0] + arm @ end.frames[0]
    assert settling.support() == pytest.approx(1.0, abs=1e-3)
    if friction:
        # Anywhere in its cone at the bar, whose top is 0.7 above its axis, seen from the centre of mass.
        assert abs(below[0]) < friction * (2.0 + np.linalg.norm(arm))
    else:
        # The inside of the bend, 1.6 from its middle, lies on top of the bar, and the mass under it.
        assert below[0] == pytest.approx(0.0, abs=2e-3)
        assert below[2] == pytest.approx(0.7 - 1.6 - np.linalg.norm(arm), abs=settling.model.barrier.reach)
    assert terms.forces.sum() == pytest.approx(1.0, rel=0.05)
    assert abs(end.frames[0, 2, 1]) > 0.9


def test_a_ball_rests_on_a_table():
    setting = laden(shaped(ball_of()), [np.zeros(3)], (plane(),))
    settling, terms = to_rest(setting, Poses(np.array([[0.0, 0.0, 0.83]]), np.eye(3)[None]))
    height = settling.poses.centres[0, 2]
    assert 0.8 < height < 0.8 + settling.model.barrier.reach
    assert terms.forces.sum() == pytest.approx(1.0, abs=1e-3)


def test_a_pin_with_a_ball_lies_on_a_table_as_its_two_ends_allow():
    """The plane touches ball (0.9) and far end (0.3), 4.6 apart: the axis leans by sin a = 0.6 / 4.6."""
    shape = pin()
    c, s = np.cos(0.3), np.sin(0.3)
    frame = np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
    low = 2.0 * s + 0.32
    setting = laden(shaped(shape), [np.array([1.5, 0.0, 0.0])], (plane(),))
    settling, _ = to_rest(setting, Poses(np.array([[0.0, 0.0, low]]), frame[None]))
    assert settling.poses.frames[0, 0, 2] == pytest.approx(0.6 / 4.6, abs=2e-3)
    # Moments about the end: the ball bears 3.5 / 4.6 of the weight, the end the rest.
    press = settling.terms().grip
    node = press.node
    on_ball = settling.model.on.wires.curve_of(np.zeros(len(node), dtype=np.int64), node) == 1
    assert press.press[on_ball, 0].sum() == pytest.approx(3.5 / 4.6, abs=5e-3)
    assert press.press[:, 0].sum() == pytest.approx(1.0, abs=1e-3)


def test_two_balls_on_one_another():
    """One ball on top of another on a table: the force between them is the weight of the upper."""
    bodies = concatenate([shaped(ball_of(0.8)), shaped(ball_of(0.5))])
    setting = laden(bodies, np.zeros((2, 3)), (plane(),), weights=[1.2, 0.8])
    poses = Poses(np.array([[0.0, 0.0, 0.81], [0.0, 0.0, 2.13]]), np.tile(np.eye(3), (2, 1, 1)))
    settling, terms = to_rest(setting, poses, shares=(0.1, 0.03))
    apart = settling.poses.centres[1, 2] - settling.poses.centres[0, 2]
    assert 1.3 < apart < 1.3 + settling.model.barrier.reach
    assert terms.forces[terms.keys == 0 * 3 + 1] == pytest.approx([0.8], abs=2e-3)
    assert terms.forces.sum() == pytest.approx(0.8 + 2.0, abs=5e-3)


def test_a_link_a_ring_and_a_link_hang_wire_on_wire():
    """Each place bears what hangs below it, and inside hangs in inside: both by closed form."""
    long, wire, ring_radius, ring_wire, thick, gap = 1.5 + 1.2, 0.35, 1.6, 0.4, 0.4, 0.02
    taut = long - wire + ring_radius - ring_wire
    link = shaped(stadium())
    bodies = concatenate([link, rings_of(((0, 0, 0), (0, 1, 0), ring_radius, ring_wire)), link])
    frames = poses_of(bodies).frames.copy()
    frames[0] = frames[2] = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])
    centres = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, gap - taut], [0.0, 0.0, 2.0 * (gap - taut)]])
    peg = bar(np.array([0.0, 0.0, long - wire - thick - gap]), np.array([1.0, 0.0, 0.0]), thick)
    setting = laden(bodies, np.zeros((3, 3)), (peg,), 0.2, [1.0, 0.7, 1.3])
    settling, terms = to_rest(setting, Poses(centres, frames))
    assert settling.support() == pytest.approx(1.0, abs=1e-3)
    by_key = dict(zip(terms.keys.tolist(), terms.forces.tolist(), strict=True))
    for key, below in ((0 * 4 + 1, 2.0), (1 * 4 + 2, 1.3), (3, 3.0)):
        # A place bears at most sqrt(1 + mu^2) of its normal force; normals fan out where wire lies in wire.
        assert 0.999 * below < np.hypot(1.0, 0.2) * by_key[key] < 1.1 * below
    heights = settling.poses.centres[:, 2]
    for step in (heights[0] - heights[1], heights[1] - heights[2]):
        assert taut - settling.model.barrier.reach < step < taut


def test_disorder_shakes_bodies_and_keeps_them_clear():
    bodies = concatenate([shaped(pin()), shaped(stadium())])
    setting = setting_of(bodies, solids=(plane(),))
    poses = Poses(np.array([[0.0, 0.0, 1.5], [0.0, 3.0, 0.9]]), np.tile(np.eye(3), (2, 1, 1)))
    one, same = (shaken_up(setting, poses, 1.0, seed) for seed in (1, 1))
    assert one.centres.tolist() == same.centres.tolist()
    assert np.linalg.norm(one.centres - poses.centres, axis=1).min() > 1e-2
    assert np.abs(one.frames - poses.frames).max(axis=(1, 2)).min() > 1e-2
    for k, shape in enumerate((pin(), stadium())):
        for strand in shape.strands:
            points = strand_points(Shape((strand,), ()), 2001)
            assert (one.centres[k] + points @ one.frames[k])[:, 2].min() > strand.wire_radius


def finding(kind, *, turned=False, **sizes):
    return Group(GroupKind.FINDING, 1, KINDS[kind].build(kind, **sizes), turned)


@pytest.mark.parametrize("kind", [name for name in KINDS if name != "wire path"])
def test_every_kind_of_finding_comes_to_rest_on_a_table(kind):
    """Thrown down anyhow: the table bears its weight, nothing gets in, and it stands on at least three places
    or lies along some stretch."""
    built = KINDS[kind].build("thrown")
    body = shaped(built.shape).turned(random_turn(np.random.default_rng(1)))
    body = body.moved(np.array([0.0, 0.0, 0.02 - body.extents()[0][0, 2]]))
    setting = laden(body, [centre_of_mass(built)], (plane(),), 0.2)
    settling, terms = to_rest(setting, poses_of(body), tolerance=1e-3)
    assert settling.support() == pytest.approx(1.0, abs=2e-3)
    low = setting.at(settling.poses).extents()[0][0, 2]
    assert 0.0 < low < settling.model.barrier.reach
    # The weight acts within what it stands on: pressed places lie on every side of it.
    under = settling.poses.centres[0] + setting.arms[0] @ settling.poses.frames[0]
    places = settling.poses.centres[0] + terms.grip.arms[:, 0]
    middle = (terms.grip.press[:, :1] * places).sum(axis=0) / terms.grip.press[:, 0].sum()
    assert middle[:2] == pytest.approx(under[:2], abs=0.01 * setting.radii[0])


PIECES = {
    "ear wire, ring, link, ring, pin": Run(
        (side(1, size(4.0, 1.0)), finding("oval link")), 1, first=(finding("ear wire", turned=True),),
        last=(side(1, size(4.0, 1.0)), finding("head pin")),
    ),
    "links and rings": Run((side(1, size(4.0, 1.0)), finding("loop link")), 3),
}  # fmt: skip


@pytest.mark.parametrize("name", PIECES)
@pytest.mark.parametrize("kind", [SceneKind.HANG, SceneKind.TABLE])
def test_a_piece_with_findings_comes_to_rest(name, kind):
    """Placed, draped and checked: its links are there, and its support is its weight."""
    run = PIECES[name]
    draped = drape(run, place(run), Scene(kind, settling=True))
    assert draped.reached
    assert draped.check.sound
    assert draped.support == pytest.approx(1.0, abs=2e-3)
    for frame in draped.frames:
        report = check(draped.graph, frame)
        assert report.links_as_designed
        assert not report.collisions


def test_a_round_link_is_draped_as_a_ring():
    """A chain of rings, every second one a finding that is a closed ring, hangs as one of rings alone."""
    ring = side(1, size(4.0, 1.0))
    rings, mixed = Run((ring,), 6), Run((ring, finding("closed ring", wire=1.0, inside=4.0)), 3)
    ends = [drape(run, place(run), Scene(SceneKind.HANG)) for run in (rings, mixed)]
    assert all(draped.reached for draped in ends)
    assert ends[1].drop == pytest.approx(ends[0].drop, rel=1e-4)
    assert ends[1].length == pytest.approx(ends[0].length, rel=1e-4)


def link_and_ring(overlap):
    """A stadium with a ring hung in it, their wires overlapping by some mm."""
    run = Run((finding("oval link"), side(1, size(4.0, 1.0))), 1)
    graph = row_graph(run.groups())
    link = run.cell[0].size
    reach = link.shape.box[1][0] - 2.0 * link.wire_radius
    x = reach + 2.5 - 0.5 + overlap
    bodies = graph.bodies(
        np.array([[0.0, 0.0, 0.0], [x, 0.0, 0.0]]),
        np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0]]),
        np.array([[1.0, 0.0, 0.0], [1.0, 0.0, 0.0]]),
    )
    gap = smallest_gaps(bodies, np.array([[0, 1]]))[0][0]
    assert gap == pytest.approx(-overlap, abs=1e-6)
    return graph, bodies


def test_overlapping_wires_are_brought_clear():
    graph, bodies = link_and_ring(0.3)
    assert check(graph, bodies).collisions
    clear = cleared(graph, bodies, ())
    assert clear is not None
    report = check(graph, clear)
    assert report.links_as_designed
    assert report.smallest_gap > 0.0
    assert clear.shapes == bodies.shapes


@pytest.mark.parametrize("seed", range(6))
def test_room_of_bodies_of_several_wires_by_bisection(seed):
    """The factor of all wires at which the smallest gap is nothing."""
    rng = np.random.default_rng(seed)
    bodies = concatenate([shaped(pin()), shaped(hook()), shaped(stadium())])
    poses = Poses(1.5 * rng.normal(size=(3, 3)), np.stack([random_turn(rng) for _ in range(3)]))
    bodies = setting_of(bodies).at(poses)
    pairs = np.array([[0, 1], [0, 2], [1, 2]])
    low, high = 1e-3, 30.0
    for _ in range(60):
        factor = 0.5 * (low + high)
        clear = smallest_gaps(bodies.scaled_wires(factor), pairs)[0].min() > 0.0
        low, high = (factor, high) if clear else (low, factor)
    assert _wires_apart(bodies, pairs) == pytest.approx(low, rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(
    st.integers(0, 10**6), st.sampled_from([0.0, 0.2]), st.sampled_from([3, 12, 60]), st.booleans(),
)  # fmt: skip
def test_never_a_collision_never_a_changed_link(seed, friction, steps, hangs):
    """Link, ring, link shaken and let go for few steps or many: every frame is clear, the links unchanged."""
    link = finding("oval link")
    graph = row_graph((link, side(1, size(4.0, 1.0)), link))
    long = link.size.shape.box[1][0] - 2.0 * link.size.wire_radius
    step = long + 2.0 - 0.3
    centres = np.array([[0.0, 0.0, -k * step] for k in range(3)])
    axes = np.tile([0.0, 0.0, -1.0], (3, 1))
    normals = np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    bodies = graph.bodies(centres, normals, axes)
    if hangs:
        solid = bar(np.array([0.0, 0.0, long - 0.3]), np.array([0.0, 1.0, 0.0]), 0.2)
    else:
        bodies = bodies.turned(np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]]))
        bodies = bodies.moved(np.array([0.0, 0.0, 0.3 - bodies.bounds()[0][2]]))
        solid = plane()
    assert check(graph, bodies).sound
    setting = laden(bodies, np.zeros((3, 3)), (solid,), friction)
    frames = [shaken_up(setting, poses_of(bodies), 1.0, seed)]
    settling = Settling(
        setting, frames[0], Barrier(0.1 * setting.thin, 1.0, NONE, np.empty(0)), watch=frames.append
    )
    settling.relax(1e-3, steps)
    settling.change(settling.following_load(settling.terms(), 0.3))
    settling.shrink(0.02 * setting.thin, 0.05, steps)
    settling.relax(1e-3, steps)
    for frame in [*frames, settling.poses]:
        report = check(graph, setting.at(frame))
        assert not report.collisions
        assert report.links_as_designed
