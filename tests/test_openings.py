"""How wide eyes are and how wide they are open: closed forms, a grid that a disc walks on, and invariants."""

from dataclasses import replace
from math import cos, inf, pi, radians, sin, sqrt

import numpy as np
import pytest
from scipy import ndimage
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation
from shapely import LineString, MultiLineString, Polygon, contains_xy, distance, points

from chaingen.geometry.centrelines import Arc, Bend, bent_wire, circle, moved_curve, segment
from chaingen.geometry.openings import inside_centre, inside_of, opening_of, passes
from chaingen.geometry.shapes import Closure, Eye, Shape, Strand, ring_shape

WIRE = 0.1
"""Wire radius of most shapes here [mm]."""


def eye(loop, closing=(), closure=Closure.PLIERS, gate=None):
    return Eye("eye", tuple(loop), tuple(closing), WIRE, 0.0, closure, 0.0, gate)


def open_ring(gap, radius=2.0, wire=WIRE):
    """A ring with its ends `gap` apart at their centrelines [mm]."""
    lost = np.arcsin(0.5 * gap / radius)
    start, ahead = (cos(lost), sin(lost), 0.0), (-sin(lost), cos(lost), 0.0)
    arc = Arc((0.0, 0.0, 0.0), start, ahead, radius, 2.0 * (pi - lost))
    chord = segment(arc.point(arc.angle), arc.point(0.0))
    return Shape((Strand((arc,), wire),), (eye((arc, chord), (1,)),))


def hook(shank=6.0, radius=1.0, tail=1.5, lean=0.0, tip=0.0, kick=0.0, closure=Closure.HOOK, gate=None):
    """A hook: shank along x, a bend to the left that leans in by an angle [deg], a tail, a kicked tip.

    It is closed by a straight from the tip to the middle of the shank.
    """
    steps = [Bend(length=shank), Bend(radius=radius, angle=180.0 + lean), Bend(length=tail)]
    if tip:
        steps += [Bend(radius=0.4, angle=kick, direction=180.0), Bend(length=tip)]
    path = bent_wire(steps)
    foot = path[0].point(0.25 * shank)
    loop = (segment(foot, path[0].point(shank)), *path[1:], segment(path[-1].point(path[-1].span), foot))
    return Shape((Strand(path, WIRE),), (eye(loop, (len(loop) - 1,), closure, gate),))


def boxed(length, width, radius=0.5):
    """A closed oblong with round corners."""
    corner = Bend(radius=radius, angle=90.0)
    straight, side = Bend(length=length - 2 * radius), Bend(length=width - 2 * radius)
    path = bent_wire([straight, corner, side, corner, straight, corner, side, corner])
    return Shape((Strand(path, WIRE),), (eye(path),))


def points_along(shape, spacing):
    """Points of all wire, from the curves alone, shape (k, 3)."""
    return np.array(
        [
            curve.point(curve.span * t)
            for strand in shape.strands
            for curve in strand.curves
            for t in np.linspace(0.0, 1.0, int(np.ceil(curve.length / spacing)) + 1)
        ]
    )


def walked_opening(shape, start, spacing):
    """Diameter of the largest disc that gets out of a flat eye in the plane z = 0, by bisection on a grid."""
    points = points_along(shape, 0.1 * spacing)[:, :2]
    low, high = points.min(axis=0) - 3.0, points.max(axis=0) + 3.0
    x, y = (np.arange(a, b, spacing) for a, b in zip(low, high, strict=True))
    room = cKDTree(points).query(np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1))[0] - WIRE
    at = tuple(((start[:2] - low) / spacing).round().astype(int))
    narrow, wide = 0.0, 2.0 * room[at]
    for _ in range(20):
        middle = 0.5 * (narrow + wide)
        labels = ndimage.label(2.0 * room > middle, structure=np.ones((3, 3)))[0]
        if labels[at] and labels[at] == labels[0, 0]:
            narrow = middle
        else:
            wide = middle
    return narrow


@pytest.mark.parametrize(("radius", "wire"), [(2.0, 0.1), (1.0, 0.45), (30.0, 0.2)])
def test_a_ring_is_shut_and_as_wide_as_its_inside(radius, wire):
    shape = ring_shape(radius, wire)
    assert inside_of(shape, 0) == pytest.approx(2.0 * (radius - wire), abs=1e-9)
    assert inside_centre(shape, 0) == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
    assert opening_of(shape, 0) == 0.0


