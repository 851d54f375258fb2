"""Pictures: the camera in closed form, then the pixels measured. No picture is compared with a stored one."""

import os

import numpy as np
import pytest
from PIL import Image

from chaingen.errors import CannotDraw, CannotWrite
from chaingen.show import camera, drawing
from chaingen.show.camera import FOOT, LONG_SIDE, MARGIN, SHORT_SIDE, four_views, framed
from chaingen.show.drawing import INSTALL, pyvista_off_screen, require_drawing
from chaingen.show.look import plain_look
from chaingen.show.picture import BAR_LENGTHS, INK, draw_pictures, draw_views
from chaingen.show.studio import COLLISION, environment
from chaingen.show.window import open_window
from chaingen.stock.metals import METALS, find_metal
from tests.conftest import random_rings, rings_of
from tests.oracles import circle_points

X, Y, Z = np.eye(3)
NAMES = ["front", "side", "three-quarter", "close-up"]
SILVER = find_metal("sterling silver")


def silver(rings):
    return plain_look(SILVER, len(rings))


def chain(count):
    return rings_of(*(((2.6 * k, 0.0, 0.0), (Z, Y)[k % 2], 2.0, 0.5) for k in range(count)))


PAIR = chain(2)


@pytest.fixture(scope="module")
def can_draw():
    """Pictures need EGL, as the README says: without it these tests fail, telling what to install."""
    require_drawing()


@pytest.fixture
def small(monkeypatch):
    monkeypatch.setattr(camera, "LONG_SIDE", 480)


def pixels(path):
    return np.asarray(Image.open(path).convert("RGB")).astype(int)


def differs(image):
    """Where a picture is not its background, whose colour is that of the left edge all along a row."""
    return np.abs(image - image[:, :1]).max(axis=2) > 8


