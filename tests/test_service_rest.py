"""Pieces at rest that keep the gap of a process: against closed forms, and with supports that still touch."""

import dataclasses
import itertools

import numpy as np
import pytest

from chaingen.design.load import load_design, parse_design
from chaingen.design.scene import ROW_SCENES, Scene, SceneKind
from chaingen.geometry.bodies import wire_points
from chaingen.geometry.solids import distances
from chaingen.pipeline import build, drape
from chaingen.prepare.checks import State, rest_checks
from chaingen.solve.check import ROUND_OFF, check
from chaingen.solve.drape.drape import drape as drape_row
from chaingen.solve.drape.drape_sheet import drape_sheet
from chaingen.solve.drape.draped import Draped, NotDraped, scene_names
from chaingen.solve.drape.settle import cleared
from chaingen.solve.drape.starts import CannotDrape
from chaingen.solve.length import taut_lengths
from chaingen.solve.place import place
from chaingen.weave.groups import Run
from tests.conftest import join, side, size
from tests.oracles import circle_distance
from tests.test_examples import ROOT
from tests.test_sheet_drape import sheet

RING = size(6.0, 1.0)
HANG, SWAG, TABLE, WRIST, NECK = ROW_SCENES
SINGLE, PAIRS = (side(1, RING),), (side(2, RING),)

NEAR = 0.02
"""Supports touch the wire to this part of its radius: barriers end at 0.004 of it."""


def rest(run, clearance, **scene):
    placement = place(run, clearance=clearance)
    taut = taut_lengths(run).at(run.repeat)
    return drape_row(run, placement, Scene(**scene), taut=taut, clearance=clearance)


def gap_of(draped):
    """Smallest gap of neighbours by minimising over both circles."""
    bodies = draped.rings
    return min(
        circle_distance(*((bodies.centres[k], bodies.normals[k], bodies.radii[k]) for k in pair))
        - bodies.wire_radii[list(pair)].sum()
        for pair in itertools.combinations(range(len(bodies)), 2)
        if np.linalg.norm(np.subtract(*bodies.centres[list(pair)])) < 2.0 * 4.0 + 1.0
    )


def assert_kept(draped, clearance):
    """At rest, links as designed, wires as thick as they are, the gap kept, supports touched."""
    assert draped.reached, draped.why
    assert draped.hair == 0.0
    assert draped.check.sound
    assert draped.check.clearance == clearance
    assert clearance - ROUND_OFF <= draped.check.smallest_gap < clearance + NEAR
    assert draped.support == pytest.approx(1.0, abs=1e-3)
    points, wires, _ = wire_points(draped.rings, 720)
    for solid in draped.solids:
        off = float((distances(solid, points)[:, 0] - wires).min())
        assert 0.0 < off < NEAR * wires.min()


CASES = {
    "hang": (Run(SINGLE, 12), {"kind": HANG}),
    "hang-loop": (Run(SINGLE, 24, closed=True), {"kind": HANG}),
    "swag": (Run(PAIRS, 10), {"kind": SWAG}),
    "table": (Run(SINGLE, 12), {"kind": TABLE}),
    "table-curved": (Run((side(2, RING), join(1, RING)), 6), {"kind": TABLE, "curved": True}),
    "table-shaken": (Run(PAIRS, 8), {"kind": TABLE, "disorder": 1.0, "seed": 3}),
    "wrist-loop": (Run(SINGLE, 40, closed=True), {"kind": WRIST}),
    "wrist-open-run": (Run(PAIRS, 24), {"kind": WRIST}),
}


@pytest.mark.parametrize("clearance", [0.4, 0.7])
@pytest.mark.parametrize("name", CASES)
def test_wires_keep_the_gap_at_rest(name, clearance):
    run, scene = CASES[name]
    draped = rest(run, clearance, **scene)
    assert_kept(draped, clearance)
    assert draped.rings.wire_diameters == pytest.approx(np.full(len(draped.rings), 1.0), abs=0.0)


@pytest.mark.parametrize("name", ["hang", "table-shaken"])
def test_the_gap_by_another_way(name):
    run, scene = CASES[name]
    assert gap_of(rest(run, 0.4, **scene)) >= 0.4 - ROUND_OFF