@pytest.mark.parametrize("gap", [0.21, 0.5, 1.0])
def test_an_open_ring_is_as_open_as_its_ends_are_apart(gap):
    shape = open_ring(gap)
    assert opening_of(shape, 0) == pytest.approx(gap - 2.0 * WIRE, abs=1e-9)
    # The circle inside must not cross the chord that closes it.
    chord = sqrt(4.0 - 0.25 * gap * gap)
    assert inside_of(shape, 0) == pytest.approx(min(2.0 * (2.0 - WIRE), 2.0 - WIRE + chord), abs=1e-9)


@pytest.mark.parametrize("gap", [0.05, 0.2, 0.2 + 1e-10])
def test_ends_that_touch_shut_it(gap):
    assert opening_of(open_ring(gap), 0) == 0.0


def test_oblongs_are_as_wide_as_their_narrow_side():
    assert inside_of(boxed(5.0, 3.0), 0) == pytest.approx(3.0 - 2.0 * WIRE, abs=1e-9)
    assert inside_of(boxed(9.0, 9.0, radius=1.0), 0) == pytest.approx(9.0 - 2.0 * WIRE, abs=1e-9)
    half = Bend(radius=0.7, angle=180.0)
    stadium = bent_wire([Bend(length=3.0), half, Bend(length=3.0), half])
    shape = Shape((Strand(stadium, WIRE),), (eye(stadium),))
    assert inside_of(shape, 0) == pytest.approx(2.0 * (0.7 - WIRE), abs=1e-9)
    assert opening_of(shape, 0) == 0.0


def test_the_circle_in_a_triangle():
    """Its radius is twice the area over the sum of the sides, less the wire."""
    corners = [(0.0, 0.0, 0.0), (4.0, 0.0, 0.0), (1.0, 3.0, 0.0)]
    loop = tuple(segment(a, b) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True))
    shape = Shape(tuple(Strand((side,), WIRE) for side in loop), (eye(loop),))
    radius = 12.0 / (4.0 + sqrt(18.0) + sqrt(10.0))
    assert inside_of(shape, 0) == pytest.approx(2.0 * (radius - WIRE), abs=1e-9)
    assert opening_of(shape, 0) == 0.0


@pytest.mark.parametrize("place", [0.0, 0.3, -1.1])
def test_a_wire_across_an_eye_leaves_the_larger_side(place):
    ring = ring_shape(2.0, WIRE)
    across = Strand((segment((place, -3.0, 0.0), (place, 3.0, 0.0)),), 0.25)
    shape = replace(ring, strands=(*ring.strands, across))
    assert inside_of(shape, 0) == pytest.approx(2.0 - WIRE + abs(place) - 0.25, abs=1e-9)
    # So does one that goes through it.
    through = Strand((segment((0.5, 0.0, -3.0), (0.5, 0.0, 3.0)),), 0.25)
    pierced = replace(ring, strands=(*ring.strands, through))
    assert inside_of(pierced, 0) == pytest.approx(2.0 - WIRE + 0.5 - 0.25, abs=1e-9)


def test_an_eye_full_of_wire_has_no_inside():
    ring = ring_shape(0.5, 0.2)
    ball = Strand((replace(segment((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)), length=0.0),), 0.9, "ball")
    assert inside_of(replace(ring, strands=(*ring.strands, ball)), 0) < 0.0


def test_a_straight_hook_is_open_between_tip_and_shank():
    """Its tail runs along the shank: the whole mouth is as wide as the bend."""
    shape = hook()
    assert opening_of(shape, 0) == pytest.approx(2.0 - 2.0 * WIRE, abs=1e-9)
    assert inside_of(shape, 0) == pytest.approx(2.0 - 2.0 * WIRE, abs=1e-9)


@pytest.mark.parametrize("lean", [10.0, 25.0, 40.0])
def test_a_leaning_tail_is_narrowest_at_its_tip(lean):
    """The tip is straight above the shank, not above where the closing straight meets it."""
    shape, t = hook(lean=lean), radians(lean)
    expected = 1.0 + cos(t) - 1.5 * sin(t) - 2.0 * WIRE
    assert opening_of(shape, 0) == pytest.approx(expected, abs=1e-9)


