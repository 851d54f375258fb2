import numpy as np
import pytest

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.linking import crossings, linked
from tests.conftest import random_rings, rings_of
from tests.oracles import outside_linking, solid_angle_linking

PAIR = np.array([[0, 1]])


def test_two_hooked_rings_and_two_apart():
    hooked = rings_of(((0, 0, 0), (0, 0, 1), 1.0, 0.1), ((1, 0, 0), (0, 1, 0), 1.0, 0.1))
    apart = rings_of(((0, 0, 0), (0, 0, 1), 1.0, 0.1), ((2.5, 0, 0), (0, 1, 0), 1.0, 0.1))
    poked = rings_of(((0, 0, 0), (0, 0, 1), 2.0, 0.1), ((0, 0, 0.2), (0, 1, 0), 1.0, 0.1))
    assert linked(hooked, PAIR).tolist() == [True]
    assert linked(apart, PAIR).tolist() == [False]
    # A small ring through the hole of a large one crosses its disc twice and is free.
    assert crossings(poked, PAIR[:, ::-1].copy())[0].tolist() == [2]
    assert linked(poked, PAIR).tolist() == [False]


def test_random_pairs_against_gauss_integral(rng):
    rings = random_rings(rng, 300, spread=0.7)
    pairs = np.column_stack([np.arange(0, 300, 2), np.arange(1, 300, 2)])
    _, sign = crossings(rings, pairs)
    seen = set()
    for k, (i, j) in enumerate(pairs):
        number = solid_angle_linking(
            (rings.centres[i], rings.normals[i], rings.radii[i]),
            (rings.centres[j], rings.normals[j], rings.radii[j]),
        )
        if abs(number - round(number)) < 0.05:
            assert abs(sign[k]) == abs(round(number))
            seen.add(int(sign[k]))
    assert seen == {-1, 0, 1}


def test_linking_is_symmetric_and_rigid(rng):
    rings = random_rings(rng, 400, spread=0.7)
    pairs = np.column_stack([np.arange(0, 400, 2), np.arange(1, 400, 2)])
    _, there = crossings(rings, pairs)
    _, back = crossings(rings, pairs[:, ::-1].copy())
    assert there.tolist() == back.tolist()
    mirrored = Bodies(rings.centres * [1, 1, -1], rings.normals * [1, 1, -1], rings.radii, rings.wire_radii)
    # A mirror turns a circle's sense about its mirrored normal, and the linking number's sign, for both rings
    # alike.
    assert crossings(mirrored, pairs)[0].tolist() == crossings(rings, pairs)[0].tolist()
    assert crossings(mirrored, pairs)[1].tolist() == (-there).tolist()


@pytest.mark.parametrize("distance", [1.999999, 2.000001])
def test_the_border_between_linked_and_not(distance):
    rings = rings_of(((0, 0, 0), (0, 0, 1), 1.0, 0.0), ((distance, 0, 0), (0, 1, 0), 1.0, 0.0))
    assert linked(rings, PAIR).tolist() == [distance < 2.0]


def test_random_pairs_against_an_outside_linking_number(rng):
    """SnapPy computes the linking number of the polygons from an exact diagram."""
    rings = random_rings(rng, 80, spread=0.6)
    pairs = np.column_stack([np.arange(0, 80, 2), np.arange(1, 80, 2)])
    outside = [
        outside_linking(*((rings.centres[k], rings.normals[k], rings.radii[k]) for k in pair), segments=20)
        for pair in pairs
    ]
    assert linked(rings, pairs).tolist() == [number == 1 for number in outside]
    assert 5 < sum(outside) < 35
