import errno
import json
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaingen.errors import CannotWrite
from chaingen.findings.clasps import lobster_clasp
from chaingen.findings.hooks import ear_wire
from chaingen.findings.links import oval_link
from chaingen.findings.pins import Threaded, head_pin
from chaingen.geometry.bodies import Bodies, concatenate, shaped
from chaingen.geometry.centrelines import Arc, Straight
from chaingen.geometry.shapes import Closure, Eye, Shape, Strand
from chaingen.model.placement_file import VERSION, placement_data, write_placement
from chaingen.solve.check import check
from chaingen.solve.place import place
from chaingen.weave.graph import piece_graph
from chaingen.weave.groups import Group, GroupKind, Run
from tests.conftest import join, random_rings, rosette, side, size

README = Path(__file__).parent.parent / "README.md"
FINDING_KEYS = ["name", "role", "kind", "centre", "normal", "axis", "shape"]
BODY_KEYS = ["name", "role", "kind", "centre", "normal", "inside_diameter", "wire_diameter"]


@pytest.fixture(scope="module")
def placed():
    small, large = size(4.0, name="small"), size(6.0, 1.2908, name="large")
    return place(
        Run((rosette(3, large), join(2, small)), repeat=3, first=(side(1, small), join(1, small))), starts=2
    )


def rings_from(data):
    bodies = data["bodies"]
    inside, wire = (np.array([b[key] for b in bodies]) for key in ("inside_diameter", "wire_diameter"))
    return Bodies(
        np.array([b["centre"] for b in bodies]),
        np.array([b["normal"] for b in bodies]),
        0.5 * (inside + wire),
        0.5 * wire,
    )


@pytest.fixture
def reopened(placed, tmp_path):
    write_placement(tmp_path / "placement.json", placed.graph, placed.rings)
    return json.loads((tmp_path / "placement.json").read_text(encoding="utf-8"))


def test_format(reopened, placed):
    assert list(reopened) == ["format", "version", "unit", "shapes", "bodies", "links", "eyes"]
    assert reopened["shapes"] == []
    assert (reopened["format"], reopened["version"], reopened["unit"]) == (
        "chaingen placement",
        VERSION,
        "mm",
    )
    assert [list(body) for body in reopened["bodies"]] == [BODY_KEYS] * len(placed.graph)
    assert [body["name"] for body in reopened["bodies"]] == list(placed.graph.names)
    assert {body["kind"] for body in reopened["bodies"]} == {"ring"}
    assert [body["role"] for body in reopened["bodies"]] == [member.role for member in placed.graph.members]
    assert {body["role"] for body in reopened["bodies"]} == {"rosette", "join", "side by side"}


def test_the_file_is_the_data(reopened, placed):
    assert reopened == placement_data(placed.graph, placed.rings)


def test_links_are_those_of_the_graph(reopened, placed):
    assert reopened["links"] == placed.graph.links.tolist()
    assert all(0 <= a < b < len(reopened["bodies"]) for a, b in reopened["links"])
    assert reopened["eyes"] == [[0, 0]] * len(reopened["links"])


def test_a_reopened_placement_passes_the_same_check(reopened, placed):
    ours, theirs = check(placed.graph, placed.rings), check(placed.graph, rings_from(reopened))
    assert theirs.sound == ours.sound
    assert theirs.links_as_designed
    assert theirs.binding_pair is not None
    assert theirs.smallest_gap == pytest.approx(ours.smallest_gap, abs=1e-8)


def test_sizes_are_those_of_the_design(reopened):
    sizes = {(body["inside_diameter"], body["wire_diameter"]) for body in reopened["bodies"]}
    assert sizes == {(4.0, 1.0237), (6.0, 1.2908)}


@given(seed=st.integers(0, 2**32 - 1), count=st.integers(1, 5), spread=st.sampled_from([0.0, 1.0, 1e4]))
def test_what_is_written_is_read(tmp_path_factory, seed, count, spread):
    rings = random_rings(np.random.default_rng(seed), count, spread=spread)
    graph = piece_graph(Run((side(count, size(4.0)),)))
    path = tmp_path_factory.mktemp("placement") / "placement.json"
    write_placement(path, graph, rings)
    again = rings_from(json.loads(path.read_text(encoding="utf-8")))
    assert again.centres == pytest.approx(rings.centres, abs=6e-10)
    assert again.normals == pytest.approx(rings.normals, abs=1e-12)
    assert np.linalg.norm(again.normals, axis=1) == pytest.approx(1.0, abs=2e-12)
    assert again.radii == pytest.approx(rings.radii, abs=2e-9)
    assert again.wire_radii == pytest.approx(rings.wire_radii, abs=1e-9)


