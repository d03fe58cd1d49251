"""Reads a number as people type it: comma or point, a true minus sign; says why when it can't be read.

The one rule of marks, for fields and cells, and again in static/js/numbers.js for the pad: of two different
marks the last is the decimal one, a mark that comes twice groups thousands, and one mark before exactly three
digits can be either, until limits or the decimals that there can be leave one meaning.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

ANY = (float("-inf"), float("inf"))
SPEED_DECIMALS = 1  # nobody reads a speed to a thousandth of a revolution a minute
_SHAPE = re.compile(r"[0-9]+(?:[.,][0-9]+)*[.,]?|[.,][0-9]+")
_SPACES = re.compile("[ \u00a0\u2009\u202f'’]")
_TWO_WAYS = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}")


class Unreadable(ValueError):
    """A text that is no number, or could be two; the message names the way out."""


@dataclass(frozen=True)
class Marked:
    """Unsigned digits with what is left of their marks, and the decimal one (None: either, or none)."""

    digits: str
    decimal: str | None = None
    ambiguous: bool = False

    @property
    def meanings(self) -> tuple[str, ...]:
        """As plain texts with a decimal point: the one, or the whole number and the other."""
        decimal = self.digits.replace(",", ".")
        return (decimal.replace(".", ""), decimal) if self.ambiguous else (decimal,)


def by_marks(digits: str) -> Marked:
    """What the marks in unsigned digits mean; Unreadable, with only its cause, where they are in no order.

    >>> by_marks("1.800,5").meanings, by_marks("1.800.000").meanings, by_marks("1,800").meanings
    (('1800.5',), ('1800000',), ('1800', '1.800'))
    """
    marks = re.findall(r"[.,]", digits)
    if not marks:
        return Marked(digits)
    if len(marks) == 1:
        ambiguous = bool(_TWO_WAYS.fullmatch(digits))
        return Marked(digits, None if ambiguous else marks[0], ambiguous)
    grouping, last = marks[0], marks[-1]
    if grouping == last:
        _check_groups(digits, grouping)
        return Marked(digits.replace(grouping, ""), "." if grouping == "," else ",")
    if marks.count(last) > 1:
        raise Unreadable("it has its marks in no order")
    _check_groups(digits.rpartition(last)[0], grouping)
    return Marked(digits.replace(grouping, ""), last)


def without_spaces(digits: str) -> str:
    """Spaces and apostrophes group digits by three, or the text is left as it is."""
    parts = _SPACES.split(digits)
    if len(parts) == 1:
        return digits
    head, *groups = parts
    tail = re.split(r"[.,]", groups[-1])[0]
    grouped = [*groups[:-1], tail]
    fine = re.fullmatch(r"[0-9]{1,3}", head) and all(re.fullmatch(r"[0-9]{3}", group) for group in grouped)
    return "".join(parts) if fine else digits


def one_of(
    meanings: Sequence[str],
    *,
    decimals: int | None = None,
    limits: tuple[float, float] = ANY,
    negative: bool = False,
) -> str | None:
    """The one of two meanings that a number with so many decimals and between such limits has, or None."""
    if len(meanings) == 1 or decimals == 0:
        return meanings[0]
    sign = -1 if negative else 1
    possible = [one for one in meanings if limits[0] <= sign * float(one) <= limits[1]]
    if decimals is not None and decimals < 3:  # more decimals than there can be are asked about
        return meanings[0] if meanings[0] in possible else None
    return possible[0] if len(possible) == 1 else None


def both_ways(meanings: Sequence[str]) -> str:
    """Two meanings as they can be written without being asked again.

    >>> both_ways(("1200", "1.200")), both_ways(("1125", "1.125"))
    ('1200 or 1.2', '1125 or 1.1250')
    """
    whole, decimal = meanings
    return f"{whole} or {plainly(decimal.rstrip('0').rstrip('.'))}"


def plainly(text: str) -> str:
    """A plain number so that nobody takes its point for a thousands mark."""
    return f"{text}0" if _TWO_WAYS.fullmatch(text.removeprefix("-")) else text


def plain_number(text: str, *, decimals: int | None = None, limits: tuple[float, float] = ANY) -> str:
    """The text with a decimal point and a plain sign, ready for ``float`` or ``Decimal``.

    ``decimals`` is how many there can be, None for any number; ``limits`` from where to where it can go.

    >>> plain_number(" −2,5 "), plain_number("1.800,5")
    ('-2.5', '1800.5')

    A mark before three digits may be a thousands mark, and a thousandfold error is worse than a question:

    >>> plain_number("1,200")
    Traceback (most recent call last):
    shop.numbers.Unreadable: “1,200” can be read two ways: write 1200 or 1.2.

    Nobody means a minus by "-0", and not every database keeps one:

    >>> plain_number("-0,0")
    '0.0'

    Where there can't be three decimals it is one; where so many thousands can't be, it is none:

    >>> plain_number("1.200", decimals=0), plain_number("1.200", limits=(1, 30))
    ('1200', '1.200')
    """
    typed = text.strip()
    number = typed.replace("−", "-")
    sign, digits = (number[0], number[1:]) if number[:1] in ("-", "+") else ("", number)
    digits = without_spaces(digits)
    if not _SHAPE.fullmatch(digits):
        raise _no_number(typed)
    try:
        meanings = by_marks(digits).meanings
    except Unreadable:
        raise _no_number(typed) from None
    meant = one_of(meanings, decimals=decimals, limits=limits, negative=sign == "-")
    if meant is None:
        raise Unreadable(f"“{typed}” can be read two ways: write {both_ways(meanings)}.")
    return sign + meant if meant.strip("0.") else sign.strip("-") + meant


def _no_number(typed: str) -> Unreadable:
    shown = typed if len(typed) <= 20 else typed[:19] + "…"
    return Unreadable(f"“{shown}” is not a number: write digits, with a comma or point for decimals.")


def _check_groups(digits: str, mark: str) -> None:
    first, *groups = digits.split(mark)
    if not 1 <= len(first) <= 3 or any(len(group) != 3 for group in groups):
        raise Unreadable("its digits are not grouped by three")
