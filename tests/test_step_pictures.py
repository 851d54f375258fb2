"""Pictures of steps: where the camera stands, what is highlighted, names, colours that eyes tell apart."""

import numpy as np
import pytest
from PIL import Image

from chaingen.design.load import parse_design
from chaingen.design.starter import starter_design
from chaingen.errors import CannotDraw
from chaingen.make.order.order import order_of
from chaingen.make.order.steps import Opened, Order, Step
from chaingen.pipeline import build
from chaingen.show import step_pictures
from chaingen.show.drawing import require_drawing
from chaingen.show.look import plain_look
from chaingen.show.step_names import write_names
from chaingen.show.step_pictures import ADDED, CLOSED, MOST_PICTURES, draw_steps, paler
from chaingen.show.step_views import ACROSS, HEIGHT, PRINTED_WIDTH, STANDARD, WIDTH, step_view
from chaingen.stock.metals import METALS
from tests.conftest import rings_of

X, Y, Z = np.eye(3)

DESIGN = """
title = "Skerry links"
metal = "copper"
[rings.link]
inside = "5 mm"
wire = "18 AWG"
[pattern]
repeat = 4
groups = [{ side_by_side = 2 }, { side_by_side = 1 }]
"""


@pytest.fixture(scope="module")
def can_draw():
    """Pictures need EGL, as the README says: without it these tests fail, telling what to install."""
    require_drawing()


@pytest.fixture(scope="module")
def result():
    return build(parse_design(DESIGN))


@pytest.fixture(scope="module")
def order(result):
    return order_of(result.placement.graph, result.metals, result.placement.rings)


@pytest.fixture(scope="module")
def drawn(can_draw, result, order, tmp_path_factory):
    folder = tmp_path_factory.mktemp("steps")
    return draw_steps(folder, result, order)


def pixels(path):
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB")).astype(int)


def is_closed(image):
    """Blue far above red and green."""
    red, green, blue = np.moveaxis(image, 2, 0)
    return (blue - red > 60) & (blue - green > 40)


def is_added(image):
    """Vivid orange, as no pale copper is."""
    red, green, blue = np.moveaxis(image, 2, 0)
    return (red > 150) & (red - blue > 110) & (red - green > 40)


# --- the pictures ---------------------------------------------------------------------------------


def test_one_picture_for_each_distinct_step(drawn, order):
    assert len(drawn) == len(order.distinct)
    assert [path.name for path in drawn] == [f"step-{k + 1}.png" for k in range(len(drawn))]
    for path in drawn:
        with Image.open(path) as image:
            assert image.size == (WIDTH, HEIGHT)
    assert WIDTH / (PRINTED_WIDTH / 25.4) > 300.0


def test_what_is_new_is_highlighted(drawn, order):
    added_somewhere = False
    for path, place in zip(drawn, order.distinct, strict=True):
        image, step = pixels(path), order.steps[place]
        # A wire of a ring that fills a fifth of the width is some 10,000 pixels; half of it may be hidden.
        assert is_closed(image).sum() > 3000
        assert (is_added(image).sum() > 3000) == bool(step.added)
        added_somewhere |= bool(step.added)
    assert added_somewhere


def test_the_piece_made_so_far_is_there_and_no_more(drawn, result, order):
    """The last step has rings beside those of the step itself; the first step shows nothing else."""

    def rest(image):
        differs = np.abs(image - image[:, :1]).max(axis=2) > 25
        letters = image.max(axis=2) < 70
        return (differs & ~is_closed(image) & ~is_added(image) & ~letters).sum()

    first, last = order.steps[order.distinct[0]], order.steps[order.distinct[-1]]
    assert not first.through
    assert last.through
    assert rest(pixels(drawn[-1])) > 2.0 * rest(pixels(drawn[0]))


def test_only_so_many_are_drawn(can_draw, result, order, tmp_path):
    many = Order(order.opened, order.steps, order.instructions, tuple(range(len(order.steps))))
    found = draw_steps(tmp_path, result, many, most=2)
    assert len(found) == len(order.steps)
    assert [path is None for path in found] == [False, False] + [True] * (len(order.steps) - 2)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["step-1.png", "step-2.png"]
    assert MOST_PICTURES == 60