def test_one_body_a_line(placed, tmp_path):
    write_placement(tmp_path / "placement.json", placed.graph, placed.rings)
    lines = (tmp_path / "placement.json").read_text().splitlines()
    bodies = [line for line in lines if '"centre"' in line]
    assert len(bodies) == len(placed.graph)
    assert all(json.loads(line.rstrip(","))["kind"] == "ring" for line in bodies)


# --- findings -------------------------------------------------------------------------------------

PIN = head_pin(
    beads=(
        Threaded("ball", 4.0, None, 1.0, (0.1, 0.45, 0.5), 2.5),
        Threaded("disc", 5.0, 1.2, 1.0, (0.8, 0.2, 0.1)),
    )
)


@pytest.fixture
def earring(rng):
    """An ear wire, a ring, two oval links and a beaded pin in random poses: what is read must be written."""
    link = oval_link()

    def alone(finding, turned=False):
        return Group(GroupKind.FINDING, 1, finding, turned)

    row = (side(1, size(4.0)), alone(link), side(1, size(3.0)), alone(link), side(1, size(4.0)))
    graph = piece_graph(Run(row, first=(alone(ear_wire(), turned=True),), last=(alone(PIN),)))
    count = len(graph)
    normals, axes = rng.normal(size=(2, count, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    axes -= (axes * normals).sum(axis=1)[:, None] * normals
    axes /= np.linalg.norm(axes, axis=1)[:, None]
    return graph, graph.bodies(20.0 * rng.normal(size=(count, 3)), normals, axes)


def curve_from(data):
    if data["curve"] == "arc":
        vectors = (tuple(data[key]) for key in ("centre", "start", "ahead"))
        return Arc(*vectors, data["radius"], data["angle"])
    return Straight(tuple(data["begin"]), tuple(data["direction"]), data["length"])


def shape_from(data):
    strands = tuple(
        Strand(tuple(map(curve_from, s["curves"])), 0.5 * s["wire_diameter"], s["part"])
        for s in data["strands"]
    )
    eyes = tuple(
        Eye(
            e["name"], tuple(map(curve_from, e["loop"])), tuple(e["closing"]), 0.5 * e["wire_diameter"],
            e["inside_diameter"], Closure(e["closure"]), e["opening"], e["gate"],
        )
        for e in data["eyes"]
    )  # fmt: skip
    return Shape(strands, eyes)


def bodies_from(data):
    shapes = [shape_from(shape) for shape in data["shapes"]]
    parts = []
    for body in data["bodies"]:
        if body["kind"] == "ring":
            parts.append(rings_from({"bodies": [body]}))
            continue
        poses = (np.array([body[key]]) for key in ("centre", "normal", "axis"))
        parts.append(shaped(shapes[body["shape"]]).posed(*poses))
    return concatenate(parts)


def test_findings_are_read_as_they_were_written(earring, tmp_path):
    graph, bodies = earring
    write_placement(tmp_path / "placement.json", graph, bodies)
    data = json.loads((tmp_path / "placement.json").read_text(encoding="utf-8"))
    assert data == placement_data(graph, bodies)
    again = bodies_from(data)
    assert again.centres == pytest.approx(bodies.centres, abs=6e-10)
    assert again.normals == pytest.approx(bodies.normals, abs=1e-12)
    shaped_ones = ~bodies.is_ring
    assert (again.is_ring == bodies.is_ring).all()
    assert again.axes[shaped_ones] == pytest.approx(bodies.axes[shaped_ones], abs=1e-12)
    assert again.radii == pytest.approx(bodies.radii, abs=3e-9)
    assert again.wire_radii == pytest.approx(bodies.wire_radii, abs=1e-9)
    for k in np.flatnonzero(shaped_ones):
        one, two = again.shape(int(k)), bodies.shape(int(k))
        assert one.primitives == pytest.approx(two.primitives, abs=2e-9)
        assert one.closings == pytest.approx(two.closings, abs=2e-9)
        assert [strand.part for strand in one.strands] == [strand.part for strand in two.strands]
        for eye, other in zip(one.eyes, two.eyes, strict=True):
            assert (eye.name, eye.closing, eye.closure) == (other.name, other.closing, other.closure)
            assert eye.inside == pytest.approx(other.inside, abs=1e-9)
            assert eye.opening == pytest.approx(other.opening, abs=1e-9)
            assert eye.gate == (None if other.gate is None else pytest.approx(other.gate, abs=1e-9))
    low, high = bodies.bounds()
    assert again.bounds()[0] == pytest.approx(low, abs=1e-8)
    assert again.bounds()[1] == pytest.approx(high, abs=1e-8)


def test_a_shape_is_told_once(earring):
    graph, bodies = earring
    data = placement_data(graph, bodies)
    assert [shape["kind"] for shape in data["shapes"]] == ["ear wire", "oval link", "head pin"]
    kinds = [body["kind"] for body in data["bodies"]]
    assert kinds == ["ear wire", "ring", "oval link", "ring", "oval link", "ring", "head pin"]
    assert [body.get("shape") for body in data["bodies"]] == [0, None, 1, None, 1, None, 2]
    assert [list(body) for body in data["bodies"]] == [
        BODY_KEYS if kind == "ring" else FINDING_KEYS for kind in kinds
    ]


def test_links_say_through_which_eyes(earring):
    graph, bodies = earring
    data = placement_data(graph, bodies)
    assert data["links"] == [[k, k + 1] for k in range(6)]
    for (a, b), eyes in zip(data["links"], data["eyes"], strict=True):
        for body, eye in zip((a, b), eyes, strict=True):
            shape = data["bodies"][body].get("shape")
            assert 0 <= eye < (1 if shape is None else len(data["shapes"][shape]["eyes"]))
    # Either end of an oval link takes a ring: its eye is the one the graph says.
    assert data["eyes"] == graph.link_eyes.tolist()


def test_beads_are_told_with_their_colour(earring):
    pin = placement_data(*earring)["shapes"][2]
    assert [(bead["form"], bead["diameter"], bead["thickness"], bead["hole"]) for bead in pin["beads"]] == [
        ("ball", 4.0, 4.0, 1.0),
        ("disc", 5.0, 1.2, 1.0),
    ]
    assert [bead["colour"] for bead in pin["beads"]] == [[0.1, 0.45, 0.5], [0.8, 0.2, 0.1]]
    assert [bead["density"] for bead in pin["beads"]] == [2.5, None]
    parts = {strand["part"] for strand in pin["strands"]}
    assert parts == {"wire", *(bead["part"] for bead in pin["beads"])}


def test_one_finding_and_one_shape_a_line(earring, tmp_path):
    write_placement(tmp_path / "placement.json", *earring)
    lines = (tmp_path / "placement.json").read_text().splitlines()
    assert sum(line.startswith('  {"name"') for line in lines) == 3 + 7
    for line in lines:
        if line.startswith("  {"):
            json.loads(line.rstrip(","))


def test_the_gate_of_a_clasp_is_told():
    clasp = lobster_clasp()
    graph = piece_graph(Run((Group(GroupKind.FINDING, 1, clasp),)))
    data = placement_data(graph, shaped(clasp.shape))
    gates = {eye["closure"]: eye["gate"] for eye in data["shapes"][0]["eyes"]}
    gate = next(eye.gate for eye in clasp.shape.eyes if eye.closure is Closure.GATE)
    assert gates[Closure.GATE.value] == pytest.approx(gate, abs=1e-9)
    assert gate > 0.0


def every_key(value):
    if isinstance(value, dict):
        yield from value
        for inner in value.values():
            yield from every_key(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from every_key(inner)


def test_the_readme_tells_every_key(reopened, earring):
    text = README.read_text(encoding="utf-8")
    assert f'"version": {VERSION}' in text
    keys = {*every_key(reopened), *every_key(placement_data(*earring))}
    assert {"ahead", "closing", "hole", "axis"} < keys
    assert {key for key in keys if f'"{key}"' not in text and f"`{key}`" not in text} == set()


def test_a_full_disk_leaves_the_old_placement(placed, tmp_path, monkeypatch):
    path = tmp_path / "placement.json"
    path.write_bytes(b"old")

    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(CannotWrite, match="No space left on device"):
        write_placement(path, placed.graph, placed.rings)
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]
