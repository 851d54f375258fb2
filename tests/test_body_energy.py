"""The drape of bodies of arcs, straights and balls: against rings, differences, closed forms and statics."""

from dataclasses import replace

import numpy as np
import pytest

from chaingen.geometry.bodies import axes_across, concatenate, shaped
from chaingen.geometry.centrelines import Arc, Bend, Straight, bent_wire, segment
from chaingen.geometry.shapes import Closure, Eye, Shape, Strand, ring_shape
from chaingen.geometry.solids import Solid, SolidKind, bar, distances, ledge, oval, plane
from chaingen.solve.drape.body_energy import BEGINNING, END, INSIDE, nearest_of, part_distance
from chaingen.solve.drape.bounds import pair_bound, solid_bound
from chaingen.solve.drape.energy import Poses
from chaingen.solve.drape.friction import add_friction
from chaingen.solve.drape.model import SLIP, Barrier, Model, Setting, poses_of
from chaingen.solve.drape.rest import Settling
from chaingen.solve.drape.wires import wires_of
from chaingen.solve.drape.worn import neck_form
from tests.conftest import rings_of
from tests.test_drape_energy import bends, slopes

NONE = np.empty(0, dtype=np.int64)
REACH = 0.1


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


def agrees_with_differences(model, poses, setting, terms):
    n = len(setting)

    def energy(x):
        return model.energy(poses.stepped(x.reshape(n, 6), setting.radii), 0.0)

    grad, block = dense(terms)
    spins = 6 * np.flatnonzero(setting.turns == 2) + 5
    assert not grad[spins].any()
    block[spins, spins] -= 1.0
    scale = terms.forces.sum() + np.abs(setting.loads).sum()
    assert np.abs(grad - slopes(energy, 6 * n, 2e-4)).max() < 1e-5 * scale
    bend = bends(energy, 6 * n, 4e-4)
    assert np.abs(block - bend).max() < 1e-3 * np.abs(bend).max()
    assert block == pytest.approx(block.T, abs=1e-12 * np.abs(bend).max())


@pytest.mark.parametrize(("a", "b"), PAIRS)
@pytest.mark.parametrize("seed", range(4))
def test_gradient_and_hessian_of_a_pair(a, b, seed):
    setting, poses = touching_pair(a, b, seed)
    model = model_of(setting, poses)
    terms = model.terms(poses, None)
    assert terms.energy > 0.0
    agrees_with_differences(model, poses, setting, terms)


@pytest.mark.parametrize("name", ["hook", "stadium", "pin"])
@pytest.mark.parametrize("seed", range(4))
def test_gradient_and_hessian_of_a_ring_and_a_body(name, seed):
    rng = np.random.default_rng(seed)
    bodies = concatenate([rings_of(((0, 0, 0), (0, 0, 1), 2.2, 0.45)), shaped(SHAPES[name])])
    poses = Poses(np.zeros((2, 3)), np.stack([random_turn(rng), random_turn(rng)]))
    setting = setting_of(bodies)
    poses = pushed_to(model_of(setting, poses), poses, rng.uniform(0.3, 0.6) * REACH, rng)
    model = model_of(setting, poses)
    terms = model.terms(poses, None)
    assert terms.energy > 0.0
    grad, block = terms.gradient.copy(), terms.blocks.copy()
    assert not grad[0, 5]
    assert not block[:, 5].any()
    assert not block[:, :, 5].any()

    def energy(x):
        return model.energy(poses.stepped(np.insert(x, 5, 0.0).reshape(2, 6), setting.radii), 0.0)

    # A ring's spin moves nothing but its nodes, and is not counted.
    grad, block = (np.delete(dense(terms)[0], 5), np.delete(np.delete(dense(terms)[1], 5, 0), 5, 1))
    assert np.abs(grad - slopes(energy, 11, 2e-4)).max() < 1e-5 * terms.forces.sum()
    bend = bends(energy, 11, 4e-4)
    assert np.abs(block - bend).max() < 1e-3 * np.abs(bend).max()


