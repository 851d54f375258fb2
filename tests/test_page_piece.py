"""The numbers of a piece, drawn anew here: every vertex is where the model has it, on its own wire."""

import base64
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from chaingen.design.load import parse_design
from chaingen.design.piece_starter import starter_piece
from chaingen.design.starter import starter_design
from chaingen.design.weave_starter import starter_weave
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.solids import bar, form, ledge, oval, plane
from chaingen.model.kinds import model_of
from chaingen.page.piece import (
    FINEST,
    MOST_TRIANGLES,
    STAND,
    Shown,
    fineness,
    piece_of,
    poses_of,
    shown_of,
    supports_of,
)
from chaingen.pipeline import build
from chaingen.weave.catalogue import find_weave
from tests.page_numbers import away_from_ring, drawn, floats, triangles, turned, wholes

FLOAT = 2e-5
"""32-bit floats of some hundred millimetres are as near as this [mm]."""


@pytest.fixture(scope="module")
def chain():
    return build(parse_design(starter_design("two-in-one", repeat=4)))


@pytest.fixture(scope="module")
def earrings():
    return build(parse_design(starter_piece("graduated-earrings")))


def test_every_vertex_lies_on_the_wire_of_its_ring(chain):
    piece = piece_of(shown_of(chain))
    rings = chain.placement.rings
    seen = []
    for _, bodies, points, normals in drawn(piece):
        for body, own, outward in zip(bodies, points, normals, strict=True):
            away = away_from_ring(
                own, STAND @ rings.centres[body], STAND @ rings.normals[body], rings.radii[body]
            )
            assert np.allclose(away, rings.wire_radii[body], atol=FLOAT)
            # A step outwards leads away from the wire by just as much.
            out = away_from_ring(
                own + 0.1 * outward,
                STAND @ rings.centres[body],
                STAND @ rings.normals[body],
                rings.radii[body],
            )
            assert np.allclose(out - away, 0.1, atol=FLOAT)
            seen.append(int(body))
    assert sorted(seen) == list(range(len(rings)))


def test_every_vertex_is_where_the_model_has_it(earrings):
    shown = shown_of(earrings)
    piece = piece_of(shown)
    model = model_of(shown.bodies, shown.graph, shown.metals, tolerance=fineness(shown))
    assert [kind["name"] for kind in piece["kinds"]] == [kind.name for kind in model.kinds]
    for (data, bodies, points, _), kind in zip(drawn(piece), model.kinds, strict=True):
        assert bodies.tolist() == kind.bodies.tolist()
        own = model.rotations[kind.bodies] @ kind.mesh.vertices.T + model.centres[kind.bodies][:, :, None]
        assert np.allclose(points, np.swapaxes(own, 1, 2), atol=FLOAT)
        assert (wholes(data["faces"], 3) == kind.mesh.faces).all()
        material = piece["materials"][data["material"]]
        assert material["name"] == model.materials[kind.material].name
        assert np.allclose(material["colour"], model.materials[kind.material].colour, atol=1e-4)


def test_each_kind_is_drawn_once_and_each_body_is_of_one(earrings):
    piece = piece_of(shown_of(earrings))
    # Four ring sizes and the jump rings, ear wires of two hands, pins of two with a bead on each.
    assert len(piece["kinds"]) == 11
    bodies = np.concatenate([wholes(kind["bodies"]) for kind in piece["kinds"]])
    assert set(bodies.tolist()) == set(range(len(piece["names"])))
    assert len(floats(piece["poses"], 7)) == len(piece["names"]) == 2 * len(earrings.placement.graph)
    assert len(set(piece["names"])) == len(piece["names"])


