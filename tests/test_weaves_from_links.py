"""Every weave of the catalogue is found again from its links alone, in some shape."""

from dataclasses import replace

import numpy as np
import pytest

from chaingen.geometry.bodies import Bodies
from chaingen.solve.check import check
from chaingen.solve.link_starts import _hooked, _spread, _twins
from chaingen.solve.motion import images_of
from chaingen.solve.weaves import solve_weave
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.tiling import chain_cells, sheet_cells, tiled, weave_cell
from chaingen.weave.weave import Repeats
from tests.oracles import solid_angle_linking


def bare(name):
    """The weave without its pose; what turned in the pose may turn."""
    weave = find_weave(name)
    rings = tuple(replace(ring, centre=None, axis=None) for ring in weave.rings)
    return replace(weave, pose=None, hand="", rings=rings, turning=weave.turning or bool(weave.pose.twist))


@pytest.mark.slow
@pytest.mark.parametrize("name", weave_names())
def test_a_shape_is_found_from_links_alone(name):
    weave = bare(name)
    graph, state, search, gap = solve_weave(weave, tuple((role.name, role.size) for role in weave.roles))
    assert search.sound >= 1
    assert gap > 0.0
    cells = sheet_cells(3, 3) if weave.repeats is Repeats.SHEET else chain_cells(5)
    piece, _ = tiled(graph, cells)
    rings = images_of(state.rings, state.motion, cells)
    assert check(piece, rings).links_as_designed
    # By another way: the Gauss integral of the links of the first cell.
    for a, b in piece.links[: len(graph.links)]:
        circles = [(rings.centres[k], rings.normals[k], rings.radii[k]) for k in (a, b)]
        assert abs(round(solid_angle_linking(*circles))) == 1


def test_a_square_net_is_spread_to_squares():
    """The standard realisation of the square lattice is the square lattice (Kotani and Sunada 2001)."""
    graph = weave_cell(find_weave("japanese-4-in-1"))
    places, lattice = _spread(graph)
    lengths = np.linalg.norm(lattice, axis=0)
    assert lengths[0] == pytest.approx(lengths[1])
    assert lattice[:, 0] @ lattice[:, 1] == pytest.approx(0.0, abs=1e-9)
    names = list(graph.names)
    large, along = places[names.index("large")], places[names.index("along")]
    # A small ring lies half-way between two large ones.
    assert np.linalg.norm(along - large) == pytest.approx(0.5 * lengths[0])


def test_a_hexagonal_net_is_spread_to_equal_sides():
    weave = find_weave("japanese-12-in-2")
    lattice = _spread(weave_cell(weave))[1]
    sides = [np.linalg.norm(v) for v in (lattice[:, 0], lattice[:, 1])]
    cosine = lattice[:, 0] @ lattice[:, 1] / (sides[0] * sides[1])
    assert sides[0] == pytest.approx(sides[1])
    assert abs(cosine) == pytest.approx(0.5)


def test_doubled_rings_are_twins():
    assert _twins(weave_cell(find_weave("kings-mail-8-in-2"))).tolist() == [0, 0, 2, 2]
    assert _twins(weave_cell(find_weave("european-4-in-1"))).tolist() == [0, 1]


def test_axes_are_turned_to_hook():
    """Of a plain chain of single rings neighbours stand square to each other and to the chain (derived)."""
    graph = weave_cell(find_weave("one-in-one"))
    rng = np.random.default_rng(5)
    normals = rng.normal(size=(2, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    rings = Bodies(np.array([[0.0, 0.0, 0.0], [4.0, 0.0, 0.0]]), normals, graph.radii, graph.wire_radii)
    shifts = np.zeros((len(graph.links), 3))
    shifts[:, 0] = 8.0 * graph.offsets[:, 0]
    turned = _hooked(graph, rings.centres, shifts, normals)
    assert turned[0] @ turned[1] == pytest.approx(0.0, abs=0.02)
    assert turned[:, 0] == pytest.approx(0.0, abs=0.02)
