import numpy as np
import pytest

from chaingen.geometry.near import near_pairs
from tests.conftest import random_rings


@pytest.mark.parametrize("margin", [0.0, 0.4])
def test_against_all_pairs(rng, margin):
    rings = random_rings(rng, 200, spread=3.0)
    # A few sizes only, so that searching by size is put to use.
    rings.radii[:] = np.round(rings.radii * 2.0) / 2.0
    rings.wire_radii[:] = 0.05
    reach = rings.radii + rings.wire_radii
    i, j = np.triu_indices(200, 1)
    apart = np.linalg.norm(rings.centres[i] - rings.centres[j], axis=1)
    close = apart <= reach[i] + reach[j] + margin
    assert near_pairs(rings, margin=margin).tolist() == np.column_stack([i, j])[close].tolist()
    assert 200 < close.sum() < 5000


def test_one_ring_has_no_pairs(rng):
    assert near_pairs(random_rings(rng, 1)).shape == (0, 2)