def test_meshes_of_findings_are_made_once(earrings, monkeypatch):
    """Rings that change leave the meshes of ear wires and beads as they are."""
    shown = shown_of(earrings)
    whole = piece_of(shown)

    def refuse(*_):
        raise AssertionError("meshed again")

    monkeypatch.setattr("chaingen.model.templates.shape_mesh", refuse)
    bodies = shown.bodies
    wider = replace(bodies, radii=np.where(bodies.is_ring, 1.01 * bodies.radii, bodies.radii))
    again = piece_of(replace(shown, bodies=wider))
    names = [kind["name"] for kind in whole["kinds"]]
    assert [kind["name"] for kind in again["kinds"]] == names
    same = [
        kind["vertices"] == other["vertices"]
        for kind, other in zip(whole["kinds"], again["kinds"], strict=True)
    ]
    assert same == [not name.startswith("ring") for name in names]
    with pytest.raises(AssertionError, match="meshed again"):
        piece_of(shown, most_triangles=20_000)


def test_the_box_holds_all_and_no_more(earrings):
    piece = piece_of(shown_of(earrings))
    points = np.concatenate([own.reshape(-1, 3) for _, _, own, _ in drawn(piece)])
    assert np.allclose(points.min(axis=0), piece["low"], atol=0.02)
    assert np.allclose(points.max(axis=0), piece["high"], atol=0.02)


def test_a_pair_hangs_side_by_side_and_is_mirrored(earrings):
    piece = piece_of(shown_of(earrings))
    centres = floats(piece["poses"], 7)[:, :3]
    one, other = np.split(centres, 2)
    # Ear wires on top.
    assert earrings.placement.graph.members[0].size.kind == "ear wire"
    assert one[0, 2] > one[1:, 2].max()
    # Mirrored in an upright plane square to the view: heights and depths agree, ways from the middle add up.
    assert np.allclose(one[:, 2], other[:, 2], atol=1e-4)
    assert np.ptp(one[:, 0] + other[:, 0]) < 1e-4
    assert one[:, 0].max() < other[:, 0].min()


def test_a_piece_stands_upright():
    net = build(parse_design(starter_weave(find_weave("european-4-in-1"), columns=4, rows=3)))
    centres = floats(piece_of(shown_of(net))["poses"], 7)[:, :3]
    placed = net.placement.rings.centres
    assert np.allclose(centres[:, 0], placed[:, 0], atol=FLOAT)
    assert np.allclose(centres[:, 2], placed[:, 1], atol=FLOAT)
    assert np.allclose(centres[:, 1], -placed[:, 2], atol=FLOAT)
    assert np.linalg.det(STAND) == pytest.approx(1.0)


def test_poses_turn_each_body_as_its_axes_say(earrings):
    bodies = earrings.placement.rings
    poses = floats(poses_of(bodies), 7)
    assert np.allclose(np.linalg.norm(poses[:, 3:], axis=1), 1.0, atol=1e-6)
    for pose, normal, axis, is_ring in zip(
        poses, bodies.normals, bodies.first_axes(), bodies.is_ring, strict=True
    ):
        assert np.allclose(turned(pose[3:], np.array([0.0, 0.0, 1.0])), normal, atol=1e-6)
        # A ring looks alike however it is turned about its own axis.
        assert is_ring or np.allclose(turned(pose[3:], np.array([1.0, 0.0, 0.0])), axis, atol=1e-6)


def many(count):
    place = np.arange(count, dtype=float)
    centres = np.column_stack([3.0 * place, 0.0 * place, 0.0 * place])
    normals = np.tile([0.0, 1.0, 0.0], (count, 1))
    return Bodies(centres, normals, np.full(count, 2.0), np.full(count, 0.5))


def of_rings(count):
    return Shown(many(count), None, None, STAND)


@pytest.mark.parametrize(("count", "most"), [(10, 20_000), (1000, MOST_TRIANGLES), (3000, MOST_TRIANGLES)])
def test_meshes_are_as_fine_as_can_be_seen_or_is_allowed(count, most):
    from chaingen.model.templates import triangle_count

    tolerance = fineness(of_rings(count))
    whole = triangle_count(many(count), tolerance)
    assert whole <= most
    if tolerance > FINEST:
        # A little finer would be too many.
        assert triangle_count(many(count), tolerance / 1.3) > MOST_TRIANGLES


