"""Springback against the stress over the section, added up and integrated by others, and its limits."""

from math import pi

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from chaingen.design.bench import Trial
from chaingen.make.forming import Spring
from chaingen.make.springback import bending_moment, calibration, elastic_part, inside_off, mandrel_for
from chaingen.stock.metals import metal_names
from chaingen.stock.tempers import tempers_of


def spring(modulus, strength, factor=1.0):
    """Wire of a Young's modulus [GPa] and a yield strength [MPa]."""
    return Spring("test", modulus, strength, "invented", calibration=factor)


def integrated_moment(radius, wire, modulus, strength):
    """Stress times lever arm over the section, by adaptive quadrature [N mm]; modulus in MPa."""
    a = 0.5 * wire

    def part(y):
        stress = np.clip(modulus * y / radius, -strength, strength)
        return stress * y * 2.0 * np.sqrt(max(a * a - y * y, 0.0))

    core = min(strength * radius / modulus, a)
    return quad(part, -a, a, points=[-core, core], limit=400, epsabs=1e-10, epsrel=1e-10)[0]


def unbent_in_strips(mandrel, wire, modulus, strength, strips=20_000):
    """Inside of the coil by strips of wire, each elastic and perfectly plastic, unbent until none pulls [mm].

    Strips may yield again while they unbend; that they do not is no assumption here. Modulus in MPa.
    """
    a = 0.5 * wire
    edges = a * np.sin(np.linspace(-0.5 * pi, 0.5 * pi, strips + 1))
    y = 0.5 * (edges[1:] + edges[:-1])
    area = 2.0 * np.sqrt(a * a - y * y) * np.diff(edges)
    bent = 1.0 / (0.5 * mandrel + a)
    plastic = modulus * y * bent - np.clip(modulus * y * bent, -strength, strength)

    def moment(curvature):
        return float(np.sum(np.clip(modulus * y * curvature - plastic, -strength, strength) * y * area))

    return 2.0 / brentq(moment, 1e-9, bent, xtol=1e-15) - wire


# Derived, two ways: reference values of the project's notes.
CHECKS = [(75.0, 200.0, 5.1675, 5e-5), (76.0, 124.0, 5.101, 5e-4), (110.0, 448.0, 5.260, 5e-4),
          (193.0, 1500.0, 5.515, 5e-4)]  # fmt: skip


@pytest.mark.parametrize(("modulus", "strength", "inside", "within"), CHECKS)
def test_coil_off_a_5_mm_mandrel(modulus, strength, inside, within):
    wire = spring(modulus, strength)
    assert inside_off(5.0, 1.0, wire) == pytest.approx(inside, abs=within)
    assert mandrel_for(inside_off(5.0, 1.0, wire), 1.0, wire) == pytest.approx(5.0, abs=1e-9)


@pytest.mark.parametrize(("modulus", "strength", "inside", "within"), CHECKS)
def test_coil_off_a_5_mm_mandrel_in_strips(modulus, strength, inside, within):
    assert unbent_in_strips(5.0, 1.0, 1000.0 * modulus, strength) == pytest.approx(inside, abs=within)


def test_moment_of_the_notes():
    # Derived: Rn 3 mm, wire 1 mm, E 75 000 MPa, Y 250 MPa.
    assert bending_moment(3.0, 1.0, spring(75.0, 250.0)) == pytest.approx(41.6583, abs=5e-5)


@pytest.mark.parametrize("radius", [0.6, 3.0, 20.0, 90.0, 120.0])
@pytest.mark.parametrize(("modulus", "strength"), [(75.0, 250.0), (193.0, 1500.0), (117.0, 70.0)])
def test_moment_is_the_stress_integrated_over_the_section(radius, modulus, strength):
    expected = integrated_moment(radius, 0.9, 1000.0 * modulus, strength)
    assert bending_moment(radius, 0.9, spring(modulus, strength)) == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize("metal", [name for name in metal_names() if tempers_of(name)])
def test_every_metal_in_strips(metal):
    for temper in tempers_of(metal):
        wire = spring(temper.youngs_modulus, temper.yield_strength)
        for mandrel, thick in ((2.0, 0.5), (6.0, 1.2), (15.0, 1.0)):
            expected = unbent_in_strips(mandrel, thick, 1000.0 * temper.youngs_modulus, temper.yield_strength)
            assert inside_off(mandrel, thick, wire) == pytest.approx(expected, rel=2e-6)


def test_fully_plastic_moment():
    """The plastic section modulus of a round is d^3 / 6."""
    stiff = spring(1e6, 200.0)
    assert bending_moment(3.0, 1.2, stiff) == pytest.approx(200.0 * 1.2**3 / 6.0, rel=1e-6)


def test_first_yield():
    """There the moment is pi d^3 Y / 32, from either side, and nothing sets."""
    modulus, strength, wire = 75.0, 250.0, 1.0
    radius = 1000.0 * modulus * 0.5 * wire / strength
    bar = spring(modulus, strength)
    assert elastic_part(radius, wire, bar) == pytest.approx(1.0)
    for beside in (1.0 - 1e-9, 1.0 + 1e-9):
        expected = pytest.approx(pi * wire**3 * strength / 32.0, rel=1e-6)
        assert bending_moment(radius * beside, wire, bar) == expected
    assert inside_off(2.0 * radius * 1.001 - wire, wire, bar) is None
    assert inside_off(2.0 * radius * 0.8 - wire, wire, bar) > 10.0 * 2.0 * radius


