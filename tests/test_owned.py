"""Rings at hand: which make the piece, and how far they reach."""

import json
from dataclasses import replace
from itertools import product

import pytest

from chaingen.design.bench import Bench, OwnedRings
from chaingen.design.load import parse_design
from chaingen.design.starter import starter_design
from chaingen.make.owned import MOST_CHOICES, owned_choices
from chaingen.pipeline import build
from chaingen.solve.verdict import Fit
from tests.conftest import size


def at_hand(*rows, spare=0.0):
    """A bench with rings of (inside, wire, count[, metal]) [mm]."""
    owned = tuple(
        OwnedRings(size(row[0], row[1], f"at hand {k + 1}"), row[2], *row[3:]) for k, row in enumerate(rows)
    )
    return Bench(owned=owned, spare=spare)


@pytest.fixture(scope="module")
def plain():
    """Ten single rings of 4 mm inside and 1 mm wire."""
    return build(parse_design(starter_design("one-in-one", inside="4 mm", wire="1 mm", repeat=10)))


def found(result, *rows, spare=0.0):
    return owned_choices(result, at_hand(*rows, spare=spare))


def made_of(choice):
    return [(own.size.inside_diameter, own.size.wire_diameter) for _, own in choice.rings]


def test_the_count_decides(plain):
    """N rings of a plain chain reach N insides and two wires."""
    few, enough = found(plain, (4.0, 1.0, 7), (4.5, 1.0, 25))[::-1]
    assert made_of(enough) == [(4.5, 1.0)]
    assert (enough.repeat, enough.reaches, enough.short) == (25, True, ())
    assert enough.length == pytest.approx(25 * 4.5 + 2.0, abs=5e-3)
    assert (few.repeat, few.reaches, few.short) == (7, False, (("link", 3),))
    assert few.length == pytest.approx(7 * 4.0 + 2.0, abs=5e-3)
    assert few.fit is plain.fit


def test_spare_rings_are_kept(plain):
    """Ten rings and one in ten to spare are eleven; of ten at hand nine serve, with one to spare."""
    (eleven,) = found(plain, (4.0, 1.0, 11), spare=0.1)
    assert (eleven.repeat, eleven.reaches) == (10, True)
    (ten,) = found(plain, (4.0, 1.0, 10), spare=0.1)
    assert (ten.repeat, ten.reaches, ten.short) == (9, False, (("link", 1),))
    (none,) = found(plain, (4.0, 1.0, 0))
    assert (none.repeat, none.length, none.reaches, none.short) == (0, None, False, (("link", 10),))


def test_the_fit_decides():
    result = build(parse_design(starter_design("two-in-two", inside="4 mm", wire="1 mm", repeat=6)))
    # Nearer in size, but far too tight; what fits comes first.
    choices = found(result, (4.0, 1.6, 500), (7.0, 1.0, 12), (8.0, 1.0, 11))
    assert [made_of(choice)[0] for choice in choices] == [(7.0, 1.0), (8.0, 1.0), (4.0, 1.6)]
    assert [choice.reaches for choice in choices[:2]] == [True, False]
    last = choices[-1]
    assert last.fit is Fit.DOES_NOT_FIT
    assert last.length is None
    for choice in choices:
        (inside, wire), *_ = made_of(choice)
        text = starter_design("two-in-two", inside=f"{inside} mm", wire=f"{wire} mm", repeat=6)
        built = build(parse_design(text))
        assert choice.fit is built.fit
        if built.fits:
            assert choice.gap == pytest.approx(built.placement.gap, abs=1e-3)


def test_the_design_s_own_rings_have_its_own_verdict(plain):
    (own,) = found(plain, (4.0, 1.0, 10))
    assert own.gap == min(plain.check.smallest_gap, plain.placement.gap)
    assert own.fit is plain.fit
    assert own.length == pytest.approx(plain.finished_length, abs=1e-6)


def test_none_fits(plain):
    choices = found(plain, (1.0, 1.2, 500), (2.0, 2.0, 500))
    assert len(choices) == 2
    assert {choice.fit for choice in choices} == {Fit.DOES_NOT_FIT}
    assert [choice.length for choice in choices] == [None, None]
    assert made_of(choices[0]) == [(1.0, 1.2)]
    assert choices[0].gap == pytest.approx(-0.2)


TWO = """
title = "Kelp"
metal = "copper"
{pair}
[rings.large]
inside = "5 mm"
wire = "1 mm"
[rings.small]
inside = "4 mm"
wire = "1 mm"
{metals}
[pattern]
repeat = 6
groups = [{{ side_by_side = 2, ring = "large" }}, {{ join = 1, ring = "small" }}]
"""


