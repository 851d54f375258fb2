"""Findings: the wire they are bent of, and their eyes."""

import inspect
from math import pi, sqrt, tau

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.spatial import cKDTree
from shapely.geometry import Point, Polygon

from chaingen.findings import catalogue
from chaingen.findings.bars import end_bar
from chaingen.findings.catalogue import KINDS, finding_kinds
from chaingen.findings.clasps import lobster_clasp, spring_ring, toggle_bar, toggle_ring
from chaingen.findings.finding import eye_centre, eye_normal, loop_points
from chaingen.findings.hooks import ear_wire, hook
from chaingen.findings.links import closed_ring, loop_link, oval_link
from chaingen.findings.parts import nearest_on, stretch
from chaingen.findings.pins import Threaded, head_pin
from chaingen.findings.wire_path import PathEye, wire_path
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.centrelines import Arc, Bend
from chaingen.geometry.distance import smallest_gaps
from chaingen.geometry.eye_linking import eye_links
from chaingen.geometry.openings import inside_centre, inside_of, opening_of
from chaingen.geometry.shapes import Closure, ring_shape
from chaingen.stock.gauges import awg
from tests.finding_sizes import (
    SIZED,
    points_along,
    possible,
    random_sizes,
    wire_faults,
)

SEA = (0.3, 0.6, 0.55)


def built(kind, **sizes):
    return KINDS[kind].build("it", **sizes)


# Wire


@pytest.mark.parametrize("kind", SIZED)
def test_defaults_go_together(kind):
    sizes = {
        name: parameter.default
        for name, parameter in inspect.signature(KINDS[kind].build).parameters.items()
        if name != "name"
    }
    assert KINDS[kind].misfits(**sizes) == []
    assert list(inspect.signature(KINDS[kind].misfits).parameters) == list(sizes)
    made = KINDS[kind].build()
    assert made.name == made.kind == kind
    assert wire_faults(made.shape) == []


@pytest.mark.parametrize("kind", SIZED)
def test_whatever_is_not_refused_can_be_bent(kind):
    kept = 0
    for seed in range(60):
        sizes = random_sizes(kind, np.random.default_rng(seed), (0.2, 0.5, 1.0)[seed % 3])
        if KINDS[kind].misfits(**sizes):
            continue
        kept += 1
        assert wire_faults(built(kind, **sizes).shape) == [], sizes
    assert kept >= 15


@pytest.mark.parametrize("kind", SIZED)
def test_it_lies_in_the_middle_of_its_frame_and_no_farther_than_its_radius(kind):
    for sizes in possible(kind, 4):
        made = built(kind, **sizes)
        low, high = made.shape.box
        np.testing.assert_allclose(low + high, 0.0, atol=1e-9)
        points = np.concatenate(
            [points_along(strand.curves, 0.02)[0] for strand in made.shape.strands]
            + [points_along(eye.loop, 0.02)[0] for eye in made.shape.eyes]
        )
        far = np.linalg.norm(points, axis=1).max()
        assert far <= made.radius + 1e-9
        # Samples lie up to half their step from the ends.
        assert made.radius <= far + 0.01


@pytest.mark.parametrize("kind", SIZED)
def test_inner_eyes_are_towards_the_piece(kind):
    for sizes in possible(kind, 3):
        made = built(kind, **sizes)
        at = [loop_points(eye)[:, 0].max() for eye in made.shape.eyes]
        assert made.inner
        if made.inner != made.outer:
            assert all(at[one] < at[two] for one in made.inner for two in made.outer)
        assert sorted({*made.inner, *made.outer}) == list(range(len(made.shape.eyes)))


def test_a_builder_of_wrong_wire_would_be_found():
    good = loop_link()
    strand = good.shape.strands[0]
    thick = type(good.shape)((type(strand)(strand.curves, 1.2 * strand.wire_radius),), good.shape.eyes)
    assert "through itself" in wire_faults(thick)
    swapped = type(strand)((*strand.curves[1:], strand.curves[0]), strand.wire_radius)
    assert "broken" in wire_faults(type(good.shape)((swapped,), good.shape.eyes))


