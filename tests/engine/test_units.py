"""Frames round-trip, and imperial units agree with the standards."""

import numpy as np
import pint
import pytest
import scipy.constants as constants
from hypothesis import given, settings
from hypothesis import strategies as st

from curves.engine import Drive
from curves.engine import units as u

UNIT = pint.UnitRegistry()


def test_datsun_roadster_crank_is_twice_the_distributor():
    # Datsun roadster: 17.5 distributor = 35 crank degrees (as the maker prints it).
    assert Drive.four_stroke().to_crank_deg(17.5) == 35.0
    assert Drive.four_stroke().to_shaft_deg(35.0) == 17.5


def test_a_shaft_at_crank_speed_has_one_frame():
    assert Drive.two_stroke().to_crank_rpm(1234.0) == 1234.0
    assert Drive.crank_speed().to_shaft_deg(7.0) == 7.0


@settings(deadline=None)
@given(
    st.floats(0.1, 10.0),
    st.lists(st.floats(-1e4, 1e4, allow_subnormal=False), min_size=1, max_size=5),
)
def test_frames_round_trip(ratio, values):
    drive = Drive(ratio)
    assert drive.to_shaft_deg(drive.to_crank_deg(values)) == pytest.approx(values, rel=1e-12, abs=1e-12)
    assert drive.to_crank_rpm(drive.to_shaft_rpm(values)) == pytest.approx(values, rel=1e-12, abs=1e-12)


def test_scalar_agrees_with_array_and_input_is_left_alone():
    values = np.array([100.0, 200.0])
    assert list(Drive().to_crank_rpm(values)) == [Drive().to_crank_rpm(value) for value in values]
    assert list(values) == [100.0, 200.0]


@pytest.mark.parametrize("ratio", [0, -1.0, float("nan"), float("inf"), "two", None, 10**400, 1e-3])
def test_a_drive_without_a_sound_ratio_is_refused(ratio):
    with pytest.raises(ValueError, match="crank_per_shaft must be"):
        Drive(ratio)


def test_units_as_printed_by_nist():
    # NIST SP 811, Appendix B.
    assert round(u.KPA_PER_INHG, 6) == 3.386389
    assert round(u.KPA_PER_MMHG * 1e3, 4) == 133.3224
    assert pytest.approx(175.1268, abs=5e-5) == u.N_PER_MM_PER_LBF_PER_INCH * 1e3
    assert u.N_PER_LBF == 4.4482216152605
    assert u.MM_PER_INCH == 25.4


def test_units_agree_with_scipy():
    assert constants.inch * 1e3 == pytest.approx(u.MM_PER_INCH, rel=1e-15)
    assert constants.lbf == pytest.approx(u.N_PER_LBF, rel=1e-15)
    # SciPy's mmHg is the torr, 101325/760 Pa: the same to its seven digits.
    assert constants.mmHg / 1e3 == pytest.approx(u.KPA_PER_MMHG, rel=2e-7)
    assert constants.pi / 30 == u.RAD_PER_S_PER_RPM


def test_units_agree_with_pint():
    def factor(one, other):
        return UNIT.Quantity(1.0, one).to(other).magnitude

    assert factor("inch", "mm") == pytest.approx(u.MM_PER_INCH, rel=1e-14)
    assert factor("pound_force", "N") == pytest.approx(u.N_PER_LBF, rel=1e-14)
    assert factor("pound_force/inch", "N/mm") == pytest.approx(u.N_PER_MM_PER_LBF_PER_INCH, rel=1e-14)
    assert factor("mmHg", "kPa") == pytest.approx(u.KPA_PER_MMHG, rel=1e-9)
    assert factor("inHg", "kPa") == pytest.approx(u.KPA_PER_INHG, rel=1e-9)
    assert factor("rpm", "rad/s") == pytest.approx(u.RAD_PER_S_PER_RPM, rel=1e-14)


@pytest.mark.parametrize(
    ("unit", "newtons"),
    [
        ("N", 1.0),
        ("gf", constants.kgf / 1000),
        ("kgf", constants.kgf),
        ("lbf", constants.lbf),
    ],
)
def test_loads_agree_with_the_standards(unit, newtons):
    # NIST SP 811, App. B.8: 1 lbf = 4.448 222 N, 1 kgf = 9.806 65 N.
    assert u.to_newtons(1.0, unit) == pytest.approx(newtons, rel=1e-14)
    named = {"N": "newton", "gf": "gram_force", "kgf": "kilogram_force", "lbf": "pound_force"}[unit]
    assert u.to_newtons([2.5, 7.0], unit) == pytest.approx(
        (UNIT.Quantity(np.array([2.5, 7.0]), named)).to("newton").magnitude, rel=1e-12
    )


def test_a_load_in_no_known_unit_is_refused():
    with pytest.raises(ValueError, match="one of N, gf, kgf, lbf"):
        u.to_newtons(1.0, "oz")
    assert (u.N_PER_KGF, u.N_PER_LBF) == (9.80665, 4.4482216152605)
