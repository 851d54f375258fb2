"""Models as kinds and places: every body is there, of the right mesh and material, once for each part."""

from dataclasses import replace

import numpy as np
import pytest

from chaingen.findings.pins import Threaded, head_pin
from chaingen.make.metals import RingMetals
from chaingen.model.kinds import model_of
from chaingen.model.templates import templates
from chaingen.solve.place import place
from chaingen.stock.metals import find_metal
from chaingen.weave.groups import Group, GroupKind, Run
from tests.conftest import rosette, side, size

SILVER, COPPER = find_metal("sterling silver"), find_metal("copper")


def placed(*groups, repeat=1):
    placement = place(Run(groups, repeat=repeat), starts=1)
    return placement.graph, placement.rings


def of_one(graph, metal=SILVER):
    return RingMetals((metal,), np.zeros(len(graph), dtype=np.int64))


def test_rings_of_a_size_and_metal_are_one_kind():
    graph, bodies = placed(side(2, size(4.0)), side(1, size(4.0)), repeat=3)
    metals = RingMetals((SILVER, COPPER), np.arange(len(graph)) % 2)
    model = model_of(bodies, graph, metals)
    assert sorted(kind.material for kind in model.kinds) == [0, 1]
    assert [material.name for material in model.materials] == ["sterling silver", "copper"]
    assert sorted(np.concatenate([kind.bodies for kind in model.kinds]).tolist()) == list(range(len(graph)))
    for kind in model.kinds:
        assert (metals.of_ring[kind.bodies] == metals.of_ring[kind.bodies[0]]).all()
    assert len({kind.name for kind in model.kinds}) == len(model.kinds)


def test_places_are_those_of_the_bodies():
    graph, bodies = placed(rosette(3, size(4.0)), side(1, size(4.0)), repeat=2)
    model = model_of(bodies, graph, of_one(graph))
    assert np.allclose(model.rotations[:, :, 2], bodies.normals)
    assert np.allclose(model.rotations @ np.swapaxes(model.rotations, 1, 2), np.eye(3))
    assert np.allclose(np.linalg.det(model.rotations), 1.0)
    assert model.centres is bodies.centres
    assert model.names == graph.names


def test_findings_of_one_shape_with_other_beads_are_other_kinds():
    def pin(name, colour):
        bead = Threaded("ball", 6.0, None, 1.0, colour)
        return Group(GroupKind.FINDING, 1, replace(head_pin(beads=(bead,)), name=name))

    graph, bodies = placed(side(1, size(4.0)), pin("red", (0.8, 0.1, 0.1)))
    other, there = placed(side(1, size(4.0)), pin("blue", (0.1, 0.1, 0.8)))
    both = replace(
        graph,
        members=graph.members + tuple(replace(m, name=f"{m.name}x") for m in other.members),
        links=np.concatenate([graph.links, other.links + len(graph)]),
        offsets=np.concatenate([graph.offsets, other.offsets]),
        eyes=np.concatenate([graph.eyes, other.eyes]),
    )
    from chaingen.geometry.bodies import concatenate

    whole = concatenate([bodies, there])
    model = model_of(whole, both, of_one(both))
    beads = [kind for kind in model.kinds if not model.materials[kind.material].metallic]
    assert len(beads) == 2
    assert {model.materials[kind.material].colour for kind in beads} == {(0.8, 0.1, 0.1), (0.1, 0.1, 0.8)}
    assert [len(kind.bodies) for kind in beads] == [1, 1]
    # Every facet of every body is in just one kind.
    meshes, of_body = templates(whole, 0.01)
    facets = sum(len(meshes[k].faces) for k in of_body)
    assert sum(len(kind.mesh.faces) * len(kind.bodies) for kind in model.kinds) == facets


def test_equal_sizes_of_two_names_are_told_apart():
    graph, bodies = placed(side(1, size(4.0, name="one")), side(1, size(4.0, name="two")), repeat=2)
    model = model_of(bodies, graph, of_one(graph))
    assert [kind.name for kind in model.kinds] == ["ring one, sterling silver", "ring two, sterling silver"]


@pytest.mark.parametrize("tolerance", [0.1, 0.01])
def test_meshes_are_as_fine_as_asked(tolerance):
    graph, bodies = placed(side(1, size(4.0)))
    (kind,) = model_of(bodies, graph, of_one(graph), tolerance=tolerance).kinds
    radius, wire = float(bodies.radii[0]), float(bodies.wire_radii[0])
    x, y, z = kind.mesh.vertices[kind.mesh.faces].mean(axis=1).T
    inside = wire - np.hypot(np.hypot(x, y) - radius, z)
    assert 0.0 < inside.max() <= tolerance