SLOPE = np.array([2.0, -1.0, 2.0]) / 3.0
SOLIDS = {
    "plane": Solid(SolidKind.PLANE, np.array([*SLOPE, -0.4])),
    "bar": bar(np.array([0.3, -0.2, 0.5]), np.array([1.0, 2.0, -0.5]), 0.8),
    "oval": oval(160.0, 1.35),
    "form": neck_form(60.0),
    "ledge": ledge(2.0),
}


def laid_on(solid, setting, frame, rng, gap):
    """Poses of one body outside a solid whose nearest node has this gap."""
    model = Model(setting, barrier_of())
    points = model.on.wires.nodes[: model.on.wires.starts[-1] + model.on.wires.counts[-1]]
    wires = np.repeat(
        model.on.wires.table[:, 11], np.diff([*model.on.wires.starts, len(model.on.wires.nodes)])
    )
    used = np.concatenate(
        [np.arange(s, s + c) for s, c in zip(model.on.wires.starts, model.on.wires.counts, strict=True)]
    )
    centre = 30.0 * rng.normal(size=3)
    for _ in range(400):
        out = distances(solid, centre + points[used, :3] @ frame)
        nearest = np.argmin(out[:, 0] - wires[used])
        off = gap + wires[used][nearest] - out[nearest, 0]
        if abs(off) < 1e-4:
            break
        centre = centre + off * out[nearest, 1:4]
    return Poses(centre[None], frame[None])


@pytest.mark.parametrize("name", ["hook", "pin", "ball"])
@pytest.mark.parametrize("solid", SOLIDS)
@pytest.mark.parametrize("seed", range(3))
def test_gradient_and_hessian_on_a_solid(name, solid, seed):
    rng = np.random.default_rng(seed)
    setting = setting_of(shaped(SHAPES[name]), solids=(SOLIDS[solid],))
    poses = laid_on(SOLIDS[solid], setting, random_turn(rng), rng, rng.uniform(0.3, 0.7) * REACH)
    model = model_of(setting, poses)
    terms = model.terms(poses, None)
    assert terms.energy > 0.0
    agrees_with_differences(model, poses, setting, terms)


def test_weight_pulls_at_the_centre_of_mass(rng):
    """Energy m g (p + arm)_z: gradient and Hessian by differences, for ring and bodies at once."""
    bodies = concatenate([rings_of(((0, 0, 0), (0, 0, 1), 2.2, 0.45)), shaped(hook()), shaped(pin())])
    loads = rng.normal(size=(3, 3))
    arms = np.concatenate([np.zeros((1, 3)), rng.normal(size=(2, 3))])
    setting = setting_of(bodies, loads=loads, arms=arms)
    poses = Poses(50.0 * np.arange(9.0).reshape(3, 3), np.stack([random_turn(rng) for _ in range(3)]))
    model = model_of(setting, poses)
    ends = poses.centres + np.einsum("nk,nka->na", arms, poses.frames)
    assert model.energy(poses) == pytest.approx(-(loads * ends).sum(), rel=1e-12)
    terms = model.terms(poses, None)
    agrees_with_differences(model, poses, setting, terms)


# ---- where curves end and join


def strand_points(shape, count=4001):
    """Dense points of all centrelines of a shape, shape (k, 3)."""
    return np.array(
        [
            curve.point(curve.span * part)
            for strand in shape.strands
            for curve in strand.curves
            for part in (np.linspace(0.0, 1.0, count) if curve.length else [0.0])
        ]
    )


@pytest.mark.parametrize("name", SHAPES)
def test_nearest_part_by_dense_points(name, rng):
    """The least distance is that of dense points, and up to the tightest bend the part that has it counts."""
    shape = SHAPES[name]
    wires = wires_of(shaped(shape), REACH)
    dense_points = strand_points(shape)
    out = np.empty(10)
    for _ in range(300):
        p = dense_points[rng.integers(len(dense_points))] + rng.uniform(-0.65, 0.65, 3)
        exact = np.linalg.norm(dense_points - p, axis=1).min()
        found = [nearest_of(wires, q, *p) for q in range(len(wires.table))]
        assert min(d for d, _ in found) == pytest.approx(exact, abs=2e-6 / max(exact, 0.01))
        counted = []
        for q, (_, parts) in enumerate(found):
            for part in (INSIDE, BEGINNING, END):
                if parts & part:
                    part_distance(wires, q, part, *p, out)
                    counted.append(out[0])
        assert min(counted) == pytest.approx(exact, abs=2e-6 / max(exact, 0.01))


