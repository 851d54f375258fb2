"""Print and casting processes: their limits, what a design says of them, and what a piece comes to."""

import dataclasses
import itertools
import json
import typing

import numpy as np
import pytest
from click.testing import CliRunner

from chaingen.cli import main
from chaingen.design.load import load_design, parse_design
from chaingen.design.schema import json_schema
from chaingen.design.service_schema import ServiceTable
from chaingen.errors import BadInput
from chaingen.pipeline import build
from chaingen.prepare.checks import FULL, State, service_checks
from chaingen.show.report import report_of
from chaingen.show.service_report import service_data
from chaingen.show.service_words import service_lines
from chaingen.solve.check import ROUND_OFF
from chaingen.stock.processes import PROCESSES
from tests.oracles import circle_distance
from tests.test_examples import ROOT

EXAMPLE = ROOT / "examples" / "all-keys-service.toml"

PIECE = """
title = "Mooring"
metal = "copper"
tolerance = "0.1 mm"
{more}

[rings.link]
inside = "{inside}"
wire = "{wire}"

[pattern]
form = "open run"
groups = [{{ side_by_side = 1 }}]
repeat = 3
"""

ASSEMBLED = [process.name for process in PROCESSES.values() if process.assembled]
LOOSE = "loose rings for casting"


def design_of(service, *, inside="9 mm", wire="1.6 mm", more=""):
    text = PIECE.format(inside=inside, wire=wire, more=more)
    return parse_design(f"{text}\n[service]\n{service}" if service else text)


@pytest.fixture(scope="module")
def run():
    """Three rings of 9 mm inside in 1.6 mm wire, one through the next, made by no process."""
    return build(design_of(""))


@pytest.fixture(scope="module")
def finished():
    """A run between two findings."""
    return build(load_design(ROOT / "examples" / "graduated-earring.toml"))


def under(result, service, *, gap=None, tolerance=None):
    """A result as if its design named a service, with other wires for a smallest gap or another tolerance."""
    given = design_of(service).service if isinstance(service, str) else service
    design = dataclasses.replace(result.design, service=given)
    if tolerance is not None:
        design = dataclasses.replace(design, tolerance=tolerance)
    placement = result.placement
    if gap is not None:
        rings = placement.rings.thickened(0.5 * (result.check.smallest_gap - gap))
        placement = dataclasses.replace(placement, rings=rings)
    return dataclasses.replace(result, design=design, placement=placement)


def found(result):
    return {check.name: check for check in service_checks(result)}


def sides_of(result):
    """Sides of the box round the rings [mm] from points on their wires' surfaces."""
    bodies = result.placement.rings
    angle = np.linspace(0.0, 2.0 * np.pi, 721)
    points = []
    for centre, normal, radius, wire in zip(
        bodies.centres, bodies.normals, bodies.radii, bodies.wire_radii, strict=True
    ):
        one = np.cross(normal, np.eye(3)[np.abs(normal).argmin()])
        one /= np.linalg.norm(one)
        two = np.cross(normal, one)
        arms = np.cos(angle)[:, None] * one + np.sin(angle)[:, None] * two
        for axis in (np.eye(3), -np.eye(3)):
            points += [centre + radius * arms + wire * along for along in axis]
    points = np.concatenate(points)
    return np.ptp(points, axis=0)


# --- processes ------------------------------------------------------------------------------------


# Common practice, the full distance between two surfaces [mm]: 0.2 to 0.3 a side of powder and resin, 0.3 to
# 0.5 a side of filament.
@pytest.mark.parametrize(
    ("name", "a_side"), [("powder", (0.2, 0.3)), ("resin", (0.2, 0.3)), ("filament", (0.3, 0.5))]
)
def test_gaps_of_processes(name, a_side):
    process = PROCESSES[name]
    assert (process.least_gap, process.safe_gap) == pytest.approx([2.0 * side for side in a_side])


def test_a_wax_pattern_is_built_as_resin_is_and_loose_rings_have_no_gap():
    wax, resin = PROCESSES["wax pattern for casting"], PROCESSES["resin"]
    assert (wax.least_gap, wax.safe_gap) == (resin.least_gap, resin.safe_gap)
    assert [name for name, process in PROCESSES.items() if process.least_gap == 0.0] == [LOOSE]


