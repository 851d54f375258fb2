"""Tables of findings in a design file: their keys, and every problem in plain words at its place."""

import inspect
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from chaingen.design.finding_keys import COLOURS as NAMED
from chaingen.design.finding_schema import TABLES, FindingTable, finding_of
from chaingen.design.metal_schema import COLOURS
from chaingen.errors import Problem
from chaingen.findings.catalogue import KINDS, finding_kinds
from chaingen.findings.finding import Finding
from chaingen.stock.gauges import awg
from chaingen.tables import FileKind, Table, json_schema_of, value_problems


class Box(Table):
    findings: dict[str, FindingTable]


FILE = FileKind("the box", "a box file", Box, {"beads": "a list of beads", "steps": "a list of steps"})


def read(text):
    """The findings of a text, or its problems."""
    try:
        tables = Box.model_validate(tomllib.loads(text), context={COLOURS: ("kelp",)}).findings
    except ValidationError as error:
        return value_problems(error, FILE)
    made = [finding_of(name, table) for name, table in tables.items()]
    return [one for found in made for one in (found if isinstance(found, list) else [found])]


def told(text):
    problems = read(text)
    assert all(isinstance(problem, Problem) for problem in problems)
    return {problem.where: str(problem) for problem in problems}


@pytest.mark.parametrize("kind", finding_kinds())
def test_keys_are_the_builders(kind):
    parameters = dict(inspect.signature(KINDS[kind].build).parameters)
    parameters.pop("name")
    fields = TABLES[kind].model_fields
    assert set(fields) == {*parameters, "kind", "metal"}
    assert all(field.description for name, field in fields.items() if name != "kind")
    for name, parameter in parameters.items():
        if name not in ("beads", "steps", "eyes"):
            assert fields[name].default == parameter.default


@pytest.mark.parametrize("kind", [kind for kind in finding_kinds() if kind != "wire path"])
def test_a_kind_alone_is_a_finding(kind):
    [made] = read(f'[findings.one]\nkind = "{kind}"')
    assert isinstance(made, Finding)
    assert (made.name, made.kind) == ("one", kind)
    assert made.shape == KINDS[kind].build().shape


def test_sizes_are_read_as_people_write_them():
    [made] = read('[findings.gull]\nkind = "Ear  Wire"\nwire = "21 AWG"\nbend = "3/8 in"\nmetal = "kelp"')
    assert made.kind == "ear wire"
    assert 2.0 * made.shape.wire_radius == pytest.approx(awg(21))
    assert made.shape.eyes[1].inside == pytest.approx(9.525)


def test_beads_are_read():
    [made] = read("""
        [findings.drop]
        kind = "head pin"
        head = "Flat"
        head_size = "2 mm"
        [[findings.drop.beads]]
        form = "ball"
        diameter = "6 mm"
        colour = "#336699"
        density = 2.5
        [[findings.drop.beads]]
        form = "rondelle"
        diameter = "5 mm"
        thickness = "3 mm"
        hole = "0.9 mm"
        """)
    one, two = made.beads
    assert one.colour == pytest.approx((0.2, 0.4, 0.6))
    assert (one.form, one.hole, one.density) == ("ball", 1.0, 2.5)
    assert two.colour == tuple(int(NAMED["sea green"][k : k + 2], 16) / 255.0 for k in (1, 3, 5))
    assert (two.thickness, two.hole, two.density) == (3.0, 0.9, None)


def test_a_path_is_read():
    [made] = read("""
        [findings.cleat]
        kind = "wire path"
        steps = [
          { length = "10 mm" },
          { radius = "2.5 mm", angle = 180 },
          { length = "6 mm" },
        ]
        eyes = [{ name = "hook", from_step = 1, to_step = 3, opened_by = "hook", end = "outer" }]
        """)
    assert made.shape.eyes[0].opening == pytest.approx(4.0, abs=1e-6)
    assert (made.inner, made.outer) == ((), (0,))


def test_a_kind_that_is_none_lists_the_kinds():
    problems = told("""
        [findings.a]
        kind = "ear wyre"
        [findings.b]
        wire = "1 mm"
        [findings.c]
        kind = 7
        """)
    assert list(problems) == ["findings.a.kind", "findings.b.kind", "findings.c.kind"]
    assert "did you mean ear wire?" in problems["findings.a.kind"]
    assert all(kind in text for text in problems.values() for kind in finding_kinds())