def test_a_kicked_tip_leaves_the_narrow_place_behind_it():
    """The tail comes in by an angle and is bent out by more: the narrowest is where it runs along."""
    shape, t = hook(lean=25.0, tip=0.8, kick=60.0), radians(25.0)
    expected = 1.0 + cos(t) - 1.5 * sin(t) - 0.4 * (1.0 - cos(t)) - 2.0 * WIRE
    assert opening_of(shape, 0) == pytest.approx(expected, abs=1e-9)


def test_a_hook_closed_by_a_slanting_line_is_open_as_wide_as_its_wires_are_apart():
    """What closes the eye does not hold: where it is drawn changes nothing."""
    shape = hook(lean=25.0)
    path = shape.strands[0].curves
    for share in (0.05, 0.3, 0.6):
        foot = path[0].point(share * path[0].length)
        loop = (
            segment(foot, path[1].point(0.0)), *path[1:], segment(path[-1].point(path[-1].span), foot)
        )  # fmt: skip
        moved = replace(shape, eyes=(eye(loop, (len(loop) - 1,), Closure.HOOK),))
        assert opening_of(moved, 0) == pytest.approx(opening_of(shape, 0), abs=1e-9)


def test_nearer_tips_never_open_a_hook():
    widths = [opening_of(hook(lean=lean), 0) for lean in np.linspace(-20.0, 62.0, 33)]
    assert (np.diff(widths) < 1e-12).all()
    assert widths[0] > widths[-1] == 0.0
    widths = [opening_of(hook(lean=20.0, tip=tip, kick=50.0), 0) for tip in (0.1, 0.3, 0.6, 1.2)]
    # The kick points away: a longer one changes nothing.
    assert widths == pytest.approx([widths[0]] * 4, abs=1e-9)


def test_of_two_gaps_the_wider_one_lets_out():
    def two_halves(gap, other):
        """Half circles, the right one moved aside and turned so that the gaps differ."""
        left = Arc((0.0, 0.0, 0.0), (0.0, 1.0, 0.0), (-1.0, 0.0, 0.0), 2.0, pi)
        right = (
            segment((gap, 2.0, 0.0), (gap + 2.0, 2.0, 0.0)), segment((gap + 2.0, 2.0, 0.0), (3.0, -2.0, 0.0)),
            segment((3.0, -2.0, 0.0), (other, -2.0, 0.0)),
        )  # fmt: skip
        loop = (
            left, segment((0.0, -2.0, 0.0), (other, -2.0, 0.0)),
            *(segment(s.point(s.length), s.begin) for s in right[::-1]),
            segment((gap, 2.0, 0.0), (0.0, 2.0, 0.0)),
        )  # fmt: skip
        strands = (Strand((left,), WIRE), *(Strand((piece,), WIRE) for piece in right))
        return Shape(strands, (eye(loop, (1, 5)),))

    assert opening_of(two_halves(0.3, 0.7), 0) == pytest.approx(0.5, abs=1e-9)
    assert opening_of(two_halves(0.8, 0.7), 0) == pytest.approx(0.6, abs=1e-9)
    assert opening_of(two_halves(0.15, 0.1), 0) == 0.0


def test_a_gate_shuts_while_it_is_there():
    """A mouth with its gate is shut; without it, it is as open as the wires stand apart."""
    shape = open_ring(1.0)
    arc = shape.strands[0].curves[0]
    gate = Strand((segment(arc.point(arc.angle), arc.point(0.0)),), 0.05)
    shut = replace(shape, strands=(*shape.strands, gate))
    assert opening_of(shut, 0) == 0.0
    assert opening_of(shape, 0) == pytest.approx(0.8, abs=1e-9)


