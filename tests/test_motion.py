from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaingen.geometry.bodies import Bodies
from chaingen.solve.motion import UNKNOWNS, Motion, MotionKind, images_of, repeat_cell


@given(
    period=st.floats(1.0, 9.0),
    across=st.tuples(st.floats(-6.0, 6.0), st.floats(1.0, 9.0)),
    reach=st.floats(1.0, 12.0),
)
def test_images_of_a_sheet_are_all_that_reach(period, across, reach):
    motion = Motion(MotionKind.SHEET, period, across=across)
    found = {tuple(cell) for cell in motion.images(reach, 0.0).tolist()}
    # Each pair of cells once: a cell and its opposite are the same pair.
    assert all((-i, -j) not in found for i, j in found if (i, j) != (0, 0))
    slow = {
        (i, j)
        for i in range(-14, 15)
        for j in range(-14, 15)
        if np.hypot(i * period + j * across[0], j * across[1]) < reach * (1.0 - 1e-9)
    }
    assert slow <= found | {(-i, -j) for i, j in found}


@pytest.mark.parametrize(
    "motion",
    [
        Motion(MotionKind.SHIFT, 4.0, twist=0.7, turning=True, pitch=3.0),
        Motion(MotionKind.SHIFT, 4.0, twist=0.7),
        Motion(MotionKind.SHEET, 4.0, across=(1.0, 3.0)),
        Motion(MotionKind.TURN, cells=7),
    ],
)
def test_slopes_of_image_points_by_finite_differences(motion):
    rng = np.random.default_rng(3)
    cells = rng.integers(-3, 4, size=(9, 2))
    if motion.kind is not MotionKind.SHEET:
        cells[:, 1] = 0
    own = rng.normal(size=(9, 3))

    def points(motion):
        rotations, translations = motion.transforms(cells)
        return np.einsum("kab,kb->ka", rotations, own) + translations

    slopes = motion.slopes(cells, points(motion))
    h = 1e-6
    for unknown in range(UNKNOWNS):
        step = np.zeros(UNKNOWNS)
        step[unknown] = h
        numeric = (points(motion.stepped(step)) - points(motion.stepped(-step))) / (2.0 * h)
        assert slopes[:, unknown] == pytest.approx(numeric, abs=1e-7)


def test_images_follow_one_another_by_the_same_motion():
    cell = Bodies(np.array([[0.0, 1.0, 0.0]]), np.array([[0.0, 0.0, 1.0]]), np.full(1, 2.0), np.full(1, 0.4))
    motion = Motion(MotionKind.SHIFT, 3.0, twist=0.5 * np.pi)
    row = repeat_cell(cell, motion, 5)
    assert row.centres[4] == pytest.approx([12.0, 1.0, 0.0])
    assert row.normals[1] == pytest.approx([0.0, -1.0, 0.0])
    again = images_of(cell, replace(motion, twist=-motion.twist), np.array([[-1, 0]]))
    assert again.centres[0] == pytest.approx([-3.0, 0.0, 1.0])