def test_at_a_joint_exactly_one_curve_counts(rng):
    """Whatever the round-off: places in the very plane between two curves, and beside it."""
    for shape in (hook(), stadium()):
        turned = shape.moved(rng.normal(size=3), random_turn(rng))
        for one in (shape, turned):
            wires = wires_of(shaped(one), REACH)
            count = len(wires.table)
            joints = range(count) if one.strands[0].closed else range(count - 1)
            for q in joints:
                point, along = wires.planes[q, 1, :3], wires.planes[q, 1, 3:]
                for _ in range(60):
                    across = np.cross(along, rng.normal(size=3))
                    off = rng.choice([0.0, 1e-16, -1e-16, 1e-12, -1e-12, 1e-3, -1e-3])
                    p = point + 0.5 * across / np.linalg.norm(across) + off * along
                    parts = [nearest_of(wires, k, *p)[1] for k in (q, (q + 1) % count)]
                    assert parts.count(INSIDE) == 1
                    assert parts.count(0) == 1


@pytest.mark.parametrize("name", SHAPES)
def test_distance_to_a_part_by_differences(name, rng):
    shape = SHAPES[name]
    wires = wires_of(shaped(shape), REACH)
    out, near = np.empty(10), np.empty(10)
    place = {(0, 0): 4, (0, 1): 5, (0, 2): 6, (1, 1): 7, (1, 2): 8, (2, 2): 9}
    h = 1e-5
    for q in range(len(wires.table)):
        straight = wires.table[q, 9] == 0.0 and wires.table[q, 10] > 0.0
        for part in (INSIDE, BEGINNING, END):
            if part == INSIDE and wires.table[q, 10] == 0.0:
                continue
            for _ in range(20):
                p = wires.nodes[wires.starts[q], :3] + rng.normal(size=3)
                part_distance(wires, q, part, *p, out)
                if out[0] < 0.2 or (not straight and abs(out[0] - wires.table[q, 9]) < 0.2):
                    continue
                for a in range(3):
                    move = h * np.eye(3)[a]
                    part_distance(wires, q, part, *(p + move), near)
                    up = near[:4].copy()
                    part_distance(wires, q, part, *(p - move), near)
                    rise = (up - near[:4]) / (2.0 * h)
                    assert out[1 + a] == pytest.approx(rise[0], abs=1e-8)
                    for b in range(3):
                        assert out[place[min(a, b), max(a, b)]] == pytest.approx(rise[1 + b], abs=1e-6)


def cut(shape, parts):
    """The same shape with each of its curves cut into several."""

    def pieces(curve):
        if isinstance(curve, Straight):
            step = curve.length / parts
            return [replace(curve, begin=curve.point(k * step), length=step) for k in range(parts)]
        step = curve.angle / parts
        return [
            Arc(
                curve.centre, tuple(np.subtract(curve.point(k * step), curve.centre) / curve.radius),
                curve.tangent(k * step), curve.radius, step,
            )
            for k in range(parts)
        ]  # fmt: skip

    return replace(
        shape,
        strands=tuple(
            replace(s, curves=tuple(p for c in s.curves for p in (pieces(c) if c.length else [c])))
            for s in shape.strands
        ),
        eyes=(),
    )


@pytest.mark.parametrize("parts", [2, 3])
@pytest.mark.parametrize(("a", "b"), [("hook", "stadium"), ("hook", "pin"), ("stadium", "pin")])
@pytest.mark.parametrize("seed", range(3))
def test_energy_does_not_depend_on_how_a_strand_is_cut(a, b, parts, seed):
    """Within what other nodes make of it (`test_nodes_are_enough` of rings: 4e-3)."""
    setting, poses = touching_pair(a, b, seed)
    whole = model_of(setting, poses).terms(poses, None)
    bodies = concatenate([shaped(cut(SHAPES[a], parts)), shaped(cut(SHAPES[b], parts))])
    pieces = model_of(setting_of(bodies), poses).terms(poses, None)
    assert pieces.energy == pytest.approx(whole.energy, rel=1e-2)
    assert pieces.forces.sum() == pytest.approx(whole.forces.sum(), rel=1e-2)


