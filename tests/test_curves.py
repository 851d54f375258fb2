"""Curves that rows are laid along: their lengths, tangents and ends."""

import numpy as np
import pytest
from scipy.special import ellipe

from chaingen.solve.drape.curves import (
    by_arc_length,
    catenary,
    hairpin,
    laid,
    round_oval,
    stadium,
    straight,
    wave,
)
from tests.conftest import rings_of

UP = np.array([0.0, 0.0, 1.0])
FRONT = np.array([0.0, -1.0, 0.0])

TRACKS = {
    "catenary": lambda s: catenary(s, 100.0, 70.0),
    "hairpin": lambda s: hairpin(s, 100.0, 12.0),
    "wave": lambda s: by_arc_length(wave(100.0, 2.0), s, normal=UP),
    "stadium": lambda s: by_arc_length(stadium(100.0, 6.0), s, normal=FRONT),
    "straight": lambda s: straight(s, np.zeros(3), np.array([1.0, 0.0, 0.0]), UP),
}


@pytest.mark.parametrize("name", TRACKS)
def test_arc_length_and_tangent(name):
    """A step of ds along the curve is ds long and goes along the tangent; side is square to it."""
    s, h = np.linspace(0.5, 99.5, 60), 1e-3
    here, ahead, behind = (TRACKS[name](s + d) for d in (0.0, h, -h))
    step = (ahead.points - behind.points) / (2.0 * h)
    assert step == pytest.approx(here.along, abs=2e-3)
    assert np.linalg.norm(here.along, axis=1) == pytest.approx(np.ones(60))
    assert np.einsum("ma,ma->m", here.along, here.side) == pytest.approx(np.zeros(60), abs=1e-9)
    assert np.linalg.norm(here.side, axis=1) == pytest.approx(np.ones(60))


@pytest.mark.parametrize("curve", [catenary, hairpin])
def test_ends(curve):
    ends = curve(np.array([0.0, 100.0]), 100.0, 20.0).points
    assert ends == pytest.approx(np.array([[0.0, 0.0, 0.0], [20.0, 0.0, 0.0]]), abs=1e-9)


@pytest.mark.parametrize("off", [0.0, 3.0, 12.0])
def test_offset_oval_is_longer_by_a_circle(off):
    """Steiner: an outside parallel of a convex curve at distance h is longer by 2 pi h."""
    curve = round_oval(29.0, 21.5, off)
    length = np.linalg.norm(np.diff(curve, axis=0), axis=1).sum()
    ellipse = 4.0 * 29.0 * ellipe(1.0 - (21.5 / 29.0) ** 2)
    assert length == pytest.approx(ellipse + 2.0 * np.pi * off, rel=1e-5)


def test_closed_curves_close():
    for curve, length in ((stadium(80.0, 5.0), 80.0), (stadium(80.0, 99.0), 80.0)):
        assert curve[0] == pytest.approx(curve[-1], abs=1e-9)
        assert np.linalg.norm(np.diff(curve, axis=0), axis=1).sum() == pytest.approx(length, rel=1e-5)
        assert curve[:, 2].max() == pytest.approx(0.0, abs=1e-9)


def test_a_row_keeps_its_shape_in_each_group():
    """Laid along a curve, a ring keeps its place against the middle of its group."""
    row = rings_of(((1, 0.3, 0.2), (0, 0.6, 0.8), 2, 0.4), ((5, -0.3, 0.1), (0.8, 0, 0.6), 2, 0.4))
    middle = np.array([1.2, 5.2])
    track = catenary(middle, 30.0, 20.0)
    rings = laid(row, middle, track)
    for k in range(2):
        frame = np.stack([track.along[k], track.side[k], np.cross(track.along[k], track.side[k])])
        local = row.centres[k] - np.array([middle[k], 0.0, 0.0])
        assert frame @ (rings.centres[k] - track.points[k]) == pytest.approx(local)
        assert frame @ rings.normals[k] == pytest.approx(row.normals[k])
