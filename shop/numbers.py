"""Reads a number as people type it: comma or point, a true minus sign; says why when it can't be read."""

import re

_PLAIN = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3})+")
_TWO_WAYS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")


class Unreadable(ValueError):
    """A text that is no number, or could be two; the message names the way out."""


def plain_number(text, *, decimals=None):
    """The text with a decimal point and a plain sign, ready for ``float`` or ``Decimal``.

    ``decimals`` is how many there can be, None for any number.

    >>> plain_number(" −2,5 ")
    '-2.5'

    A comma before three digits may be a thousands mark, and a thousandfold error is worse than a question:

    >>> plain_number("1,200")
    Traceback (most recent call last):
    shop.numbers.Unreadable: “1,200” can be read two ways: write 1200 or 1.200.

    Nobody means a minus by "-0", and not every database keeps one:

    >>> plain_number("-0,0")
    '0.0'

    Where there can't be three decimals it is one:

    >>> plain_number("1,200", decimals=0)
    '1200'
    """
    typed = str(text).strip()
    number = typed.replace("−", "-")
    if decimals is not None and decimals < 3 and _THOUSANDS.fullmatch(number):
        return number.replace(",", "")
    if _TWO_WAYS.fullmatch(number):
        whole, decimal = number.replace(",", ""), number.replace(",", ".")
        raise Unreadable(f"“{typed}” can be read two ways: write {whole} or {decimal}.")
    if not _PLAIN.fullmatch(number):
        shown = typed if len(typed) <= 20 else typed[:19] + "…"
        raise Unreadable(f"“{shown}” is not a number: write digits, with a comma or point for decimals.")
    plain = number.replace(",", ".")
    return plain if plain.strip("-0.") else plain.removeprefix("-")
