"""Numbers as people type them: what is read, what is refused, and that the refusal names the way out."""

import pytest

from shop.numbers import Unreadable, plain_number
from tests.typed import MEANT, NO_NUMBER, SPEED, TWO_WAYS


@pytest.mark.parametrize(
    ("typed", "plain"),
    [
        ("12", "12"),
        ("12,5", "12.5"),
        ("12.5", "12.5"),
        (" 12,5 ", "12.5"),
        ("−2,5", "-2.5"),
        ("-2.5", "-2.5"),
        ("+3", "+3"),
        (",5", ".5"),
        ("0,125", "0.125"),
        ("12,25", "12.25"),
        ("5.", "5."),
        ("1234,567", "1234.567"),
    ],
)
def test_comma_and_point_are_both_decimal_marks(typed, plain):
    assert plain_number(typed) == plain


@pytest.mark.parametrize(
    "typed",
    ["", "-", ".", "nan", "NaN", "inf", "-Infinity", "1e3", "0x10", "12a", "12 mm", "1 20", "1_000", "--1"],
)
def test_what_is_no_number_is_refused_with_its_text(typed):
    with pytest.raises(Unreadable, match="is not a number: write digits"):
        plain_number(typed)


@pytest.mark.parametrize("typed", [*NO_NUMBER, "½", "１２", "٣", "=1+1"])
def test_what_looks_like_a_number_is_refused_too(typed):
    with pytest.raises(Unreadable, match="is not a number"):
        plain_number(typed)


@pytest.mark.parametrize(("typed", "decimals", "limits", "number"), MEANT)
def test_what_has_one_meaning_is_understood(typed, decimals, limits, number):
    assert float(plain_number(typed, decimals=decimals, limits=limits)) == number


@pytest.mark.parametrize(("typed", "decimals", "ways"), TWO_WAYS)
def test_a_mark_before_three_digits_is_asked_about_where_it_can_be_either(typed, decimals, ways):
    with pytest.raises(Unreadable, match="can be read two ways") as refusal:
        plain_number(typed, decimals=decimals, limits=SPEED)
    assert ways in str(refusal.value)


@pytest.mark.parametrize(("typed", "decimals", "ways"), TWO_WAYS)
def test_what_is_offered_is_not_asked_about_again(typed, decimals, ways):
    digits = typed.replace(",", ".")
    assert [float(plain_number(way, decimals=decimals, limits=SPEED)) for way in ways.split(" or ")] == [
        float(digits.replace(".", "")),
        float(digits),
    ]


@pytest.mark.parametrize(
    ("typed", "decimals", "plain"),
    [("−1,800", 0, "-1800"), ("1,80", 2, "1.80"), ("0,125", 2, "0.125"), ("1,5", 0, "1.5")],
)
def test_what_stays_a_decimal_stays_one(typed, decimals, plain):
    assert plain_number(typed, decimals=decimals) == plain


@pytest.mark.parametrize("typed", ["18,00,000", ",800,000", "1,800,", "1800,000,00"])
def test_marks_that_group_no_thousands_are_refused(typed):
    with pytest.raises(Unreadable, match="is not a number"):
        plain_number(typed, decimals=0)


def test_a_long_text_is_not_repeated_whole():
    with pytest.raises(Unreadable) as refusal:
        plain_number("x" * 5000)
    assert len(str(refusal.value)) < 120
