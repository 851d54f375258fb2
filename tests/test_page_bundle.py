"""The page's 3D view: what is bundled, how heavy it is, and its sums beside sums written anew.

The sums are run by node, which the tests of the browser have (`pytest -m browser`).
"""

import gzip
import json
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from tests.page_numbers import turned

PAGE = Path(__file__).parents[1] / "chaingen" / "page"
ASSETS, BUNDLE = PAGE / "assets", PAGE / "bundle"
OWN = (
    "view",
    "stage",
    "light",
    "metal",
    "kinds",
    "held",
    "marks",
    "controls3d",
    "stand",
    "framing",
    "numbers",
)


def packed(path):
    return len(gzip.compress(path.read_bytes(), 9))


def text(path):
    return path.read_text(encoding="utf-8")


def test_bundle_says_what_it_is():
    wanted = json.loads(text(BUNDLE / "package.json"))["devDependencies"]
    locked = json.loads(text(BUNDLE / "package-lock.json"))["packages"]
    assert wanted == {name: locked[f"node_modules/{name}"]["version"] for name in wanted}
    licence = text(BUNDLE / "LICENSE-three.txt")
    assert "The MIT License" in licence
    holder = re.search(r"^Copyright.*$", licence, re.M)[0]
    banner = text(ASSETS / "three.js").split("\n", 1)[0]
    assert banner == f"/*! three.js {wanted['three']} | {holder} | SPDX-License-Identifier: MIT */"
    # The code itself says its release, apart from the banner.
    assert re.search(rf'"{wanted["three"].split(".")[1]}"', text(ASSETS / "three.js").split("\n", 1)[1])


def exported(code):
    """What a bundle gives out: the names after `as` in its last statement."""
    return set(re.findall(r"\bas (\w+)", re.search(r"export\{([^}]*)\};?\s*$", code)[1]))


def test_bundle_has_what_is_used_and_no_more():
    code = text(ASSETS / "three.js")
    names = exported(code)
    used = set()
    for name in OWN:
        for listed in re.findall(r"import \{([^}]*)\} from \"\./three\.js\"", text(ASSETS / f"{name}.js")):
            used |= {one.strip() for one in listed.split(",") if one.strip()}
    assert used == names == set(re.findall(r"^  (\w+),$", text(BUNDLE / "entry.js"), re.M))


def test_nothing_that_the_page_forbids():
    """Its policy lets no text become code, and asks nothing of the network."""
    for name in ("three", *OWN):
        code = text(ASSETS / f"{name}.js")
        assert not re.search(r"\beval\(|\bnew Function\(|\bimport\(", code), name
        assert not re.search(r"\bfetch\(\s*[\"'`]", code), name


def test_weight():
    """The whole page has 400 kB; 3D may take less than half of it."""
    assert packed(ASSETS / "three.js") < 140_000
    assert sum(packed(ASSETS / f"{name}.js") for name in OWN) < 25_000