# Eyes


def largest_circle(shape, number):
    """Middle and diameter of the largest circle in a flat eye clear of wire, by samples alone."""
    eye = shape.eyes[number]
    line = loop_points(eye)
    at, normal = line.mean(axis=0), eye_normal(eye)
    across = np.linalg.svd(np.eye(3) - np.outer(normal, normal))[0][:, :2].T
    outline = Polygon((line - at) @ across.T)
    trees = [
        (cKDTree(points_along(strand.curves, 0.01)[0]), strand.wire_radius)
        for strand in shape.strands
        if strand.length
    ]

    def room(place):
        if not outline.contains(Point(place)):
            return -1.0
        spot = at + place @ across
        return min(tree.query(spot)[0] - radius for tree, radius in trees)

    low, high = (line - at).dot(across.T).min(axis=0), (line - at).dot(across.T).max(axis=0)
    grid = np.stack(np.meshgrid(*np.linspace(low, high, 25).T), axis=-1).reshape(-1, 2)
    best = max(grid, key=room)
    found = minimize(lambda p: -room(p), best, method="Nelder-Mead", options={"xatol": 1e-6, "fatol": 1e-6})
    return at + found.x @ across, 2.0 * -found.fun


@pytest.mark.parametrize("kind", [kind for kind in SIZED if kind != "toggle bar"])
def test_inside_is_the_largest_circle_clear_of_wire(kind):
    made = built(kind, **possible(kind, 1, begin=7)[0])
    for number, eye in enumerate(made.shape.eyes):
        _, inside = largest_circle(made.shape, number)
        # The middle of a hook's or claw's bend is meant; its sides may part by a little more beside it.
        slack = 0.03 if eye.closure in (Closure.HOOK, Closure.GATE) else 1e-3
        assert eye.inside - 2e-3 < inside < eye.inside * (1.0 + slack) + 2e-3


@pytest.mark.parametrize("kind", [kind for kind in SIZED if kind != "toggle bar"])
def test_its_openings_are_those_that_are_measured(kind):
    made = built(kind, **possible(kind, 1, begin=30)[0])
    for number, eye in enumerate(made.shape.eyes):
        assert opening_of(made.shape, number) == pytest.approx(eye.opening, abs=1e-6)
        if eye.closure in (Closure.PLIERS, Closure.SOLDERED):
            assert eye.opening == 0.0


@pytest.mark.parametrize("kind", SIZED)
def test_wire_goes_once_round_each_eye(kind):
    for sizes in possible(kind, 3, begin=90):
        for eye in built(kind, **sizes).shape.eyes:
            if eye.closure is Closure.BAR:
                continue  # its line has a test of its own
            line = loop_points(eye)
            normal = eye_normal(eye)
            assert np.abs((line - line.mean(axis=0)) @ normal).max() < 1e-9
            across = np.linalg.svd(np.eye(3) - np.outer(normal, normal))[0][:, :2].T
            outline = Polygon((line - line.mean(axis=0)) @ across.T)
            assert outline.is_valid
            assert outline.area > 0.6 * pi * (0.5 * eye.inside) ** 2


def with_ring(made, centre, normal, radius):
    """The finding, and a ring of thin wire in its frame, along one of its axes."""
    return Bodies(
        np.array([np.zeros(3), centre]),
        np.array([[0.0, 0.0, 1.0], normal]),
        np.array([made.radius, radius]),
        np.array([made.wire_radius, 0.02]),
        np.array([[1.0, 0.0, 0.0], np.roll(normal, 1)]),
        (made.shape,),
        np.array([0, -1]),
    )


PAIR = np.array([[0, 1]])


