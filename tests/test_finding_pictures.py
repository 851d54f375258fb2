"""Pictures of findings and beads: an earring hung by hand, cameras in closed form, pixels measured."""

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageSequence

from chaingen.findings.finding import eye_centre
from chaingen.findings.hooks import ear_wire
from chaingen.findings.links import oval_link
from chaingen.findings.pins import Threaded, head_pin
from chaingen.geometry.bodies import Bodies, concatenate, shaped, wire_points
from chaingen.geometry.centrelines import Straight
from chaingen.geometry.shapes import Shape, Strand, ring_shape
from chaingen.geometry.solids import bar, plane
from chaingen.make.metals import RingMetals
from chaingen.show import camera, film, shade
from chaingen.show.camera import FOOT, MARGIN, View, extent, four_views, framed
from chaingen.show.drawing import pyvista_off_screen, require_drawing
from chaingen.show.film import settling_view, turning_views
from chaingen.show.look import PLAIN_GLASS, look_of, plain_look
from chaingen.show.picture import add_bodies, body_surface, draw_views
from chaingen.show.scene import draw_scene, still_views
from chaingen.show.supports import held_by, surfaces
from chaingen.stock.metals import find_metal
from chaingen.weave.graph import piece_graph
from chaingen.weave.groups import Group, GroupKind, Run
from tests.conftest import rings_of, side, size

X, Y, Z = np.eye(3)
UPRIGHT = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]])
"""Turns x up and y to the right: a finding that hangs by what lies along its x, seen flat."""

HOOK, LINK = ear_wire(), oval_link()
GLASS, ENAMEL = (0.05, 0.45, 0.75), (0.10, 0.60, 0.15)
PIN = head_pin(beads=(Threaded("ball", 5.0, None, 1.0, GLASS), Threaded("disc", 4.0, 1.2, 1.0, ENAMEL)))


def group(finding, turned=False):
    return Group(GroupKind.FINDING, 1, finding, turned)


JUMP = side(1, size(3.0, 0.8))
GRAPH = piece_graph(Run((JUMP, group(LINK), JUMP), first=(group(HOOK, True),), last=(group(PIN),)))
METALS = (find_metal("sterling silver"), find_metal("18k yellow gold"))
LOOK = look_of(RingMetals(METALS, np.array([0, 0, 1, 0, 0])), GRAPH)


def earring():
    """Ear wire, ring, oval link, ring and beaded pin hanging in a row, in the plane of x and z."""
    parts = [
        shaped(HOOK.shape).turned(UPRIGHT),
        rings_of(((0.0, 0.0, 0.0), X, 1.9, 0.4)),
        shaped(LINK.shape).turned(UPRIGHT),
        rings_of(((0.0, 0.0, 0.0), X, 1.9, 0.4)),
        shaped(PIN.shape).turned(UPRIGHT @ np.diag([-1.0, -1.0, 1.0])),
    ]
    top, hung = 0.0, []
    for part in parts:
        low, high = part.bounds()
        hung.append(part.moved(np.array([0.0, 0.0, top - high[2]])))
        top -= high[2] - low[2] - 1.6
    return concatenate(hung)


EARRING = earring()
PEG_RADIUS = 0.6


def hook_centre():
    (hook,) = (eye_centre(HOOK.shape.eyes[k]) for k in HOOK.outer)
    return EARRING.centres[0] + hook @ EARRING.frames()[0]


@pytest.fixture(scope="module")
def can_draw():
    """Pictures need EGL, as the README says: without it these tests fail, telling what to install."""
    require_drawing()


@pytest.fixture(autouse=True)
def small(monkeypatch):
    monkeypatch.setattr(camera, "LONG_SIDE", 480)
    monkeypatch.setattr(camera, "SHORT_SIDE", (200, 480))
    monkeypatch.setattr(film, "LONG_SIDE", 200)
    monkeypatch.setattr(film, "SHORT_SIDE", 100)


def pixels(path):
    return np.asarray(Image.open(path).convert("RGB")).astype(int)


def is_blue(image):
    red, green, blue = np.moveaxis(image, -1, 0)
    return (blue - red > 50) & (blue - green > 8)


def is_green(image):
    red, green, blue = np.moveaxis(image, -1, 0)
    return (green - red > 30) & (green - blue > 30)


def is_gold(image):
    return image[..., 0] - image[..., 2] > 40


def is_collision(image):
    red, green, blue = np.moveaxis(image, -1, 0)
    return (red - green > 60) & (blue - green > 30)


def spots(bodies, view):
    """Where all wires lie in a view's frame [pixels], right and up from its middle; dense samples."""
    points, wires, _ = wire_points(bodies, 720)
    axes = np.stack([np.cross(view.up, view.towards), view.up])
    at = (points - view.focus) @ axes.T
    return np.concatenate([at + wires[:, None], at - wires[:, None]]) / view.mm_per_pixel


