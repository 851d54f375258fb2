"""Sizes of findings that do not go together."""

import inspect

import numpy as np
import pytest

from chaingen.findings.catalogue import KINDS
from chaingen.findings.pins import Threaded
from chaingen.findings.wire_path import PathEye
from chaingen.geometry.centrelines import Bend
from tests.finding_sizes import (
    SIZED,
)

SEA = (0.3, 0.6, 0.55)


WITHIN = {
    "loop link": [({"inside": 0.5}, "inside"), ({"outer_inside": 0.5}, "outer_inside"),
                  ({"loops": 1, "quarter_turn": True}, "quarter_turn")],
    "wrapped link": [({"stem": 4.0}, "stem"), ({"wraps": 9}, "stem"),
                     ({"wire": 2.6, "stem": 30.0}, "inside")],
    "oval link": [({"inside_width": 7.0}, "inside_length"), ({"inside_width": 0.9}, "inside_width")],
    "figure-eight link": [({"inside": 0.9}, "inside")],
    "closed ring": [({"inside": 0.9}, "inside")],
    "hook": [({"mouth": 4.5}, "mouth"), ({"shank": 5.0}, "shank"),
             ({"wire": 0.5, "bend": 9.0, "tail": 0.5}, "tail")],
    "eye": [({"outer_inside": 1.0}, "outer_inside")],
    "S-hook": [({"mouth": 4.0}, "mouth")],
    "ear wire": [({"bend": 1.5}, "bend"), ({"wire": 2.0}, "inside")],
    "ear post": [({"front_size": 1.0}, "front_size"), ({"front_thickness": 1.0}, "front_thickness")],
    "head pin": [({"head_size": 0.7}, "head_size"), ({"bare": 0.1}, "bare"),
                 ({"head": "spiral", "head_size": 2.0}, "head_size"),
                 ({"beads": (Threaded("ball", 6.0, None, 0.5, SEA),)}, "beads[1].hole"),
                 ({"beads": (Threaded("ball", 6.0, None, 1.4, SEA),)}, "beads[1].hole"),
                 ({"head_size": 5.0, "beads": (Threaded("ball", 6.0, None, 3.0, SEA),)}, "beads[1].hole"),
                 ({"beads": (Threaded("ball", 6.0, None, 1.0, SEA), Threaded("ball", 6.0, None, 3.2, SEA))},
                  "beads[2].hole"),
                 ({"wraps": 2, "head_size": 3.0, "beads": (Threaded("ball", 6.0, None, 1.8, SEA),)},
                  "beads[1].hole"),
                 ({"beads": (Threaded("disc", 6.0, None, 1.0, SEA),)}, "beads[1].thickness"),
                 ({"beads": (Threaded("ball", 6.0, 6.0, 1.0, SEA),)}, "beads[1].thickness"),
                 ({"beads": (Threaded("disc", 6.0, 5.5, 1.0, SEA),)}, "beads[1].thickness")],
    "spring ring": [({"gate": 2.6}, "gate"), ({"eye_inside": 0.5}, "eye_inside")],
    "lobster clasp": [({"gate": 3.6}, "gate"), ({"inside_length": 3.5}, "inside_length")],
    "toggle ring": [({"inside": 1.0}, "inside")],
    "toggle bar": [({"length": 9.0}, "length")],
    "end bar": [({"pitch": 3.5}, "pitch")],
}  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "change", "key"), [(kind, change, key) for kind in WITHIN for change, key in WITHIN[kind]]
)
def test_sizes_that_do_not_go_together_are_named(kind, change, key):
    sizes = {
        name: parameter.default
        for name, parameter in inspect.signature(KINDS[kind].build).parameters.items()
        if name != "name"
    }
    assert [misfit.key for misfit in KINDS[kind].misfits(**{**sizes, **change})] == [key]