def test_energy_is_smooth_across_a_joint():
    """A ball rolled along a stadium from straight to bend: no jump of energy or of its slope."""
    bodies = concatenate([shaped(stadium()), shaped(ball_of())])
    setting = setting_of(bodies)
    gap = 0.4 * REACH
    energies = []
    for s in np.linspace(-0.05, 0.05, 401):
        # Along the outside, as far from the wire all the way, its middle as fast.
        out = 1.2 + 0.35 + 0.8 + gap
        turn = max(s, 0.0) / out
        place = np.array([1.5 + min(s, 0.0) + out * np.sin(turn), -out * np.cos(turn), 0.0])
        poses = Poses(np.stack([np.zeros(3), place]), np.tile(np.eye(3), (2, 1, 1)))
        energies.append(model_of(setting, poses).energy(poses))
    rise = np.diff(energies)
    assert np.abs(rise).max() < 1e-3 * np.mean(energies)
    assert np.abs(np.diff(rise)).max() < 0.02 * np.abs(rise).max()


def test_no_end_of_wire_gets_into_a_table():
    """A pin that stands upright: its tip is a node as well, so that none of it is without energy."""
    stem = Shape((Strand((segment((0.0, 0.0, -2.0), (0.0, 0.0, 2.0)),), 0.3),), ())
    setting = setting_of(shaped(stem), solids=(plane(),))
    for reach in (0.1, 0.01):
        for height, finite in ((2.3 + 0.1 * reach, True), (2.3 - 1e-9, False)):
            poses = Poses(np.array([[0.0, 0.0, height]]), np.eye(3)[None])
            model = model_of(setting, poses, reach=reach)
            assert np.isfinite(model.energy(poses)) == finite


# ---- a ring as a shape


def as_shapes(rings):
    """The same rings, each a body of one whole arc, in frames across the normals."""
    one, _ = axes_across(rings.normals)
    shapes = tuple(ring_shape(R, r) for R, r in zip(rings.radii, rings.wire_radii, strict=True))
    return replace(rings, axes=one, shapes=shapes, shape_of=np.arange(len(rings)))


def linked_rings():
    """Three unlike rings linked and nearly taut, the first on a bar."""
    return rings_of(
        ((0, 0, 0), (0.1, 1, 0.03), 2.5, 0.5),
        ((0, 0, -3.37), (1, 0.05, 0.02), 1.8, 0.4),
        ((0, 0.02, -6.24), (0.05, 1, 0.1), 1.9, 0.4),
    )


@pytest.mark.parametrize("which", [[0, 1, 2], [0], [1, 2]])
@pytest.mark.parametrize("friction", [0.0, 0.2])
def test_a_whole_arc_is_a_ring(which, friction):
    """Energy, gradient, Hessian, a step and rest of rings and of the same as shapes, all or some of them."""
    rings = linked_rings()
    some = [as_shapes(rings[np.array([k])]) if k in which else rings[np.array([k])] for k in range(3)]
    mixed = concatenate(some)
    peg = bar(np.array([0.0, 0.0, 2.5 - 0.5 - 1.0 - 0.05]), np.array([0.1, 1.0, 0.0]), 1.0)
    loads = np.array([[0.0, 0.0, -1.3], [0.0, 0.0, -0.8], [0.0, 0.0, -0.9]])
    here = Setting.of(rings, loads, (peg,), friction)
    there = Setting.of(mixed, loads, (peg,), friction, np.zeros((3, 3)))
    assert (here.width, there.width) == (5, 6)
    assert there.thin == here.thin == 0.4
    ends = []
    for setting, bodies in ((here, rings), (there, mixed)):
        poses = poses_of(bodies)
        model = model_of(setting, poses)
        terms = model.terms(poses, None)
        settling = Settling(setting, poses, barrier_of(0.05, 1.0))
        assert settling.relax(1e-5, 1)[1] is False
        once = settling.poses
        _, reached = settling.relax(1e-5, 300)
        assert reached
        assert settling.shrink(0.02, 1e-3, 200)
        _, reached = settling.relax(1e-5, 300)
        assert reached
        order = np.lexsort((terms.pairs[:, 1], terms.pairs[:, 0]))
        width = setting.width
        five = (np.arange(2 * width) % width) < 5
        ends.append(
            (
                terms.energy, terms.forces, terms.gradient[:, :5], terms.own[:, :5, :5],
                (terms.blocks + terms.drag)[order][:, five][:, :, five], terms.pairs[order],
                once.centres, once.frames[:, 2], settling.poses.centres, settling.support(), settling.steps,
            )
        )  # fmt: skip
    for one, two in zip(*ends, strict=True):
        assert two == pytest.approx(one, rel=1e-6, abs=1e-6)


