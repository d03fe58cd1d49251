"""Whatever is handed in wrong is refused by name: a ValueError, never another error and never a guess."""

import numpy as np
import pytest

from curves import engine
from curves.engine import Curve, Drive, Head, LearnedType, Run, Shelf, Spring, Target
from curves.engine.vacuum.capsule import fit_capsule

CURVE = [500, 1500], [0, 10]
TARGET = Target([500, 1500], [0, 10], 0.5)
SPRING = Spring("P1", 3.0, 20.0)
CAPSULE = fit_capsule([10, 20, 25, 30, 40, 50], [0, 0, 2, 4, 6, 6])
SHELF = Shelf([[0.0, 5.0], [0.0, 6.0]])
ONES = (1.0,) * 8
DIAGONAL = tuple(map(tuple, np.diag(ONES).tolist()))
KNEES = engine.fit_knees([400, 900, 1400], [0, 5, 10])

NO_TARGET = [
    (engine.band_edges, (CURVE, 500)),
    (engine.distance_outside, (None, 500, 1)),
    (engine.judge_curve, ("band", CURVE)),
    (engine.best_initial, (CURVE, CURVE)),
    (engine.can_follow, (5,)),
]


@pytest.mark.parametrize(("function", "arguments"), NO_TARGET)
def test_what_is_no_target_is_named(function, arguments):
    with pytest.raises(ValueError, match="target must be a Target, got"):
        function(*arguments)


NO_DRIVE = [
    (engine.idle_timing, (CURVE, 900)),
    (engine.true_initial, ([900], [10], CURVE)),
    (engine.best_initial, (CURVE, TARGET)),
    (engine.setting_card, (6, CURVE, 900, [1600])),
    (engine.total_timing, (6, CURVE, 5000, 40)),
]


@pytest.mark.parametrize(("function", "arguments"), NO_DRIVE)
@pytest.mark.parametrize("drive", [2.0, None])
def test_what_is_no_drive_is_named(function, arguments, drive):
    with pytest.raises(ValueError, match="drive must be a Drive, got"):
        function(*arguments, drive=drive)