@pytest.mark.parametrize(("wraps", "outside"), [(0, 1.8 + 2 * 0.6), (2, 3 * 0.6)])
def test_the_top_bead_stays_below_the_loop(wraps, outside):
    """A round bar as thick as what is above the bead goes through a hole of its size, and no smaller one."""
    for hole, goes_over in ((outside - 0.01, False), (outside, True)):
        beads = (Threaded("ball", 6.0, None, 1.0, SEA), Threaded("ball", 6.0, None, hole, SEA))
        problems = KINDS["head pin"].misfits(
            wire=0.6, inside=1.8, wraps=wraps, bare=0.5, head="ball", head_size=None, turns=2.0, beads=beads
        )
        assert [problem.key for problem in problems] == (["beads[2].hole"] if goes_over else [])
        if goes_over:
            assert f"{outside:g} mm" in problems[0].expected
            assert ("the coil" if wraps else "the loop") in problems[0].advice
    # A bead with a small hole on top holds one with a large hole below it.
    beads = (Threaded("ball", 6.0, None, 1.0, SEA), Threaded("ball", 6.0, None, 4.0, SEA),
             Threaded("ball", 6.0, None, 1.0, SEA))  # fmt: skip
    assert KINDS["head pin"].misfits(
        wire=0.6, inside=1.8, wraps=wraps, bare=0.5, head="ball", head_size=None, turns=2.0, beads=beads
    ) == []  # fmt: skip


def test_every_kind_has_sizes_that_are_refused():
    assert set(WITHIN) == set(SIZED)


RING = (Bend(radius=3.0, angle=300.0),)


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"steps": (Bend(radius=0.4, angle=90.0),)}, "steps[1].radius"),
        ({"closed": True}, "closed"),
        ({"eyes": (PathEye("a", 1, 2),)}, "eyes[1].to_step"),
        ({"eyes": (PathEye("a", 1, 1, 0.5, 0.5),)}, "eyes[1].to_step"),
        ({"steps": RING * 2, "eyes": (PathEye("a", 1, 2, 1.0, 0.0),)}, "steps"),
        ({"steps": (Bend(length=5.0), Bend(length=5.0)), "eyes": (PathEye("a", 1, 2, 1.0, 0.0),)},
         "eyes[1].to_step"),
        ({"eyes": (PathEye("a", 1, 1), PathEye("a", 1, 1))}, "eyes[2].name"),
        ({"eyes": (PathEye("a", 1, 1, gate=1.0),)}, "eyes[1].gate"),
        ({"eyes": (PathEye("a", 1, 1, opened_by="gate"),)}, "eyes[1].gate"),
        ({"steps": (Bend(length=5.0),)}, "eyes[1]"),
        ({"steps": (Bend(radius=3.0, angle=350.0),) * 2}, "steps"),
        ({"steps": (Bend(length=9.0), Bend(radius=1.0, angle=270.0), Bend(length=9.0))}, "steps"),
        ({"steps": (Bend(length=6.0), Bend(radius=3.0, angle=180.0), Bend(length=6.0),
                    Bend(radius=2.0, angle=180.0)), "closed": True}, "closed"),
    ],
)  # fmt: skip
def test_paths_that_cannot_be_bent_are_named(change, key):
    sizes = {"wire": 1.0, "steps": RING, "closed": False, "eyes": (PathEye("a", 1, 1),), **change}
    assert [misfit.key for misfit in KINDS["wire path"].misfits(**sizes)] == [key]


@pytest.mark.parametrize("seed", range(25))
def test_any_path_is_bent_or_refused(seed):
    rng = np.random.default_rng(seed)
    steps = [
        Bend(length=float(rng.uniform(0.2, 10.0)))
        if rng.random() < 0.4
        else Bend(
            radius=float(rng.uniform(0.6, 5.0)),
            angle=float(rng.uniform(10.0, 300.0)),
            direction=float(rng.choice([0.0, 0.0, 180.0, rng.uniform(-180.0, 180.0)])),
        )
        for _ in range(int(rng.integers(1, 6)))
    ]
    sizes = {"wire": 1.0, "steps": steps, "closed": False, "eyes": (PathEye("eye", 1, len(steps)),)}
    misfits = KINDS["wire path"].misfits(**sizes)
    if misfits:
        assert all(misfit.expected for misfit in misfits)
        return
    eye = KINDS["wire path"].build(**sizes).shape.eyes[0]
    assert eye.inside > 0.0
    assert 0.0 <= eye.opening < np.inf