# ---- balance and invariance


@pytest.mark.parametrize(("a", "b"), PAIRS)
@pytest.mark.parametrize("seed", range(2))
def test_action_is_reaction(a, b, seed):
    """Forces of a pair sum to nothing, and so do their torques about any point: all turns are counted."""
    setting, poses = touching_pair(a, b, seed)
    grad = model_of(setting, poses).terms(poses, None).gradient
    scale = np.abs(grad).max()
    assert scale > 0.0
    assert grad[:, :3].sum(axis=0) == pytest.approx(np.zeros(3), abs=1e-11 * scale)
    torque = np.einsum("nk,nka->na", setting.radii[:, None] * grad[:, 3:], poses.frames)
    torque += np.cross(poses.centres, grad[:, :3])
    assert torque.sum(axis=0) == pytest.approx(np.zeros(3), abs=1e-10 * scale)


@pytest.mark.parametrize(("a", "b"), PAIRS)
def test_rigid_motion_and_swapping(a, b):
    rng = np.random.default_rng(5)
    setting, poses = touching_pair(a, b, 5)
    turn, shift = random_turn(rng), 20.0 * rng.normal(size=3)
    one = model_of(setting, poses).terms(poses, None)
    moved = Poses(poses.centres @ turn.T + shift, poses.frames @ turn.T)
    two = model_of(setting, moved).terms(moved, None)
    scale = np.abs(one.gradient).max()
    assert two.energy == pytest.approx(one.energy, rel=1e-9)
    assert two.gradient[:, :3] == pytest.approx(one.gradient[:, :3] @ turn.T, abs=1e-9 * scale)
    assert two.gradient[:, 3:] == pytest.approx(one.gradient[:, 3:], abs=1e-9 * scale)
    swapped = Poses(poses.centres[::-1].copy(), poses.frames[::-1].copy())
    other = setting_of(concatenate([shaped(SHAPES[b]), shaped(SHAPES[a])]))
    three = model_of(other, swapped).terms(swapped, None)
    assert three.energy == pytest.approx(one.energy, rel=1e-12)
    assert three.gradient[::-1] == pytest.approx(one.gradient, abs=1e-11 * scale)


def test_scaling_scales_energy_and_keeps_forces():
    """Everything twice as large, the reach as well: twice the energy, the same forces."""
    setting, poses = touching_pair("hook", "stadium", 1)
    double = concatenate([shaped(_larger(SHAPES[name], 2.0)) for name in ("hook", "stadium")])
    far = replace(poses, centres=2.0 * poses.centres)
    one = model_of(setting, poses).terms(poses, None)
    two = model_of(setting_of(double), far, reach=2.0 * REACH).terms(far, None)
    assert two.energy == pytest.approx(2.0 * one.energy, rel=1e-9)
    assert two.gradient == pytest.approx(one.gradient, abs=1e-9 * np.abs(one.gradient).max())


