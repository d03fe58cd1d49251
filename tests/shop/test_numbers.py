"""Numbers as people type them: what is read, what is refused, and that the refusal names the way out."""

import pytest

from shop.numbers import Unreadable, plain_number


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
        ("1.125", "1.125"),
        ("5.", "5."),
        ("1234,567", "1234.567"),
    ],
)
def test_comma_and_point_are_both_decimal_marks(typed, plain):
    assert plain_number(typed) == plain


@pytest.mark.parametrize(
    "typed",
    ["", "-", ".", "nan", "NaN", "inf", "-Infinity", "1e3", "0x10", "12a", "12 mm", "1 200", "1_000", "--1"],
)
def test_what_is_no_number_is_refused_with_its_text(typed):
    with pytest.raises(Unreadable, match="is not a number: write digits"):
        plain_number(typed)


@pytest.mark.parametrize("typed", ["1.2.3", "1,2,3", "1,234.5", "½", "１２", "٣", "=1+1"])
def test_what_looks_like_a_number_is_refused_too(typed):
    with pytest.raises(Unreadable, match="is not a number"):
        plain_number(typed)


@pytest.mark.parametrize("typed", ["1,200", "12,500", "-1,200", "100,000"])
def test_a_comma_before_three_digits_is_asked_about(typed):
    with pytest.raises(Unreadable) as refusal:
        plain_number(typed)
    assert typed.replace(",", "") in str(refusal.value)
    assert typed.replace(",", ".") in str(refusal.value)


@pytest.mark.parametrize(
    ("typed", "decimals", "plain"),
    [
        ("1,800", 0, "1800"),
        ("−1,800", 0, "-1800"),
        ("12,345,678", 0, "12345678"),
        ("1,800", 2, "1800"),
        ("1,80", 2, "1.80"),
        ("0,125", 2, "0.125"),
        ("1,5", 0, "1.5"),
    ],
)
def test_a_comma_before_three_digits_is_a_thousands_mark_where_three_decimals_can_not_be(
    typed, decimals, plain
):
    assert plain_number(typed, decimals=decimals) == plain


@pytest.mark.parametrize("typed", ["18,00,000", ",800,000", "1,800,", "1800,000,00"])
def test_marks_that_group_no_thousands_are_refused(typed):
    with pytest.raises(Unreadable, match="is not a number"):
        plain_number(typed, decimals=0)


def test_a_long_text_is_not_repeated_whole():
    with pytest.raises(Unreadable) as refusal:
        plain_number("x" * 5000)
    assert len(str(refusal.value)) < 120
