"""How far chains bend and twist, against closed forms and against the check."""

import numpy as np
import pytest
from scipy.optimize import brentq

from chaingen.solve.check import check
from chaingen.solve.supple import STILL_TAUT, TWIST_STEP, supple
from chaingen.weave.graph import row_graph
from chaingen.weave.groups import Run
from tests.conftest import join, rosette, side, size


def free_twist(inside, wire):
    """Twist of a joint of equal circles R, p apart, planes twisted by a from perpendicular (closed form):

    distance = 2 R - p if p / R >= 1 + sin a, else sqrt(2 R^2 (1 - sin a) - p^2 (1 - sin a) / (1 + sin a)).
    Wires touch where it is 2 r; p is the taut pitch less the part by which a chain still counts as taut.
    """
    big, small, p = 0.5 * (inside + wire), 0.5 * wire, STILL_TAUT * inside

    def gap(a):
        s = np.sin(a)
        if p / big >= 1.0 + s:
            return 2.0 * big - p - 2.0 * small
        return np.sqrt(max(2.0 * big**2 * (1.0 - s) - p**2 * (1.0 - s) / (1.0 + s), 0.0)) - 2.0 * small

    return brentq(gap, np.arcsin(p / big - 1.0) - 1e-9, 0.5 * np.pi)


@pytest.mark.parametrize(("inside", "wire"), [(4.0, 1.0), (3.0, 1.0), (6.0, 1.0)])
def test_free_twist_of_a_taut_joint(inside, wire):
    found = supple(Run((side(1, size(inside, wire)),), 10))
    exact = free_twist(inside, wire)
    # Without any loss of length it is sin a = 1 - 2 r / R; one that may lose a little twists a little more.
    assert exact > np.arcsin(1.0 - 2.0 * wire / (inside + wire))
    for twist in found.twist:
        assert twist == pytest.approx(exact, abs=TWIST_STEP / 32.0)


def row_of(run, rings):
    groups = run.cell * len(rings)
    count, row = 0, []
    for group in groups:
        if count == len(rings):
            break
        row.append(group)
        count += group.count
    return row_graph(tuple(row))


@pytest.mark.parametrize(
    "run",
    [
        Run((side(1, size(4.0, 1.0)),), 10),
        Run((side(2, size(4.0, 1.0)),), 10),
        Run((side(3, size(5.0, 1.0)),), 10),
        Run((side(2, size(4.0, 1.0)), join(1, size(4.0, 1.0))), 10),
    ],
    ids=["single", "pairs", "threes", "two-in-one"],
)
def test_bent_and_twisted_parts_are_sound(run):
    found = supple(run)
    for rings in (*(bend.rings for bend in found.bends), found.twisted):
        report = check(row_of(run, rings), rings)
        assert report.links_as_designed
        assert report.smallest_gap > -1e-5
    for bend in found.bends:
        group = row_of(run, bend.rings).group_of
        middles = np.stack(
            [np.bincount(group, weights=bend.rings.centres[:, k]) / np.bincount(group) for k in (0, 1)]
        )
        assert np.linalg.norm(middles, axis=0) == pytest.approx(
            np.full(group.max() + 1, bend.radius), rel=0.25
        )
        assert bend.groups >= 6.0


def test_tight_chains_bend_less_than_loose_ones():
    """A weave with less room to spare binds sooner."""
    tight, loose = (supple(Run((side(2, size(inside, 1.0)),), 10)) for inside in (2.66, 4.0))
    assert all(bend.binds for bend in tight.bends)
    for a, b in zip(tight.bends, loose.bends, strict=True):
        assert a.radius > 1.5 * b.radius
        assert a.groups > b.groups


@pytest.mark.slow
def test_a_rosette_chain_twists_more_one_way():
    """Its rosettes turn one way, so that the two ways differ."""
    one, other = supple(Run((rosette(3, size(4.0)), join(2, size(4.0))), 8)).twist
    assert abs(one - other) > np.radians(2.0)


def test_what_does_not_fit_is_not_bent():
    assert supple(Run((side(2, size(2.0, 1.0)),), 10)) is None
