"""What may be said of a spring, a head, a run and a target, and what is refused."""

import numpy as np
import pytest

from curves.engine import Head, Run, Spring, Target
from curves.engine.units import MM_PER_INCH, N_PER_LBF, N_PER_MM_PER_LBF_PER_INCH

SPRING = Spring("P1", 3.0, 20.0, 1.0)


def test_pull_of_a_spring_with_initial_tension():
    # Spring makers' guides (planetspring.com, leespring.com): 6.9 lb/in, 0.7 lb, stretched 0.5 in -> 4.15 lb.
    rate, tension = 6.9 * N_PER_MM_PER_LBF_PER_INCH, 0.7 * N_PER_LBF
    assert (rate, tension) == pytest.approx((1.208375, 3.113755), rel=1e-6)  # computed in SI
    spring = Spring("guide", rate, MM_PER_INCH, tension)
    assert spring.force_n(1.5 * MM_PER_INCH) / N_PER_LBF == pytest.approx(4.15, rel=1e-12)
    assert spring.force_n(1.5 * MM_PER_INCH) == pytest.approx(18.460120, rel=1e-7)
    assert spring.force_n(0.9 * MM_PER_INCH) == 0.0


def test_springs_are_known_by_key_and_label():
    assert Spring("P1", 3.0, 20.0) == Spring("P1", 3, 20)
    assert len({Spring("P1", 3.0, 20.0), Spring("P1", 3.1, 20.0)}) == 2


@pytest.mark.parametrize(
    ("arguments", "named", "words"),
    [
        ((0, 20), {}, "rate_n_per_mm must be from 0.001 to 1000, got 0"),
        ((3, -1), {}, "free_length_mm must be from 0.1 to 500, got -1"),
        ((3, 20, -0.1), {}, "initial_tension_n must be from 0 to 5000"),
        ((3, np.nan), {}, "free_length_mm must be from 0.1 to 500, got nan"),
        ((3, 20), {"rate_sd": 0}, "rate_sd must be from 0.0001 to 10, got 0"),
        ((3, 20), {"free_length_sd_mm": -1}, "free_length_sd_mm must be from 0.0001 to 500, got -1"),
        ((3, 20), {"initial_tension_sd": "much"}, "initial_tension_sd must be a number"),
        ((3, 20), {"error_correlation": (0, 0)}, "error_correlation must have as many values"),
        ((3, 20), {"error_correlation": (0, 0, 2)}, "error_correlation must be from -1 to 1"),
        # Two errors that each go with a third can't go against each other.
        (
            (3, 20),
            {"error_correlation": (0.9, 0.9, -0.9)},
            "error_correlation must be three that are possible",
        ),
        ((3, 20), {"error_correlation": (1, 1, 1)}, "error_correlation must be three that are possible"),
    ],
)
def test_bad_springs_are_refused(arguments, named, words):
    with pytest.raises(ValueError, match=words):
        Spring("P1", *arguments, **named)


def test_a_loose_label_and_an_unknown_spring_are_fine():
    spring = Spring("bag", 3.0, 20.0, rate_sd=None, free_length_sd_mm=None, initial_tension_sd=None)
    assert (spring.rate_sd, spring.free_length_sd_mm, spring.initial_tension_sd) == (None, None, None)
    assert Spring("came in", None, None, None).rate_n_per_mm is None


def test_what_was_not_measured_is_none():
    head = Head((20, None), None, None)
    assert head.post_gap_mm == (20.0, None)
    assert head.stretch_mm_per_deg == (None, None)
    assert head.travel_deg is None


@pytest.mark.parametrize(
    ("arguments", "named", "words"),
    [
        (((20,), (0.2, 0.2), 12), {}, "post_gap_mm must be a pair"),
        ((20, (0.2, 0.2), 12), {}, "post_gap_mm must be a pair"),
        (((20, 0), (0.2, 0.2), 12), {}, "post_gap_mm must be from 0.5 to 500, got 0"),
        (((20, 20), (0.2, np.nan), 12), {}, "stretch_mm_per_deg must be from 0.001 to 10, got nan"),
        (((20, 20), (0.2, 0.2), 0), {}, "travel_deg must be from 0.1 to 60, got 0"),
        (((20, 20), (0.2, 0.2), 12), {"post_gap_sd_mm": 0}, "post_gap_sd_mm must be above 0"),
        (((20, 20), (0.2, 0.2), 12), {"stretch_sd": -1}, "stretch_sd must be above 0"),
        (((20, 20), (0.2, 0.2), 12), {"travel_sd_deg": np.inf}, "travel_sd_deg must be above 0"),
        (
            ((20, 20), (0.2, 0.2), 12),
            {"learned": "much"},
            "learned must be a LearnedType or None, got 'much'",
        ),
    ],
)
def test_bad_heads_are_refused(arguments, named, words):
    with pytest.raises(ValueError, match=words):
        Head(*arguments, **named)


def test_a_run_orders_its_readings():
    run = Run(SPRING, None, [900, 500], [5, 0], falling=[True, False], post_bend_mm=(0.1, 0))
    assert list(run.advance_deg) == [0, 5]
    assert list(run.falling) == [False, True]
    assert run.post_bend_mm == (0.1, 0.0)


@pytest.mark.parametrize(
    ("arguments", "named", "words"),
    [
        (("P1", None, [500], [0]), {}, "primary must be a Spring, got 'P1'"),
        ((None, None, [500], [0]), {}, "primary must be a Spring, got None"),
        ((SPRING, "S1", [500], [0]), {}, "secondary must be a Spring or None, got 'S1'"),
        ((SPRING, None, [], []), {}, "speed_rpm must have at least 1 value"),
        ((SPRING, None, [-5], [0]), {}, "speed_rpm must be from 0"),
        ((SPRING, None, [500], [0]), {"scale_deg": -0.5}, "scale_deg must be from 0 to 10"),
        ((SPRING, None, [500], [0]), {"post_bend_mm": (0.1,)}, "post_bend_mm must be a pair"),
        ((SPRING, None, [500], [0]), {"post_bend_mm": (np.nan, 0)}, "post_bend_mm must be from -20 to 20"),
    ],
)
def test_bad_runs_are_refused(arguments, named, words):
    with pytest.raises(ValueError, match=words):
        Run(*arguments, **named)


def test_a_target_is_ordered_with_a_tolerance_for_each_point():
    target = Target([900, 500], [5, 0], [0.5, 1.0])
    assert list(target.speed_rpm) == [500, 900]
    assert list(target.tolerance_deg) == [1.0, 0.5]
    assert target.initial_range_deg == (0.0, 0.0)


@pytest.mark.parametrize(
    ("arguments", "named", "words"),
    [
        (([500, 500], [0, 1], 0.5), {}, r"speed_rpm must name each speed once, got \[500.0, 500.0\]"),
        (([500], [0], 0), {}, "tolerance_deg must be above 0"),
        (([500], [0], [0.5, 0.5]), {}, "tolerance_deg must have as many values as speed_rpm"),
        (([500], [0], 0.5), {"initial_range_deg": (2, 1)}, r"initial_range_deg must be \(low, high\), got"),
        (([500], [0], 0.5), {"initial_range_deg": (1,)}, r"initial_range_deg must be \(low, high\), got"),
    ],
)
def test_bad_targets_are_refused(arguments, named, words):
    with pytest.raises(ValueError, match=words):
        Target(*arguments, **named)