REFUSED = [
    (engine.learn_head, (None,), {}, "calibrations must be a list of Calibrations, got None"),
    (engine.learn_head, (SPRING,), {}, "calibrations must be a list of Calibrations, got Spring"),
    (engine.learned_values, (1,), {}, "learned must be a LearnedType, got 1"),
    (engine.fit_knees, CURVE, {"slopes": 1.9}, "slopes must be a whole number, from 1 to 3, got 1.9"),
    (engine.fit_knees, CURVE, {"pieces": 2.5}, "pieces must be a whole number, from 1 to 5, got 2.5"),
    (
        engine.best_initial,
        (CURVE, TARGET),
        {"range_deg": (0, 10), "step_deg": 1e-9},
        "step_deg must be above",
    ),
    (
        engine.dwell,
        (4,),
        {"dwell_deg": [40, 50], "speed_rpm": [500] * 3},
        "dwell_deg must have as many",
    ),
    (
        engine.dwell,
        (4,),
        {"percent": [40, 50], "speed_rpm": [500] * 3},
        "percent must have as many",
    ),
    (engine.dwell, (4,), {"closed_ms": [1, 2], "speed_rpm": [500] * 3}, "closed_ms must have as many values"),
    (engine.dwell, (4.5,), {"dwell_deg": 40}, "cylinders must be a whole number, from 1 to 24, got 4.5"),
    (engine.wind, ("two", 19, 12), {}, "rate_n_per_mm must be a number"),
    (engine.nearest_engines, ("ab", [[1.0, 2.0]]), {}, "attributes must be a list of numbers, got 'ab'"),
    (engine.nearest_engines, ([1, 2], [[1.0, 2.0]]), {"spread": "x"}, "spread must be a list of numbers"),
    (engine.nearest_engines, ([1, 2], "ab"), {}, "table must be a table of numbers"),
    (engine.nearest_curves, (CURVE, [[0.0] * 29]), {"count": 1.5}, "count must be a whole number"),
    (engine.scatter, ([["a"]],), {}, "spark_deg must be a table of numbers"),
    (engine.spring_from_loads, ([10**400, 5], [1, 2]), {}, "length_mm must be a list of numbers"),
    (engine.stretch_per_degree, (10**400, 20, 12), {}, "gap_mm must be a number"),
    (SHELF.nearest, ("ab",), {}, "description must be a list of numbers, got 'ab'"),
    (SHELF.nearest, ([0, 1], 0), {}, "count must be at least 1, got 0"),
    (SPRING.force_n, (np.nan,), {}, "length_mm must be finite, got nan"),
    (SPRING.force_n, ("long",), {}, "length_mm must be a number"),
    (Spring("came in", None, 20.0).force_n, (25,), {}, "rate, free length and initial tension must be known"),
    (Spring, (["a"], 3.0, 20.0), {}, "key must be text, a number or a tuple of such, got"),
    (Drive().to_crank_deg, (None,), {}, "shaft_deg must be a number or a list of numbers, got None"),
    (Drive().to_crank_rpm, ("fast",), {}, "shaft_rpm must be a number or a list of numbers, got 'fast'"),
    (Drive().to_shaft_deg, ([1, "x"],), {}, "crank_deg must be a number or a list of numbers"),
    (Drive().to_shaft_rpm, (10**400,), {}, "crank_rpm must be a number or a list of numbers"),
    (Curve(*CURVE).at, (np.nan,), {}, "speed_rpm must be finite, got nan"),
    (Curve(*CURVE).slope_at, ("x",), {}, "speed_rpm must be a list of numbers, got 'x'"),
    (KNEES.advance_at, ([1, np.inf],), {}, "speed_rpm must be finite, got inf at position 1"),
    (KNEES.slope_at, (None,), {}, "speed_rpm must be a list of numbers, got None"),
    (CAPSULE.advance_at, ("x",), {}, "vacuum_kpa must be a list of numbers, got 'x'"),
    (LearnedType, (ONES[:7], DIAGONAL, 2), {}, r"mean must have as many values as HEAD_NAMES \(8\), got 7"),
    (LearnedType, (ONES, ONES, 2), {}, r"covariance must have as many values as 8 by 8 \(64\), got 8"),
    (LearnedType, (ONES, (ONES,) * 8, 2), {}, "covariance must be symmetric and positive definite"),
    (LearnedType, (ONES, DIAGONAL, 0), {}, "heads must be at least 1, got 0"),
    (LearnedType, (ONES, "wide", 2), {}, "covariance must be a list of numbers"),
    (Head, ((20, 1e-9), (0.2, 0.2), 12), {}, "post_gap_mm must be from 0.5 to 500, got 1e-09"),
    (engine.fit_knees, ([500, 900], [[1], [1, 2]]), {}, "advance_deg must be a list of numbers"),
    (engine.fit_knees, CURVE, {"stop": "maybe"}, "stop must be True or False"),
    (engine.turns_for_rate, (1e300, 1, 8), {}, "rate_n_per_mm must be above 0 and at most"),
    (Target, ([500, 900], [0, 5], [[1], [1, 2]]), {}, "tolerance_deg must be a list of numbers"),
    (Curve.of, (np.array([1j, 2j]),), {}, "speed_rpm must be a list of numbers"),
    (Head, (np.array([20j, 20]), (0.2, 0.2), 12), {}, "post_gap_mm must be a number"),
    (SHELF.nearest, ([0, 1e300],), {}, "description must be finite, -1e.09 to 1e.09, got 1e.300"),
    (engine.nearest_engines, ([1e300, 1], [[1.0, 2.0]]), {}, "attributes must be finite, -1e.09 to 1e.09"),
    (engine.nearest_engines, ([1, 1], [[1e300, 2.0]]), {}, "table must be finite, -1e.09 to 1e.09"),
    (engine.scatter, ([0, 90, 180, 270],), {"speed_rpm": 1j}, "speed_rpm must be a list of numbers"),
    (engine.fit_capsule, ([10, 20], [0, 2]), {"reading_sd_deg": 1e-300}, "reading_sd_deg must be from 0.001"),
    (engine.wind, (2.5, 19, 12), {"wires_mm": 1e-300}, "wires_mm must be from 0.1 to 50"),
    (engine.spring_from_wire, (1e-300, 8, 10), {}, "wire_mm must be from 0.001 to 50"),
    (Run, (SPRING, None, [500], [0]), {"falling": [True, False]}, "falling must be True or False"),
]


@pytest.mark.parametrize(("function", "arguments", "options", "words"), REFUSED)
def test_a_bad_argument_is_refused_by_name(function, arguments, options, words):
    with pytest.raises(ValueError, match=words):
        function(*arguments, **options)


def test_numbers_as_text_are_numbers_throughout():
    said, typed = (engine.wind(rate, 19, 12) for rate in (2.5, "2.5"))
    assert said == typed


def test_a_curve_of_two_rows_is_judged_like_a_pair():
    rows = np.array([[500.0, 1000.0, 1000.0, 1500.0], [0.0, 4.0, 6.0, 10.0]])
    verdict, pair = engine.judge_curve(TARGET, rows), engine.judge_curve(TARGET, (rows[0], rows[1]))
    assert (verdict.worst_deg, verdict.worst_rpm) == (pair.worst_deg, pair.worst_rpm) == (0.5, 1000.0)


@pytest.mark.parametrize("late", [1e-300, 1e-9, 50.0])
def test_a_fall_too_steep_for_an_exponential_at_time_0_is_still_fitted(late):
    # Two readings a second apart after a day: the line through their logarithms begins far above any number.
    leak = engine.leak_down([86_399, 86_400], [110, late])
    assert np.isfinite(leak.start_kpa)
    assert np.isfinite(leak.residual_kpa).all()
