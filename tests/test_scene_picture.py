"""Pictures and films of a piece in a scene: cameras and surfaces in closed form, then the pixels measured.

Poses are made by hand: they stand where a piece at rest would, near enough for a picture.
"""

import numpy as np
import pytest
from PIL import Image, ImageSequence

from chaingen.errors import CannotDraw, CannotWrite
from chaingen.geometry.bodies import Bodies, concatenate
from chaingen.geometry.solids import SolidKind, bar, distances, form, ledge, oval, plane
from chaingen.show import camera, drawing, film, shade
from chaingen.show.camera import FOOT
from chaingen.show.drawing import pyvista_off_screen, require_drawing
from chaingen.show.film import settling_view, turning_views
from chaingen.show.look import plain_look
from chaingen.show.scene import STILLS, draw_scene, still_views
from chaingen.show.supports import TONES, held_by, surfaces
from chaingen.solve.drape.worn import neck_form
from chaingen.stock.metals import find_metal
from tests.conftest import random_rings
from tests.oracles import circle_points

X, Y, Z = np.eye(3)
GOLD = find_metal("18k yellow gold")
RADIUS, WIRE, PITCH = 2.5, 0.5, 4.0


def along(points, one, other):
    """Rings at these places whose planes take turns."""
    normals = np.where(np.arange(len(points))[:, None] % 2 == 0, one, other)
    return Bodies(points, normals, np.full(len(points), RADIUS), np.full(len(points), WIRE))


def loop(points):
    """Rings round a closed curve, every other one flat on its inside."""
    ahead = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    out = points - points.mean(axis=0)
    out -= np.einsum("ka,ka->k", out, ahead)[:, None] * ahead / (ahead**2).sum(axis=1)[:, None]
    out /= np.linalg.norm(out, axis=1)[:, None]
    side = np.cross(ahead, out)
    return along(points, out, side / np.linalg.norm(side, axis=1)[:, None])


def hanging(count=6):
    return along(np.outer(-PITCH * np.arange(count), Z), Y, X)


