import errno
import json
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaingen.errors import CannotWrite
from chaingen.geometry.bodies import Bodies
from chaingen.model.placement_file import VERSION, placement_data, write_placement
from chaingen.solve.check import check
from chaingen.solve.place import place
from chaingen.weave.graph import piece_graph
from chaingen.weave.groups import Run
from tests.conftest import join, random_rings, rosette, side, size

README = Path(__file__).parent.parent / "README.md"
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
    assert list(reopened) == ["format", "version", "unit", "bodies", "links"]
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


def test_the_readme_tells_every_key(reopened):
    text = README.read_text(encoding="utf-8")
    assert f'"version": {VERSION}' in text
    for key in [*reopened, *BODY_KEYS]:
        assert f'"{key}"' in text, key


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
