from dataclasses import replace

import numpy as np
import pytest

from chaingen.geometry.bodies import Bodies
from chaingen.solve import rough
from chaingen.solve.contacts import Contacts, State, jacobian, stepped
from chaingen.solve.motion import PERIOD, UNKNOWNS, Motion, MotionKind
from chaingen.solve.slp import stretch, widen
from chaingen.solve.taut import taut_cell, taut_row
from chaingen.solve.weaves import rough_state
from chaingen.weave.catalogue import find_weave
from chaingen.weave.graph import cell_graph, row_graph
from chaingen.weave.tiling import weave_cell
from tests.conftest import join, rosette, side, size

RING = size(4.0)


def start_of(cell):
    graph = cell_graph(cell)
    return graph, State(
        rough.row_pose(graph.groups), Motion(MotionKind.SHIFT, rough.cell_period(graph.groups))
    )


def weave_start(name):
    weave = find_weave(name)
    graph = weave_cell(weave)
    return graph, rough_state(weave, graph)


def smallest_distances(contacts, state):
    rows = contacts.rows(state, 50.0)
    best = {}
    for k in np.flatnonzero(rows.is_minimum):
        key = (rows.first[k], rows.second[k], rows.image[k])
        if key not in best or rows.distance[k] < rows.distance[best[key]]:
            best[key] = k
    return rows, best


@pytest.mark.parametrize("case", ["shift", "turn", "screw", "sheet"])
def test_derivatives_against_finite_differences(case):
    if case == "sheet":
        graph, state = weave_start("japanese-4-in-1")
    else:
        graph, state = start_of((rosette(3, RING), join(2, RING)))
    rng = np.random.default_rng(4)
    rings = rough.shaken(state.rings, rng, 0.05)
    motion = state.motion
    if case == "turn":
        x = np.repeat(rough.row_positions(graph.groups), [3, 2])
        rings = rough.bent(rings, x, 8 * motion.period)
        motion = Motion(MotionKind.TURN, cells=8)
    elif case == "screw":
        motion = replace(motion, twist=0.3, turning=True, pitch=2.0)
    state = State(rings, motion)
    contacts = Contacts(graph)
    rows, best = smallest_distances(contacts, state)
    free = np.ones(len(rings), dtype=bool)
    slopes = jacobian(rows, state, free).toarray()
    h = 1e-6
    for column in range(slopes.shape[1]):
        step = np.zeros(slopes.shape[1])
        step[column] = h
        after_rows, after = smallest_distances(contacts, stepped(state, free, step))
        before_rows, before = smallest_distances(contacts, stepped(state, free, -step))
        for key, k in best.items():
            numeric = (after_rows.distance[after[key]] - before_rows.distance[before[key]]) / (2.0 * h)
            assert slopes[k, column] == pytest.approx(numeric, abs=2e-5)


def test_widening_finds_the_links_from_a_mess():
    graph = row_graph((rosette(3, size(6.0)),))
    contacts = Contacts(graph)
    right = 0
    for seed in range(10):
        rng = np.random.default_rng(seed)
        normals = rng.normal(size=(3, 3))
        normals /= np.linalg.norm(normals, axis=1)[:, None]
        rings = Bodies(6.0 * rng.uniform(-1, 1, (3, 3)), normals, graph.radii, graph.wire_radii)
        right += widen(contacts, State(rings, Motion())).value > 0.0
    assert right >= 9


def test_held_rings_stay():
    groups = (side(1, RING),) * 4
    graph = row_graph(groups)
    state = State(rough.shaken(rough.row_pose(groups), np.random.default_rng(2), 0.1), Motion())
    free = np.array([False, True, True, False])
    found = widen(Contacts(graph), state, free=free)
    assert np.array_equal(found.state.rings.centres[~free], state.rings.centres[~free])
    assert not np.array_equal(found.state.rings.centres[free], state.rings.centres[free])


def test_evidence_names_the_contacts_that_hold_the_optimum():
    graph, state = start_of((side(1, RING),))
    found = widen(Contacts(graph), state)
    assert found.converged
    assert found.forces.sum() == pytest.approx(1.0)
    # In a plain chain the optimum is held between links and next-but-one neighbours.
    assert len(found.holding) >= 2


@pytest.mark.parametrize("count", [2, 5, 9])
def test_taut_chain_of_single_rings(count):
    """Outside length N ID + 2 WD (closed form)."""
    groups = (side(1, RING),) * count
    graph = row_graph(groups)
    placed = widen(Contacts(graph), State(rough.row_pose(groups), Motion())).state.rings
    taut = taut_row(graph, placed)
    expected = count * RING.inside_diameter + 2.0 * RING.wire_diameter
    assert taut.length == pytest.approx(expected, abs=1e-3)


def test_taut_pitch_is_the_inside_diameter():
    graph, state = start_of((side(1, RING),))
    placed = widen(Contacts(graph), state).state
    assert taut_cell(graph, placed.rings, placed.motion).length == pytest.approx(
        2.0 * RING.inside_diameter, abs=1e-3
    )


def test_taut_two_in_one_by_hand():
    """Two wires lie side by side in the single ring's hole, at half a wire off its middle and touching its
    inside (by hand)."""
    graph, state = start_of((side(2, RING), join(1, RING)))
    placed = widen(Contacts(graph), state).state
    a, r = RING.inside_diameter / 2.0 - RING.wire_radius, RING.wire_radius
    # From pair to single: the pair's wire reaches its far end R, the single's wire lies the hole's reach
    # further in.
    expected = 2.0 * (RING.radius + np.sqrt(a * a - r * r))
    assert taut_cell(graph, placed.rings, placed.motion).length == pytest.approx(expected, abs=2e-3)


def test_stretching_never_ends_in_an_overlap():
    graph, state = start_of((rosette(3, RING), join(1, RING)))
    contacts = Contacts(graph)
    placed = widen(contacts, state).state

    def period(now):
        slope = np.zeros(5 * len(graph) + UNKNOWNS)
        slope[PERIOD] = 1.0
        return now.motion.period, slope

    found = stretch(contacts, placed, period)
    assert found.value > placed.motion.period
    assert found.gap > -1e-4
