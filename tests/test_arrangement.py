import numpy as np
import pytest

from chaingen.geometry.arrangement import hand, plane_between
from chaingen.geometry.bodies import Bodies
from chaingen.solve.rough import group_pose
from tests.conftest import random_rings, rings_of, rosette, size

PAIR = np.array([[0, 1]])


def test_side_by_side_and_crossed():
    beside = rings_of(((0, 0, 0), (0, 1, 0), 2.0, 0.1), ((0.3, 0.5, 0), (0.1, 1, 0), 2.0, 0.1))
    assert plane_between(beside, PAIR).tolist() == [True]
    # Crossed like an X seen from above, the smaller one inside the larger: not linked, yet no plane passes
    # between them.
    crossed = rings_of(((0, 0, 0), (0.3, 1, 0), 2.0, 0.1), ((0, 0, 0), (-0.3, 1, 0), 1.7, 0.1))
    assert plane_between(crossed, PAIR).tolist() == [False]


def test_plane_between_against_separating_plane_by_linear_programming(rng):
    """Two discs are disjoint iff a linear program finds a plane with one's rim on either side."""
    from scipy.optimize import linprog

    from tests.oracles import circle_points

    rings = random_rings(rng, 120, spread=0.8)
    pairs = np.column_stack([np.arange(0, 120, 2), np.arange(1, 120, 2)])
    found = plane_between(rings, pairs)
    angles = np.linspace(0.0, 2.0 * np.pi, 200)
    for k, (i, j) in enumerate(pairs):
        p = circle_points(rings.centres[i], rings.normals[i], rings.radii[i], angles)
        q = circle_points(rings.centres[j], rings.normals[j], rings.radii[j], angles)
        rows = np.vstack([np.column_stack([p, -np.ones(200)]), np.column_stack([-q, np.ones(200)])])
        answer = linprog(np.zeros(4), A_ub=rows, b_ub=-1e-6 * np.ones(400), bounds=[(-1e3, 1e3)] * 4)
        assert found[k] == (answer.status == 0)
    assert 5 < (~found).sum() < 55


@pytest.mark.parametrize("count", range(3, 9))
def test_rosettes_have_a_hand_and_mirroring_changes_it(count):
    rings = group_pose(rosette(count, size(9.0, 0.5)))
    mirrored = Bodies(rings.centres * [1, 1, -1], rings.normals * [1, 1, -1], rings.radii, rings.wire_radii)
    assert abs(hand(rings)) == 1
    assert hand(mirrored) == -hand(rings)
    flips = Bodies(
        rings.centres,
        rings.normals * np.where(np.arange(count) % 2, -1.0, 1.0)[:, None],
        rings.radii,
        rings.wire_radii,
    )
    assert hand(flips) == hand(rings)


def test_rings_that_turn_different_ways_have_no_hand():
    """Three of one hand and a fourth of the other: linked each with each, no choice of senses gives one
    sign."""
    three = group_pose(rosette(3, size(9.0, 0.2)))
    four = None
    rng = np.random.default_rng(1)
    for _ in range(4000):
        normal = rng.normal(size=3)
        extra = rings_of((rng.normal(size=3), normal, 4.0, 0.1))
        four = Bodies(
            *(
                np.concatenate([getattr(three, f), getattr(extra, f)])
                for f in ("centres", "normals", "radii", "wire_radii")
            )
        )
        from chaingen.geometry.linking import linked

        if linked(four, np.array([[0, 3], [1, 3], [2, 3]])).all() and hand(four) == 0:
            break
    else:
        pytest.fail("no such ring found")
    assert hand(three) != 0
    assert hand(four) == 0


def test_rings_not_all_linked_have_no_hand():
    rings = group_pose(rosette(4, size(9.0, 0.5)))
    rings.centres[0] += [0.0, 0.0, 40.0]
    assert hand(rings) == 0