def run(code):
    """Run JavaScript that has the modules at hand as `m(name)`, and give what it returns."""
    node = shutil.which("node")
    assert node, "no node on the path"
    whole = (
        f"const m = (name) => import({json.dumps(ASSETS.as_uri())} + '/' + name + '.js');\n"
        f"const out = await (async () => {{ {code} }})();\nconsole.log(JSON.stringify(out));\n"
    )
    done = subprocess.run(
        [node, "--no-warnings", "--input-type=module", "-"], input=whole, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.browser
def test_bodies_stand_where_their_poses_say():
    rng = np.random.default_rng(5)
    poses = rng.normal(size=(9, 7)).astype(np.float32)
    poses[:, 3:] /= np.linalg.norm(poses[:, 3:], axis=1)[:, None]
    bodies = [7, 0, 3]
    got = run(f"""
        const {{ KindShown }} = await m("kinds");
        const kind = Object.create(KindShown.prototype);
        kind.bodies = Uint32Array.from({bodies});
        kind.mesh = {{ instanceMatrix: {{ array: new Float32Array({16 * len(bodies)}) }} }};
        kind.pose(Float32Array.from({poses.ravel().tolist()}));
        return [...kind.mesh.instanceMatrix.array];
    """)
    points = rng.normal(size=(5, 3))
    for body, columns in zip(bodies, np.reshape(got, (-1, 4, 4)), strict=True):
        matrix = columns.T
        want = turned(poses[body, 3:].astype(float), points) + poses[body, :3]
        np.testing.assert_allclose(points @ matrix[:3, :3].T + matrix[:3, 3], want, atol=2e-6)


def axes(yaw, pitch):
    """Right, up and back of a viewer at -y who walks to the right by `yaw` and looks down by `pitch`."""
    right = np.array([np.cos(yaw), np.sin(yaw), 0.0])
    level = np.array([np.sin(yaw), -np.cos(yaw), 0.0])
    back = np.cos(pitch) * level + np.sin(pitch) * np.array([0.0, 0.0, 1.0])
    return right, np.cross(back, right), back


@pytest.mark.browser
@pytest.mark.parametrize(("yaw", "pitch", "aspect"), [(0.6, 0.5, 1.6), (-2.0, 1.57, 0.5), (0.0, -0.3, 4.0)])
def test_frame_is_the_least_that_shows_all(yaw, pitch, aspect):
    """Every sphere is on the inner side of all four planes of the view, and two opposite ones are touched."""
    rng = np.random.default_rng(11)
    places = rng.normal(size=(40, 3)) * [30.0, 6.0, 3.0] + [5.0, -8.0, 2.0]
    radii = rng.uniform(0.5, 3.0, 40)
    got = run(f"""
        const c = await m("controls3d");
        const radii = {radii.tolist()};
        return [c.fitted({places.ravel().tolist()}, 3, radii, {yaw}, {pitch}, {aspect}, 1), c.FIELD];
    """)
    where, field = got
    right, up, back = axes(yaw, pitch)
    eye = np.array([where["x"], where["y"], where["z"]]) + where["distance"] * back
    away = -(places - eye) @ back
    touched = []
    for axis, half in ((right, np.arctan(np.tan(0.5 * field) * aspect)), (up, 0.5 * field)):
        for side in (1.0, -1.0):
            room = away * np.sin(half) - side * ((places - eye) @ axis) * np.cos(half) - radii
            assert room.min() > -1e-9
            touched.append(room.min() < 1e-6)
    assert all(touched[:2]) or all(touched[2:])


def chain(count, pitch=3.0):
    """Places of a chain's rings along x, its radii, and its lows and highs."""
    places = np.zeros((count, 3))
    places[:, 0] = pitch * (np.arange(count) - 0.5 * (count - 1))
    radii = np.full(count, 2.5)
    return places, radii, (places - 2.5).min(axis=0), (places + 2.5).max(axis=0)


@pytest.mark.browser
@pytest.mark.parametrize("aspect", [1.1, 1.9, 0.6])
def test_long_piece_is_seen_along_its_length(aspect):
    """All of it in the frame, its near rings three times as large as from the side, and none looked along."""
    places, radii, low, high = chain(60)
    got = run(f"""
        const [c, s] = [await m("controls3d"), await m("stand")];
        const [places, radii] = [{places.ravel().tolist()}, {radii.tolist()}];
        const way = s.along(places, 3, radii, {aspect}, c.FIELD);
        return [s.isLong({low.tolist()}, {high.tolist()}), way,
          c.fitted(places, 3, radii, way.yaw, way.pitch, {aspect}),
          c.fitted(places, 3, radii, 0, 0, {aspect}), c.FIELD];
    """)
    long, way, where, side, field = got
    assert long
    right, up, back = axes(way["yaw"], way["pitch"])
    eye = np.array([where["x"], where["y"], where["z"]]) + where["distance"] * back
    away = -(places - eye) @ back
    for axis, half in ((right, np.arctan(np.tan(0.5 * field) * aspect)), (up, 0.5 * field)):
        assert (away * np.sin(half) - np.abs((places - eye) @ axis) * np.cos(half) > radii).all()
    # From the side all rings are as far as the target.
    assert side["distance"] / away.min() > 3.0
    sight = places - eye
    assert (np.abs(sight[:, 0]) / np.linalg.norm(sight, axis=1)).max() < np.cos(0.23)


@pytest.mark.browser
def test_only_what_is_long_is_seen_so_and_of_a_very_long_piece_its_near_part():
    short, neck = chain(8), chain(300)
    cases = [((short[2], short[3]), False), ((neck[2], neck[3]), True), (([0, 0, -90], [5, 5, 90]), False)]
    boxes = json.dumps([np.asarray(box, dtype=float).tolist() for box, _ in cases])
    got = run(f"""
        const s = await m("stand");
        const cases = {boxes};
        const part = (places, low, high) => s.nearPart(places, 3, places.length / 3, low, high);
        return [cases.map(([low, high]) => s.isLong(low, high)),
          part({neck[0].ravel().tolist()}, ...cases[1]), part({short[0].ravel().tolist()}, ...cases[0])];
    """)
    assert got[0] == [long for _, long in cases]
    near = got[1]
    # Its last rings, as many as fit in forty times its thickness of 5 mm.
    assert near == list(range(300 - len(near), 300))
    assert 200.0 - 5.0 <= 3.0 * len(near) <= 200.0
    assert got[2] == list(range(8))


@pytest.mark.browser
def test_steps_that_went_by_fast_are_undone_one_by_one():
    """Two presses answered at once are two steps: the text before, its changes, and the text after both."""
    got = run("""
        const { History } = await m("history");
        const history = new History("a", "Opened");
        const done = ["one", "two"].map((words, k) => ({ number: k, change: k + 1, words }));
        history.take(done, "a", "c", 0);
        history.push("d", "slide", "s:1");
        history.push("e", "slide", "s:1");
        const seen = [];
        for (let k = 0; k < 4; k++) seen.push(history.back());
        for (let k = 0; k < 4; k++) seen.push(history.on());
        return seen.map((one) => one && [one.text, one.changes]);
    """)
    assert got == [
        ["c", []], ["a", [1]], ["a", []], None, ["a", [1]], ["c", []], ["e", []], None,
    ]  # fmt: skip


@pytest.mark.browser
def test_zoom_keeps_what_is_under_the_pointer():
    """A point of the plane through the target stays where it is in the frame."""
    x, y, aspect, yaw, pitch = 0.4, -0.7, 1.5, 0.8, 0.4
    before, after, field = run(f"""
        const {{ Orbit, FIELD }} = await m("controls3d");
        const orbit = new Orbit(true);
        Object.assign(orbit.goal, {{ x: 1, y: 2, z: 3, yaw: {yaw}, pitch: {pitch}, distance: 50 }});
        const before = {{ ...orbit.goal }};
        orbit.zoom(1.7, {x}, {y}, {aspect});
        return [before, orbit.goal, FIELD];
    """)
    right, up, _ = axes(yaw, pitch)

    def under(goal):
        half = goal["distance"] * np.tan(0.5 * field)
        return np.array([goal["x"], goal["y"], goal["z"]]) + half * (x * aspect * right + y * up)

    assert after["distance"] == pytest.approx(50.0 / 1.7)
    np.testing.assert_allclose(under(before), under(after), atol=1e-9)


def ggx(cosine, alpha):
    """GGX's density of normals, Walter et al. 2007, equation 33, without its constant."""
    return 1.0 / (cosine**2 * (alpha**2 - 1.0) + 1.0) ** 2


@pytest.mark.browser
def test_light_is_blurred_as_the_surfaces_scatter_it():
    """Beside a plain sum over all directions: what is mirrored to a viewer straight over a surface."""
    rows = 180
    levels, grid = run(f"""
        const {{ levels, studio }} = await m("light");
        const grid = [];
        for (let j = 0; j < {rows}; j++) for (let i = 0; i < {2 * rows}; i++) {{
          const [b, a] = [((j + 0.5) / {rows} - 0.5) * Math.PI, (i / {rows}) * Math.PI];
          grid.push(studio(Math.cos(b) * Math.cos(a), Math.cos(b) * Math.sin(a), Math.sin(b)));
        }}
        return [levels().map((faces) => faces.map((light) => [...light])), grid];
    """)
    b = ((np.arange(rows) + 0.5) / rows - 0.5) * np.pi
    a = np.arange(2 * rows) / rows * np.pi
    lat, lon = (one.ravel() for one in np.meshgrid(b, a, indexing="ij"))
    ways = np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])
    light, area = np.array(grid), np.cos(lat)
    # The middles of faces +x, +z and -y, near enough; the renderer looks cube maps up with x turned round.
    for face, towards in ((0, [-1.0, 0.0, 0.0]), (4, [0.0, 0.0, 1.0]), (3, [0.0, -1.0, 0.0])):
        cosine = np.clip(ways @ np.array(towards), 0.0, 1.0)
        middle = np.sqrt(0.5 * (1.0 + cosine))
        for level, allowed in ((2, 0.12), (3, 0.06), (4, 0.04)):
            side = round(np.sqrt(len(levels[level][face])))
            near = np.reshape(levels[level][face], (side, side))
            got = near[side // 2 - 1 : side // 2 + 1, side // 2 - 1 : side // 2 + 1].mean()
            roughness = 1.0 - np.sqrt(1.0 - level / 4.0)
            weight = ggx(middle, roughness**2) * cosine * area
            want = float((weight * light).sum() / weight.sum())
            assert got == pytest.approx(want, rel=allowed), (face, level)


@pytest.mark.browser
def test_labels_lie_apart_and_within_the_frame():
    """Thirty crowds of five: those shown are in the frame, and none covers another or another's place."""
    rng = np.random.default_rng(3)
    wide, high = 700, 420
    crowds = rng.uniform(-0.95, 0.95, (30, 5, 2)).round(4).tolist()
    shown = run(f"""
        const {{ Labels }} = await m("marks");
        const flat = {{
          projectionMatrix: {{ elements: [1, 0, 0, 0, 0, 1], clone: () => ({{ multiply: () => ({{
            elements: [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1] }}) }}) }},
        }};
        return {json.dumps(crowds)}.map((crowd) => {{
          const labels = new Labels(null);
          const part = () => ({{ style: {{}} }});
          labels.items = crowd.map(([x, y]) => ({{
            place: [x, y, 0], reach: 0.02, sort: "collision", label: part(), line: part(), dot: part(),
            wide: 150, high: 22, last: null, shown: true,
          }}));
          labels.update(flat, new Float32Array(0), [], {wide}, {high});
          return labels.items.map((item) => item.shown &&
            [item.label.style.transform, item.dot.style.transform]);
        }});
    """)

    def at(style):
        return np.array([float(value) for value in re.findall(r"-?[\d.]+(?=px)", style)[:2]])

    size = np.array([150, 22])
    assert sum(bool(item) for crowd in shown for item in crowd) > 100
    for crowd in shown:
        assert crowd[0], "the first is always told"
        boxes = [at(item[0]) for item in crowd if item]
        dots = [at(item[1]) for item in crowd if item]
        for k, box in enumerate(boxes):
            assert (box >= 0).all()
            assert (box + size <= [wide, high]).all()
            assert not any((dot > box).all() and (dot < box + size).all() for dot in dots)
            for other in boxes[:k]:
                assert (np.abs(box - other) >= size).any()


@pytest.mark.browser
def test_half_floats_and_base64():
    """Half floats as numpy rounds them, and arrays as they were sent."""
    values = np.geomspace(1e-3, 3.0, 200).astype(np.float32)
    got = run(f"""
        const {{ halves }} = await m("light");
        const {{ floats, whole }} = await m("numbers");
        return [[...halves(Float32Array.from({values.tolist()}))], [...floats("AACAPwAAAMA=")],
          [...whole("AQAAAP////8=")]];
    """)
    # Green and red are tinted; blue is as it is.
    blue = np.array(got[0], dtype=np.uint16).reshape(-1, 4)[:, 2].view(np.float16)
    np.testing.assert_allclose(blue.astype(float), values.astype(np.float16).astype(float), rtol=1e-3)
    assert got[1:] == [[1.0, -2.0], [1, 0xFFFFFFFF]]
