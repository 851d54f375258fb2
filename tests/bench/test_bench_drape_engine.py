"""A chain hung on a peg: ours against a general rigid-body engine, in one run. No time is asserted.

The engine steps rings with exact torus distance fields through time, strongly damped so that it settles as
fast as it can. It is at rest when no ring has moved, or turned at its rim, faster than `SLOW` for ten steps
on end. It starts from the same poses on the same peg. What its rings are still pushed by then is recorded
beside its time: it is more than ours are, and longer runs did not bring it down to that, because contacts
chatter.

Run on demand: pytest tests/bench --benchmark-enable --benchmark-only --benchmark-group-by=group
"""

from dataclasses import dataclass
from time import perf_counter

import mujoco
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from chaingen.design.scene import Scene, SceneKind
from chaingen.geometry.bodies import axes_across
from chaingen.solve.drape.drape import drape
from chaingen.solve.place import place
from chaingen.weave.groups import Run
from tests.conftest import side, size

INSIDE, WIRE = 4.0, 1.0
RADIUS = 0.5 * (INSIDE + WIRE)
GRAVITY = 9.81
SLOW = 2e-3 * np.sqrt(GRAVITY * RADIUS)
TIME_STEP, DAMPING, SEARCH_STEPS = 0.01, 10.0, 20
"""Of ten settings tried for time step, damping, stiffness and search, among the fastest to rest."""

RUN = Run((side(1, size(INSIDE, WIRE)),), 20)
HANG = Scene(SceneKind.HANG)


@dataclass(frozen=True)
class Settled:
    """Where a run of the engine ended.

    Attributes:
        centres: Ring centres [mm], shape (n, 3).
        steps: Time steps taken.
        unbalanced: Largest force on a ring, damping left out [ring weights].
        reached: Whether it came to rest.
    """

    centres: np.ndarray
    steps: int
    unbalanced: float
    reached: bool


def numbers(values):
    return " ".join(f"{value:.12g}" for value in values)


def engine_model(rings, peg):
    """The rings free in space and the peg fixed; lengths in mm, masses 1."""
    one, two = axes_across(rings.normals)
    turns = Rotation.from_matrix(np.stack([one, two, rings.normals], axis=2)).as_quat()
    turns = np.roll(turns, 1, axis=1)  # the engine wants the scalar first
    bodies = "".join(
        f'<body pos="{numbers(centre)}" quat="{numbers(turn)}"><joint type="free" damping="{DAMPING}"/>'
        '<geom type="sdf" mesh="ring" mass="1"><plugin instance="ring"/></geom></body>'
        for centre, turn in zip(rings.centres, turns, strict=True)
    )
    point, along, radius = peg.numbers[:3], peg.numbers[3:6], peg.numbers[6]
    ends = numbers([*(point - 3.0 * RADIUS * along), *(point + 3.0 * RADIUS * along)])
    return mujoco.MjModel.from_xml_string(
        f"""<mujoco>
        <extension><plugin plugin="mujoco.sdf.torus"><instance name="ring">
          <config key="radius1" value="{RADIUS}"/><config key="radius2" value="{0.5 * WIRE}"/>
        </instance></plugin></extension>
        <asset><mesh name="ring"><plugin instance="ring"/></mesh></asset>
        <option timestep="{TIME_STEP}" gravity="0 0 -{GRAVITY}" integrator="implicitfast"
          sdf_iterations="{SEARCH_STEPS}"/>
        <default><geom friction="{HANG.friction} 0 0" condim="3"/></default>
        <worldbody><geom type="capsule" fromto="{ends}" size="{radius:.12g}"/>{bodies}</worldbody>
        </mujoco>"""
    )


def settle(model, most_steps=20_000):
    data = mujoco.MjData(model)
    arm = np.tile([1.0, 1.0, 1.0, RADIUS, RADIUS, RADIUS], model.nbody - 1)
    slow = step = 0
    while slow < 10 and step < most_steps:
        mujoco.mj_step(model, data)
        step += 1
        slow = slow + 1 if np.abs(arm * data.qvel).max() < SLOW else 0
    push = ((data.qfrc_constraint - data.qfrc_bias) / arm).reshape(-1, 6) / GRAVITY
    unbalanced = float(np.linalg.norm(push, axis=1).max())
    return Settled(data.xpos[1:].copy(), step, unbalanced, slow >= 10)


def pitch(centres):
    """Mean height between neighbours in the middle of the chain [mm]."""
    quarter = len(centres) // 4
    return float(-np.diff(centres[quarter:-quarter, 2]).mean())


@pytest.fixture(scope="module")
def start():
    """The poses that ours starts from, and the peg."""
    draped = drape(RUN, place(RUN, starts=1), Scene(SceneKind.HANG, settling=True))
    return draped.frames[0], draped.solids[0]


@pytest.mark.benchmark(group="20 single rings hung to rest")
def test_engine(benchmark, start):
    model = engine_model(*start)
    settled = benchmark.pedantic(settle, (model,), rounds=3 if benchmark.enabled else 1, iterations=1)
    benchmark.extra_info.update(steps=settled.steps, unbalanced=settled.unbalanced)
    assert settled.reached
    # Wire on wire all along, pitch is the inside diameter (derived).
    assert pitch(settled.centres) == pytest.approx(INSIDE, rel=0.005)


@pytest.mark.benchmark(group="20 single rings hung to rest")
def test_ours(benchmark, start):
    """Recorded: how many times faster than the engine, which starts ready laid out, the whole drape with its
    laying out is, and its settling alone."""
    placement = place(RUN, starts=1)
    draped = benchmark.pedantic(
        drape, (RUN, placement, HANG), rounds=5 if benchmark.enabled else 1, iterations=1
    )
    model = engine_model(*start)
    begun = perf_counter()
    settled = settle(model)
    engine = perf_counter() - begun
    marks = []
    begun = perf_counter()
    drape(RUN, placement, HANG, on_progress=lambda words: marks.append((words, perf_counter())))
    ended = perf_counter()
    settling = ended - next(time for words, time in marks if words.startswith("settling"))
    benchmark.extra_info.update(
        engine_over_whole=engine / (ended - begun),
        engine_over_settling=engine / settling,
        engine_unbalanced=settled.unbalanced,
        unbalanced=draped.unbalanced,
    )
    assert draped.reached
    assert draped.check.sound
    assert settled.reached
    # The engine is the less settled of the two when its time is taken.
    assert settled.unbalanced > draped.unbalanced
    assert pitch(draped.rings.centres) == pytest.approx(pitch(settled.centres), rel=0.005)
    # From the top of the peg to the lowest wire.
    _, peg = start
    drop = peg.numbers[2] + peg.numbers[6] - (settled.centres[-1, 2] - RADIUS - 0.5 * WIRE)
    assert draped.drop == pytest.approx(drop, rel=0.005)
