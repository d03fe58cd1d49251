"""One cell as somebody typed it: the number it means, or what is wrong with it. Nothing is guessed."""

from __future__ import annotations

import re
from dataclasses import dataclass

from shop.numbers import Marked, Unreadable, both_ways, by_marks, one_of, without_spaces

POINT, COMMA = ".", ","
_UNITS = re.compile(r"\s*(rpm|r/min|1/min|°|deg|degrees?)\.?$", re.IGNORECASE)
_SHAPE = re.compile(r"\d{1,15}(?:[.,]\d{1,15})*[.,]?$|[.,]\d{1,15}$")


class CellError(ValueError):
    """What is wrong with a cell, and the way out, in plain words."""


class OutOfLimits(CellError):
    """A number that no instrument reads here."""


class Ambiguous(CellError):
    """A cell that means two numbers, as long as nobody says which mark is the decimal one."""


@dataclass(frozen=True)
class Number:
    """A cell taken apart: as typed, its sign, and what its marks can mean."""

    text: str
    negative: bool
    marked: Marked

    @property
    def decimal(self) -> str | None:
        return self.marked.decimal

    @property
    def ambiguous(self) -> bool:
        return self.marked.ambiguous

    @property
    def digits(self) -> str:
        return self.marked.digits


def take_apart(text: str) -> Number:
    """Look at a cell without deciding what cannot be decided."""
    shown = text.strip()
    bare = _UNITS.sub("", shown).replace("−", "-").replace("–", "-").strip()
    negative = bare.startswith("-")
    bare = bare.lstrip("+-") if bare[:1] in "+-" and bare[1:2] not in "+-" else bare
    bare = without_spaces(bare)
    if not bare.isascii() or not _SHAPE.match(bare):
        raise CellError(f"“{shown[:40]}” is not a number: write it like 1200 or 7.5.")
    try:
        marked = by_marks(bare)
    except Unreadable as error:
        raise CellError(f"“{shown[:40]}” is not a number: {error}.") from None
    return Number(shown, negative, marked)


def value(number: Number, decimal: str | None = None) -> float:
    """The value of a cell taken apart, with the decimal mark that holds for all cells around it."""
    meanings = number.marked.meanings
    if number.ambiguous and decimal is None:
        raise Ambiguous(f"“{number.text}” can be {both_ways(meanings)}: write the one you mean.")
    groups = (
        number.ambiguous and decimal is not None and decimal not in number.digits
    )  # the other mark is the decimal one
    return _signed(meanings[0] if groups else meanings[-1], number.negative)


def settled(number: Number, limits: tuple[float, float]) -> str | None:
    """The decimal mark of an ambiguous cell that would be far too large without one; else None."""
    if not number.ambiguous or float(number.marked.meanings[0]) <= limits[1]:
        return None
    mark = re.search("[.,]", number.digits)
    return mark and mark[0]


def read_number(
    text: str, limits: tuple[float, float], name: str, unit: str, *, decimals: int | None = None
) -> float:
    """The number in a cell that stands alone, between its limits; ``decimals`` is how many there can be."""
    number = take_apart(text)
    meant = one_of(number.marked.meanings, decimals=decimals, limits=limits, negative=number.negative)
    return within(value(number) if meant is None else _signed(meant, number.negative), limits, name, unit)


def within(number: float, limits: tuple[float, float], name: str, unit: str) -> float:
    """The number, if it is a possible one."""
    low, high = limits
    if not low <= number <= high:
        raise OutOfLimits(
            f"{name} of {number:g} {unit} is not possible: write {low:g} to {high:g}.".replace("-", "−")
        )
    return number


def _signed(meant: str, negative: bool):
    """Never minus zero: a database may lose its sign."""
    return (-float(meant) if negative else float(meant)) + 0.0
