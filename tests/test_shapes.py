"""Shapes of wire bodies: rows of curves, boxes, radii, mirror images."""

from dataclasses import replace
from math import pi

import numpy as np
import pytest

from chaingen.findings.catalogue import KINDS
from chaingen.findings.pins import Threaded, head_pin
from chaingen.geometry.centrelines import Arc, Bend, Straight, bent_wire
from chaingen.geometry.shapes import (
    CAP_END,
    CAP_START,
    COLUMNS,
    RADIUS,
    REAL,
    SPAN,
    WIRE,
    Closure,
    Eye,
    Shape,
    Strand,
    loop_rows,
    reach_of,
    ring_shape,
)
from tests.finding_sizes import SIZED, points_along, possible
from tests.test_centrelines import random_curve, random_rotation

HOOK = KINDS["hook"].build().shape


def wire_spots(shape, step=0.02):
    """Points along all wires of a shape, and the wire radius at each."""
    spots, thick = [], []
    for strand in shape.strands:
        ends = [curve.point(t) for curve in strand.curves for t in (0.0, curve.span)]
        points = np.concatenate([points_along(strand.curves, step)[0], ends])
        spots.append(points)
        thick.append(np.full(len(points), strand.wire_radius))
    return np.concatenate(spots), np.concatenate(thick)


@pytest.mark.parametrize("seed", range(10))
def test_reach_is_that_of_the_farthest_point(seed):
    rng = np.random.default_rng(seed)
    shape = Shape(tuple(Strand((random_curve(rng),), float(rng.uniform(0.05, 0.5))) for _ in range(3)), ())
    spots, thick = wire_spots(shape, 0.002)
    for direction in random_rotation(rng):
        sampled = float((spots @ direction + thick).max())
        assert sampled - 1e-12 <= reach_of(shape.primitives, direction) <= sampled + 1e-5


@pytest.mark.parametrize("kind", SIZED)
def test_the_box_holds_all_wire_and_touches_it(kind):
    shape = KINDS[kind].build("it", **possible(kind, 1)[0]).shape
    spots, thick = wire_spots(shape)
    low, high = shape.box
    np.testing.assert_allclose(high, (spots + thick[:, None]).max(axis=0), atol=1e-3)
    np.testing.assert_allclose(low, (spots - thick[:, None]).min(axis=0), atol=1e-3)


def test_rows_say_the_same_as_the_curves():
    rows = HOOK.primitives
    curves = [curve for strand in HOOK.strands for curve in strand.curves]
    assert rows.shape == (len(curves), COLUMNS)
    for row, curve in zip(rows, curves, strict=True):
        assert row[SPAN] == curve.span
        for t in np.linspace(0.0, curve.span, 5):
            if isinstance(curve, Arc):
                assert row[RADIUS] == curve.radius
                point = row[:3] + row[RADIUS] * (np.cos(t) * row[3:6] + np.sin(t) * row[6:9])
            else:
                assert row[RADIUS] == 0.0
                point = row[:3] + t * row[3:6]
            np.testing.assert_allclose(point, curve.point(float(t)), atol=1e-12)
    assert (rows[:, REAL] == 1.0).all()
    assert (rows[:, WIRE] == HOOK.strands[0].wire_radius).all()