@pytest.mark.parametrize("kind", SIZED)
def test_a_ring_through_an_eye_is_linked_with_that_eye_alone(kind):
    made = KINDS[kind].build()
    for number, eye in enumerate(made.shape.eyes):
        if eye.closure is Closure.BAR:
            continue
        # Round the wire at the far side of the eye.
        at, normal = inside_centre(made.shape, number), eye_normal(eye)
        away = np.array([-1.0 if number in made.inner else 1.0, 0.0, 0.0])
        far = float(((loop_points(eye) - at) @ away).max())
        reach = 0.5 * (far + 3.0 * eye.wire_radius)
        bodies = with_ring(made, at + reach * away, np.cross(normal, away), reach)
        assert eye_links(bodies, PAIR).tolist() == [[0, 1, number, 0]]
        assert smallest_gaps(bodies, PAIR)[0][0] > 0.0
        # Beyond the wire it is not linked.
        out = with_ring(made, at + 3.0 * reach * away, np.cross(normal, away), 0.9 * reach)
        assert eye_links(out, PAIR).tolist() == []


def test_the_ring_of_a_toggle_is_linked_with_the_bar():
    made = toggle_bar(wire=1.8, length=18.0, eye_wire=1.0, eye_inside=2.0)
    middle = eye_centre(made.shape.eyes[0])
    beyond = np.array([6.0, 0.0, 0.0])
    round_eye = with_ring(made, middle, (1.0, 0.0, 0.0), 5.0)
    assert eye_links(round_eye, PAIR).tolist() == [[0, 1, 1, 0]]
    assert smallest_gaps(round_eye, PAIR)[0][0] > 0.0
    # Over the ends of the bar it is off, and threaded on one half of the bar it would come off.
    assert eye_links(with_ring(made, middle + beyond, (1.0, 0.0, 0.0), 5.0), PAIR).tolist() == []
    for side in (-6.0, 6.0):
        bar = made.shape.strands[0].curves[0].point(0.5 * made.shape.strands[0].length)
        on_the_bar = with_ring(made, np.add(bar, (0.0, side, 0.0)), (0.0, 1.0, 0.0), 3.0)
        assert eye_links(on_the_bar, PAIR).tolist() == []


def test_a_closed_ring_is_a_ring():
    made = closed_ring(wire=0.9, inside=3.7)
    ring = ring_shape(2.3, 0.45)
    np.testing.assert_allclose(made.shape.primitives, ring.primitives, atol=1e-12)
    assert made.radius == pytest.approx(2.3)
    assert made.shape.strands[0].closed


def test_a_quarter_turn():
    assert loop_link(quarter_turn=True).quarter_turned
    assert not loop_link().quarter_turned
    assert ear_wire(quarter_turn=True).quarter_turned
    one = loop_link(quarter_turn=True)
    normals = [eye_normal(eye) for eye in one.shape.eyes]
    assert abs(normals[0] @ normals[1]) < 1e-9


def test_a_turned_loop_closes_on_its_stem_and_is_centred_on_it():
    made = loop_link(wire=1.0, inside=3.0, stem=10.0)
    circles = [curve for curve in made.shape.strands[0].curves if isinstance(curve, Arc) and curve.angle > pi]
    assert [curve.radius for curve in circles] == pytest.approx([2.0, 2.0])
    for curve in circles:
        assert curve.centre[1:] == pytest.approx((0.0, 0.0), abs=1e-9)
    # Two circles of radius 2 and 1 that touch, their middles 1 apart across the stem: (2 + 1)^2 - 1^2 = 8.
    assert abs(circles[0].centre[0] - circles[1].centre[0]) == pytest.approx(10.0 + 2.0 * sqrt(8.0))


def test_a_hook_is_as_wide_at_its_mouth_as_asked():
    for mouth in (0.6, 1.5, 3.0, 4.0):
        made = hook(mouth=mouth, bend=4.0)
        assert made.shape.eyes[1].opening == pytest.approx(mouth, abs=1e-6)
        assert made.shape.eyes[1].gate == made.shape.eyes[1].opening


