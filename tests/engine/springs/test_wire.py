"""Coil springs from wire, coil and turns, against printed examples."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pint import UnitRegistry

from curves.engine import body_turns, spring_from_wire, turns_for_rate
from curves.engine.codes import Code
from curves.engine.units import MM_PER_INCH, N_PER_LBF, N_PER_MM_PER_LBF_PER_INCH
from tests.engine.warned import values

N_PER_MM2_PER_PSI = N_PER_LBF / MM_PER_INCH**2


def test_published_two_springs_of_which_the_second_engages_late():
    # V. B. Bhandari, Design of Machine Elements, Example 10.19 (FOSSEE 764/CH10/EX10.19), printed results.
    outer, inner = spring_from_wire(6, 36, 10), spring_from_wire(5, 30, 8)
    assert outer.rate_n_per_mm == pytest.approx(28.253472, rel=1e-6)  # computed from the printed inputs
    assert inner.rate_n_per_mm == pytest.approx(29.430700, rel=1e-6)
    deflection = (1000 + inner.rate_n_per_mm * 15) / (outer.rate_n_per_mm + inner.rate_n_per_mm)
    assert deflection == pytest.approx(24.988839, rel=1e-6)
    loads = outer.rate_n_per_mm * deflection, inner.rate_n_per_mm * (deflection - 15)
    assert loads == pytest.approx((706.021471, 293.978529), rel=1e-6)
    stresses = (
        spring_from_wire(6, 36, 10, load_n=loads[0]).stress_n_per_mm2,
        spring_from_wire(5, 30, 8, load_n=loads[1]).stress_n_per_mm2,
    )
    assert stresses == pytest.approx((375.305136, 225.032219), rel=1e-6)


@pytest.mark.parametrize(
    ("deflection", "load"), [(10, 282.535), (15, 423.802), (20, 712.223), (30, 1289.065)]
)
def test_the_pair_together_bends_where_the_second_comes_in(deflection, load):
    # Bhandari, Example 10.19: computed from the printed inputs.
    outer, inner = spring_from_wire(6, 36, 10), spring_from_wire(5, 30, 8)
    total = outer.rate_n_per_mm * deflection + inner.rate_n_per_mm * max(deflection - 15, 0)
    assert total == pytest.approx(load, abs=1e-3)


def test_published_tension_spring_of_a_balance():
    # Bhandari, Example 10.5 (764/CH10/EX10.5): 1500 N over 100 mm, C 6, Sut 1360, tau = 0.5 Sut. Printed: the
    # thinnest wire 6.497192 mm, of which 7 is taken; 21.974923 turns, of which 22; then 14.982902 N/mm.
    thinnest = spring_from_wire(6.497192, 6 * 6.497192, 22, load_n=1500)
    assert thinnest.stress_n_per_mm2 == pytest.approx(0.5 * 1360, rel=1e-6)
    assert turns_for_rate(1500 / 100, 7, 42) == pytest.approx(21.974923, rel=1e-6)
    taken = spring_from_wire(7, 42, 22, load_n=1500, stress_limit=0.5 * 1360)
    assert taken.rate_n_per_mm == pytest.approx(14.982902, rel=1e-6)
    assert taken.within


def test_published_wire_diameter():
    # Bhandari, Example 10.1: 1250 N, C 6, Sut 1090, tau = 0.5 Sut. Printed 6.625083 mm.
    spring = spring_from_wire(6.625083, 6 * 6.625083, 10, load_n=1250)
    assert spring.stress_n_per_mm2 == pytest.approx(0.5 * 1090, rel=1e-6)


def test_published_extension_spring():
    # Shigley, Mechanical Engineering Design, ch. 10 (example number and results from memory): d 0.035,
    # OD 0.248 in, 12.17 body coils, G 11.6, E 28.7 Mpsi -> active 12.57, k 17.91 lbf/in.
    assert body_turns(12.57, modulus=11.6e6, youngs=28.7e6) == pytest.approx(12.17, rel=2e-3)
    spring = spring_from_wire(
        0.035 * MM_PER_INCH, 0.213 * MM_PER_INCH, 12.57, modulus=11.6e6 * N_PER_MM2_PER_PSI
    )
    assert spring.rate_n_per_mm / N_PER_MM_PER_LBF_PER_INCH == pytest.approx(17.91, rel=2e-3)


def test_rate_agrees_with_pint():
    unit = UnitRegistry()
    wire, coil = 1.2 * unit.mm, 0.4 * unit.inch
    rate = 81_370 * unit.newton / unit.mm**2 * wire**4 / (8 * coil**3 * 12)
    spring = spring_from_wire(1.2, 0.4 * MM_PER_INCH, 12)
    assert spring.rate_n_per_mm == pytest.approx(rate.to("newton / mm").magnitude, rel=1e-12)
    assert spring.rate_n_per_mm / N_PER_MM_PER_LBF_PER_INCH == pytest.approx(
        rate.to("pound_force / inch").magnitude, rel=1e-12
    )


def test_stress_over_the_limit_and_odd_index_are_said():
    spring = spring_from_wire(1, 3, 10, load_n=200, stress_limit=800)
    assert not spring.within
    assert values(spring, Code.STRESS_OVER_LIMIT)["limit_n_per_mm2"] == 800
    assert values(spring, Code.COIL_INDEX_UNUSUAL)["coil_times"] == pytest.approx(3)


def test_without_a_load_there_is_no_stress():
    spring = spring_from_wire(1, 8, 10, stress_limit=800)
    assert (spring.stress_n_per_mm2, spring.within, spring.warnings) == (None, True, ())


def test_a_stress_at_the_limit_is_within_it():
    # Rounding must not call a stress over a limit that is the same number.
    for load in np.linspace(10.0, 90.0, 41):
        assert spring_from_wire(1, 8, 10, load_n=load, stress_limit=_stress_of(load)).within
    assert not spring_from_wire(1, 8, 10, load_n=40 * (1 + 1e-6), stress_limit=_stress_of(40)).within


def _stress_of(load_n):
    return spring_from_wire(1, 8, 10, load_n=load_n).stress_n_per_mm2


@pytest.mark.parametrize(
    ("function", "arguments", "options", "words"),
    [
        (spring_from_wire, (0, 8, 10), {}, "wire_mm must be from 0.001 to 50, got 0"),
        (spring_from_wire, (8, 8, 10), {}, "coil_mm must be above 8 and at most 500, got 8"),
        (spring_from_wire, (1, 8, -2), {}, "turns must be above 0"),
        (spring_from_wire, (1, 8, 10), {"load_n": float("nan")}, "load_n must be from 0 to 5000, got nan"),
        (spring_from_wire, (1, 8, 10), {"stress_limit": 0}, "stress_limit must be above 0"),
        (turns_for_rate, (0, 1, 8), {}, "rate_n_per_mm must be above 0"),
        (body_turns, (0.39,), {}, "active_turns must be above 0.393"),
    ],
)
def test_bad_input_is_named(function, arguments, options, words):
    with pytest.raises(ValueError, match=words):
        function(*arguments, **options)


@settings(max_examples=60, deadline=None)
@given(rate=st.floats(0.1, 20), wire=st.floats(0.4, 3), index=st.floats(4, 12))
def test_turns_for_a_rate_give_that_rate(rate, wire, index):
    turns = turns_for_rate(rate, wire, wire * index)
    if turns < 1000:
        assert spring_from_wire(wire, wire * index, turns).rate_n_per_mm == pytest.approx(rate, rel=1e-12)