def test_a_bar_holds_nothing_in():
    """A bar on a stem: what lies beside its half is open to the outside, however wide."""
    bar, stem = segment((-4.0, 0.0, 0.0), (4.0, 0.0, 0.0)), segment((0.0, 0.0, 0.0), (0.0, 2.0, 0.0))
    corners = [(0.0, 0.0, 0.0), (4.0, 0.0, 0.0), (4.0, 2.0, 0.0), (0.0, 2.0, 0.0)]
    loop = tuple(segment(a, b) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True))
    mouth = eye(loop, (1, 2), Closure.BAR)
    shape = Shape((Strand((bar,), WIRE), Strand((stem,), WIRE)), (mouth,))
    # Whatever has room between bar, stem and the line that closes it can leave.
    assert inside_of(shape, 0) == pytest.approx(2.0 - WIRE, abs=1e-9)
    assert opening_of(shape, 0) >= inside_of(shape, 0)
    only = replace(shape, strands=shape.strands[:1])
    assert opening_of(only, 0) == inf
    assert passes(shape, 0, 1.5)
    assert not passes(shape, 0, 2.0)


@pytest.mark.parametrize("number", range(12))
def test_random_hooks_against_a_disc_walking_on_a_grid(number):
    rng = np.random.default_rng(number)
    shape = hook(
        radius=rng.uniform(0.7, 1.4), tail=rng.uniform(0.3, 1.6), lean=rng.uniform(-20.0, 40.0),
        tip=rng.uniform(0.2, 0.8), kick=rng.uniform(5.0, 80.0),
    )  # fmt: skip
    spacing = 0.02
    middle = inside_centre(shape, 0)
    walked = walked_opening(shape, middle, spacing)
    # A disc that is to start from the middle must have room there; a hook may be open wider than that.
    room = 2.0 * (np.linalg.norm(points_along(shape, 0.001) - middle, axis=1).min() - WIRE)
    expected = min(opening_of(shape, 0), room)
    # A path on the grid misses the middle of a gap, and the start its place, by up to a step.
    assert walked - 2.0 * spacing <= expected <= walked + 2.0 * spacing
    assert inside_of(shape, 0) <= room + 1e-5


@pytest.mark.parametrize("number", range(6))
def test_no_sampled_circle_is_larger(number):
    """Nothing on a fine grid inside the line is farther from wires and closing line."""
    rng = np.random.default_rng(number)
    shape = hook(radius=rng.uniform(0.6, 1.4), tail=rng.uniform(0.3, 1.6), lean=rng.uniform(-30.0, 45.0))
    loop = shape.eyes[0].loop
    line = [c.point(c.span * k / 400) for c in loop for k in range(400)]
    region = Polygon([p[:2] for p in line])
    wire = MultiLineString(
        [[c.point(c.span * k / 400)[:2] for k in range(401)] for c in shape.strands[0].curves]
    )
    closing = LineString([loop[-1].point(0.0)[:2], loop[-1].point(loop[-1].length)[:2]])
    x, y = (a.ravel() for a in np.meshgrid(*(np.arange(a, b, 0.02) for a, b in ((-1, 8), (-1, 4)))))
    within = contains_xy(region, x, y)
    spots = points(x[within], y[within])
    clear = np.minimum(distance(spots, wire) - WIRE, distance(spots, closing))
    assert 2.0 * clear.max() - 1e-4 <= inside_of(shape, 0) <= 2.0 * clear.max() + 0.06


def test_rigid_motion_mirror_scale_and_thickness():
    for shape in (hook(lean=20.0, tip=0.5, kick=50.0), open_ring(0.6), boxed(4.0, 3.0)):
        inside, opening = inside_of(shape, 0), opening_of(shape, 0)
        turn = Rotation.from_rotvec([0.4, -2.0, 1.1]).as_matrix()
        moved = shape.moved(np.array([3.0, -50.0, 11.0]), turn)
        assert inside_of(moved, 0) == pytest.approx(inside, abs=1e-9)
        assert opening_of(moved, 0) == pytest.approx(opening, abs=1e-9)
        mirrored = shape.mirrored().moved(np.zeros(3), turn)
        assert inside_of(mirrored, 0) == pytest.approx(inside, abs=1e-9)
        assert opening_of(mirrored, 0) == pytest.approx(opening, abs=1e-9)
        thicker = shape.thickened(0.05)
        assert opening_of(thicker, 0) == pytest.approx(max(opening - 0.1, 0.0), abs=1e-9)
        assert inside - 0.1 - 1e-9 <= inside_of(thicker, 0) <= inside