def test_gates_open_as_wide_as_asked_between_round_ends():
    made = spring_ring(gate=1.4, wire=1.3)
    body = made.shape.strands[0].curves[0]
    ends = np.subtract(body.point(0.0), body.point(body.span))
    assert np.linalg.norm(ends) - 1.3 == pytest.approx(1.4)
    for made in (spring_ring(gate=1.1), lobster_clasp(gate=1.1)):
        mouth = made.shape.eyes[made.outer[0]]
        assert (mouth.gate, mouth.opening, mouth.closure) == (1.1, 0.0, Closure.GATE)


def test_the_line_of_a_toggle_goes_beside_its_eye():
    made = toggle_bar(wire=1.8, length=18.0, eye_wire=1.0, eye_inside=2.0)
    mouth = made.shape.eyes[1]
    assert mouth.closure is Closure.BAR
    # Wire of the eye is part of it, and what hangs in the far end of the eye is not in the mouth.
    far = made.shape.strands[1].curves[0].point(np.pi)
    hanging = with_ring(made, np.add(far, (-0.8, 0.0, 0.0)), (0.0, 1.0, 0.0), 1.4)
    assert eye_links(hanging, PAIR).tolist() == [[0, 1, 0, 0]]
    assert np.ptp(loop_points(mouth)[:, 1]) == pytest.approx(36.0)
    assert mouth.turns == 2


def test_an_end_bar_has_an_eye_for_each_strand():
    made = end_bar(strands=4, pitch=5.0)
    across = [eye_centre(made.shape.eyes[k])[1] for k in made.inner]
    np.testing.assert_allclose(np.diff(across), 5.0)
    assert len(made.outer) == 1
    assert eye_centre(made.shape.eyes[made.outer[0]])[1] == pytest.approx(0.0, abs=1e-9)


# Head pins


def test_beads_sit_on_the_head_one_after_the_other():
    beads = (
        Threaded("ball", 6.0, None, 1.0, SEA, 2.5),
        Threaded("rondelle", 5.0, 3.0, 1.0, SEA),
        Threaded("ball", 4.0, None, 1.0, SEA),
    )
    made = head_pin(wire=0.6, head="flat", head_size=2.0, beads=beads, bare=1.0)
    at = {}
    for strand in made.shape.strands:
        if strand.part != "wire":
            x = strand.curves[0].begin[0] if strand.length == 0.0 else strand.curves[0].centre[0]
            at.setdefault(strand.part, x)
    # A ball with a hole is as high as sqrt(d^2 - h^2): half of it and half of its neighbour part them.
    assert at["bead 1"] - at["bead 2"] == pytest.approx(0.5 * sqrt(35.0) + 1.5)
    assert at["bead 2"] - at["bead 3"] == pytest.approx(1.5 + 0.5 * sqrt(15.0))
    head = min(s.curves[0].centre[0] - s.wire_radius for s in made.shape.strands
               if s.part == "wire" and s.closed)  # fmt: skip
    assert head - at["bead 1"] == pytest.approx(0.5 * sqrt(35.0))
    assert [bead.part for bead in made.beads] == ["bead 1", "bead 2", "bead 3"]
    assert [bead.density for bead in made.beads] == [2.5, None, None]


def test_a_ball_head_touches_the_rim_of_the_hole():
    made = head_pin(wire=0.6, head="ball", head_size=2.0, beads=(Threaded("ball", 6.0, None, 1.0, SEA),))
    head, bead = (next(s for s in made.shape.strands if s.length == 0.0 and (s.part != "wire") is is_bead)
                  for is_bead in (False, True))  # fmt: skip
    apart = head.curves[0].begin[0] - bead.curves[0].begin[0]
    # Both spheres pass through the circle of the hole's rim, 0.5 from the pin.
    assert apart == pytest.approx(sqrt(3.0**2 - 0.5**2) + sqrt(1.0**2 - 0.5**2))


# Wire path


def test_a_path_bent_as_an_oval_link_is_one():
    steps = (Bend(length=4.0), Bend(radius=2.0, angle=180.0)) * 2
    made = wire_path(wire=1.0, steps=steps, closed=True, eyes=(PathEye("link", 1, 4, end="both"),))
    link = oval_link(wire=1.0, inside_length=7.0, inside_width=3.0)
    assert made.inner == made.outer == (0,)
    assert made.shape.eyes[0].inside == pytest.approx(3.0, abs=1e-6)
    assert made.shape.eyes[0].opening == 0.0
    assert made.radius == pytest.approx(link.radius)
    assert made.cutting_list[0].length == pytest.approx(2.0 * 4.0 + tau * 2.0)
    assert made.shape.strands[0].closed