def box(mask):
    """First and last row, first and last column of a mask."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    return rows[0], rows[-1], columns[0], columns[-1]


def is_collision(image):
    """Vivid magenta: red and blue far above green."""
    red, green, blue = np.moveaxis(image, 2, 0)
    return (red - green > 60) & (blue - green > 30)


# --- the camera -----------------------------------------------------------------------------------


@pytest.mark.parametrize("index", range(4))
def test_the_frame_holds_the_whole_piece(rng, index):
    """Points of every wire, spread densely, land inside the margins and above the foot."""
    rings = random_rings(rng, 12, spread=6.0)
    view = four_views(rings, rings.centres[0])[index]
    right = np.cross(view.up, view.towards)
    assert np.stack([right, view.up, view.towards]) @ np.stack(
        [right, view.up, view.towards]
    ).T == pytest.approx(np.eye(3), abs=1e-12)
    angles = np.linspace(0.0, 2.0 * np.pi, 721)
    shown = rings if view.name != "close-up" else nearest(rings, rings.centres[0], 9)
    spots, reach = [], []
    for c, n, r, w in zip(shown.centres, shown.normals, shown.radii, shown.wire_radii, strict=True):
        spots.append(circle_points(c, n, r, angles) - view.focus)
        reach.append(np.full(len(angles), w))
    spots, reach = np.concatenate(spots), np.concatenate(reach) / view.mm_per_pixel
    across = spots @ right / view.mm_per_pixel + view.width / 2
    down = view.height / 2 - spots @ view.up / view.mm_per_pixel
    left, top = (across - reach).min(), (down - reach).min()
    free_right, bottom = view.width - (across + reach).max(), view.height - FOOT - (down + reach).max()
    wide, high = view.width - left - free_right, view.height - FOOT - top - bottom
    # Centred, with at least the margin on either side, and with no more than it on the tighter two.
    assert left == pytest.approx(free_right, abs=0.1)
    assert top == pytest.approx(bottom, abs=0.1)
    assert left >= MARGIN * wide - 0.1
    assert top >= MARGIN * high - 0.1
    assert min(left / wide, top / high) == pytest.approx(MARGIN, abs=2e-3)
    # The camera stands beyond every wire.
    assert view.depth > ((rings.centres - view.focus) @ view.towards + rings.radii + rings.wire_radii).max()


def nearest(rings, focus, count):
    return rings[np.argsort(np.linalg.norm(rings.centres - focus, axis=1))[:count]]


@pytest.mark.parametrize("count", [1, 2, 5, 60])
def test_sizes_of_views(count):
    for view in four_views(chain(count), np.zeros(3)):
        assert max(view.width, view.height) == LONG_SIDE == 1600
        assert SHORT_SIDE[0] <= min(view.width, view.height) <= SHORT_SIDE[1]
    assert [view.name for view in four_views(chain(count), np.zeros(3))] == NAMES


def test_scale_of_a_view_in_closed_form():
    # Two rings along x in the front view: from -2.5 to 5.1 mm, with 7 % of that to spare on either side.
    view = four_views(PAIR, np.zeros(3))[0]
    assert view.mm_per_pixel == pytest.approx(7.6 * 1.14 / 1600, rel=1e-2)
    assert view.focus[0] == pytest.approx(1.3)
    assert view.towards == pytest.approx(Z)
    assert four_views(PAIR, np.zeros(3))[1].towards == pytest.approx(Y)


def test_a_tall_piece_gets_a_tall_picture():
    tall = rings_of(*(((0.0, 2.6 * k, 0.0), (Z, X)[k % 2], 2.0, 0.5) for k in range(6)))
    view = framed("front", tall, Z, Y)
    assert (view.width, view.height) < (view.height, view.width)
    assert view.height == 1600


def test_moving_and_scaling_the_piece_changes_no_picture(rng):
    rings = random_rings(rng, 6, spread=3.0)
    moved = type(rings)(
        7.0 * rings.centres + [5.0, -3.0, 2.0], rings.normals, 7.0 * rings.radii, 7.0 * rings.wire_radii
    )
    for a, b in zip(
        four_views(rings, rings.centres[0])[:3], four_views(moved, moved.centres[0])[:3], strict=True
    ):
        assert (a.width, a.height) == (b.width, b.height)
        assert b.mm_per_pixel == pytest.approx(7.0 * a.mm_per_pixel)
        assert b.focus == pytest.approx(7.0 * a.focus + [5.0, -3.0, 2.0])


def test_the_close_up_is_about_the_place_asked_for():
    rings = chain(40)
    view = four_views(rings, rings.centres[30])[3]
    right = np.cross(view.up, view.towards)
    assert abs((rings.centres[30] - view.focus) @ right) < 2.6
    assert view.mm_per_pixel < 0.4 * four_views(rings, rings.centres[30])[0].mm_per_pixel


@pytest.mark.parametrize("index", range(4))
def test_what_is_in_the_frame_is_seen(rng, index):
    """Against points spread over each circle: within the frame or a wire radius of it, seen; else not."""
    rings = random_rings(rng, 60, spread=20.0)
    view = four_views(rings, rings.centres[0])[index]
    axes = np.stack([np.cross(view.up, view.towards), view.up])
    half = np.array([0.5 * view.width * view.mm_per_pixel, view.half_height])
    seen = view.sees(rings)
    for k, (c, n, r, w) in enumerate(
        zip(rings.centres, rings.normals, rings.radii, rings.wire_radii, strict=True)
    ):
        spots = (circle_points(c, n, r, np.linspace(0.0, 2.0 * np.pi, 721)) - view.focus) @ axes.T
        if (np.abs(spots) < half + w).all(axis=1).any():
            assert seen[k]
        if (spots.min(axis=0) > half + w).any() or (spots.max(axis=0) < -half - w).any():
            assert not seen[k]
    assert seen.all() == (view.name != "close-up")


# --- the studio -----------------------------------------------------------------------------------


def test_the_environment_is_light():
    image = environment(64)
    assert image.shape == (64, 128, 3)
    assert image.dtype == np.float32
    assert (image > 0.05).all()
    assert image.max() > 1.0
    # Seamless all round: the first column goes on from the last.
    step = np.abs(np.diff(image[:, :, 0], axis=1)).max()
    assert np.abs(image[:, 0, 0] - image[:, -1, 0]).max() <= step


@pytest.mark.parametrize("metal", METALS, ids=lambda metal: metal.name)
def test_no_metal_looks_like_a_collision(metal):
    assert is_collision(255 * np.array([[COLLISION]])).all()
    assert not is_collision(255 * np.array([[metal.colour]])).any()


# --- pictures -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def drawn(can_draw, tmp_path_factory):
    """The four pictures of two linked rings in full size."""
    folder = tmp_path_factory.mktemp("pictures")
    told = []
    paths = draw_pictures(folder, PAIR, look=silver(PAIR), on_progress=told.append)
    assert told == NAMES
    return paths


def test_four_pictures_are_written(drawn):
    assert [path.name for path in drawn] == [f"{name}.png" for name in NAMES]
    assert sorted(entry.name for entry in drawn[0].parent.iterdir()) == sorted(path.name for path in drawn)
    for path, view in zip(drawn, four_views(PAIR, PAIR.centres[0]), strict=True):
        with Image.open(path) as image:
            assert image.format == "PNG"
            assert image.size == (view.width, view.height)
            assert max(image.size) == 1600


def test_the_piece_is_in_frame_and_not_blank(drawn):
    for path in drawn:
        image = pixels(path)
        mask = differs(image)
        # A frame of 30 pixels is background on three sides, and the last 10 rows are.
        assert not mask[:30].any()
        assert not mask[:, :30].any()
        assert not mask[:, -30:].any()
        assert not mask[-10:].any()
        piece = mask[:-FOOT]
        assert 0.1 < piece.mean() < 0.7
        # Metal has highlights and shade, and the paper is light.
        light = image[:-FOOT].mean(axis=2)[piece]
        assert np.percentile(light, 95) > 200
        assert np.percentile(light, 5) < 150
        # The brightest of it still has form: less than white in every channel.
        assert image[:-FOOT][piece].max() < 255
        assert image[0, 0].min() > 225


def carpet(count):
    """Flat rings in a square, far more than a close-up shows."""
    return rings_of(*(((4.6 * i, 4.6 * j, 0.0), Z, 1.8, 0.4) for i in range(count) for j in range(count)))


def test_a_close_up_of_a_sheet_has_plain_paper_under_its_bar(can_draw, tmp_path, small):
    rings = carpet(9)
    views = four_views(rings, rings.centres[40])
    # The whole piece stands above the foot; a close-up of few rings too.
    assert [view.plain_foot for view in views] == [False, False, False, True]
    assert not any(view.plain_foot for view in four_views(PAIR, PAIR.centres[0]))
    draw_views(tmp_path, rings, views[3:], look=silver(rings))
    image = pixels(tmp_path / "close-up.png")
    # Right of the bar and its label there is one colour, above the strip there is metal.
    foot = image[-FOOT + 2 :, image.shape[1] // 2 :]
    assert np.ptp(foot, axis=(0, 1)).max() == 0
    assert foot.min() > 200
    assert image[-2 * FOOT : -FOOT].min() < 150


def bar_of(image):
    """Length of the scale bar in pixels: the long run of ink in the middle row of the bar."""
    ink = np.abs(image - np.round(255 * np.array(INK))).max(axis=2) <= 2
    foot = ink[-FOOT:]
    row = foot[foot.sum(axis=1).argmax()]
    columns = np.flatnonzero(row)
    runs = np.split(columns, np.flatnonzero(np.diff(columns) > 1) + 1)
    longest = max(runs, key=len)
    return longest[-1] - longest[0] - 2  # less the half thickness of both end strokes


def test_the_scale_bar_measures_the_piece(drawn):
    """The piece is 2R + 2r high and 2.6 mm more wide; on that scale the bar must have its length."""
    image = pixels(drawn[0])
    top, bottom, left, right = box(differs(image)[:-FOOT])
    mm_per_pixel = 7.6 / (right - left + 1)
    # The first ring lies in the picture plane: 5 mm high.
    assert (bottom - top + 1) * mm_per_pixel == pytest.approx(5.0, rel=5e-3)
    length = bar_of(image) * mm_per_pixel
    named = min(BAR_LENGTHS, key=lambda known: abs(known - length))
    assert named == 2.0
    assert length == pytest.approx(named, rel=5e-3)


@pytest.mark.parametrize("scale", [0.1, 30.0])
def test_the_scale_bar_follows_the_piece(can_draw, tmp_path, small, scale):
    rings = type(PAIR)(scale * PAIR.centres, PAIR.normals, scale * PAIR.radii, scale * PAIR.wire_radii)
    view = framed("front", rings, Z, Y)
    draw_views(tmp_path, rings, [view], look=silver(rings))
    image = pixels(tmp_path / "front.png")
    _, _, left, right = box(differs(image)[:-FOOT])
    length = bar_of(image) * scale * 7.6 / (right - left + 1)
    named = min(BAR_LENGTHS, key=lambda known: abs(known - length))
    assert length == pytest.approx(named, rel=0.03)


@pytest.fixture(scope="module")
def front_views(can_draw, tmp_path_factory):
    """Small front views of the pair in three metals, in two also with its second ring in a collision."""
    folder = tmp_path_factory.mktemp("metals")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(camera, "LONG_SIDE", 480)
        view = four_views(PAIR, np.zeros(3))[0]
    images = {}
    for name in ("sterling silver", "18k yellow gold", "copper"):
        metal = find_metal(name)
        for collided in ([], [1])[: 1 if name.startswith("18k") else 2]:
            (path,) = draw_views(
                folder,
                PAIR,
                [view],
                look=plain_look(metal, len(PAIR)),
                collided=np.array(collided, dtype=np.int64),
            )
            images[name, len(collided)] = pixels(path)
    return view, images


@pytest.mark.parametrize("metal", ["sterling silver", "copper"])
def test_a_collision_is_seen_and_only_there(front_views, metal):
    view, images = front_views
    assert not is_collision(images[metal, 0]).any()
    marked = box(is_collision(images[metal, 1]))
    # Ring 2 lies across the picture plane: from 0.1 to 5.1 mm along x, 1 mm high.
    edges = (np.array([marked[2], marked[3] + 1]) - view.width / 2) * view.mm_per_pixel + view.focus[0]
    assert edges == pytest.approx([0.1, 5.1], abs=0.12)
    assert (marked[1] - marked[0] + 1) * view.mm_per_pixel == pytest.approx(1.0, abs=0.12)


def test_metals_differ_as_metals_do(front_views):
    warmth = {}
    for (name, collided), image in front_views[1].items():
        if not collided:
            red, green, blue = image[:-FOOT][differs(image)[:-FOOT]].mean(axis=0)
            warmth[name] = (red - green, green - blue)
    # Silver is near grey; gold is yellow (little blue), copper red (less green already).
    assert max(map(abs, warmth["sterling silver"])) < 12
    assert warmth["18k yellow gold"][1] > 30
    assert warmth["copper"][0] > 18
    assert warmth["copper"][0] > warmth["18k yellow gold"][0]


def test_all_rings_in_collision(can_draw, tmp_path, small):
    views = four_views(PAIR, np.zeros(3))[:1]
    draw_views(tmp_path, PAIR, views, look=silver(PAIR), collided=np.array([0, 1]))
    image = pixels(tmp_path / "front.png")
    piece = differs(image)[:-FOOT]
    assert is_collision(image)[:-FOOT][piece].mean() > 0.8


def test_alike_rings_look_alike_all_along_a_chain(can_draw, tmp_path, small):
    """In a parallel view what a ring mirrors must not depend on where it lies in the picture."""
    view = four_views(chain(21), np.zeros(3))[0]
    draw_views(tmp_path, chain(21), [view], look=silver(chain(21)))
    image = pixels(tmp_path / "front.png")[:-FOOT]
    mask = differs(image)
    light = []
    for k in (0, 2, 10, 18, 20):  # rings that lie in the picture plane
        middle = (2.6 * k - view.focus[0]) / view.mm_per_pixel + view.width / 2
        # The upper and lower part of the ring only, which no other covers.
        columns = slice(round(middle - 2), round(middle + 3))
        light.append(image[:, columns][mask[:, columns]].mean())
    assert max(light) - min(light) < 25


def test_same_bytes_twice(can_draw, tmp_path, small):
    rings = chain(5)
    for folder in ("a", "b"):
        draw_pictures(
            tmp_path / folder, rings, look=silver(rings), focus=rings.centres[3], collided=np.array([3, 4])
        )
    for name in NAMES:
        assert (tmp_path / "a" / f"{name}.png").read_bytes() == (tmp_path / "b" / f"{name}.png").read_bytes()


def test_a_full_disk_leaves_the_old_picture(can_draw, tmp_path, small, monkeypatch):
    def full(_):
        raise OSError(28, "No space left on device")

    (tmp_path / "front.png").write_bytes(b"old")
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CannotWrite, match=r"front\.png.*No space left"):
        draw_pictures(tmp_path, PAIR, look=silver(PAIR))
    assert [entry.name for entry in tmp_path.iterdir()] == ["front.png"]
    assert (tmp_path / "front.png").read_bytes() == b"old"


# --- where nothing can be drawn -------------------------------------------------------------------


class Library:
    """A stand-in for libEGL whose function finder answers as told."""

    def __init__(self, address):
        def finder(_):
            return address

        self.eglGetProcAddress = finder
        self.eglInitialize = lambda *_: 0


@pytest.fixture
def on_linux(monkeypatch):
    monkeypatch.setattr(drawing.sys, "platform", "linux")
    require_drawing.cache_clear()
    yield
    require_drawing.cache_clear()


@pytest.mark.parametrize(
    "load",
    [
        lambda *_: None,  # neither library
        lambda *names: object() if "EGL" in names[0] else None,  # EGL without OpenGL
        lambda *names: None if "OSMesa" in names[0] else object(),  # libraries without their functions
        lambda *names: None if "OSMesa" in names[0] else Library(0),  # no display of any platform
    ],
    ids=["nothing", "no OpenGL", "no functions", "no display"],
)
def test_what_to_install_is_said(on_linux, monkeypatch, tmp_path, load):
    monkeypatch.setattr(drawing, "_load", load)
    with pytest.raises(CannotDraw) as refusal:
        draw_pictures(tmp_path / "pictures", PAIR, look=silver(PAIR))
    assert "apt install libegl1 libgl1 libgl1-mesa-dri" in str(refusal.value)
    assert str(refusal.value) == INSTALL
    assert not (tmp_path / "pictures").exists()


def test_osmesa_is_enough(on_linux, monkeypatch):
    monkeypatch.setattr(drawing, "_load", lambda *names: object() if "OSMesa" in names[0] else None)
    monkeypatch.delenv("VTK_DEFAULT_OPENGL_WINDOW", raising=False)
    # Set first and taken back by the fixture, so that what the program sets does not outlive this test.
    monkeypatch.setenv("VTK_DEFAULT_OPENGL_WINDOW", "")
    os.environ.pop("VTK_DEFAULT_OPENGL_WINDOW")
    assert pyvista_off_screen().__name__ == "pyvista"
    assert os.environ["VTK_DEFAULT_OPENGL_WINDOW"] == "vtkOSOpenGLRenderWindow"


@pytest.mark.parametrize("platform", ["darwin", "win32"])
def test_other_systems_bring_their_own(monkeypatch, platform):
    monkeypatch.setattr(drawing.sys, "platform", platform)
    monkeypatch.setattr(drawing, "_load", lambda *_: None)
    require_drawing.cache_clear()
    require_drawing()
    require_drawing.cache_clear()


# --- the window -----------------------------------------------------------------------------------


def test_no_window_without_a_screen(monkeypatch):
    monkeypatch.setattr("chaingen.show.screen.sys.platform", "linux")
    for variable in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(variable, raising=False)
    with pytest.raises(CannotDraw, match="a window needs a screen"):
        open_window(PAIR, look=silver(PAIR))


def test_the_window_shows_the_piece(can_draw, monkeypatch):
    pv = pyvista_off_screen()
    shots = []

    def show(plotter):
        shots.append(np.asarray(plotter.screenshot(return_img=True)).astype(int))
        plotter.close()

    monkeypatch.setenv("DISPLAY", ":77")
    monkeypatch.setattr(pv, "OFF_SCREEN", True)
    monkeypatch.setattr(pv.Plotter, "show", show)
    open_window(PAIR, look=silver(PAIR), collided=np.array([1]), title="Harbour chain")
    (image,) = shots
    assert image.shape[:2] == (900, 1280)
    mask = differs(image)
    # All of the piece, with its collision; the words on the keys stand below and apart.
    assert 0.05 < mask.mean() < 0.6
    assert not mask[:5].any()
    assert not mask[:, -5:].any()
    assert 0.02 < is_collision(image).mean() < 0.3