def test_a_key_of_another_kind_names_those_that_have_it():
    problems = told('[findings.a]\nkind = "oval link"\ngate = "2 mm"\nbend = "3 mm"\ninside_lenght = "5 mm"')
    assert "spring ring, lobster clasp have it" in problems["findings.a.gate"]
    assert "hook, ear wire have it" in problems["findings.a.bend"]
    assert "did you mean inside_length?" in problems["findings.a.inside_lenght"]


def test_all_is_told_at_once_and_at_its_place():
    problems = told("""
        [findings."head land"]
        kind = "head pin"
        wire = "20 gauge"
        turns = "two"
        head = "round"
        metal = "tin foil"
        beads = [
          { form = "bal", diameter = "6 mm" },
          { form = "disc", diameter = 6, colour = "sea gren", hloe = "1 mm" },
          3,
        ]
        [findings.b]
        kind = "oval link"
        soldered = "yes"
        [findings.c]
        kind = "end bar"
        strands = 0
        """)
    pin = "findings.'head land'"
    assert set(problems) == {
        f"{pin}.wire", f"{pin}.turns", f"{pin}.head", f"{pin}.metal", f"{pin}.beads[1].form",
        f"{pin}.beads[2].diameter", f"{pin}.beads[2].colour", f"{pin}.beads[2].hloe", f"{pin}.beads[3]",
        "findings.b.soldered", "findings.c.strands",
    }  # fmt: skip
    assert '"20 AWG" (0.812 mm)' in problems[f"{pin}.wire"]
    assert "did you mean sea green?" in problems[f"{pin}.beads[2].colour"]
    assert "did you mean hole?" in problems[f"{pin}.beads[2].hloe"]
    assert "kelp" in problems[f"{pin}.metal"]


def test_sizes_that_do_not_go_together_have_their_place():
    problems = told("""
        [findings."low tide"]
        kind = "spring ring"
        gate = "9 mm"
        [findings.b]
        kind = "head pin"
        head_size = "3 mm"
        beads = [{ form = "ball", diameter = "6 mm" }, { form = "ball", diameter = "6 mm", hole = "0.3 mm" }]
        """)
    assert set(problems) == {"findings.'low tide'.gate", "findings.b.beads[2].hole"}
    assert "at most 2.454 mm" in problems["findings.'low tide'.gate"]


@pytest.mark.parametrize(
    ("step", "said"),
    [
        ('radius = "2 mm"', "a bend with radius and angle"),
        ("angle = 90", "a bend with radius and angle"),
        ('length = "2 mm", radius = "2 mm", angle = 90', "a straight with length"),
        ('length = "2 mm", direction = 90', "direction with a bend only"),
        ("", "a straight with length"),
    ],
)
def test_a_step_is_straight_or_bent(step, said):
    problems = told(f"""
        [findings.a]
        kind = "wire path"
        steps = [{{ {step} }}]
        eyes = [{{ name = "eye", from_step = 1, to_step = 1 }}]
        """)
    assert list(problems) == ["findings.a.steps[1]"]
    assert said in problems["findings.a.steps[1]"]


@pytest.mark.parametrize(
    ("kind", "line", "where"),
    [
        ("wire path", 'steps = [{ radius = "2 mm", angle = "60 deg" }]', "steps[1].angle"),
        ("wire path", 'steps = [{ radius = "2 mm", angle = 60, direction = "left" }]', "steps[1].direction"),
        ("hook", 'kick = "10 deg"', "kick"),
    ],
)
def test_degrees_have_no_unit(kind, line, where):
    eyes = 'eyes = [{ name = "eye", from_step = 1, to_step = 1 }]' if kind == "wire path" else ""
    problems = told(f'[findings.a]\nkind = "{kind}"\n{line}\n{eyes}')
    assert list(problems) == [f"findings.a.{where}"]
    assert "degrees, without a unit" in problems[f"findings.a.{where}"]


def test_a_path_needs_steps_and_eyes():
    assert set(told('[findings.a]\nkind = "wire path"')) == {"findings.a.steps", "findings.a.eyes"}
    assert set(told('[findings.a]\nkind = "wire path"\nsteps = []\neyes = 3')) == {
        "findings.a.steps", "findings.a.eyes",
    }  # fmt: skip