def test_every_process_can_be_asked_for_and_has_its_caution():
    assert list(typing.get_args(ServiceTable.model_fields["process"].annotation)) == list(PROCESSES)
    for process in PROCESSES.values():
        assert "local rules" in process.caution
        assert min(process.build) > 10.0
        assert 0.1 < process.smallest_wire < 2.0


# --- what a design says ---------------------------------------------------------------------------


@pytest.mark.parametrize("name", PROCESSES)
def test_limits_left_out_are_those_of_the_process(name):
    service = design_of(f'process = "{name}"').service
    process = PROCESSES[name]
    assert service.process is process
    assert (service.smallest_wire, service.smallest_gap, service.safe_gap, service.build) == (
        process.smallest_wire, process.least_gap, process.safe_gap, process.build,
    )  # fmt: skip
    assert service.assumed == tuple(
        name for name in ("smallest_wire", "smallest_gap", "build") if process.assembled or "gap" not in name
    )


def test_limits_that_are_said():
    service = design_of(
        'process = "powder"\nsmallest_wire = "1 mm"\nsmallest_gap = "1/32 in"\n'
        'build = ["8 cm", "90 mm", "4 in"]'
    ).service
    # An inch is 25.4 mm by definition.
    assert (service.smallest_wire, service.smallest_gap, service.safe_gap) == (1.0, 0.79375, 0.79375)
    assert service.build == pytest.approx((80.0, 90.0, 101.6))
    assert service.assumed == ()
    assert design_of('process = "powder"\nsmallest_gap = "0.5 mm"').service.assumed == (
        "smallest_wire",
        "build",
    )


def test_no_service():
    design = design_of("")
    assert design.service is None
    assert design.clearance == 0.0


@pytest.mark.parametrize(
    ("service", "where", "said"),
    [
        ('process = "sand"', "service.process", "powder"),
        ('smallest_gap = "1 mm"', "service.process", "cannot be left out"),
        ('process = "resin"\nsmallest_gap = 0.4', "service.smallest_gap", "unit"),
        ('process = "resin"\nsmallest_gap = "-0.1 mm"', "service.smallest_gap", "0 mm to 10 mm"),
        ('process = "resin"\nsmallest_gap = "11 mm"', "service.smallest_gap", "0 mm to 10 mm"),
        ('process = "resin"\nsmallest_wire = "0 mm"', "service.smallest_wire", "0.05 mm to 50 mm"),
        ('process = "resin"\nbuild = "100 mm"', "service.build", "three lengths"),
        ('process = "resin"\nbuild = ["1 m", "1 m"]', "service.build", "width, depth and height"),
        (
            'process = "resin"\nbuild = ["1 m", "1 m", "1 m", "1 m"]',
            "service.build",
            "width, depth and height",
        ),
        ('process = "resin"\nbuild = ["1 m", "0 mm", "1 m"]', "service.build[2]", "1 mm to 10000 mm"),
        ('process = "resin"\nopen_up = "yes"', "service.open_up", "true or false"),
        ('process = "resin"\ngap = "1 mm"', "service.gap", "one of process, smallest_wire"),
        (f'process = "{LOOSE}"\nsmallest_gap = "1 mm"', "service.smallest_gap", "no gap between them"),
        (f'process = "{LOOSE}"\nopen_up = true', "service.open_up", "no gap between them"),
    ],
)
def test_what_is_wrong_is_told_with_its_place(service, where, said):
    with pytest.raises(BadInput) as caught:
        design_of(service)
    (problem,) = caught.value.problems
    assert problem.where == where
    assert said in str(problem)


def test_a_service_that_is_no_table():
    with pytest.raises(BadInput, match=r"service.*a table of keys"):
        design_of("", more='service = "resin"')


def test_json_schema_knows_the_values():
    keys = json_schema()["$defs"]["ServiceTable"]["properties"]
    assert set(keys["process"]["enum"]) == set(PROCESSES)
    assert {"type": "string"} in keys["smallest_gap"]["anyOf"]
    assert keys["open_up"]["type"] == "boolean"
    (sides,) = (entry for entry in keys["build"]["anyOf"] if entry["type"] == "array")
    assert sides["items"] == {"type": "string"}
    assert (sides["minItems"], sides["maxItems"]) == (3, 3)


