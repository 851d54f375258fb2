import periodictable
import pytest

from chaingen.stock.metals import METALS, find_metal, metal_names, nearest_metal

# Mass fractions: fineness marks for silver; jewellery alloy tables for gold; nominal compositions of the UNS
# numbers for copper alloys, from memory (C260 70/30 and C220 90/10 copper and zinc; C510 95/5 copper and tin;
# C752 65/18/17 copper, nickel and zinc).
ALLOYS = {
    "sterling silver": {"Ag": 92.5, "Cu": 7.5},
    "14k yellow gold": {"Au": 58.5, "Ag": 4.0, "Cu": 31.2, "Zn": 6.3},
    "18k yellow gold": {"Au": 75.0, "Ag": 15.0, "Cu": 10.0},
    "14k red gold": {"Au": 58.3, "Ag": 9.2, "Cu": 32.5},
    "brass": {"Cu": 70.0, "Zn": 30.0},
    "red brass": {"Cu": 90.0, "Zn": 10.0},
    "phosphor bronze": {"Cu": 95.0, "Sn": 5.0},
    "nickel silver": {"Cu": 65.0, "Ni": 18.0, "Zn": 17.0},
}


# Published densities, g/cm3: CRC Handbook (fine silver), an alloy data sheet (sterling), a jewellery alloy
# table (golds), mill sheets (copper alloys), handbooks (aluminium, titanium, niobium) and the compendium of
# material composition data of PNNL (stainless steels).
PUBLISHED = {
    "fine silver": 10.49, "sterling silver": 10.36, "14k yellow gold": 13.07, "18k yellow gold": 15.58,
    "14k red gold": 13.26, "14k white gold": 12.61, "copper": 8.94, "brass": 8.53, "red brass": 8.80,
    "phosphor bronze": 8.86, "aluminium": 2.71, "aluminium 6061": 2.70, "stainless steel 302": 7.86,
    "stainless steel 304": 8.03, "stainless steel 316": 8.00, "titanium": 4.51, "niobium": 8.57,
}  # fmt: skip


def density_of(metal):
    return find_metal(metal).density


def mixed_density(parts):
    """Mass-fraction rule 1/rho = sum(w_i / rho_i), with the element densities of periodictable."""
    total = sum(parts.values())
    return total / sum(share / getattr(periodictable, element).density for element, share in parts.items())


@pytest.mark.parametrize("metal", PUBLISHED)
def test_published_densities(metal):
    assert density_of(metal) == pytest.approx(PUBLISHED[metal], abs=0.005)


@pytest.mark.parametrize(
    ("metal", "element"),
    [("fine silver", "Ag"), ("copper", "Cu"), ("titanium", "Ti"), ("niobium", "Nb"), ("aluminium", "Al")],
)
def test_pure_metals(metal, element):
    # Handbooks differ by up to 0.7 % (titanium: 4.51 for wire, 4.54 in the tables of periodictable).
    assert density_of(metal) == pytest.approx(getattr(periodictable, element).density, rel=0.01)


@pytest.mark.parametrize("metal", ALLOYS)
def test_alloys_follow_the_mass_fraction_rule(metal):
    # 2 % for silver and gold alloys, 3 % for copper alloys: mixing changes the volume a little.
    tolerance = 0.02 if "Cu" not in ALLOYS[metal] or ALLOYS[metal]["Cu"] < 50 else 0.03
    assert density_of(metal) == pytest.approx(mixed_density(ALLOYS[metal]), rel=tolerance)


def test_platinum_is_softly_right():
    # From memory, 95 parts platinum and 5 ruthenium; the mass-fraction rule gives 20.70.
    assert density_of("platinum 950") == pytest.approx(mixed_density({"Pt": 95.0, "Ru": 5.0}), rel=0.02)


def test_values_from_memory_say_so():
    for name in ("platinum 950", "nickel silver", "aluminium 5356"):
        assert "memory" in find_metal(name).source
    assert {metal.name for metal in METALS if "memory" not in metal.source} == set(PUBLISHED)


def test_every_metal_is_whole():
    for metal in METALS:
        assert metal.source
        assert 1.0 < metal.density < 23.0
        assert len(metal.colour) == 3
        assert all(0.0 <= part <= 1.0 for part in metal.colour)
        assert 0.0 < metal.roughness < 1.0


def test_no_name_means_two_metals():
    names = [name.lower() for metal in METALS for name in (metal.name, *metal.aliases)]
    assert len(names) == len(set(names))
    assert metal_names() == tuple(metal.name for metal in METALS)


def test_look_up():
    assert find_metal("sterling silver").name == "sterling silver"
    assert find_metal("  Sterling   SILVER ").name == "sterling silver"
    assert find_metal("aluminum").name == "aluminium"
    assert find_metal("unobtainable") is None
    assert find_metal("") is None


def test_gold_without_its_carat_is_not_guessed():
    for name in ("gold", "red gold", "white gold"):
        assert find_metal(name) is None
        assert name in nearest_metal(name)


@pytest.mark.parametrize(
    ("misspelt", "meant"),
    [
        ("sterlin silver", "sterling silver"),
        ("Coper", "copper"),
        ("14ct yellow gold", "14k yellow gold"),
        ("316L", "stainless steel 316"),
        ("nobium", "niobium"),
    ],
)
def test_nearest(misspelt, meant):
    assert nearest_metal(misspelt) == meant


def test_nothing_near():
    assert nearest_metal("xyzzy") is None
    assert nearest_metal("") is None