def _larger(shape, by):
    def scaled(curve):
        if isinstance(curve, Straight):
            return replace(curve, begin=tuple(by * np.array(curve.begin)), length=by * curve.length)
        return replace(curve, centre=tuple(by * np.array(curve.centre)), radius=by * curve.radius)

    return Shape(
        tuple(Strand(tuple(map(scaled, s.curves)), by * s.wire_radius, s.part) for s in shape.strands),
        tuple(
            replace(e, loop=tuple(map(scaled, e.loop)), wire_radius=by * e.wire_radius) for e in shape.eyes
        ),
    )


# ---- steps


def centrelines_apart(poses, shape, wires):
    """Least distance of the first body's centrelines, by points along them, from the second's curves."""
    points = strand_points(shape, 61)
    local = (poses.centres[0] + points @ poses.frames[0] - poses.centres[1]) @ poses.frames[1].T
    return min(nearest_of(wires, q, *p)[0] for p in local for q in range(len(wires.table)))


@pytest.mark.parametrize(("a", "b"), [("hook", "stadium"), ("hook", "pin"), ("stadium", "pin")])
def test_centrelines_never_meet_within_the_bound(a, b):
    """As long as a step is within the bound, nowhere on its way does a wire meet another; beyond it does."""
    met = 0
    wires = wires_of(shaped(SHAPES[b]), REACH)
    for seed in range(12):
        rng = np.random.default_rng(seed)
        setting, poses = touching_pair(a, b, seed)
        step = rng.normal(size=(2, 6))
        # Towards one another, so that it tells.
        step[1, :3] -= 2.0 * (poses.centres[1] - poses.centres[0])
        part = pair_bound(step, setting.thinnest, np.array([[0, 1]]))
        assert part < 1.0
        for share in np.linspace(0.0, 1.0, 6):
            after = poses.stepped(share * part * step, setting.radii)
            assert centrelines_apart(after, SHAPES[a], wires) > 0.0099 * setting.thinnest.sum()
        for share in np.linspace(1.0, 3.0, 12):
            after = poses.stepped(share * part * step, setting.radii)
            met += centrelines_apart(after, SHAPES[a], wires) < 0.1 * setting.thinnest.sum()
    assert met > 0


@pytest.mark.parametrize("solid", SOLIDS)
def test_centrelines_stay_out_of_solids_within_the_bound(solid):
    for seed in range(10):
        rng = np.random.default_rng(seed)
        setting = setting_of(shaped(hook()), solids=(SOLIDS[solid],))
        poses = laid_on(SOLIDS[solid], setting, random_turn(rng), rng, 0.5 * REACH)
        step = rng.normal(size=(1, 6)) * 10.0 ** rng.uniform(-1, 1.5)
        one = SOLIDS[solid]
        part = solid_bound(
            step, poses.centres, setting.radii, setting.thinnest, int(one.kind), one.numbers
        )  # fmt: skip
        for share in np.linspace(0.0, part, 7):
            after = poses.stepped(share * step, setting.radii)
            points = after.centres[0] + strand_points(hook(), 201) @ after.frames[0]
            assert distances(one, points)[:, 0].min() > 0.0


def test_the_bound_goes_by_the_thinnest_wire():
    """A thick bead gives a body no longer steps than its wire does."""
    setting = setting_of(shaped(pin()))
    assert setting.wire_radii.tolist() == [0.9]
    assert setting.thinnest.tolist() == [0.3]
    tiny = Shape((Strand((segment((0.0, 0.0, 0.0), (2.0, 0.0, 0.0)),), 0.4), pin(ball=0.1).strands[1]), ())
    assert setting_of(shaped(tiny)).thinnest.tolist() == [0.1]
    # Barriers reach by wire: a small bead shortens no reach.
    assert setting_of(shaped(tiny)).thin == 0.4


# ---- friction


