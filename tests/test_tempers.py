"""Tempers: the figures and their sources, and the names that find them."""

import pytest

from chaingen.stock.metals import find_metal, metal_names
from chaingen.stock.tempers import find_temper, spelt_temper, temper_names, tempers_of


@pytest.mark.parametrize(
    ("metal", "temper", "modulus", "strength", "source"),
    [
        # Alloy data sheet of sterling, its modulus from memory.
        ("sterling silver", "annealed", 76.0, (124.0, 124.0), "alloy data sheet"),
        # Mill sheet C260, wire.
        ("brass", "half hard", 110.0, (448.0, 448.0), "mill sheet C260"),
        ("brass", "annealed", 110.0, (110.0, 158.0), "mill sheet C260"),
        # Mill sheet C220, strip.
        ("red brass", "hard", 117.0, (400.0, 400.0), "mill sheet C220"),
        # ASTM B159 grades: tensile strength 550 to 670 MPa, which yield stays below.
        ("phosphor bronze", "half hard", 110.0, (0.7 * 550.0, 0.9 * 670.0), "ASTM B159"),
        # ASTM A313 table: tensile strength of 1.0 mm wire 1900 to 2100 MPa.
        ("stainless steel 302", "spring", 193.0, (0.7 * 1900.0, 0.9 * 2100.0), "ASTM A313"),
        # ASTM B863 family, least yield.
        ("titanium", "grade 1", 103.0, (170.0, 170.0), "ASTM B863"),
        ("titanium", "grade 2", 103.0, (275.0, 275.0), "ASTM B863"),
        # Handbook, 6061-T6.
        ("aluminium 6061", "T6", 68.9, (276.0, 276.0), "handbook"),
    ],
)
def test_published_figures(metal, temper, modulus, strength, source):
    found = find_temper(metal, temper)
    assert found.youngs_modulus == modulus
    assert strength[0] <= found.yield_strength <= strength[1]
    assert source in found.source


@pytest.mark.parametrize(("metal", "temper", "about"), [("sterling silver", "half hard", 300.0),
                                                        ("copper", "annealed", 70.0)])  # fmt: skip
def test_figures_from_memory_say_so(metal, temper, about):
    found = find_temper(metal, temper)
    assert found.yield_strength == pytest.approx(about, rel=0.2)
    assert "memory" in found.source


def test_every_temper_belongs_to_a_metal_and_can_be():
    with_data = [name for name in metal_names() if tempers_of(name)]
    assert len(with_data) >= 8
    assert {temper.name for name in with_data for temper in tempers_of(name)} == set(temper_names())
    for name in with_data:
        tempers = tempers_of(name)
        assert find_metal(name).name == name
        assert len({temper.name for temper in tempers}) == len(tempers)
        for temper in tempers:
            assert temper.source
            # Engineering metals yield at strains of 0.05 to 1 %.
            assert 5e-4 < temper.yield_strength / (1000.0 * temper.youngs_modulus) < 1e-2
            # Where a strength was taken for another, the source says that it is taken for granted.
            assert ("tensile" in temper.source) == ("assumption" in temper.source)


def test_hard_drawn_wire_is_stronger_than_annealed():
    for metal in ("sterling silver", "brass"):
        hard, soft = (find_temper(metal, name).yield_strength for name in ("half hard", "annealed"))
        assert hard > 1.5 * soft


def test_nothing_is_known_of_other_metals():
    assert tempers_of("niobium") == ()
    assert tempers_of("harbour blue") == ()
    assert find_temper("niobium", "annealed") is None
    assert find_temper("copper", "half hard") is None


@pytest.mark.parametrize(
    ("said", "found"),
    [
        ("half hard", "half hard"), ("Half-Hard", "half hard"), ("  HALF   hard ", "half hard"),
        ("soft", "annealed"), ("Dead-Soft", "annealed"), ("t6", "T6"), ("full hard", "hard"),
        ("as it came", "as it came"),
    ],
)  # fmt: skip
def test_names_as_people_write_them(said, found):
    assert spelt_temper(said) == found