def test_a_path_measures_its_eyes():
    steps = (Bend(length=10.0), Bend(radius=3.0, angle=180.0), Bend(length=6.0))
    made = wire_path(
        wire=1.2, steps=steps, eyes=(PathEye("hook", 1, 3, from_part=0.1, opened_by="hook", end="outer"),)
    )
    mouth = made.shape.eyes[0]
    assert mouth.inside == pytest.approx(6.0 - 1.2, abs=1e-6)
    assert mouth.opening == mouth.gate == pytest.approx(6.0 - 1.2, abs=1e-6)
    open_ring = wire_path(wire=1.0, steps=(Bend(radius=3.0, angle=300.0),), eyes=(PathEye("ring", 1, 1),))
    # The ends are a chord of sixty degrees apart, which is the radius.
    assert open_ring.shape.eyes[0].opening == pytest.approx(3.0 - 1.0, abs=1e-6)


def test_a_path_out_of_the_plane():
    turn = Bend(radius=2.0, angle=180.0)
    up = Bend(radius=2.0, angle=90.0, direction=90.0)
    made = wire_path(wire=0.8, steps=(turn, turn, up, Bend(length=5.0)), eyes=(PathEye("ring", 1, 2),))
    assert np.ptp(made.shape.samples[:, 2]) == pytest.approx(7.0)
    assert wire_faults(made.shape) != []  # the second half turn comes back to where the first began
    assert KINDS["wire path"].misfits(
        wire=0.8, steps=(turn, turn, up, Bend(length=5.0)), closed=False, eyes=(PathEye("ring", 1, 2),)
    )[0].key == "steps"  # fmt: skip


# Places on paths


def test_places_on_a_path():
    path = loop_link().shape.strands[0].curves
    rng = np.random.default_rng(4)
    samples, _, _ = points_along(path, 0.002)
    for point in rng.normal(0.0, 4.0, (50, 3)):
        (k, t), away = nearest_on(path, tuple(point))
        assert np.linalg.norm(np.subtract(path[k].point(t), point)) == pytest.approx(away)
        near = np.linalg.norm(samples - point, axis=1).min()
        assert away - 1e-12 <= near <= away + 0.002
    part = stretch(path, (1, 0.3), (3, 0.5))
    assert part[0].point(0.0) == pytest.approx(path[1].point(0.3))
    assert part[-1].point(part[-1].span) == pytest.approx(path[3].point(0.5))
    whole = sum(curve.length for curve in path)
    cut = path[0].length + 0.3 * path[1].radius
    rest = (path[3].span - 0.5) * path[3].radius + path[4].length if len(path) > 4 else 0.0
    assert sum(curve.length for curve in part) == pytest.approx(whole - cut - rest)


# What the trade knows


def test_usual_sizes():
    """Common practice: ear wires and posts of 20 AWG or thinner, head pins of 0.5 to 0.6 mm."""
    wires = {kind: inspect.signature(KINDS[kind].build).parameters["wire"].default for kind in SIZED}
    assert wires["ear wire"] <= awg(20)
    assert wires["ear post"] <= awg(20)
    assert 0.5 <= wires["head pin"] <= 0.6


def test_kinds_are_listed_with_a_line_each():
    assert finding_kinds() == tuple(KINDS)
    assert all(kind.line and len(kind.line) < 80 for kind in KINDS.values())
    assert catalogue.KINDS["ear wire"].build is ear_wire


def test_the_measured_inside_agrees():
    for made in (loop_link(), oval_link(), toggle_ring()):
        for number, eye in enumerate(made.shape.eyes):
            assert inside_of(made.shape, number) == pytest.approx(eye.inside, abs=1e-5)