@pytest.mark.parametrize("share", [0.0, 0.6])
def test_friction_of_bodies_by_differences(share, rng):
    """Ring, hook and ball-ended pin against one another and a plane: springs by differences."""
    mu, slip = 0.2, SLIP * REACH
    rings = rings_of(((0, 0, 0), (0, 0, 1), 2.2, 0.45))
    for a, b in ((rings, shaped(hook())), (shaped(pin()), shaped(hook())), (shaped(ball_of()), rings)):
        bodies = concatenate([a, b])
        poses = Poses(np.zeros((2, 3)), np.stack([random_turn(rng), random_turn(rng)]))
        setting = setting_of(bodies, friction=mu)
        poses = pushed_to(model_of(setting, poses), poses, 0.4 * REACH, rng)
        model = model_of(setting, poses)
        grip = model.terms(poses, None).grip
        assert len(grip.keys)
        stretch = rng.normal(size=(len(grip.keys), 3))
        normal = grip.press[:, 1:]
        stretch -= (stretch * normal).sum(axis=1)[:, None] * normal
        stretch *= (share * slip / np.linalg.norm(stretch, axis=1))[:, None]
        grip = replace(grip, stretch=stretch)
        grad, block = np.zeros((1, 12)), np.zeros((1, 12, 12))
        add_friction(
            grip, poses.frames, setting.radii, mu, slip, np.zeros(len(grip.keys), dtype=np.int64),
            np.array([0]), grad, block, setting.turns,
        )  # fmt: skip
        real = np.ones(12, dtype=bool)
        real[5], real[11] = setting.turns[0] == 3, setting.turns[1] == 3

        def energy(x, *, model=model, grip=grip, poses=poses, real=real):
            return model.slip_energy(grip, poses, np.where(real, x, 0.0).reshape(2, 6))[0]

        eye = 1e-5 * np.eye(12)
        force = mu * grip.press[:, 0].sum()
        slope = np.array([energy(e) - energy(-e) for e in eye]) / 2e-5
        assert grad[0] == pytest.approx(slope, abs=1e-8 * force)
        middle = energy(np.zeros(12))
        bend = np.array([[energy(p + q) - energy(p) - energy(q) + middle for q in eye] for p in eye]) / 1e-10
        assert block[0] == pytest.approx(bend, abs=1e-4 * np.abs(bend).max())


def test_a_ball_is_held_where_it_touches(rng):
    """Rolling is no slip at a ball's surface: its centre moves, its foot does not."""
    setting = setting_of(shaped(ball_of()), solids=(plane(),), friction=0.2)
    poses = Poses(np.array([[0.3, -0.2, 0.8 + 0.4 * REACH]]), random_turn(rng)[None])
    model = model_of(setting, poses)
    grip = model.terms(poses, None).grip
    assert grip.arms[0, 0] == pytest.approx([0.0, 0.0, -0.8])
    # A turn about y by t moves the foot back by 0.8 t; told in the ball's own axes, at its radius.
    turn = poses.frames[0] @ np.array([0.0, 0.01, 0.0])
    rolling = np.concatenate([[0.01, 0.0, 0.0], turn])[None]
    assert model.slip_energy(grip, poses, rolling)[0] < 1e-20
    assert model.slip_energy(grip, poses, np.concatenate([[0.01, 0.0, 0.0], -turn])[None])[0] > 1e-6


def test_springs_are_carried_to_other_nodes_of_the_same_curves(rng):
    """When the reach and with it all nodes change, a place is looked up on its curve, about where it was."""
    bodies = concatenate([shaped(hook()), rings_of(((9, 0, 0), (0, 0, 1), 2.2, 0.45)), shaped(stadium())])
    coarse, fine = wires_of(bodies, 0.1), wires_of(bodies, 0.007)
    for body in range(3):
        curves = range(coarse.begins[body], coarse.ends[body])
        numbers = np.concatenate([coarse.starts[q] + np.arange(coarse.counts[q]) for q in curves])
        numbers -= coarse.starts[coarse.begins[body]]
        which = np.full(len(numbers), body)
        there = fine.renumbered(coarse, which, numbers)
        moved = fine.places(which, there)[:, :3] - coarse.places(which, numbers)[:, :3]
        assert fine.curve_of(which, there).tolist() == coarse.curve_of(which, numbers).tolist()
        assert np.linalg.norm(moved, axis=1).max() < 1.1 * coarse.steps[curves.start : curves.stop].max()
