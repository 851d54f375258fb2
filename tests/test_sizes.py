import pytest

from chaingen.design.load import parse_design
from chaingen.design.starter import starter_design
from chaingen.errors import BadInput
from chaingen.pipeline import size_overview
from chaingen.solve.place import place
from chaingen.solve.sizes import size_table, tightest
from chaingen.solve.verdict import Fit
from chaingen.weave.groups import Run
from tests.conftest import AWG_18, join, side, size


def test_table_of_one_size_equals_single_solutions():
    run = Run((side(2, size(3.0)),), 10)
    table = size_table(run, "link", [2.5, 4.0], [AWG_18, 0.8])
    for row in table:
        for entry in row:
            gap = place(Run((side(2, size(entry.inside_diameter, entry.wire_diameter)),), 10)).gap
            assert entry.gap == pytest.approx(gap, abs=3e-3)


def test_table_of_one_size_among_others():
    big = size(6.0, 1.2, "big")
    run = Run((side(1, big), join(1, size(3.0))), 10)
    (row,) = size_table(run, "link", [3.0], [0.8, 3.5])
    assert row[0].gap == pytest.approx(place(Run((side(1, big), join(1, size(3.0, 0.8))), 10)).gap, abs=3e-3)
    assert row[1].fit is Fit.DOES_NOT_FIT


def test_overview_defaults_surround_the_design():
    design = parse_design(starter_design("two-in-one"))
    overview = size_overview(design)
    assert overview.ring == "link"
    assert dict(overview.tightest.aspect_ratios)["link"] == pytest.approx(2.4142, rel=0.01)
    insides = [row[0].inside_diameter for row in overview.table]
    assert min(insides) < 3.0 < max(insides)
    # Wider rings and thinner wires leave more room.
    for row in overview.table:
        assert [entry.gap for entry in row] == sorted(entry.gap for entry in row)
    for column in zip(*overview.table, strict=True):
        assert [entry.gap for entry in column] == sorted(entry.gap for entry in column)
    assert {entry["verdict"] for entry in overview.as_data()["sizes"]} >= {
        "does not fit",
        "tight",
        "comfortable",
    }


def test_unknown_ring_is_refused():
    design = parse_design(starter_design("two-in-one"))
    with pytest.raises(BadInput, match="link"):
        size_overview(design, ring="lonk")


def test_other_groups_at_the_ends_count():
    """A rosette of six at the end carries more wires than the chain does: it sets the sizes."""
    from tests.conftest import rosette

    ring = size(3.0)
    plain, ended = Run((side(1, ring),), 10), Run((side(1, ring),), 10, last=(rosette(6, ring),))
    assert dict(tightest(plain).aspect_ratios)["link"] == pytest.approx(2.0, abs=0.01)
    assert dict(tightest(ended).aspect_ratios)["link"] > 3.0
    ((entry,),) = size_table(ended, "link", [3.0], [AWG_18])
    assert entry.fit is Fit.DOES_NOT_FIT


@pytest.mark.parametrize("inside", [7.0, 15.0, 20.0])
def test_the_tightest_does_not_depend_on_where_it_starts(inside):
    for cell, exact in (
        ((side(1, size(inside, 1.0)),), 2.0),
        ((side(2, size(inside, 1.0)), join(1, size(inside, 1.0))), 2.4142),
    ):
        assert dict(tightest(Run(cell, 10)).aspect_ratios)["link"] == pytest.approx(exact, abs=0.01)
