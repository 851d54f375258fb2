import networkx as nx
import numpy as np
import pytest

from chaingen.weave.catalogue import find_weave
from chaingen.weave.tiling import chain_cells, held, sheet_cells, tiled, weave_cell
from chaingen.weave.weave import Repeats, Role, Weave, WeaveLink, WeaveRing

ROLE = Role("link", 5.0, 1.0)


def weave_of(names, links, *, repeats=Repeats.SHEET, caged=None, finish=()):
    cages = caged or {}
    rings = tuple(WeaveRing(name, "link", caged_by=cages.get(name, ())) for name in names)
    return Weave(
        "w",
        "W",
        "",
        "",
        "",
        repeats,
        (ROLE,),
        rings,
        tuple(WeaveLink(*link) for link in links),
        finish=finish,
    )


GRID = weave_of("ab", [("a", "b"), ("a", "b", -1), ("a", "b", 0, -1), ("a", "b", -1, -1)])


def slowly(weave, cells, around=0):
    """Links of a piece, ring by ring and cell by cell."""
    there = {tuple(cell) for cell in cells.tolist()}
    found = set()
    for i, j in there:
        for link in weave.links:
            column = (i + link.along) % around if around else i + link.along
            if (column, j + link.across) in there:
                found.add(frozenset([(i, j, link.first), (column, j + link.across, link.second)]))
    return found


@pytest.mark.parametrize("around", [0, 5])
def test_links_of_a_piece_by_a_slow_count(around):
    cells = sheet_cells(5, 3)
    graph, order = tiled(weave_cell(GRID), cells, around=around, sheet=True)
    names = [(*cells[k // 2].tolist(), "ab"[k % 2]) for k in order]
    assert {frozenset([names[a], names[b]]) for a, b in graph.links} == slowly(GRID, cells, around)
    assert graph.names[0] == "1.1a"
    assert len(set(graph.names)) == len(graph)


def test_dangling_corners_of_a_sheet_are_left_off():
    cell, cells = weave_cell(GRID), sheet_cells(4, 3)
    kept = held(GRID, cell, cells, np.ones((12, 2), dtype=bool))
    graph, _ = tiled(cell, cells, kept=kept)
    assert graph.degrees.min() == 2
    # The first ring of the first cell and the second of the last hang on one other only.
    assert np.argwhere(~kept).tolist() == [[0, 0], [11, 1]]
    assert nx.is_connected(graph.network())


def test_an_island_is_left_off():
    cell, cells = weave_cell(GRID), np.concatenate([sheet_cells(4, 4), sheet_cells(2, 2) + 9])
    kept = held(GRID, cell, cells, np.ones((20, 2), dtype=bool))
    assert not kept[16:].any()
    assert kept[:16].sum() == 30


def test_a_caged_ring_needs_its_cage():
    weave = weave_of(
        "abo",
        [("a", "b"), ("b", "a", 1)],
        repeats=Repeats.CHAIN,
        caged={"o": (("b", 0, 0), ("a", 1, 0))},
    )
    cells = chain_cells(4)
    kept = held(weave, weave_cell(weave), cells, np.ones((4, 3), dtype=bool))
    # Beyond the last cell there is no ring to hold the last caged one.
    assert kept[:, 2].tolist() == [True, True, True, False]
    assert kept[:, :2].all()
    loop = held(weave, weave_cell(weave), cells, np.ones((4, 3), dtype=bool), around=4)
    assert loop.all()


def test_degrees_deep_inside_equal_those_of_the_cell():
    weave = find_weave("japanese-4-in-1")
    graph, order = tiled(weave_cell(weave), sheet_cells(5, 5), sheet=True)
    n = len(weave.rings)
    middle = [k for k, place in enumerate(order) if place // n == 12]
    assert [int(graph.degrees[k]) for k in middle] == list(weave.degrees().values())


def test_pairs_that_hang_on_one_pair_only_dangle_too():
    weave = find_weave("japanese-8-in-2")
    cell, cells = weave_cell(weave), sheet_cells(3, 3)
    kept = held(weave, cell, cells, np.ones((9, len(cell)), dtype=bool))
    # Of 18 pairs of large rings' neighbours only the 12 pairs between two large pairs stay: 24 small rings.
    roles = np.array([ring.role for ring in weave.rings])
    assert kept[:, roles == "large"].all()
    assert kept[:, roles == "small"].sum() == 24