@pytest.mark.parametrize("clearance", [0.0, 0.2, 0.6])
def test_a_hung_chain_is_shorter_by_a_gap_a_link(clearance):
    """Each link is shorter by its gap: (N - 1) (ID - gap) from middle to middle, and ID + 2 WD."""
    draped = rest(Run(SINGLE, 20), clearance, kind=HANG, friction=0.0)
    assert draped.length == pytest.approx(19 * (6.0 - clearance) + 6.0 + 2.0 * 1.0, rel=0.001)
    pitch = np.linalg.norm(np.diff(draped.rings.centres, axis=0), axis=1)
    assert pitch == pytest.approx(np.full(19, 6.0 - clearance), rel=0.001)


def test_a_kept_gap_is_what_thicker_wire_without_one_would_leave():
    """Off its supports a piece with a gap lies as one of so much thicker wire on the same centrelines."""
    thin, thick = (
        rest(Run((side(1, ring),), 10), gap, kind=HANG, friction=0.0)
        for ring, gap in ((RING, 0.4), (size(5.6, 1.4), 0.0))
    )
    pitch = [np.linalg.norm(np.diff(each.rings.centres, axis=0), axis=1) for each in (thin, thick)]
    # Barriers reach by the wire, which is thicker there.
    assert pitch[0] == pytest.approx(pitch[1], abs=0.01)


def test_frames_on_the_way_keep_it_too():
    draped = rest(*CASES["table-shaken"][:1], 0.4, **CASES["table-shaken"][1], settling=True)
    assert len(draped.frames) > 5
    for frame in draped.frames:
        report = check(draped.graph, frame, clearance=0.4)
        assert report.links_as_designed
        assert not report.collisions


def test_a_worn_piece_is_as_long_as_its_gaps_let_it():
    """The wrist that suits a bracelet is smaller where each of 40 links is shorter by the gap."""
    loose, apart = (rest(*CASES["wrist-loop"][:1], gap, kind=WRIST).circumference for gap in (0.0, 0.4))
    assert loose - apart == pytest.approx(40 * 0.4, abs=1.0)


def test_room_is_made_by_pushing_wires_apart():
    placement = place(Run(SINGLE, 30, closed=True))
    rings = placement.rings
    squeezed = dataclasses.replace(rings, centres=rings.centres * np.array([0.9, 0.9, 1.0]))
    assert check(placement.graph, squeezed).smallest_gap < 0.9
    opened = cleared(placement.graph, squeezed, (), 0.9)
    assert check(placement.graph, opened, clearance=0.9).sound
    assert cleared(placement.graph, squeezed, (), 3.0) is None


def test_what_has_no_room_for_the_gap_says_so():
    run = Run(SINGLE, 6)
    placement = place(run)
    with pytest.raises(
        CannotDrape, match=r"wires shall keep 1\.5 mm apart, and as placed they have 1\.333 mm"
    ):
        drape_row(run, placement, Scene(HANG), clearance=1.5)
    with pytest.raises(CannotDrape, match=r"keep 2 mm apart"):
        drape_sheet(sheet(4, 4), Scene(HANG), clearance=2.0)
    # A bracelet of a few rings has the room while it is straight, and none when it is closed.
    with pytest.raises(CannotDrape):
        drape_row(Run(SINGLE, 4), place(Run(SINGLE, 4)), Scene(TABLE, curved=True), clearance=1.3333)


@pytest.mark.parametrize("kind", [SceneKind.TABLE, SceneKind.CORNERS])
def test_a_sheet_keeps_it(kind):
    placement = sheet(6, 5)
    clearance = 0.4 * placement.gap
    assert_kept(drape_sheet(placement, Scene(kind), clearance=clearance), clearance)


# --- in a design ----------------------------------------------------------------------------------

PIECE = """
title = "Groyne"
metal = "copper"

[rings.link]
inside = "9 mm"
wire = "1.6 mm"

[pattern]
form = "open run"
groups = [{{ side_by_side = 1 }}]
repeat = 6

[[scenes]]
kind = "hang"

[[scenes]]
kind = "table"

[[scenes]]
kind = "wrist"

[[scenes]]
kind = "hang"
friction = 0

{service}
"""

SERVICE = """
[service]
process = "filament"
"""