def test_no_steps_no_pictures(result, tmp_path):
    none = Order(Opened((), (), (), (), 0, 0, True), (), (), ())
    assert draw_steps(tmp_path, result, none) == ()
    assert not list(tmp_path.iterdir())


def test_where_nothing_can_be_drawn_it_is_said(result, order, tmp_path, monkeypatch):
    def cannot():
        raise CannotDraw("pictures need something")

    monkeypatch.setattr(step_pictures, "pyvista_off_screen", cannot)
    with pytest.raises(CannotDraw, match="pictures need something"):
        draw_steps(tmp_path, result, order)
    assert not list(tmp_path.iterdir())


def test_findings_and_loose_rings_are_drawn(can_draw, tmp_path):
    text = DESIGN + '[findings.hook]\nkind = "ear wire"\n[ends.start]\nfinding = "hook"\n'
    result = build(parse_design(text))
    links = result.placement.graph.links.tolist()
    ring = next(b if a == 0 else a for a, b in links if 0 in (a, b))
    step = Step(ring, 0, (0,), (), True, (), laid=(5,))
    alone = Order(Opened((ring,), (), (), (), 1, 1, True), (step,), (), (0,))
    (path,) = draw_steps(tmp_path, result, alone)
    image = pixels(path)
    assert is_closed(image).sum() > 1000
    assert is_added(image).sum() > 1500


# --- where the camera stands ----------------------------------------------------------------------


def views(result, order):
    bodies = result.placement.rings
    for number, step in enumerate(order.steps):
        made = np.array(
            sorted({b for s in order.steps[: number + 1] for b in (s.body, *s.added, *s.through)}),
            dtype=np.int64,
        )
        yield step, step_view("step", bodies, made, step), bodies


@pytest.mark.parametrize("name", ["one-in-one", "two-in-two", "rosette-pairs"])
def test_the_new_hole_is_seen_and_the_step_fills_the_frame(name):
    result = build(parse_design(starter_design(name, repeat=4)))
    order = order_of(result.placement.graph, result.metals, result.placement.rings)
    for step, view, bodies in views(result, order):
        right = np.cross(view.up, view.towards)
        axes = np.stack([right, view.up, view.towards])
        assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
        # The hole of the closed ring shows at least 55 % of its width.
        assert abs(view.towards @ bodies.normals[step.body]) > 0.55
        outer = 2.0 * (bodies.radii + bodies.wire_radii)[step.body]
        wide = view.width * view.mm_per_pixel
        assert 4.9 <= wide / outer <= 8.0
        assert ACROSS == 5.0
        own = bodies[np.array([step.body, *step.added, *step.through])]
        assert view.sees(own).all()
        # All of each body of the step is within the frame, not only a part.
        for axis, half in ((right, 0.5 * wide), (view.up, view.half_height)):
            reach = own.reach(axis)
            middle = (own.centres - view.focus) @ axis
            assert (middle + reach).max() < half
            assert (middle - reach).min() > -half


def test_a_ring_is_not_looked_at_through_others():
    """A ring behind a disc of rings, seen from where pictures are usually taken, is looked at past them."""
    disc = [(6.0 * STANDARD, STANDARD, 0.5 + k, 0.55) for k in range(4)]
    bodies = rings_of(((0.0, 0.0, 0.0), STANDARD, 2.0, 0.5), *disc)
    alone = step_view("step", bodies, np.array([0]), Step(0, 0, (), (), True, ()))
    behind = step_view("step", bodies, np.arange(len(bodies)), Step(0, 0, (), (), True, ()))
    assert alone.towards == pytest.approx(STANDARD)
    # The rim of the disc is 4 mm from the line of sight at 6 mm: a ring of 2 mm is clear of it, for the most
    # part, from an angle of asin(4 / 6) on.
    assert np.degrees(np.arccos(behind.towards @ STANDARD)) > 25.0
    assert abs(behind.towards @ STANDARD) > 0.55