@pytest.fixture(scope="module")
def two():
    """Six pairs of large rings and five small joins."""
    return build(parse_design(TWO.format(metals="", pair="")))


def test_two_sizes_share_a_stock(two):
    """12 and 5 rings of one stock are 17; n pairs and n - 1 joins are 3 n - 1."""
    (enough,) = found(two, (5.0, 1.0, 17))
    assert (enough.repeat, enough.reaches, enough.short) == (6, True, ())
    (lacking,) = found(two, (5.0, 1.0, 16))
    assert (lacking.repeat, lacking.reaches, lacking.short) == (5, False, (("small", 1),))
    (few,) = found(two, (5.0, 1.0, 10))
    # The large ones come first.
    assert (few.repeat, few.short) == (3, (("large", 2), ("small", 5)))


def test_rings_of_one_kind_in_two_boxes_are_one_stock(two):
    (enough,) = found(two, (5.0, 1.0, 9), (5.0, 1.0, 8))
    assert (enough.reaches, [own.count for _, own in enough.rings]) == (True, [17, 17])
    # Rings of a metal that is said and of one that is not are told apart.
    assert len(found(two, (5.0, 1.0, 9, "copper"), (5.0, 1.0, 8), (5.0, 1.0, 8, "copper"))) == 4


def test_stocks_of_their_own(two):
    choices = found(two, (5.0, 1.0, 12), (4.0, 1.0, 5))
    assert made_of(choices[0]) == [(5.0, 1.0), (4.0, 1.0)]
    assert choices[0].reaches
    # Either stock alone is too small for both sizes.
    assert [choice.reaches for choice in choices] == [True, False, False, False]
    assert len({tuple(made_of(choice)) for choice in choices}) == 4


def test_a_pair_takes_twice_as_many():
    both = build(parse_design(TWO.format(metals="", pair="pair = true")))
    (choice,) = found(both, (5.0, 1.0, 34))
    assert (choice.repeat, choice.reaches) == (6, True)
    (choice,) = found(both, (5.0, 1.0, 33))
    assert (choice.repeat, choice.short) == (5, (("small", 1),))


def test_the_nearest_combinations_in_order(two):
    """Against all combinations, sorted."""
    rows = [(4.3 + 0.31 * k, 1.0, 10_000) for k in range(3)]
    choices = found(two, *rows)
    told = [tuple(inside for inside, _ in made_of(choice)) for choice in choices]
    off = sorted(
        (abs(a - 5.0) / 5.0 + abs(b - 4.0) / 4.0, (a, b))
        for a, b in product([row[0] for row in rows], repeat=2)
    )
    assert {choice.reaches for choice in choices} == {True}
    assert told == [pair for _, pair in off]
    # Lengths are found out for the best of them only.
    assert [choice.length is not None for choice in choices] == [True] * 8 + [False]


def test_so_many_combinations_and_no_more(plain):
    rows = [(1.0 - 0.01 * k, 1.2, 0) for k in range(70)]
    choices = found(plain, *rows[::-1])
    assert [made_of(choice)[0][0] for choice in choices] == [row[0] for row in rows[:MOST_CHOICES]]


METALS = '[metal_pattern]\nstripes = ["copper", "brass"]\n'


def test_metals():
    for_copper = build(parse_design(TWO.format(metals="", pair="")))
    rows = ((5.0, 1.0, 99, "copper"), (4.0, 1.0, 99, "brass"), (4.5, 1.0, 99))
    sizes = {tuple(made_of(choice)) for choice in found(for_copper, *rows)}
    assert sizes == set(product([(5.0, 1.0), (4.5, 1.0)], repeat=2))
    assert found(for_copper, (5.0, 1.0, 99, "brass")) == ()
    # A size's own metal, and metals by place.
    brass = build(parse_design(TWO.format(metals='metal = "brass"', pair="")))
    sizes = {tuple(made_of(choice)) for choice in found(brass, *rows[:2])}
    assert sizes == {((5.0, 1.0), (4.0, 1.0))}
    striped = build(parse_design(TWO.format(metals=METALS, pair="")))
    assert len(found(striped, *rows)) == 9


def sheet(extent):
    text = 'title = "Net"\nmetal = "copper"\n[rings.link]\ninside = "4 mm"\nwire = "1 mm"\n[pattern]\n'
    return build(parse_design(f'{text}weave = "european-4-in-1"\n{extent}'))