def test_an_eye_that_is_not_flat():
    """A ring bent to a saddle and cut: open as wide as its ends are apart in space."""
    lift = 0.4
    ends = (0.3, -2.0, lift), (-0.3, -2.0, -lift)
    loop = (
        segment(ends[0], (2.0, -1.5, 0.3)), segment((2.0, -1.5, 0.3), (2.0, 2.0, -0.3)),
        segment((2.0, 2.0, -0.3), (-2.0, 2.0, 0.3)), segment((-2.0, 2.0, 0.3), (-2.0, -1.5, -0.3)),
        segment((-2.0, -1.5, -0.3), ends[1]), segment(ends[1], ends[0]),
    )  # fmt: skip
    shape = Shape(tuple(Strand((side,), WIRE) for side in loop[:-1]), (eye(loop, (5,)),))
    assert opening_of(shape, 0) == pytest.approx(sqrt(0.36 + 4.0 * lift * lift) - 2.0 * WIRE, abs=1e-9)
    assert 2.5 < inside_of(shape, 0) < 4.0


def test_what_passes():
    narrow = hook(lean=25.0)
    width = opening_of(narrow, 0)
    assert passes(narrow, 0, width)
    assert passes(narrow, 0, width - 0.01)
    assert not passes(narrow, 0, width + 0.01)
    # A spring that gives lets in more, but nothing that has no room.
    gated = hook(lean=25.0, closure=Closure.GATE, gate=width + 0.3)
    assert passes(gated, 0, width + 0.3)
    assert not passes(gated, 0, width + 0.31)
    assert not passes(hook(closure=Closure.GATE, gate=5.0), 0, 2.0 - 2.0 * WIRE + 0.01)
    # A ring through a shut eye is itself opened: only the room counts.
    for closure in (Closure.SOLDERED, Closure.PLIERS):
        ring = ring_shape(1.0, WIRE)
        shut = replace(ring, eyes=(replace(ring.eyes[0], closure=closure),))
        assert passes(shut, 0, 1.8)
        assert not passes(shut, 0, 1.81)
    # A hook that is shut takes nothing in.
    assert not passes(hook(lean=60.0), 0, 0.2)


def test_arcs_that_lie_on_one_another_are_shut():
    """Two open arcs in two planes whose wires touch along their overlaps make a way round."""
    arc = replace(circle((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 2.0), angle=1.2 * pi)
    other = Arc(
        (0.0, 0.0, 2.0 * WIRE), tuple(-v for v in arc.start), tuple(-v for v in arc.ahead), 2.0, 1.2 * pi
    )
    line = eye((circle((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 2.0),))
    assert opening_of(Shape((Strand((arc,), WIRE), Strand((other,), WIRE)), (line,)), 0) == 0.0
    ends = 4.0 * sin(0.4 * pi)
    assert opening_of(Shape((Strand((arc,), WIRE),), (line,)), 0) == pytest.approx(
        ends - 2.0 * WIRE, abs=1e-9
    )
    # A little apart they let out what goes between them.
    apart = moved_curve(other, np.eye(3), np.array([0.0, 0.0, 0.05]))
    loose = Shape((Strand((arc,), WIRE), Strand((apart,), WIRE)), (line,))
    assert opening_of(loose, 0) == pytest.approx(0.05, abs=1e-9)


def test_a_funnel_is_as_open_as_its_throat():
    """Two wires that lean together: the throat and not the ends is what lets out."""
    steps = [
        Bend(length=2.0), Bend(radius=0.5, angle=20.0), Bend(length=1.0), Bend(radius=1.5, angle=140.0),
        Bend(length=1.0), Bend(radius=0.5, angle=20.0), Bend(length=2.0),
    ]  # fmt: skip
    path = bent_wire(steps)
    closing = segment(path[-1].point(path[-1].span), path[0].point(0.0))
    shape = Shape((Strand(path, WIRE),), (eye((*path, closing), (7,), Closure.HOOK),))
    ends = np.linalg.norm(np.subtract(path[-1].point(2.0), path[0].point(0.0)))
    assert opening_of(shape, 0) == pytest.approx(ends - 2.0 * WIRE, abs=1e-9)