# --- the camera -----------------------------------------------------------------------------------


def test_extent_of_findings_is_that_of_their_wires(rng):
    for axis in rng.normal(size=(20, 3)):
        axis /= np.linalg.norm(axis)
        low, high = extent(EARRING, axis)
        points, wires, _ = wire_points(EARRING, 3000)
        assert low == pytest.approx((points @ axis - wires).min(), abs=1e-3)
        assert high == pytest.approx((points @ axis + wires).max(), abs=1e-3)


@pytest.mark.parametrize("index", range(3))
def test_the_frame_holds_the_whole_earring(index):
    view = four_views(EARRING, EARRING.centres[0])[index]
    at = spots(EARRING, view)
    left, right = at[:, 0].min() + view.width / 2, view.width / 2 - at[:, 0].max()
    top, bottom = view.height / 2 - at[:, 1].max(), at[:, 1].min() + view.height / 2 - FOOT
    assert left == pytest.approx(right, abs=0.5)
    assert top == pytest.approx(bottom, abs=0.5)
    wide, high = np.ptp(at, axis=0)
    # The tighter way fills the frame up to its margin.
    assert min(left / wide, top / high) == pytest.approx(MARGIN, abs=5e-3)
    points, wires, _ = wire_points(EARRING, 720)
    assert view.depth > ((points - view.focus) @ view.towards + wires).max()


def test_a_close_up_shows_a_part_of_a_short_piece():
    lying = EARRING.turned(UPRIGHT.T)
    whole, *_, close = four_views(lying, lying.centres[2])
    assert close.mm_per_pixel < 0.8 * whole.mm_per_pixel


def test_what_reaches_into_the_frame_is_seen():
    def window(centre, half):
        return View("window", centre, -Y, Z, 100, 100, half, 50.0)

    for k in range(len(EARRING)):
        points, wires, _ = wire_points(EARRING[k : k + 1], 720)
        tip = points[np.argmax(points[:, 0] + wires)]
        wire = wires[np.argmax(points[:, 0] + wires)]
        # Windows whose left edge is a little this side and that side of the body's outermost place.
        near, far = (window(tip + (wire + 1.0 + d) * X, 1.0) for d in (-0.02, 0.02))
        assert near.sees(EARRING)[k]
        assert not far.sees(EARRING)[k]


def test_views_of_films_hold_the_earring():
    views = turning_views(EARRING, 0.2, 12)
    reach = np.max(
        [np.abs(spots(EARRING, v)).max(axis=0) / [v.width / 2, v.height / 2] for v in views], axis=0
    )
    assert (reach < 1.0).all()
    assert reach.max() > 0.85
    frames = [EARRING.moved(shift * X) for shift in (0.0, 3.0, 6.0)]
    view = settling_view(frames, -Y)
    for bodies in frames:
        assert (np.abs(spots(bodies, view)) < [view.width / 2, view.height / 2]).all()


# --- look -----------------------------------------------------------------------------------------


def test_beads_have_the_colours_of_their_finding():
    ball, disc = (bead.part for bead in PIN.beads)
    assert LOOK.bead_colour(4, ball) == GLASS
    assert LOOK.bead_colour(4, disc) == ENAMEL
    assert LOOK.bead_colour(4, "drift") == LOOK.bead_colour(0, ball) == PLAIN_GLASS
    # Looks are cut and laid together by index, as rings' are.
    assert LOOK[np.array([4, 0, 4])].bead_colour(2, disc) == ENAMEL
    assert LOOK[1:].bead_colour(3, ball) == GLASS
    assert plain_look(METALS[0], 5).bead_colour(4, ball) == PLAIN_GLASS
    pair = look_of(RingMetals(METALS, np.array([0, 0, 1, 0, 0] * 2)), GRAPH)
    assert pair.bead_colour(4, ball) == pair.bead_colour(9, ball) == GLASS
    assert [own.tolist() for _, _, own in LOOK.parts()] == [[0, 1, 3, 4], [2]]


def test_each_part_is_a_surface_of_its_own(can_draw):
    pv = pyvista_off_screen()
    plotter = pv.Plotter(off_screen=True)
    try:
        shown = add_bodies(plotter, pv, EARRING, LOOK, 0.05)
        marked = add_bodies(plotter, pv, EARRING, LOOK, 0.05, np.array([2, 4]))
    finally:
        plotter.close()
    ball, disc = (bead.part for bead in PIN.beads)
    assert [(s.part, s.own.tolist()) for s in shown] == [
        ("wire", [0, 1, 3, 4]), ("wire", [2]), (ball, [4]), (disc, [4]),
    ]  # fmt: skip
    assert [(s.part, s.own.tolist()) for s in marked] == [("wire", [0, 1, 3]), (None, [2, 4])]
    whole = body_surface(pv, EARRING, 0.05, holes=LOOK.holes)
    assert sum(s.surface.n_cells for s in shown) == whole.n_cells
    low, high = EARRING.bounds()
    assert np.asarray(whole.points).min(axis=0) == pytest.approx(low, abs=0.05)
    assert np.asarray(whole.points).max(axis=0) == pytest.approx(high, abs=0.05)
    assert body_surface(pv, EARRING[:2], 0.05, ball) is None