def test_a_sheet_is_made_or_not():
    result = sheet("columns = 4\nrows = 4")
    needed = sum(count.count for count in result.counts)
    (enough,) = found(result, (4.2, 1.0, needed))
    assert (enough.repeat, enough.reaches, enough.length) == (1, True, None)
    (short,) = found(result, (4.2, 1.0, needed - 1))
    assert (short.repeat, short.reaches, short.short) == (0, False, (("link", 1),))


def test_an_outline_takes_fewer_larger_rings():
    result = sheet("outline = { circle = '40 mm' }")
    needed = sum(count.count for count in result.counts)
    (choice,) = found(result, (6.0, 1.4, 500))
    own = parse_design(
        'title = "Net"\nmetal = "copper"\n[rings.link]\ninside = "6 mm"\nwire = "1.4 mm"\n[pattern]\n'
        'weave = "european-4-in-1"\noutline = { circle = "40 mm" }'
    )
    fewer = sum(count.count for count in build(own).counts)
    assert fewer < needed
    (enough,) = found(result, (6.0, 1.4, fewer))
    (short,) = found(result, (6.0, 1.4, fewer - 1))
    assert choice.reaches
    assert enough.reaches
    assert short.short == (("link", 1),)
    (none,) = found(result, (60.0, 15.0, 500))
    assert (none.fit, none.reaches) == (Fit.DOES_NOT_FIT, False)


def test_a_turning_loop_reaches_what_comes_round():
    text = (
        'title = "Hoop"\nmetal = "copper"\n[rings.link]\ninside = "3.2 mm"\nwire = "1 mm"\n[pattern]\n'
        'weave = "jens-pind"\nform = "closed loop"\nrepeat = 60'
    )
    result = build(parse_design(text))
    (choice,) = found(result, (3.3, 1.0, 65))
    from chaingen.solve.place_weave import comes_round

    chain = result.design.piece.resized(lambda one: replace(one, inside_diameter=3.3))
    rounds = [n for n in range(53, 66) if comes_round(chain.repeated(n))]
    assert choice.repeat == max([*rounds, 60])
    assert choice.reaches


OWNED = """
[[owned]]
inside = "4 mm"
wire = "18 AWG"
count = 24
[[owned]]
inside = "1.2 mm"
wire = "18 AWG"
count = 500
metal = "copper"
"""


def write_design(tmp_path, rest="", metal="copper"):
    path = tmp_path / "design.toml"
    path.write_text(starter_design("one-in-one", repeat=10, metal=metal) + rest)
    return path


def test_the_command_tells_a_table(run, tmp_path):
    output = run("owned", write_design(tmp_path, OWNED)).output
    rows = [line for line in output.splitlines() if "4 mm of" in line or "1.2 mm of" in line]
    assert "comfortable" in rows[0] or "loose" in rows[0]
    assert "21 of 10" in rows[0]
    assert "does not fit" in rows[1]
    assert "10% more is kept for spare rings" in output


def test_spare_rings_are_told_as_said(run, tmp_path):
    output = run("owned", write_design(tmp_path, f"{OWNED}[bench]\nspare = 2.5\n")).output
    assert "2.5% more is kept for spare rings" in output


def test_the_command_tells_json(run, tmp_path):
    data = json.loads(run("owned", write_design(tmp_path, OWNED), "--json").output)
    assert (data["format"], data["version"], data["repeat"], data["spare"]) == ("chaingen owned", 1, 10, 0.1)
    first, last = data["choices"]
    assert first["rings"][0]["size"] == "link"
    assert first["rings"][0]["count"] == 24
    assert (first["repeat"], first["reaches"], first["short"]) == (21, True, {})
    assert first["finished_length_mm"] > 80.0
    assert (last["verdict"], last["finished_length_mm"]) == ("does not fit", None)


def test_the_command_takes_a_settings_file(run, tmp_path):
    settings = tmp_path / "settings.toml"
    settings.write_text(OWNED)
    design = write_design(tmp_path)
    assert "21 of 10" in run("owned", design, "--settings", settings).output
    problem = run("owned", design, code=2).stderr
    assert "[[owned]]" in problem
    assert 'wire = "18 AWG"' in problem


def test_the_command_says_when_nothing_serves(run, tmp_path):
    brass = OWNED.replace("count = 24\n", 'count = 24\nmetal = "copper"\n')
    output = run("owned", write_design(tmp_path, brass, metal="brass"), code=1).output
    assert "No rings at hand are of brass, which 'link' asks for." in output
    tight = OWNED.replace("4 mm", "1.2 mm")
    assert "does not fit" in run("owned", write_design(tmp_path, tight), code=1).output
    assert run("owned", write_design(tmp_path, tight), "--quiet", code=1).output == ""