@pytest.fixture(scope="module")
def served():
    return drape(build(parse_design(PIECE.format(service=SERVICE))))


def test_the_gap_of_the_process_is_kept_in_scenes(served):
    assert [type(each) for each in served.drapes] == [Draped, Draped, NotDraped, Draped]
    for draped in (served.drapes[0], served.drapes[1], served.drapes[3]):
        # The rings have room for the gap that is safe.
        assert_kept(draped, 1.0)
    tight = drape(
        build(
            dataclasses.replace(
                served.design, service=dataclasses.replace(served.design.service, safe_gap=9.0)
            )
        )
    )
    assert_kept(tight.drapes[0], 0.6)
    bare = drape(build(parse_design(PIECE.format(service=""))))
    assert bare.drapes[0].check.clearance == 0.0
    assert bare.drapes[0].check.smallest_gap < 0.01
    # Five links hang between six rings.
    assert bare.drapes[0].length - served.drapes[0].length == pytest.approx(5 * 1.0, abs=0.02)


def test_a_gap_that_is_only_checked_is_not_kept():
    text = PIECE.format(service=f"{SERVICE}open_up = false")
    result = drape(build(parse_design(text)))
    assert result.drapes[0].check.smallest_gap < 0.01
    checks = {each.name: each for each in rest_checks(result)}
    assert checks["gap at rest, hang"].state is State.FAIL


def test_rest_checks(served):
    checks = {each.name: each for each in rest_checks(served)}
    assert list(checks) == [
        "gap at rest, hang", "size at rest, hang", "gap at rest, table", "size at rest, table",
        "gap at rest, hang-2", "size at rest, hang-2",
    ]  # fmt: skip
    assert scene_names(served.drapes) == ["hang", "table", "wrist", "hang-2"]
    # The process keeps 0.6 mm apart, and 1 mm as a rule, for which there is room.
    assert {checks[name].state for name in checks if name.startswith("gap")} == {State.PASS}
    low, high = served.drapes[1].rings.bounds()
    sides = " by ".join(f"{side:.1f}".removesuffix(".0") for side in high - low)
    assert f"the piece at rest takes {sides} mm" in checks["size at rest, table"].text
    assert checks["size at rest, table"].state is State.PASS


@pytest.mark.parametrize(("room", "state"), [(1e-4, State.WARN), (-1e-4, State.FAIL)])
def test_size_at_rest(served, room, state):
    low, high = served.drapes[0].rings.bounds()
    service = dataclasses.replace(served.design.service, build=tuple((high - low + room).tolist()))
    result = dataclasses.replace(served, design=dataclasses.replace(served.design, service=service))
    assert {each.name: each for each in rest_checks(result)}["size at rest, hang"].state is state


def test_the_gap_at_rest_is_of_the_true_wire(served):
    """A piece that was draped with thinner wire is made with its own."""
    draped = served.drapes[0]
    thinner = dataclasses.replace(draped, rings=draped.rings.thickened(-0.05), hair=0.1)
    result = dataclasses.replace(served, drapes=(thinner,))
    before, after = (
        rest_checks(dataclasses.replace(served, drapes=(each,)))[0] for each in (draped, thinner)
    )
    assert (before.name, before.bodies, before.text) == (after.name, after.bodies, after.text)
    assert f"{draped.check.smallest_gap:.2f}" == "1.00"
    assert rest_checks(result)[0].state is State.PASS


def test_no_service_and_loose_rings_have_nothing_to_keep_at_rest(served):
    assert (
        rest_checks(dataclasses.replace(served, design=dataclasses.replace(served.design, service=None)))
        == ()
    )
    loose = parse_design(PIECE.format(service='[service]\nprocess = "loose rings for casting"'))
    assert rest_checks(dataclasses.replace(served, design=loose)) == ()


def test_findings_keep_it_too():
    """Earrings with wires of their own: every curve of a finding keeps away from rings."""
    design = load_design(ROOT / "examples" / "graduated-earring.toml")
    (scene,) = (each for each in design.scenes if each.kind is HANG)
    placement = place(design.piece)
    gap = 0.5 * placement.gap
    assert gap > 0.04
    assert_kept(drape_row(design.piece, placement, scene, clearance=gap), gap)