LENGTHS = st.sampled_from(["0.2 mm", "1 mm", "2.5 mm", "5 mm", "100 mm", "0 mm", "1 in", "20 AWG", "x", ""])
VALUES = st.one_of(
    LENGTHS,
    st.integers(-3, 30),
    st.floats(allow_nan=True),
    st.booleans(),
    st.none(),
    st.text(max_size=8),
    st.lists(
        st.dictionaries(
            st.sampled_from(["form", "diameter", "hole", "thickness", "length", "radius", "angle", "name",
                             "from_step", "to_step", "direction", "opened_by", "gate", "colour"]),
            st.one_of(LENGTHS, st.sampled_from(["ball", "disc", "gate", "hook"]), st.integers(-2, 400)),
            max_size=6,
        ),
        max_size=4,
    ),
)  # fmt: skip
KEYS = sorted({name for table in TABLES.values() for name in table.model_fields} | {"colour", "x"})


@settings(max_examples=400, deadline=None)
@given(
    st.sampled_from(finding_kinds()),
    st.dictionaries(st.sampled_from(KEYS), VALUES, max_size=6),
)
def test_nothing_that_is_typed_breaks_it(kind, keys):
    try:
        table = Box.model_validate({"findings": {"it": {**keys, "kind": kind}}}).findings["it"]
    except ValidationError as error:
        problems = value_problems(error, FILE)
        assert all(problem.where.startswith("findings.it") for problem in problems)
        assert all(problem.expected for problem in problems)
        return
    made = finding_of("it", table)
    assert isinstance(made, Finding) or all(problem.where.startswith("findings.it.") for problem in made)


def likely(name, annotation):
    text = str(annotation)
    if name in ("steps", "eyes", "beads"):
        return st.just([])
    if "bool" in text:
        return st.booleans()
    if name in ("loops", "strands", "wraps"):
        return st.integers(1, 2)
    if name in ("kick", "turns"):
        return st.floats(0.5, 10.0)
    if name in ("head", "front"):
        return st.sampled_from(["flat", "ball", "spiral"] if name == "head" else ["ball", "disc"])
    most = 6.0 if "wire" in name else 100.0
    return st.floats(0.2, most).map(lambda size: f"{size:.3f} mm")


SIZES = st.sampled_from([kind for kind in finding_kinds() if kind != "wire path"]).flatmap(
    lambda kind: st.fixed_dictionaries(
        {"kind": st.just(kind)},
        optional={
            name: likely(name, field.annotation)
            for name, field in TABLES[kind].model_fields.items()
            if name not in ("kind", "metal")
        },
    )
)


@settings(max_examples=300, deadline=None)
@given(SIZES)
def test_any_sizes_within_their_limits_make_a_finding_or_problems(keys):
    table = Box.model_validate({"findings": {"it": keys}}).findings["it"]
    made = finding_of("it", table)
    if isinstance(made, Finding):
        assert made.wire_volume > 0.0
        assert all(cut.length > 0.0 for cut in made.cutting_list)
    else:
        assert all(problem.expected and problem.where.startswith("findings.it.") for problem in made)


def test_the_schema_for_editors_says_what_every_key_means():
    schema = json_schema_of(Box)
    tables = schema["$defs"]
    assert {f"{type_.__name__}" for type_ in TABLES.values()} <= set(tables)
    for table in tables.values():
        for name, entry in table["properties"].items():
            if name != "kind":
                assert entry["description"].endswith("."), name


@pytest.mark.parametrize("kind", finding_kinds())
def test_defaults_in_the_schema_can_be_typed(kind):
    properties = json_schema_of(TABLES[kind])["properties"]
    typed = {
        name: entry["default"]
        for name, entry in properties.items()
        if entry.get("default") is not None and name not in ("beads", "steps", "eyes")
    }
    assert len(typed) >= 2
    needed = {}
    if kind == "wire path":
        needed = {
            "steps": [{"radius": "3 mm", "angle": 330}],
            "eyes": [{"name": "ring", "from_step": 1, "to_step": 1}],
        }
    table = TABLES[kind].model_validate({"kind": kind, **needed, **typed})
    assert table == TABLES[kind].model_validate({"kind": kind, **needed})