def test_an_ear_wire_alone_is_framed_whole():
    result = build(
        parse_design(DESIGN + '[findings.hook]\nkind = "ear wire"\n[ends.start]\nfinding = "hook"\n')
    )
    bodies = result.placement.rings
    view = step_view("step", bodies, np.array([0]), Step(0, 0, (), (), True, ()))
    low, high = bodies[:1].bounds()
    assert view.width * view.mm_per_pixel > (high - low).max()
    assert view.width * view.mm_per_pixel < 4.0 * (high - low).max()


# --- names ----------------------------------------------------------------------------------------


def test_names_lie_in_the_frame_and_apart(monkeypatch):
    bodies = rings_of(*(((2.6 * k, 0.0, 0.0), (Z, Y)[k % 2], 2.0, 0.5) for k in range(6)))
    made = np.arange(6)
    view = step_view("step", bodies, made, Step(5, 0, (4,), (1, 2, 3), True, ()))
    plates = []
    from PIL import ImageDraw

    draw_plate = ImageDraw.ImageDraw.rounded_rectangle

    def noted(self, box, **more):
        plates.append(box)
        draw_plate(self, box, **more)

    monkeypatch.setattr(ImageDraw.ImageDraw, "rounded_rectangle", noted)
    image = Image.new("RGB", (WIDTH, HEIGHT), "white")
    write_names(image, view, bodies, [(k, f"{k}abc", None) for k in (5, 4, 1, 2, 3)], made)
    assert len(plates) == 5
    for k, (x0, y0, x1, y1) in enumerate(plates):
        assert 0 < x0 < x1 < WIDTH
        assert 0 < y0 < y1 < HEIGHT
        for a0, b0, a1, b1 in plates[:k]:
            assert x1 < a0 or a1 < x0 or y1 < b0 or b1 < y0
    assert (np.asarray(image) < 60).any()


# --- colours --------------------------------------------------------------------------------------


def linear(colour):
    colour = np.asarray(colour, dtype=float)
    return np.where(colour <= 0.04045, colour / 12.92, ((colour + 0.055) / 1.055) ** 2.4)


# sRGB to XYZ and CIELAB with the white of D65: IEC 61966-2-1 and CIE 15.
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def lab(light):
    x, y, z = TO_XYZ @ light / (TO_XYZ @ np.ones(3))
    f = [t ** (1 / 3) if t > (6 / 29) ** 3 else t / (3 * (6 / 29) ** 2) + 4 / 29 for t in (x, y, z)]
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


# Machado, Oliveira, Fernandes 2009, "A Physiologically-based Model for Simulation of Color Vision
# Deficiency", severity 1.0 (values from memory; each row has to sum to 1, so that white stays white).
EYES = {
    "all cones": np.eye(3),
    "no red cones": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no green cones": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "no blue cones": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}


@pytest.mark.parametrize("eye", EYES)
def test_every_eye_tells_the_two_highlights_apart(eye):
    matrix = EYES[eye]
    assert matrix.sum(axis=1) == pytest.approx(1.0, abs=2e-3)
    closed, added = (lab(np.clip(matrix @ linear(colour), 0.0, 1.0)) for colour in (CLOSED, ADDED))
    # In lightness alone by far more than a just noticeable difference of about 2.3 (Mahy, Van Eycken and
    # Oosterlinck 1994, from memory): that holds in print without colour too.
    assert added[0] - closed[0] > 25.0
    for metal in METALS:
        (pale,) = paler(plain_look(metal, 1)).colours
        seen = lab(np.clip(matrix @ linear(pale), 0.0, 1.0))
        assert np.linalg.norm(seen - closed) > 30.0, metal.name
        assert np.linalg.norm(seen - added) > 20.0, metal.name


def test_the_rest_is_paler_and_keeps_its_metal():
    look = plain_look(METALS[0], 3)
    pale = paler(look)
    assert len(pale) == 3
    assert pale.roughness == look.roughness
    gold = next(metal for metal in METALS if metal.name == "18k yellow gold")
    (mixed,) = paler(plain_look(gold, 1)).colours
    assert mixed[0] > mixed[1] > mixed[2]
    assert all(new > old for new, old in zip(mixed, gold.colour, strict=True))