# --- the gap is asked for -------------------------------------------------------------------------


@pytest.mark.parametrize("name", ASSEMBLED)
def test_open_up_asks_for_the_gap(name):
    least = PROCESSES[name].least_gap
    assert design_of(f'process = "{name}"').clearance == least
    assert design_of(f'process = "{name}"\nopen_up = false').clearance == 0.0
    assert design_of(f'process = "{name}"\nsmallest_gap = "1.1 mm"').clearance == 1.1
    # The larger of what the design and the process ask for.
    assert design_of(f'process = "{name}"', more='clearance = "2 mm"').clearance == 2.0
    assert design_of(f'process = "{name}"', more='clearance = "0.1 mm"').clearance == least


def test_loose_rings_ask_for_none():
    design = design_of(f'process = "{LOOSE}"', more='clearance = "0.1 mm"')
    assert design.clearance == 0.1
    assert design.process_gap == 0.0


def test_the_placement_keeps_the_gap():
    result = build(design_of('process = "filament"'))
    bodies = result.placement.rings
    gaps = [
        circle_distance(*((bodies.centres[k], bodies.normals[k], bodies.radii[k]) for k in pair))
        - bodies.wire_radii[list(pair)].sum()
        for pair in itertools.combinations(range(len(bodies)), 2)
    ]
    assert result.fits
    assert min(gaps) >= 0.6 - ROUND_OFF
    assert result.check.clearance == 0.6


def test_sizes_without_the_room_do_not_fit_because_of_the_process():
    """A 2 mm wire through a hole of 4 mm has 2 mm to spare, 1 mm a side at the very best; 1.5 mm is asked."""
    service = 'process = "filament"\nsmallest_gap = "1.5 mm"'
    result = build(design_of(service, inside="4 mm", wire="2 mm"))
    assert not result.fits
    assert build(design_of(f"{service}\nopen_up = false", inside="4 mm", wire="2 mm")).fits
    lines = service_lines(result)
    assert "The gap asked for between wires, 1.5 mm, is that of the process, filament." in lines
    gap = found(result)["gap between moving parts"]
    assert gap.state is State.FAIL
    assert gap.bodies == result.check.binding_pair


# --- thinnest wire --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("least", "state"),
    # The wire is 1.6 mm, the tolerance 0.1 mm.
    [
        ("1.4 mm", State.PASS),
        ("1.5 mm", State.PASS),
        ("1.51 mm", State.WARN),
        ("1.6 mm", State.WARN),
        ("1.61 mm", State.FAIL),
    ],
)
def test_thinnest_wire(run, least, state):
    check = found(under(run, f'process = "resin"\nsmallest_wire = "{least}"'))["thinnest wire"]
    assert check.state is state
    assert check.bodies == (0, 1, 2)
    assert "1.6 mm (ring 1a, ring 2a, ring 3a)" in check.text
    assert least in check.text


def test_thinnest_wire_is_of_a_finding_too(finished):
    """The thinnest of all wires; of rings made by themselves the thinnest of the rings."""
    wires = [size.wire_diameter for size in finished.design.ring_sizes]
    finding = [2.0 * part.shape.thinnest for part in finished.design.findings]
    thinnest = min(wires + finding)
    names = finished.placement.graph.names
    check = found(under(finished, 'process = "resin"\nsmallest_wire = "3 mm"'))["thinnest wire"]
    assert check.state is State.FAIL
    assert f"{thinnest:g}" in check.text
    assert names[check.bodies[0]] in check.text
    loose = found(under(finished, f'process = "{LOOSE}"\nsmallest_wire = "3 mm"'))["thinnest wire"]
    assert all(finished.placement.rings.is_ring[list(loose.bodies)])
    # Many are alike: the first three are named.
    assert len(loose.bodies) <= 3 or f"and {len(loose.bodies) - 3} more" in loose.text


