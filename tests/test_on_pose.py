"""Poses on the way to rest, as they are shown: a scene settles as it does unseen, held from the start."""

import numpy as np
import pytest

from chaingen import build, drape, parse_design
from chaingen.design.starter import starter_design
from chaingen.design.weave_starter import starter_weave
from chaingen.geometry.solids import SolidKind
from chaingen.solve.check import check
from chaingen.weave.catalogue import find_weave

CHAIN = starter_design("two-in-one", repeat=5)
SHEET = starter_weave(find_weave("european-4-in-1"), columns=3, rows=3)


def placed(text, scene):
    return build(parse_design(text.replace("scenes = []", f"scenes = [{scene}]")))


@pytest.mark.parametrize(
    ("text", "scene", "kind"),
    [
        (CHAIN, '{ kind = "hang" }', SolidKind.BAR),
        (CHAIN, '{ kind = "table" }', SolidKind.PLANE),
        (SHEET, '{ kind = "hang" }', SolidKind.BAR),
        (SHEET, '{ kind = "table" }', SolidKind.PLANE),
    ],
)
def test_what_is_shown_changes_nothing(text, scene, kind):
    result = placed(text, scene)
    shown = []
    seen = drape(result, on_pose=lambda *pose: shown.append(pose)).drapes[0]
    unseen = drape(result).drapes[0]
    np.testing.assert_array_equal(seen.rings.centres, unseen.rings.centres)
    np.testing.assert_array_equal(seen.rings.normals, unseen.rings.normals)
    assert seen.steps == unseen.steps
    # The start and every step; each with what holds the piece, before it settles.
    assert len(shown) == seen.steps + 1
    assert all(solid.kind is kind for solid in shown[0][1])
    assert all(graph.names == seen.graph.names for _, _, graph in shown)
    assert len(shown[0][1]) == len(seen.solids) > 0
    # Links stay as designed all the way, which is what a scene that plays may show.
    for bodies, *_ in shown[:: max(1, len(shown) // 8)]:
        assert check(seen.graph, bodies).links_as_designed
    np.testing.assert_allclose(shown[-1][0].centres, seen.rings.centres, atol=0.05)


def test_it_comes_down_from_its_start_to_its_rest():
    heights = []
    result = placed(CHAIN, '{ kind = "swag" }')
    rest = drape(result, on_pose=lambda bodies, *_: heights.append(float(bodies.centres[:, 2].mean())))
    rest = rest.drapes[0]
    assert heights[-1] < heights[0]
    assert heights[-1] == pytest.approx(float(rest.rings.centres[:, 2].mean()), abs=0.02)


@pytest.mark.parametrize(
    "text",
    [
        starter_design("two-in-one", repeat=20),
        starter_weave(find_weave("spiral-4-in-1"), repeat=70),
    ],
)
def test_a_worn_piece_is_shown_with_the_graph_that_closes_it(text):
    """Of a row of groups a join closes it, of a weave the links of its last cell with its first."""
    result = placed(text, '{ kind = "wrist" }')
    graphs = []
    rest = drape(result, on_pose=lambda bodies, _, graph: graphs.append((len(bodies), graph))).drapes[0]
    assert rest.reached, rest.why
    for count, graph in graphs:
        assert count == len(graph)
        assert graph.names == rest.graph.names
        assert graph.links.tolist() == rest.graph.links.tolist()
    assert len(graphs[0][1].links) > len(result.placement.graph.links)
