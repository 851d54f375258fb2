"""Pictures of what a service is sent: the camera in closed form, then the pixels measured."""

import dataclasses

import numpy as np
import pytest
from PIL import Image

from chaingen.errors import CannotWrite
from chaingen.model.mesh import torus_mesh
from chaingen.show import camera, service_pictures
from chaingen.show.camera import FOOT, MARGIN
from chaingen.show.drawing import require_drawing
from chaingen.show.service_pictures import MOST, batch_view, coarser, draw_batches, model_surface
from tests.sample_batches import PITCH, RADIUS, WIRE_RADIUS, flat_batch, plate, tree_batch

OUTSIDE = RADIUS + WIRE_RADIUS


@pytest.fixture(scope="module")
def can_draw():
    """Pictures need EGL, as the README says: without it these tests fail, telling what to install."""
    require_drawing()


@pytest.fixture
def small(monkeypatch):
    monkeypatch.setattr(camera, "LONG_SIDE", 480)


def turned(model, rng):
    """The same model with every body turned by itself about its own centre."""
    turns = np.linalg.qr(rng.normal(size=(len(model.names), 3, 3)))[0]
    turns *= np.sign(np.linalg.det(turns))[:, None, None]
    return dataclasses.replace(model, rotations=turns)


def all_points(model):
    """Every vertex, one after another."""
    return np.array(
        [
            np.multiply(model.stretch, model.rotations[body] @ vertex + model.centres[body])
            for kind in model.kinds
            for body in kind.bodies
            for vertex in kind.mesh.vertices
        ]
    )


def on_paper(points, view):
    """Where points are in a picture [pixels from its lower left corner], shape (n, 2)."""
    right = np.cross(view.up, view.towards)
    flat = (points - view.focus) @ np.column_stack([right, view.up])
    return flat / view.mm_per_pixel + 0.5 * np.array([view.width, view.height])


# --- the camera -----------------------------------------------------------------------------------


@pytest.mark.parametrize("stretch", [(1.0, 1.0, 1.0), (1.02, 1.03, 1.3)])
def test_the_frame_holds_every_vertex_and_is_filled(rng, stretch):
    model = turned(plate(4, 3, stretch=stretch, tolerance=0.3), rng)
    view = batch_view(flat_batch(model=model))
    points = on_paper(all_points(model), view)
    free = points.min(axis=0) - [0.0, FOOT], [view.width, view.height] - points.max(axis=0)
    assert np.min(free) > 0.0
    extent = np.ptp(points, axis=0)
    # Along the side that fills the frame the border is the margin's share of the piece, on both sides.
    side = int(np.argmin([np.sum(free, axis=0) / extent]))
    assert [end[side] for end in free] == pytest.approx([MARGIN * extent[side]] * 2, rel=0.02, abs=1.0)


def test_what_lies_is_seen_from_above_and_what_stands_from_the_front():
    lies, stands = batch_view(flat_batch()), batch_view(tree_batch())
    elevation = [np.degrees(np.arcsin(view.towards[2])) for view in (lies, stands)]
    assert elevation[0] > 40.0
    assert 10.0 < elevation[1] < 30.0
    assert stands.height > stands.width
    for view in (lies, stands):
        # z is up in the picture, x to the right.
        assert view.up[2] > 0.0
        assert np.cross(view.up, view.towards)[0] > 0.7


def test_all_bodies_are_on_the_surface_where_they_belong(rng):
    model = turned(plate(2, 2, stretch=(1.0, 1.1, 1.2), tolerance=0.3), rng)
    vertices, faces = model_surface(model)
    assert np.abs(vertices - all_points(model)).max() < 1e-4
    assert len(faces) == 4 * len(model.kinds[0].mesh.faces)
    assert faces.max() == len(vertices) - 1


# --- many triangles -------------------------------------------------------------------------------


def test_few_triangles_stay_as_they_are():
    model = plate(3, 2)
    assert coarser(model, 0.1) is model