# --- gap between moving parts ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("service", "gap", "state"),
    [
        ('process = "resin"', 0.39, State.FAIL),
        ('process = "resin"', 0.4, State.WARN),
        ('process = "resin"', 0.4 - 0.5 * ROUND_OFF, State.WARN),
        ('process = "resin"', 0.59, State.WARN),
        ('process = "resin"', 0.6, State.PASS),
        ('process = "filament"', 0.59, State.FAIL),
        ('process = "filament"', 0.99, State.WARN),
        ('process = "filament"', 1.0, State.PASS),
        ('process = "powder"', -0.2, State.FAIL),
        # Whoever says their own limit has no reserve beyond it.
        ('process = "powder"\nsmallest_gap = "0.3 mm"', 0.3, State.PASS),
        ('process = "powder"\nsmallest_gap = "0.3 mm"', 0.29, State.FAIL),
    ],
)
def test_gap_between_moving_parts(run, service, gap, state):
    check = found(under(run, service, gap=gap))["gap between moving parts"]
    assert check.state is state
    assert check.bodies == run.check.binding_pair
    first, second = (run.placement.graph.names[k] for k in check.bodies)
    assert f"(ring {first} and ring {second})" in check.text
    limits = under(run, service).design.service
    if state is State.PASS:
        # The same two numbers as in the limits.
        safe = f"{limits.safe_gap:g} mm is safe, " if limits.safe_gap > limits.smallest_gap else ""
        assert check.text.endswith(f"; {safe}what is nearer than {limits.smallest_gap:g} mm fuses")


def test_parts_that_are_never_near_pass(run):
    rings = run.placement.rings.moved(np.arange(3.0)[:, None] * [50.0, 0.0, 0.0])
    apart = dataclasses.replace(run.placement, rings=rings)
    result = dataclasses.replace(under(run, 'process = "filament"'), placement=apart)
    check = found(result)["gap between moving parts"]
    assert (check.state, check.bodies) == (State.PASS, ())


def test_loose_rings_are_not_asked_for_a_gap(run):
    checks = found(under(run, f'process = "{LOOSE}"', gap=-1.0))
    # Nobody knows here how much copper shrinks.
    assert list(checks) == ["thinnest wire", "size", "cut", "spacing", "shrinkage"]


# --- size -----------------------------------------------------------------------------------------


def boxed(result, build):
    sides = ", ".join(f'"{side:.6f} mm"' for side in build)
    return found(under(result, f'process = "powder"\nbuild = [{sides}]'))["size"]


@pytest.mark.parametrize("way", list(itertools.permutations(range(3))))
def test_size_goes_in_whichever_way_it_is_laid(run, way):
    sides = sides_of(run)
    order = list(way)
    assert boxed(run, 1.001 * sides[order] / FULL).state is State.PASS
    assert boxed(run, 1.001 * sides[order]).state is State.WARN
    # One side short of room, each in turn, the others with plenty only where it can be turned into none.
    for short in range(3):
        tight = 1.001 * sides[order]
        tight[short] = 0.99 * sides[order][short]
        fits = any(all(sides[list(p)] <= tight) for p in itertools.permutations(range(3)))
        assert (boxed(run, tight).state is State.FAIL) == (not fits)


def test_size_says_how_much_is_too_long_and_when_it_is_turned(run):
    long, *others = sorted(sides_of(run), reverse=True)
    check = boxed(run, [long - 2.5] * 3)
    assert check.state is State.FAIL
    assert "2.5 mm too long, along whichever side it is laid; make it shorter, as a closed loop" in check.text
    assert sides_of(run).argmax() == 0  # it runs along x
    assert boxed(run, [*(1.2 * side for side in others), 1.2 * long]).text.endswith("where it fits turned")
    assert boxed(run, [1.2 * long] * 3).text.endswith("mm")


def test_size_of_loose_rings_is_that_of_the_largest_ring(run):
    # 9 mm inside in 1.6 mm wire: 12.2 mm outside and 1.6 mm thick.
    at = 'process = "loose rings for casting"\ncut = "0 mm"\nbuild = ["{} mm", "1.7 mm", "{} mm"]'
    assert found(under(run, at.format(13, 13)))["size"].state is State.PASS
    assert found(under(run, at.format(12.3, 13)))["size"].state is State.WARN
    check = found(under(run, at.format(12.1, 13)))["size"]
    assert check.state is State.FAIL
    assert "12.2 by 12.2 by 1.6 mm" in check.text
    assert "0.1 mm too long" in check.text