WIRES = st.floats(0.3, 3.0)
MANDRELS = st.floats(0.5, 60.0)
MODULI = st.floats(50.0, 220.0)
STRENGTHS = st.floats(50.0, 2000.0)
FACTORS = st.floats(0.2, 2.5)


@given(MANDRELS, WIRES, MODULI, STRENGTHS, FACTORS)
def test_there_and_back(mandrel, wire, modulus, strength, factor):
    bar = spring(modulus, strength, factor)
    inside = inside_off(mandrel, wire, bar)
    assume(inside is not None and inside < 100.0 * mandrel)
    assert mandrel_for(inside, wire, bar) == pytest.approx(mandrel, rel=1e-6)


@given(st.floats(0.3, 80.0), WIRES, MODULI, STRENGTHS, FACTORS)
def test_back_and_there(inside, wire, modulus, strength, factor):
    """Also where no mandrel serves: then none of many gives the inside wanted."""
    bar = spring(modulus, strength, factor)
    mandrel = mandrel_for(inside, wire, bar)
    if mandrel is not None:
        assert 0.0 < mandrel <= inside
        assert inside_off(mandrel, wire, bar) == pytest.approx(inside, rel=1e-6)
        return
    insides = [inside_off(m, wire, bar) for m in np.geomspace(1e-3, inside, 60)]
    made = [value for value in insides if value is not None]
    assert all(value < inside for value in made) or all(value > inside for value in made)


@given(MANDRELS, WIRES, MODULI, STRENGTHS)
def test_scaling_and_stiffness(mandrel, wire, modulus, strength):
    """All lengths twice as large, or modulus and strength: the shape stays."""
    inside = inside_off(mandrel, wire, spring(modulus, strength))
    assume(inside is not None and inside < 100.0 * mandrel)
    doubled = inside_off(2.0 * mandrel, 2.0 * wire, spring(modulus, strength))
    assert doubled == pytest.approx(2.0 * inside, rel=1e-9)
    stronger = inside_off(mandrel, wire, spring(3.0 * modulus, 3.0 * strength))
    assert stronger == pytest.approx(inside, rel=1e-9)


def test_what_opens_further():
    base = inside_off(5.0, 1.0, spring(76.0, 200.0))
    assert base > 5.0
    assert inside_off(5.0, 1.0, spring(76.0, 300.0)) > base
    assert inside_off(5.0, 1.0, spring(110.0, 200.0)) < base
    assert inside_off(5.0, 0.8, spring(76.0, 200.0)) > base
    assert inside_off(5.0, 1.0, spring(76.0, 200.0, 1.2)) > base
    assert inside_off(5.0, 1.0, spring(76.0, 200.0, 0.0)) == pytest.approx(5.0)


def test_no_mandrel_serves():
    # Rubber-like wire springs open from a mandrel of no thickness further than that.
    assert mandrel_for(2.0, 1.0, spring(1.0, 700.0)) is None
    # A factor under 1 leaves a set at first yield; nothing wider can be wound.
    lazy = spring(193.0, 1500.0, 0.5)
    widest = inside_off(1000.0 * 193.0 * 0.3 / 1500.0 * 0.9999 - 0.3, 0.3, lazy)
    assert mandrel_for(0.99 * widest, 0.3, lazy) is not None
    assert mandrel_for(1.05 * widest, 0.3, lazy) is None
    # A factor well over 1 lets all of a gentle bend spring back.
    assert inside_off(30.0, 0.3, spring(193.0, 1500.0, 2.0)) is None


# --- calibration ----------------------------------------------------------------------------------


@given(MANDRELS, WIRES, MODULI, STRENGTHS, FACTORS)
def test_a_trial_coil_gives_its_factor(mandrel, wire, modulus, strength, factor):
    inside = inside_off(mandrel, wire, spring(modulus, strength, factor))
    assume(inside is not None and inside <= 10.0 * mandrel)
    found = calibration(Trial(None, None, wire, mandrel, inside), spring(modulus, strength, 7.0))
    assert found == pytest.approx(factor, rel=1e-6)


def test_a_calibrated_wire_gives_its_trial_coil():
    trial = Trial(None, None, 1.0, 5.0, 5.3)
    plain = spring(76.0, 124.0)
    factor = calibration(trial, plain)
    assert factor > 1.0
    assert inside_off(5.0, 1.0, spring(76.0, 124.0, factor)) == pytest.approx(5.3, abs=1e-9)


@pytest.mark.parametrize(
    ("mandrel", "inside", "wire", "words"),
    [
        (5.0, 4.9, 1.0, "they do not close up"),
        (5.0, 50.1, 1.0, "10 times"),
        (200.0, 210.0, 0.3, "takes a set"),
    ],
)
def test_trial_coils_that_cannot_be(mandrel, inside, wire, words):
    with pytest.raises(ValueError, match=words):
        calibration(Trial(None, None, wire, mandrel, inside), spring(76.0, 300.0))