def test_a_piece_beyond_the_budget_still_has_round_rings():
    from chaingen.model.mesh import FEWEST_ROUND_RING, FEWEST_ROUND_WIRE
    from chaingen.model.templates import triangle_count

    each = triangle_count(many(1), fineness(of_rings(20_000)))
    assert each == 2 * FEWEST_ROUND_RING * FEWEST_ROUND_WIRE


def test_a_sheet_of_a_thousand_rings_keeps_to_the_budget():
    net = build(parse_design(starter_weave(find_weave("european-4-in-1"), columns=25, rows=20)))
    piece = piece_of(shown_of(net))
    assert len(piece["names"]) > 950
    assert len(piece["kinds"]) == 1
    assert 0.7 * MOST_TRIANGLES < triangles(piece) <= MOST_TRIANGLES


# --- supports


def on_bar(points, _):
    return np.hypot(points[:, 0], points[:, 2] - 8.0) - 1.5


def on_oval(points, solid):
    wide, high = solid.numbers[3:5]
    return (points[:, 0] / wide) ** 2 + (points[:, 2] / high) ** 2 - 1.0


SUPPORTS = {
    "plane": (plane(-3.0), lambda points, _: points[:, 2] + 3.0),
    "bar": (bar(np.array([0.0, 0.0, 8.0]), np.array([0.0, 1.0, 0.0]), 1.5), on_bar),
    "oval": (oval(165.0, 1.4), on_oval),
    "form": (form(np.array([[0.0, 0.0, -20.0, 0.0, 0.0, 20.0, 8.0]]), 4.0), None),
    "ledge": (ledge(4.0, end=10.0, height=-3.0), None),
}


@pytest.mark.parametrize("kind", SUPPORTS)
def test_a_support_is_a_surface_with_shade(kind):
    solid, away = SUPPORTS[kind]
    (support,) = supports_of([solid], many(8).moved(np.array([0.0, 0.0, 26.0 if kind == "oval" else 0.0])))
    assert support["kind"] == kind
    points, normals = floats(support["vertices"], 3), floats(support["normals"], 3)
    faces = wholes(support["faces"], 3)
    colours = np.frombuffer(base64.b64decode(support["colours"]), dtype=np.uint8).reshape(-1, 3)
    assert len(points) == len(normals) == len(colours)
    assert len(points) < 60_000
    assert faces.max() == len(points) - 1
    assert np.allclose(np.linalg.norm(normals, axis=1), 1.0, atol=1e-4)
    if away is not None:
        # Bars have rounded ends, which lie within them.
        off = away(points, solid)
        assert np.abs(off[off > 0.0]).max(initial=0.0) < 1e-4
        assert (np.abs(off) < 1e-4).mean() > 0.4
    # Triangles face the way their normals do.
    a, b, c = np.moveaxis(points[faces], 1, 0)
    areas = np.cross(b - a, c - a)
    facing = np.einsum("fa,fa->f", areas, normals[faces].mean(axis=1))
    assert (facing > -1e-6).mean() > 0.99
    # What is near the rings is darker than what is far from them.
    assert colours.min(axis=0)[0] < colours.max(axis=0)[0]


def test_supports_need_no_opengl():
    code = (
        "import numpy as np; from pathlib import Path;"
        "from tests.test_page_piece import SUPPORTS, many;"
        "from chaingen.page.piece import supports_of;"
        "[supports_of([solid], many(4)) for solid, _ in SUPPORTS.values()];"
        "maps = Path('/proc/self/maps');"
        "loaded = maps.read_text() if maps.exists() else '';"
        "assert 'libEGL' not in loaded and 'libGLX' not in loaded, 'OpenGL was loaded'"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parent.parent,
        check=False,
    )
    assert done.returncode == 0, done.stderr