def test_checks_are_of_the_wires_and_not_of_the_frame(run):
    """Turned and moved as a whole, wires and gaps come to the same."""
    turn = np.linalg.qr(np.random.default_rng(5).normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    one = under(run, 'process = "resin"')
    rings = one.placement.rings.turned(turn).moved(np.array([3.0, -40.0, 7.0]))
    other = dataclasses.replace(one, placement=dataclasses.replace(one.placement, rings=rings))
    before, after = service_checks(one), service_checks(other)
    assert before[:2] == after[:2]


# --- words and report -----------------------------------------------------------------------------


def test_without_a_service_nothing_is_said(run):
    assert service_checks(run) == ()
    assert service_lines(run) == []
    assert service_data(run) is None
    assert report_of(run)["service"] is None


def test_words_tell_limits_and_which_are_assumed(run):
    lines = service_lines(under(run, 'process = "filament"\nsmallest_gap = "0.7 mm"'))
    assert lines[0] == (
        "For filament printing: wire of 1.2 mm or more (assumed), gaps of 0.7 mm or more, up to "
        "200 by 200 by 200 mm (assumed)."
    )
    # What is all assumed says so once; a gap from which parts come free as a rule is told with the least.
    assert service_lines(under(run, 'process = "filament"'))[0] == (
        "For filament printing: wire of 1.2 mm or more, gaps of 0.6 mm or more, 1 mm to be sure, up to "
        "200 by 200 by 200 mm; all assumed: ask the service."
    )
    assert [line.split(":")[0] for line in lines[2:-2]] == ["  pass", "  pass", "  pass"]
    assert lines[-2].startswith("Caution: nozzle and bed burn")
    loose = service_lines(under(run, f'process = "{LOOSE}"'))
    assert "gap" not in "".join(loose)


def test_words_tell_when_the_design_asks_for_more():
    design = design_of('process = "resin"', more='clearance = "0.5 mm"')
    lines = service_lines(build(design))
    assert "The gap asked for between wires, 0.5 mm, is more than the 0.4 mm of the process." in lines


def test_report(run):
    data = report_of(under(run, 'process = "powder"\nsmallest_gap = "0.5 mm"', gap=0.45))["service"]
    assert json.loads(json.dumps(data)) == data
    assert data["process"] == "powder"
    assert data["assumed"] == ["smallest_wire", "build"]
    assert (data["smallest_gap_mm"], data["safe_gap_mm"], data["gap_asked_mm"]) == (0.5, 0.5, 0.5)
    assert data["build_mm"] == [150.0, 150.0, 200.0]
    assert [(check["name"], check["state"]) for check in data["checks"]] == [
        ("thinnest wire", "pass"), ("gap between moving parts", "fail"), ("size", "pass"),
    ]  # fmt: skip
    assert data["checks"][1]["bodies"] == [run.placement.graph.names[k] for k in run.check.binding_pair]
    loose = service_data(under(run, f'process = "{LOOSE}"'))
    assert (loose["smallest_gap_mm"], loose["open_up"], loose["gap_asked_mm"]) == (None, False, 0.0)


def test_the_example_fits_its_process():
    ran = CliRunner().invoke(main, ["check", str(EXAMPLE)])
    assert ran.exit_code == 0, ran.output
    assert ran.output.count("\n  pass: ") >= 3
    assert "\n  warn: " not in ran.output
    assert "\n  fail: " not in ran.output
    assert "is that of the process, wax pattern for casting." in ran.output
    report = json.loads(CliRunner().invoke(main, ["check", str(EXAMPLE), "--json"]).output)
    assert report["service"]["smallest_gap_mm"] == 0.5
    # Silver shrinks by 2 %: the casting may have 0.49 mm where the pattern has 0.5 mm; finishing adds 0.1 mm.
    assert report["clearance_asked_mm"] == pytest.approx(0.5 * 0.98 + 0.1)
    assert report["service"]["assumed"] == []
    assert [check["state"] for check in report["service"]["checks"]] == ["pass"] * len(
        report["service"]["checks"]
    )
    # As large as the report itself says, along the longest side of what can be built.
    assert FULL * 100.0 > max(report["size_as_placed_mm"]) > 60.0