def test_wire_ends_where_a_strand_ends():
    rows = HOOK.primitives
    assert rows[:, CAP_START].tolist() == [1.0] + [0.0] * (len(rows) - 1)
    assert rows[:, CAP_END].tolist() == [0.0] * (len(rows) - 1) + [1.0]
    oval = KINDS["oval link"].build().shape
    assert not oval.primitives[:, [CAP_START, CAP_END]].any()
    ball = Shape((Strand((Straight((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 0.0),), 2.0),), ())
    assert ball.primitives[0, [CAP_START, CAP_END]].tolist() == [1.0, 1.0]
    assert ball.radius == 0.0
    assert ball.box[1] == pytest.approx([2.0, 2.0, 2.0])


def test_closed_strands():
    half = Bend(radius=2.0, angle=180.0)
    assert Strand(bent_wire([half, half]), 0.5).closed
    assert not Strand(bent_wire([half, Bend(radius=2.0, angle=179.9)]), 0.5).closed
    # The ends meet in a corner.
    assert not Strand(bent_wire([half, Bend(length=1e-9), Bend(radius=2.0, angle=180.0, direction=180.0)]),
                      0.5).closed  # fmt: skip
    steps = [Bend(length=3.0), Bend(radius=1.0, angle=120.0)] * 3
    assert Strand(bent_wire(steps), 0.4).closed
    assert not Strand(bent_wire(steps[:-1]), 0.4).closed


def test_what_closes_an_eye_is_no_wire():
    eye = HOOK.eyes[1]
    rows = loop_rows(eye)
    assert [k for k in range(len(rows)) if not rows[k, REAL]] == list(eye.closing)
    assert (rows[list(eye.closing), WIRE] == 0.0).all()
    assert not rows[:, [CAP_START, CAP_END]].any()
    assert len(HOOK.closings) == sum(len(eye.closing) for eye in HOOK.eyes)
    assert not HOOK.closings[:, [WIRE, REAL]].any()


def test_a_ring_as_a_shape():
    ring = ring_shape(2.5, 0.5)
    assert ring.radius == pytest.approx(2.5)
    assert ring.wire_radius == ring.thinnest == 0.5
    assert ring.eyes[0].inside == 4.0
    low, high = ring.box
    assert high == pytest.approx([3.0, 3.0, 0.5])
    assert low == pytest.approx([-3.0, -3.0, -0.5])
    assert ring.strands[0].closed
    assert ring.strands[0].length == pytest.approx(5.0 * pi)


def test_equal_shapes_are_found_again():
    one, two = ring_shape(2.5, 0.5), ring_shape(2.5, 0.5)
    assert one == two
    assert hash(one) == hash(two)
    assert len({one, two, ring_shape(2.5, 0.4)}) == 2


def test_moving_and_centring(rng):
    turn, shift = random_rotation(rng), rng.normal(size=3)
    moved = HOOK.moved(shift, turn)
    np.testing.assert_allclose(moved.samples, HOOK.samples @ turn.T + shift, atol=1e-12)
    low, high = moved.centred().box
    np.testing.assert_allclose(low + high, 0.0, atol=1e-12)
    np.testing.assert_allclose(high - low, moved.box[1] - moved.box[0], atol=1e-12)
    eye, other = HOOK.eyes[1], moved.eyes[1]
    assert replace(other, loop=eye.loop) == eye
    for curve, there in zip(eye.loop, other.loop, strict=True):
        np.testing.assert_allclose(there.point(0.0), turn @ curve.point(0.0) + shift, atol=1e-12)


def test_a_mirror_image():
    shape = KINDS["loop link"].build(quarter_turn=True).shape
    image = shape.mirrored()
    np.testing.assert_allclose(image.samples, shape.samples * (1.0, 1.0, -1.0), atol=1e-12)
    assert image.mirrored() == shape
    assert [eye.name for eye in image.eyes] == [eye.name for eye in shape.eyes]
    for eye, other in zip(shape.eyes, image.eyes, strict=True):
        assert replace(other, loop=eye.loop) == eye
        for curve, there in zip(eye.loop, other.loop, strict=True):
            np.testing.assert_allclose(
                there.point(0.4 * there.span), np.multiply(curve.point(0.4 * curve.span), (1, 1, -1)),
                atol=1e-12,
            )  # fmt: skip


def test_thicker_and_thinner_wire_on_the_same_centrelines():
    pin = head_pin(beads=(Threaded("ball", 6.0, None, 1.0, (0.2, 0.4, 0.6)),)).shape
    thick = pin.thickened(0.1)
    np.testing.assert_allclose(thick.primitives[:, WIRE], pin.primitives[:, WIRE] + 0.1)
    thin = pin.with_wires(0.5)
    np.testing.assert_allclose(thin.primitives[:, WIRE], 0.5 * pin.primitives[:, WIRE])
    for other in (thick, thin):
        kept = [k for k in range(COLUMNS) if k != WIRE]
        np.testing.assert_array_equal(other.primitives[:, kept], pin.primitives[:, kept])
        assert other.radius == pin.radius
    assert pin.wire_radius == 3.0
    assert pin.thinnest == pytest.approx(0.3)
    assert pin.strand_of == tuple(number for number, strand in enumerate(pin.strands) for _ in strand.curves)


def test_the_radius_counts_the_lines_that_close_eyes():
    bar = KINDS["toggle bar"].build().shape
    without = replace(bar, eyes=())
    assert bar.radius > without.radius
    far = Straight((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 7.0)
    eye = Eye("line", (far, replace(far, begin=(7.0, 0.0, 0.0), direction=(-1.0, 0.0, 0.0))), (0, 1), 0.1,
              1.0, Closure.HOOK)  # fmt: skip
    assert replace(ring_shape(1.0, 0.1), eyes=(eye,)).radius == 7.0