def swagging(count=17):
    x = PITCH * (np.arange(count) - count // 2)
    return along(np.column_stack([x, 0.0 * x, 0.012 * x**2]), Y, Z)


def lying(count=9):
    x = PITCH * np.arange(count)
    return along(np.column_stack([x, 0.0 * x, np.where(np.arange(count) % 2, 3.0 * WIRE, WIRE)]), Z, Z)


def pegs(*rings):
    """Pegs along y that rings hang on by their inside."""
    return tuple(bar(r + (RADIUS - WIRE - 0.4) * Z, Y, 0.4) for r in rings)


def hanging_sheet(columns=7, rows=4):
    """Rings in a grid that hangs upright, its first and last ring on top a little above the others."""
    x, z = (v.ravel().astype(float) for v in np.meshgrid(np.arange(columns), -np.arange(rows), indexing="ij"))
    corner = (z == 0.0) & ((x == 0.0) | (x == columns - 1))
    points = np.column_stack([PITCH * x, 0.0 * x, PITCH * z + 0.5 * corner])
    return along(points, Y, (Y + 0.6 * Z) / np.hypot(1.0, 0.6))


def overhanging(columns=12, rows=4, edge=4.0):
    """Rings in a grid on a table and over its rounded edge."""
    bend = edge + 2.0 * WIRE
    s = PITCH * (np.arange(columns) - columns // 2)
    angle = np.clip(s / bend, 0.0, 0.5 * np.pi)
    x = -edge + bend * np.sin(angle) + np.minimum(s, 0.0)
    z = -edge + bend * np.cos(angle) - np.maximum(s - 0.5 * np.pi * bend, 0.0)
    up = np.column_stack([np.sin(angle), 0.0 * s, np.cos(angle)])
    points = np.repeat(np.column_stack([x, 0.0 * s, z]), rows, axis=0)
    points[:, 1] = PITCH * np.tile(np.arange(rows), columns)
    count = len(points)
    return Bodies(points, np.repeat(up, rows, axis=0), np.full(count, RADIUS), np.full(count, WIRE))


def circle(radius, count):
    angle = 2.0 * np.pi * np.arange(count) / count
    return radius * np.column_stack([np.sin(angle), 0.0 * angle, np.cos(angle)])


ARM = oval(60.0, 1.3)
NECK = neck_form(110.0)
"""A neck of a doll's size: fewer rings to draw."""


def gold(rings):
    return plain_look(GOLD, len(rings))


def scene(kind):
    if kind == "hang":
        rings = hanging()
        return rings, pegs(rings.centres[0])
    if kind == "swag":
        rings = swagging()
        return rings, pegs(rings.centres[0], rings.centres[-1])
    if kind == "table":
        return lying(), (plane(0.0),)
    if kind == "wrist":
        return loop(circle(15.0, 22) - 2.0 * Z), (ARM,)
    if kind == "corners":
        rings = hanging_sheet()
        held = np.flatnonzero(rings.centres[:, 2] > 0.25)
        return rings, pegs(*rings.centres[held])
    if kind == "edge":
        rings = overhanging()
        pins = tuple(bar(at, Z, 0.4) for at in rings.centres[[0, 3]])
        return rings, (ledge(4.0), *pins)
    points = circle(30.0, 46)[:, [0, 2, 1]] @ np.array([X, [0.0, 0.95, 0.3], Z]) - 18.0 * Z
    return loop(points), (NECK,)


KINDS = ("hang", "swag", "table", "wrist", "neck", "corners", "edge")


@pytest.fixture(scope="module")
def can_draw():
    """Pictures need EGL, as the README says: without it these tests fail, telling what to install."""
    require_drawing()


@pytest.fixture(scope="module", autouse=True)
def small():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(camera, "LONG_SIDE", 480)
        patch.setattr(camera, "SHORT_SIDE", (200, 480))
        patch.setattr(film, "LONG_SIDE", 200)
        patch.setattr(film, "SHORT_SIDE", 100)
        yield


def settling(count=90):
    """A hanging chain on its way: pulled out from half its length."""
    parts = np.linspace(0.6, 1.0, count)
    rings = hanging()
    return [
        Bodies(rings.centres * [1.0, 1.0, part], rings.normals, rings.radii, rings.wire_radii)
        for part in parts
    ]


@pytest.fixture(scope="module")
def drawn(can_draw, tmp_path_factory):
    """The files of every kind of scene; the hanging one also settles."""
    files = {}
    for kind in KINDS:
        folder = tmp_path_factory.mktemp(kind)
        told = []
        frames = settling() if kind == "hang" else ()
        rings, solids = scene(kind)
        paths = draw_scene(
            folder, rings, solids, kind, look=gold(rings), frames=frames, on_progress=told.append
        )
        assert [path.stem for path in paths] == told
        assert sorted(folder.iterdir()) == sorted(paths)
        files[kind] = {path.stem: path for path in paths}
    return files


def pixels(path):
    return np.asarray(Image.open(path).convert("RGB")).astype(int)


def frames_of(path):
    with Image.open(path) as image:
        return [np.asarray(f.convert("RGB")).astype(int) for f in ImageSequence.Iterator(image)]


def is_gold(image):
    """Yellow: far more red than blue. No support and no paper is."""
    return image[..., 0] - image[..., 2] > 40


def is_slate(image):
    """The dark cool grey of pegs, forearm and bust."""
    red, _, blue = np.moveaxis(image, -1, 0)
    return (image.max(axis=-1) < 135) & (blue - red >= 0) & (blue - red < 40)


def is_stone(image):
    """The light warm grey of a table."""
    red, _, blue = np.moveaxis(image, -1, 0)
    return (red > 120) & (red < 225) & (red - blue > 2) & (red - blue < 30)


# --- cameras --------------------------------------------------------------------------------------


def spots(rings, view):
    """Where all wires lie in a view's frame, in half widths and half heights of it; dense samples."""
    angles = np.linspace(0.0, 2.0 * np.pi, 181)
    right = np.cross(view.up, view.towards)
    half = np.array([0.5 * view.width * view.mm_per_pixel, view.half_height])
    found = []
    for c, n, r, w in zip(rings.centres, rings.normals, rings.radii, rings.wire_radii, strict=True):
        at = (circle_points(c, n, r, angles) - view.focus) @ np.stack([right, view.up]).T
        found += [(at + w) / half, (at - w) / half]
    return np.concatenate(found)


@pytest.mark.parametrize("kind", KINDS)
def test_stills_hold_the_whole_piece(kind):
    rings, _ = scene(kind)
    views = still_views(rings, kind)
    assert [view.name for view in views] == list(STILLS[kind])
    for view in views:
        if view.name != "close-up":
            at = spots(rings, view)
            foot = 2.0 * FOOT / view.height - 1.0
            assert np.abs(at[:, 0]).max() < 1.0
            assert at[:, 1].max() < 1.0
            assert at[:, 1].min() > foot
            # It fills the frame one way or the other.
            assert max(np.ptp(at[:, 0]) / 2.0, np.ptp(at[:, 1]) / (1.0 - foot)) > 0.85
        # Upright, but for the view from above.
        assert view.up @ Z > 0.5 or view.name == "above"
        assert view.towards @ Y <= 1e-12


@pytest.mark.parametrize("elevation", [0.0, 0.2, 0.6])
@pytest.mark.parametrize("tallness", [0.0, 0.9])
def test_a_turn_goes_round_a_vertical_axis_to_one_scale(rng, elevation, tallness):
    rings = random_rings(rng, 12, spread=6.0)
    low, high = rings.bounds()
    middle = 0.5 * (low + high)
    views = turning_views(rings, elevation, tallness=tallness)
    assert len({(v.width, v.height, v.half_height) for v in views}) == 1
    assert views[0].height >= round(tallness * views[0].width) - film.FINER
    reach = []
    for k, view in enumerate(views):
        turn = 2.0 * np.pi * k / len(views)
        flat = np.array([np.sin(turn), -np.cos(turn), 0.0])
        assert view.towards == pytest.approx(np.cos(elevation) * flat + np.sin(elevation) * Z)
        # The axis stands in the middle of every frame.
        assert (middle - view.focus) @ np.cross(view.up, view.towards) == pytest.approx(0.0, abs=1e-9)
        reach.append(np.abs(spots(rings, view)).max(axis=0))
        assert view.depth > np.abs((rings.centres - view.focus) @ view.towards).max() + 3.0
    most = np.max(reach, axis=0)
    assert (most < 1.0).all()
    assert most.max() > 0.85


def test_the_settling_view_holds_all_frames():
    frames = settling(7)
    view = settling_view(frames, -Y)
    for rings in frames:
        assert np.abs(spots(rings, view)).max() < 1.0
    assert np.abs(spots(concatenate(frames), view)).max() > 0.85


# --- what holds the piece -------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_surfaces_lie_on_their_solids(can_draw, kind):
    """Against the solids' own distances: never outside, on the solid where the piece touches it."""
    rings, solids = scene(kind)
    low, high = rings.bounds()
    found = surfaces(pyvista_off_screen(), solids, rings)
    assert len(found) == len(solids)
    for solid, surface in zip(solids, found, strict=True):
        points = np.asarray(surface.mesh.points, dtype=float)
        normals = np.asarray(surface.mesh.point_data.active_normals, dtype=float)
        away = distances(solid, points)
        assert away[:, 0].max() < 0.05
        if kind == "wrist":
            about = (points[:, 1] > low[1]) & (points[:, 1] < high[1])
        elif kind == "neck":
            about = (points > low).all(axis=1) & (points < high).all(axis=1)
        elif kind == "table":
            about = np.ones(len(points), dtype=bool)
        elif solid.kind is SolidKind.LEDGE:
            # The board's top, its edge and the upper part of its front.
            about = (points[:, 0] > low[0]) & (points[:, 2] > -8.0) & (np.abs(points[:, 1]) < RADIUS)
            about &= away[:, 0] > -0.05
        elif kind == "edge":
            about = (points[:, 2] > 0.0) & (points[:, 2] < 1.5 * WIRE)
        else:
            about = np.abs(points[:, 1]) < RADIUS
        assert about.sum() > 200
        assert np.abs(away[about, 0]).max() < 0.05
        # Outward normals, or the light would fall on the inside.
        slopes = away[about, 1:4] / np.linalg.norm(away[about, 1:4], axis=1)[:, None]
        assert np.einsum("ka,ka->k", normals[about], slopes).min() > 0.97
        assert np.linalg.norm(normals, axis=1) == pytest.approx(1.0, abs=1e-3)


def test_a_peg_is_finite_and_stands_out_on_both_sides(can_draw):
    rings, solids = scene("hang")
    (peg,) = surfaces(pyvista_off_screen(), solids, rings)
    assert held_by(rings, solids[0]).tolist() == [0]
    y = np.asarray(peg.mesh.points)[:, 1]
    assert -4.0 * RADIUS < y.min() < -1.5 * RADIUS
    assert 1.5 * RADIUS < y.max() < 4.0 * RADIUS


def test_a_board_goes_on_behind_the_piece_and_is_closed(can_draw):
    rings, solids = scene("edge")
    board, *pins = surfaces(pyvista_off_screen(), solids, rings)
    low, high = rings.bounds()
    points = np.asarray(board.mesh.points)
    assert points[:, 0].min() < low[0] - RADIUS
    assert points[:, 0].max() == pytest.approx(0.0, abs=1e-5)
    assert points[:, 1].min() < low[1] - RADIUS
    assert points[:, 1].max() > high[1] + RADIUS
    # Thick enough to be one, and short of what hangs.
    assert low[2] < points[:, 2].min() < -8.0
    # Closed but for a pinhole in the middle of either side.
    rims = board.mesh.clean(tolerance=1e-6).extract_feature_edges(
        boundary_edges=True, non_manifold_edges=False, feature_edges=False, manifold_edges=False
    )
    assert np.ptp(np.asarray(rims.points)[:, [0, 2]], axis=0).max() < 0.1
    # Pins show a head above the rings, no more.
    for pin in pins:
        top = np.asarray(pin.mesh.points)[:, 2].max()
        assert WIRE < top < 2.0 * RADIUS


def test_a_bust_goes_on_below_the_piece_and_is_closed(can_draw):
    rings, solids = scene("neck")
    (bust,) = surfaces(pyvista_off_screen(), solids, rings)
    low, high = rings.bounds()
    points = np.asarray(bust.mesh.points)
    assert points[:, 2].min() < low[2] - 2.0 * RADIUS
    assert points[:, 2].max() > high[2]
    assert bust.mesh.is_manifold


def test_any_blended_form_can_be_drawn(can_draw):
    body = form(np.array([[0.0, 0.0, -30.0, 0.0, 0.0, 30.0, 9.0]]), 1.0)
    rings = loop(circle(13.0, 20)[:, [0, 2, 1]])
    (surface,) = surfaces(pyvista_off_screen(), (body,), rings)
    points = np.asarray(surface.mesh.points)
    about = np.abs(points[:, 2]) < 4.0
    assert np.hypot(*points[about, :2].T) == pytest.approx(9.0, abs=0.02)


def test_shade_is_the_part_of_the_sky_that_wires_hide(monkeypatch):
    """Against rays in random directions, as many as a matt surface gathers light from, cosine weighted."""
    monkeypatch.setattr(shade, "SHADE_REACH", 100.0)
    rng = np.random.default_rng(7)
    radius, wire, height = 3.0, 0.15, 4.0
    ring = Bodies(np.array([[0.0, 0.0, height]]), Z[None, :], np.array([radius]), np.array([wire]))
    turn, r = rng.uniform(0.0, 2.0 * np.pi, 20_000), np.sqrt(rng.uniform(0.0, 1.0, 20_000))
    rays = np.column_stack([r * np.cos(turn), r * np.sin(turn), np.sqrt(1.0 - r * r)])
    nodes = circle_points(ring.centres[0], Z, radius, np.linspace(0.0, 2.0 * np.pi, 360, endpoint=False))
    for x in (0.0, 2.0, 5.0):
        at = np.array([x, 0.0, 0.0])
        reach = rays @ (nodes - at).T
        off = np.sqrt(np.clip(((nodes - at) ** 2).sum(axis=1) - reach**2, 0.0, None))
        hidden = (off.min(axis=1) < wire).mean()
        shaded = shade.shade(at[None, :], Z[None, :], ring)[0]
        assert shaded == pytest.approx(hidden, rel=0.15)


def test_shade_fades_out_and_falls_on_the_near_side_only(can_draw):
    rings = lying()
    x = np.linspace(-30.0, 60.0, 91)
    points = np.column_stack([x, 0.0 * x, 0.0 * x])
    shaded = shade.shade(points, np.tile(Z, (91, 1)), rings)
    assert (shaded >= 0.0).all()
    assert (shaded < 1.0).all()
    assert shaded[45] > 0.3
    low, high = rings.bounds()
    reach = shade.SHADE_REACH * (RADIUS + WIRE)
    far = (x < low[0] - reach) | (x > high[0] + reach)
    assert far.any()
    assert (shaded[far] == 0.0).all()
    # The back of the table sees nothing of the rings.
    assert (shade.shade(points, np.tile(-Z, (91, 1)), rings) == 0.0).all()


# --- stills ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_stills_show_the_piece_and_what_holds_it(drawn, kind):
    rings, _ = scene(kind)
    views = still_views(rings, kind)
    assert [name for name in drawn[kind] if name not in ("turning", "settling")] == [v.name for v in views]
    for view in views:
        image = pixels(drawn[kind][view.name])
        assert image.shape == (view.height, view.width, 3)
        body = image[:-FOOT]
        gold = is_gold(body)
        rows, columns = np.flatnonzero(gold.any(axis=1)), np.flatnonzero(gold.any(axis=0))
        wide, high = np.ptp(columns) / view.width, np.ptp(rows) / (view.height - FOOT)
        # Of a necklace, a part may be behind the neck.
        assert max(wide, high) > (0.7 if kind == "neck" else 0.8)
        assert gold.mean() > (0.15 if view.name == "close-up" else 0.03)
        # Metal has highlights and shade.
        light = body.mean(axis=2)[gold]
        assert np.percentile(light, 97) - np.percentile(light, 3) > 60
        support = is_stone(body) if kind in ("table", "edge") else is_slate(body)
        # A peg is seen end on from the front, a bust fills the frame.
        least = {"table": 0.3, "neck": 0.2, "wrist": 0.1}.get(kind, 2e-4)
        assert support.mean() > least


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_runs_through_the_scale_bar(drawn, kind):
    """In the foot there is paper and ink only: near grey and, but for the bar and its label, light."""
    for view in still_views(scene(kind)[0], kind):
        foot = pixels(drawn[kind][view.name])[-FOOT + 2 :]
        assert not is_gold(foot).any()
        dark = foot.max(axis=2) < 200
        assert 0.001 < dark.mean() < 0.12
        assert not dark[:, -20:].any()


@pytest.mark.parametrize("kind", KINDS)
def test_supports_have_tones_of_their_own(kind):
    for solid in scene(kind)[1]:
        red, _, blue = (255.0 * np.array(TONES[solid.kind])).round()
        assert abs(red - blue) < 30


# --- films ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_the_turning_view_turns_and_loops(drawn, kind):
    path = drawn[kind]["turning"]
    with Image.open(path) as image:
        assert image.format == "GIF"
        assert image.info["loop"] == 0
        assert image.n_frames == 36
        assert max(image.size) == 200
    assert path.stat().st_size < 1_000_000
    frames = frames_of(path)
    gold = [is_gold(frame) for frame in frames]
    assert min(mask.mean() for mask in gold) > 0.01
    # A quarter turn shows it from another side; the last frame leads on to the first.
    apart = np.abs(frames[0] - frames[9]).mean()
    assert apart > 1.0
    assert np.abs(frames[0] - frames[-1]).mean() < max(2.0 * np.abs(frames[0] - frames[1]).mean(), 0.5)


def test_the_paper_of_a_film_stands_still(drawn):
    corners = np.array([frame[:6, :6] for frame in frames_of(drawn["hang"]["turning"])])
    assert (corners == corners[0, 0, 0]).all()
    assert corners[0, 0, 0] == pytest.approx(255.0 * np.array(film.PAPER), abs=1.0)


def test_the_settling_film_ends_at_rest_and_holds(drawn):
    path = drawn["hang"]["settling"]
    with Image.open(path) as image:
        assert image.info["loop"] == 0
        times = [frame.info["duration"] for frame in ImageSequence.Iterator(image)]
    assert len(times) == 40
    assert times[-1] == 1500
    assert set(times[:-1]) == {80}
    frames = frames_of(path)
    low = [np.flatnonzero(is_gold(frame).any(axis=1)).max() for frame in frames]
    # It is pulled out to nearly twice its length, evenly, under a camera that stands still.
    assert low == sorted(low)
    assert low[-1] - low[0] > 0.25 * frames[0].shape[0]
    assert low[20] - low[0] == pytest.approx(0.5 * (low[-1] - low[0]), abs=4)
    top = [np.flatnonzero(is_gold(frame).any(axis=1)).min() for frame in frames]
    assert max(top) - min(top) <= 2


def test_two_frames_settle_and_fewer_do_not(drawn, tmp_path):
    assert all("settling" not in drawn[kind] for kind in KINDS if kind != "hang")
    written = []
    for name in ("one.gif", "two.gif"):
        film.draw_settling(
            tmp_path / name, settling(2), scene("hang")[1], (0.0, -1.0, 0.0), look=gold(hanging())
        )
        written.append((tmp_path / name).read_bytes())
    with Image.open(tmp_path / name) as image:
        assert image.n_frames == 2
    # The same bytes twice.
    assert written[0] == written[1]


def test_same_bytes_twice(drawn, tmp_path):
    for path in draw_scene(tmp_path, *scene("swag"), "swag", look=gold(swagging())):
        assert path.read_bytes() == drawn["swag"][path.stem].read_bytes()


def test_a_full_disk_leaves_the_old_film(can_draw, tmp_path, monkeypatch):
    def full(_):
        raise OSError(28, "No space left on device")

    (tmp_path / "old.gif").write_bytes(b"old")
    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(CannotWrite, match=r"old\.gif.*No space left"):
        film.draw_settling(
            tmp_path / "old.gif", settling(2), scene("hang")[1], (0.0, -1.0, 0.0), look=gold(hanging())
        )
    assert [entry.name for entry in tmp_path.iterdir()] == ["old.gif"]
    assert (tmp_path / "old.gif").read_bytes() == b"old"


def test_what_to_install_is_said(monkeypatch, tmp_path):
    monkeypatch.setattr(drawing.sys, "platform", "linux")
    monkeypatch.setattr(drawing, "_load", lambda *_: None)
    require_drawing.cache_clear()
    try:
        with pytest.raises(CannotDraw, match="apt install"):
            draw_scene(tmp_path / "pictures", *scene("hang"), "hang", look=gold(hanging()))
    finally:
        require_drawing.cache_clear()
    assert not (tmp_path / "pictures").exists()
