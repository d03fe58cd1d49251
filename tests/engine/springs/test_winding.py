"""Wire, coil and turns for a wanted spring, against the textbook's equations and tables."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curves.engine import wind
from curves.engine.springs.winding import allowed_stress
from curves.engine.units import MM_PER_INCH, N_PER_LBF

N_PER_MM2_PER_KPSI = 1000 * N_PER_LBF / MM_PER_INCH**2


def test_published_strength_of_music_wire():
    # Shigley, Mechanical Engineering Design, ch. 10: A 201 kpsi in^0.145, so 324 kpsi at 0.037 in; 45 % of it
    # is allowed in the body of an extension spring (tables 10-4 and 10-7, from memory).
    strength = 324 * N_PER_MM2_PER_KPSI
    assert allowed_stress(0.037 * MM_PER_INCH) == pytest.approx(0.45 * strength, rel=0.005)


@settings(max_examples=60, deadline=None)
@given(rate=st.floats(0.3, 30), length=st.floats(12, 40), load=st.floats(0, 60))
def test_what_is_wound_has_the_rate_wanted_and_fits_between_its_loops(rate, length, load):
    made = wind(rate, length, load)
    if made is None:
        return
    wire, coil, turns = made.spring.wire_mm, made.spring.coil_mm, made.spring.turns
    # k = G d^4 / (8 D^3 n) with G 81 370 N/mm2; Bhandari, ch. 10.
    assert 81_370 * wire**4 / (8 * coil**3 * turns) == pytest.approx(rate, rel=1e-9)
    assert 4 <= coil / wire <= 12  # Bhandari, ch. 10
    assert (turns + 1) * wire + coil - wire <= length
    assert made.body_turns == pytest.approx(turns - 81_370 / 207_000)  # N_a = N_b + G / E; Shigley, ch. 10


def test_a_coil_that_would_be_overstressed_gives_way_to_the_next():
    # tau = K 8 P D / (pi d^3), Bhandari, ch. 10: 617 N/mm2 at 20 N and 1235 at 40 N with 0.8 mm wire on 5 mm.
    light, heavy = (wind(2.5, 19.0, load, coils_mm=[5.0, 9.0]).spring for load in (20.0, 40.0))
    assert (light.coil_mm, light.wire_mm) == (5.0, 0.8)
    assert light.stress_n_per_mm2 == pytest.approx(617, abs=1)
    assert (heavy.coil_mm, heavy.within) == (9.0, True)


def test_where_every_wire_is_overstressed_it_is_not_called_sound():
    made = wind(2.5, 19.0, 200.0)
    assert made.spring.stress_n_per_mm2 > made.spring.limit_n_per_mm2
    assert not made.spring.within


def test_no_room_makes_no_spring():
    assert wind(0.05, 8.0, 1.0) is None


@pytest.mark.parametrize(
    ("arguments", "options", "words"),
    [
        ((0, 19, 12), {}, "rate_n_per_mm must be above 0"),
        ((2.5, -1, 12), {}, "free_length_mm must be from"),
        ((2.5, 19, float("nan")), {}, "load_n must be from 0 to 5000, got nan"),
        ((2.5, 19, 12), {"coils_mm": [0]}, "coils_mm must be above 0"),
    ],
)
def test_bad_input_is_named(arguments, options, words):
    with pytest.raises(ValueError, match=words):
        wind(*arguments, **options)
