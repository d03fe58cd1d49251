"""Readings are checked once: ordered, read-only, blanks counted, strays flagged and kept."""

import numpy as np
import pytest

from curves.engine import Readings
from curves.engine.readings import checked_array, checked_count, checked_number


def test_readings_are_ordered_and_read_only_and_the_input_is_left_alone():
    speed = np.array([1500.0, 500.0, 1000.0, 500.0])
    readings = Readings(speed, [10, 0.5, 5, 0])
    assert list(readings.speed_rpm) == [500, 500, 1000, 1500]
    assert list(readings.advance_deg) == [0, 0.5, 5, 10]
    assert list(speed) == [1500, 500, 1000, 500]
    for array in (readings.speed_rpm, readings.advance_deg, readings.falling, readings.stray):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1


def test_order_of_typing_does_not_matter():
    rows = [(500, 0, False), (900, 4, True), (900, 3, False), (1500, 10, True)]
    one, other = (Readings(*zip(*order, strict=True)) for order in (rows, rows[::-1]))
    for name in ("speed_rpm", "advance_deg", "falling"):
        assert list(getattr(one, name)) == list(getattr(other, name))


def test_blank_cells_are_left_out_and_counted():
    readings = Readings([500, 800, 1000], [0, None, 5], [False, False, True])
    assert readings.missing == 1
    assert list(readings.speed_rpm) == [500, 1000]
    assert list(readings.falling) == [False, True]
    assert Readings(500, 3).missing == 0
    assert len(Readings(500, 3)) == 1


def test_an_array_of_blanks_works_too():
    assert Readings(np.array([500.0, 600.0]), np.array([1.0, None], dtype=object)).missing == 1


def test_a_mistyped_reading_is_flagged_and_kept():
    readings = Readings([500, 700, 900, 1100, 1300], [0, 2, 14, 6, 8])
    assert list(readings.stray) == [False, False, True, False, False]
    assert len(readings) == 5


def test_of_two_readings_that_disagree_both_are_flagged():
    assert Readings([500, 900], [9, 1]).stray.all()


def test_rising_and_falling_are_judged_apart():
    # The same speeds 2 degrees apart by friction are no strays.
    readings = Readings([500, 900, 500, 900], [1, 5, 3, 7], [False, False, True, True])
    assert not readings.stray.any()


BAD = [
    (([], []), "speed_rpm must have at least 1 value"),
    (([500], [1, 2]), r"advance_deg must have as many values as speed_rpm \(1\), got 2"),
    (([500], [1, None]), r"advance_deg must have as many values as speed_rpm \(1\), got 2"),
    (([500, -1], [1, 2]), "speed_rpm must be from 0 to 20000, got -1 at position 1"),
    (([500, np.nan], [1, 2]), "speed_rpm must be from 0 to 20000, got nan at position 1"),
    (([500, 600], [1, np.inf]), "advance_deg must be from -180 to 180, got inf at position 1"),
    (([500, 600], np.array([1, np.nan])), "advance_deg must be from -180 to 180, got nan at position 1"),
    (([500, None], [1, 2]), "speed_rpm must be from 0 to 20000, got nan at position 1"),
    ((["fast"], [1]), "speed_rpm must be a list of numbers"),
    (([[500]], [1]), r"speed_rpm must have one dimension, got shape \(1, 1\)"),
    (([500], [1], "up"), "falling must be True or False"),
    (([500], [1], [True, False]), "falling must be True or False, once or for each of 1 readings"),
    (([500], [None]), "speed_rpm must have at least 1 value"),
    (([500, 800], [0, None], [True]), "falling must be True or False, once or for each of 2 readings"),
    (([500, 800], [0, None], [True] * 3), "falling must be True or False, once or for each of 2 readings"),
    (([500], [1], [[True], [True, False]]), "falling must be True or False"),
    (([10**400], [1]), "speed_rpm must be a list of numbers"),
    ((None, [1]), "speed_rpm must be a list of numbers, got None"),
]


@pytest.mark.parametrize(("arguments", "words"), BAD)
def test_bad_readings_are_refused_by_name(arguments, words):
    with pytest.raises(ValueError, match=words):
        Readings(*arguments)


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        ({}, "x must be finite, got nan"),
        ({"low": 0}, "x must be at least 0, got nan"),
        ({"low": 0, "above": True}, "x must be above 0, got nan"),
        ({"high": 9}, "x must be at most 9, got nan"),
        ({"low": 0, "high": 9, "above": True}, "x must be above 0 and at most 9, got nan"),
    ],
)
def test_a_number_is_refused_with_its_range(limits, words):
    with pytest.raises(ValueError, match=words):
        checked_number("x", np.nan, **limits)
    with pytest.raises(ValueError, match=words):
        checked_array("x", [np.nan], **limits)


def test_the_lower_end_itself_may_be_refused():
    assert checked_number("x", 0, 0) == 0.0
    with pytest.raises(ValueError, match="x must be above 0, got 0"):
        checked_number("x", 0, 0, above=True)
    with pytest.raises(ValueError, match="x must be above 0, got 0 at position 1"):
        checked_array("x", [1, 0], 0, above=True)
    with pytest.raises(ValueError, match="x must be a number, finite, got None"):
        checked_number("x", None)
    with pytest.raises(ValueError, match="x must be a number, at most 9, got 1000"):
        checked_number("x", 10**400, high=9)


def test_a_count_is_never_cut_off():
    assert checked_count("count", 3.0) == 3
    with pytest.raises(ValueError, match="count must be a whole number, at least 1"):
        checked_count("count", 1.7)