# --- pictures -------------------------------------------------------------------------------------


def test_beads_are_seen_in_their_colours_where_they_are(can_draw, tmp_path):
    view = framed("front", EARRING, -Y, Z)
    draw_views(tmp_path, EARRING, [view], look=LOOK)
    image = pixels(tmp_path / "front.png")
    rows, columns = (np.flatnonzero(is_blue(image).any(axis=k)) for k in (1, 0))
    # The glass ball is 5 mm across.
    assert np.ptp(columns) * view.mm_per_pixel == pytest.approx(5.0, abs=0.6)
    assert np.ptp(rows) * view.mm_per_pixel == pytest.approx(5.0, abs=0.6)
    assert is_green(image).any()
    x = (columns.mean() - view.width / 2) * view.mm_per_pixel + view.focus[0]
    ball = next(s for s in PIN.shape.strands if s.part == PIN.beads[0].part)
    place = EARRING.centres[4] + np.array(ball.curves[0].point(0.0)) @ EARRING.frames()[4]
    assert x == pytest.approx(place[0], abs=0.3)
    # Glass has its colour in form: a highlight well above its shade, neither white nor black.
    light = image[is_blue(image)].mean(axis=1)
    assert np.ptp(np.percentile(light, [3, 97])) > 25
    # The gold link and the silver round it.
    assert is_gold(image).any()
    assert not is_collision(image).any()


def test_a_finding_that_collides_is_marked_with_its_beads(can_draw, tmp_path):
    view = framed("front", EARRING, -Y, Z)
    draw_views(tmp_path, EARRING, [view], look=LOOK, collided=np.array([4]))
    image = pixels(tmp_path / "front.png")
    assert not is_blue(image).any()
    assert not is_green(image).any()
    rows = np.flatnonzero(is_collision(image).any(axis=1))
    low, high = EARRING[4:].bounds()
    foot = view.focus[2] + (view.height / 2 - rows[-1] - 1) * view.mm_per_pixel
    assert foot == pytest.approx(low[2], abs=0.1)
    # Its loop is hidden in part by the ring that it hangs from.
    assert 0.0 <= high[2] - low[2] - np.ptp(rows) * view.mm_per_pixel < 1.6
    # Its link is still gold.
    assert is_gold(image).any()


def test_a_ring_shape_looks_like_the_ring(can_draw, tmp_path):
    rings = rings_of(((0.0, 0.0, 0.0), Z, 2.0, 0.5), ((2.6, 0.0, 0.0), Y, 2.0, 0.5))
    shapes = concatenate(
        [shaped(ring_shape(2.0, 0.5)).posed(rings.centres[k][None], rings.normals[k][None]) for k in range(2)]
    )
    for name, bodies in (("rings", rings), ("shapes", shapes)):
        draw_views(tmp_path, bodies, [framed(name, bodies, Z, Y)], look=plain_look(METALS[0], 2))
    one, two = pixels(tmp_path / "rings.png"), pixels(tmp_path / "shapes.png")
    assert one.shape == two.shape
    # Where facets begin round the ring may differ, and with it an edge's pixels.
    assert (np.abs(one - two).max(axis=2) > 24).mean() < 0.01


# --- scenes ---------------------------------------------------------------------------------------


def test_a_peg_goes_through_the_hook_that_hangs_on_it():
    peg = bar(hook_centre(), Y, PEG_RADIUS)
    assert held_by(EARRING, peg).tolist() == [0]
    # Under the tip of the hook's tail there is nothing to hang on.
    low, _ = EARRING[:1].bounds()
    assert held_by(EARRING, bar(np.array([0.0, 0.0, low[2] - 20.0]), Y, PEG_RADIUS)).tolist() == []
    # A bar along the wire's plane passes the hook by.
    assert held_by(EARRING[:1], bar(hook_centre() + 0.5 * Y, X, PEG_RADIUS)).tolist() == []


def test_holding_by_an_eye_is_holding_by_a_hole(rng):
    rings = rings_of(*((rng.normal(size=3), rng.normal(size=3), 2.0, 0.3) for _ in range(60)))
    shapes = concatenate(
        [
            shaped(ring_shape(2.0, 0.3)).posed(rings.centres[k][None], rings.normals[k][None])
            for k in range(60)
        ]
    )
    peg = bar(np.zeros(3), Y, 0.4)
    held = held_by(rings, peg)
    assert 5 < len(held) < 55
    assert held_by(shapes, peg).tolist() == held.tolist()


