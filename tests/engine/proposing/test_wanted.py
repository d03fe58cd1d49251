"""The spring to buy: found where it is known, and called hopeless where there is none."""

import pytest

from curves.engine import Target, calibrate, wanted_spring
from curves.engine.codes import Code, warn
from tests.engine.bench import Bench
from tests.engine.warned import codes


@pytest.fixture(scope="module")
def bench():
    return Bench(2)


@pytest.fixture(scope="module")
def calibration(bench):
    return calibrate(bench.head, [bench.run(0, 0, 0), bench.run(1, 1, 1)])


def test_the_wanted_spring_is_the_one_that_makes_the_curve(bench):
    calibration = calibrate(bench.head, [bench.run(1, 1, n) for n in range(3)])
    speeds = bench.target.speed_rpm
    target = Target(speeds, bench.true(1, 1, speeds), 0.5)
    truth = bench.drawer.secondaries[1]
    wanted = wanted_spring(
        calibration, target, "secondary", bench.primaries[1], initial_tension_n=truth.tension
    )
    assert wanted.chance > 0.5
    assert wanted.spring.rate_n_per_mm == pytest.approx(truth.rate, rel=0.25)
    assert wanted.spring.free_length_mm == pytest.approx(truth.length, abs=0.5)
    # k = G d^4 / (8 D^3 n), Bhandari ch. 10, back from wire, coil and turns.
    wound = wanted.winding.spring
    made = 81_370.0 * wound.wire_mm**4 / (8 * wound.coil_mm**3 * wound.turns)
    assert made == pytest.approx(wanted.spring.rate_n_per_mm, rel=1e-9)
    assert (wound.turns + 1) * wound.wire_mm < wanted.spring.free_length_mm
    # At the stop it is drawn out from its free length to the gap there, by k x + P_i.
    gap, stretch = (pair[1] for pair in (bench.head.post_gap_mm, bench.head.stretch_mm_per_deg))
    drawn = gap + stretch * bench.head.travel_deg - wanted.spring.free_length_mm
    load = truth.tension + wanted.spring.rate_n_per_mm * drawn
    assert wanted.winding.load_n == pytest.approx(load, rel=0.1)
    assert wound.within


def test_a_spring_that_no_usual_wire_makes_is_called_so(bench, calibration):
    wanted = wanted_spring(calibration, bench.target, "primary", bench.secondaries[0], coils_mm=[60.0])
    assert wanted.winding is None
    assert codes(wanted)[-1] == Code.NO_USUAL_WIRE


def test_what_no_spring_can_do_is_said(bench, calibration):
    # 100 degrees at 500 rpm from a head with some 12 degrees of travel.
    wanted = wanted_spring(calibration, Target([500], [100], 0.5), "primary", bench.secondaries[0])
    assert wanted.chance == 0.0
    assert wanted.warnings[0] == warn(Code.NO_WANTED_SPRING)


def test_a_best_at_the_edge_of_the_search_is_called_so(bench, calibration):
    # At rest at a speed far above the others' takes the shortest spring there is.
    stiff = wanted_spring(calibration, Target([3500], [0], 0.5), "primary", bench.secondaries[0])
    assert Code.WANTED_AT_EDGE in codes(stiff)
    speeds = bench.target.speed_rpm
    inside = wanted_spring(
        calibration, Target(speeds, bench.true(1, 1, speeds), 0.8), "primary", bench.secondaries[1]
    )
    assert inside.warnings == ()
    assert inside.chance > 0.5


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"position": "third"}, "position must be one of"),
        ({"other": "S1"}, "other must be a Spring"),
        ({"position": "secondary", "other": None}, "other must be a Spring"),
        ({"initial_tension_n": -1}, "initial_tension_n must be from 0"),
        ({"coils_mm": [0]}, "coils_mm must be above 0"),
        ({"target": 1}, "target must be a Target"),
        ({"calibration": 1}, "calibration must be a Calibration"),
    ],
)
def test_bad_wishes_are_refused(bench, calibration, change, words):
    sound = {
        "calibration": calibration,
        "target": bench.target,
        "position": "primary",
        "other": bench.secondaries[0],
    }
    with pytest.raises(ValueError, match=words):
        wanted_spring(**(sound | change))