def test_too_many_triangles_get_fewer_and_stay_near_the_surface(monkeypatch):
    model = plate(2, 1, tolerance=0.002)
    monkeypatch.setattr(service_pictures, "MOST_TRIANGLES", 1000)
    before, after = model.kinds[0].mesh, coarser(model, 0.05).kinds[0].mesh
    assert len(after.faces) < 0.2 * len(before.faces)
    middles = after.vertices[after.faces].mean(axis=1)
    from_axis = np.hypot(middles[:, 0], middles[:, 1]) - RADIUS
    # The torus itself: no facet is farther from it than was allowed, with the mesh's own 0.002 mm.
    off = np.abs(np.hypot(from_axis, middles[:, 2]) - WIRE_RADIUS)
    assert off.max() < 0.052
    # As smooth as what a mesh of that tolerance has at least.
    assert len(after.faces) > 0.2 * len(torus_mesh(RADIUS, WIRE_RADIUS, 0.05).faces)


# --- pixels ---------------------------------------------------------------------------------------


def pixels(path):
    return np.asarray(Image.open(path).convert("RGB")).astype(int)


def differs(image):
    """Where a picture is not its background, whose colour is that of the left edge all along a row."""
    return np.abs(image - image[:, :1]).max(axis=2) > 8


def test_pictures_are_named_after_batches_and_show_them_whole(tmp_path, can_draw, small):
    batches = [flat_batch(), tree_batch()]
    told = []
    paths = draw_batches(tmp_path, batches, on_progress=told.append)
    assert [path.name for path in paths] == ["rings-1.png", "tree-1.png"]
    assert told == ["rings-1", "tree-1"]
    for path, batch in zip(paths, batches, strict=True):
        view, image = batch_view(batch), pixels(path)
        assert image.shape == (view.height, view.width, 3)
        shown = differs(image)[: view.height - FOOT]
        rows, columns = np.flatnonzero(shown.any(axis=1)), np.flatnonzero(shown.any(axis=0))
        points = on_paper(all_points(batch.model), view)
        box = [columns[0], columns[-1] + 1, view.height - rows[-1] - 1, view.height - rows[0]]
        low, high = points.min(axis=0), points.max(axis=0)
        assert box == pytest.approx([low[0], high[0], low[1], high[1]], abs=2.0)
        # The scale bar stands in the foot.
        assert differs(image)[view.height - FOOT :].any()


def test_rings_are_seen_through(tmp_path, can_draw, small):
    """In the middle of each ring on the plate is paper, on its wire there is something."""
    batch = flat_batch()
    (path,) = draw_batches(tmp_path, [batch])
    view, shown = batch_view(batch), differs(pixels(path))
    centres = [[OUTSIDE + PITCH * a, OUTSIDE + PITCH * b, WIRE_RADIUS] for a in range(3) for b in range(2)]
    for middle, seen in ((np.zeros(3), False), (np.array([RADIUS, 0.0, 0.0]), True)):
        spots = on_paper(np.array(centres) + middle, view)
        columns, rows = np.round(spots - 0.5).astype(int).T
        assert (shown[view.height - 1 - rows, columns] == seen).all()


def test_wax_is_coloured_and_a_print_is_grey(tmp_path, can_draw, small):
    paths = draw_batches(tmp_path, [flat_batch("wax"), flat_batch("print", metal=None, rings=())])
    spread = []
    for path in paths:
        image = pixels(path)
        shown = differs(image)
        shown[-FOOT:] = False
        spread.append(np.median(np.ptp(image[shown], axis=1)))
        # Lit and shaded: form, neither black nor burnt out.
        light = image[shown].mean(axis=1)
        assert 60.0 < np.median(light) < 235.0
        assert np.percentile(light, 90) - np.percentile(light, 10) > 25.0
    assert spread[0] > 40.0 > 20.0 > spread[1]


def test_only_the_first_few_are_drawn(tmp_path, can_draw, small):
    model = plate(1, 1, tolerance=0.3)
    batches = [flat_batch(f"rings-{k}", model=model) for k in range(1, MOST + 3)]
    paths = draw_batches(tmp_path, batches)
    assert [path.stem for path in paths] == [f"rings-{k}" for k in range(1, MOST + 1)]
    assert set(tmp_path.iterdir()) == set(paths)


def test_nothing_to_draw(tmp_path, can_draw):
    assert draw_batches(tmp_path, []) == []


def test_a_place_that_cannot_be_written(tmp_path, can_draw, small):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(CannotWrite):
        draw_batches(tmp_path / "file", [flat_batch()])