def test_a_peg_is_no_longer_than_its_hook_needs(can_draw):
    (peg,) = surfaces(pyvista_off_screen(), (bar(hook_centre(), Y, PEG_RADIUS),), EARRING)
    y = np.asarray(peg.mesh.points)[:, 1]
    (hook,) = (HOOK.shape.eyes[k] for k in HOOK.outer)
    assert hook.inside < np.ptp(y) < 4.0 * (hook.inside + 4.0 * hook.wire_radius)


def test_shade_of_a_ball_is_the_part_of_the_sky_that_it_hides():
    # Straight above at height h a ball of radius r hides (r / h)^2 of what a matt surface gathers.
    ball = shaped(Shape((Strand((Straight((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 0.0),), 0.5, "drift"),), ()))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shade, "SHADE_REACH", 1000.0)
        found = shade.shade(np.zeros((1, 3)), Z[None], ball.moved(4.0 * Z))[0]
    assert found == pytest.approx((0.5 / 4.0) ** 2, rel=0.02)


def test_a_ring_shape_casts_the_shade_of_the_ring():
    rings = rings_of(((0.0, 0.0, 1.5), (0.3, 0.1, 1.0), 2.0, 0.3))
    shape = shaped(ring_shape(2.0, 0.3)).posed(rings.centres, rings.normals)
    points = np.stack([*np.meshgrid(np.linspace(-5, 5, 9), np.linspace(-5, 5, 9)), np.zeros((9, 9))], axis=2)
    points = points.reshape(-1, 3)
    up = np.tile(Z, (len(points), 1))
    one, two = shade.shade(points, up, rings), shade.shade(points, up, shape)
    assert one.max() > 0.1
    assert two == pytest.approx(one, abs=0.02)


def test_an_earring_hangs_on_its_peg_and_turns_and_settles(can_draw, tmp_path):
    peg = bar(hook_centre(), Y, PEG_RADIUS)
    frames = [EARRING.turned(_about_y(angle)) for angle in (0.4, 0.15, 0.0)]
    frames = [bodies.moved(EARRING.centres[0] - bodies.centres[0]) for bodies in frames]
    paths = draw_scene(tmp_path, EARRING, (peg,), "hang", look=LOOK, frames=frames)
    names = {path.stem: path for path in paths}
    assert set(names) == {*(view.name for view in still_views(EARRING, "hang")), "turning", "settling"}
    for name in ("front", "side"):
        image = pixels(names[name])
        assert is_blue(image).any()
        assert is_green(image).any()
    with Image.open(names["settling"]) as image:
        shots = [np.asarray(f.convert("RGB")).astype(int) for f in ImageSequence.Iterator(image)]
    # The beads swing to the middle with the rest of the piece.
    blue = [np.flatnonzero(is_blue(shot).any(axis=0)) for shot in shots]
    assert len(shots) == 3
    assert all(len(columns) for columns in blue)
    assert abs(blue[0].mean() - blue[2].mean()) > 10.0
    with Image.open(names["turning"]) as image:
        assert image.n_frames == film.TURN_FRAMES


def _about_y(angle):
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def test_findings_lie_on_a_table_with_their_shade(can_draw):
    flat = concatenate(
        [shaped(f.shape).moved(np.array([12.0 * k, 0.0, 1.0])) for k, f in enumerate((HOOK, LINK, PIN))]
    )
    (table,) = surfaces(pyvista_off_screen(), (plane(0.0),), flat)
    tone = np.asarray(table.mesh.point_data["tone"]).astype(int).sum(axis=1)
    points = np.asarray(table.mesh.points, dtype=float)
    wires, _, _ = wire_points(flat, 360)
    near = np.array([np.linalg.norm(wires[:, :2] - p[:2], axis=1).min() for p in points[::7]])
    assert tone[::7][near < 0.3].mean() < 0.8 * tone.max()
    assert (near > 40.0).any()
    assert tone[::7][near > 40.0].min() == tone.max()


def test_rings_among_bodies_are_drawn_as_ever(can_draw):
    rings = rings_of(((0.0, 0.0, 0.0), Z, 2.0, 0.5))
    none = replace(rings, axes=np.array([[1.0, 0.0, 0.0]]), shape_of=np.array([-1]))
    assert isinstance(none, Bodies)
    pv = pyvista_off_screen()
    one, two = body_surface(pv, rings, 0.02), body_surface(pv, none, 0.02)
    assert np.asarray(one.points) == pytest.approx(np.asarray(two.points), abs=1e-6)
