"""One cell as somebody typed it: the number it means, or what is wrong with it. Nothing is guessed."""

import re
from dataclasses import dataclass

POINT, COMMA = ".", ","
_UNITS = re.compile(r"\s*(rpm|r/min|1/min|°|deg|degrees?)\.?$", re.IGNORECASE)
_SPACES = re.compile("[ \u00a0\u2009\u202f'’]")
_GROUPED = re.compile(r"[1-9]\d{0,2}([.,])\d{3}$")  # 1,200 or 1.200: a thousand, or one and a bit
_SHAPE = re.compile(r"\d{1,15}(?:[.,]\d{1,15})*$|[.,]\d{1,15}$")


class CellError(ValueError):
    """What is wrong with a cell, and the way out, in plain words."""


class OutOfLimits(CellError):
    """A number that no instrument reads here."""


class Ambiguous(CellError):
    """A cell that means two numbers, as long as nobody says which mark is the decimal one."""


@dataclass(frozen=True)
class Number:
    """A cell taken apart: sign, digits and marks, and the decimal mark it shows (None: either, or none)."""

    text: str
    negative: bool
    digits: str
    decimal: str | None
    ambiguous: bool


def take_apart(text):
    """Look at a cell without deciding what cannot be decided."""
    shown = text.strip()
    bare = _UNITS.sub("", shown).replace("−", "-").replace("–", "-").strip()
    negative = bare.startswith("-")
    bare = bare.lstrip("+-") if bare[:1] in "+-" and bare[1:2] not in "+-" else bare
    bare = _without_spaces(bare)
    if not bare.isascii() or not _SHAPE.match(bare):
        raise CellError(f"“{shown[:40]}” is not a number: write it like 1200 or 7.5.")
    marks = re.findall(r"[.,]", bare)
    if not marks:
        return Number(shown, negative, bare, None, False)
    if len(set(marks)) == 1 and len(marks) > 1:  # 1,234,567: one mark more than once only groups
        _check_groups(shown, bare, marks[0])
        return Number(shown, negative, bare.replace(marks[0], ""), _other(marks[0]), False)
    if len(set(marks)) == 2:  # 1,234.5: the last mark is the decimal one
        if marks.count(marks[-1]) > 1:
            raise CellError(f"“{shown[:40]}” is not a number: it has its marks in no order.")
        _check_groups(shown, bare.rpartition(marks[-1])[0], marks[0])
        return Number(shown, negative, bare.replace(marks[0], ""), marks[-1], False)
    return Number(
        shown, negative, bare, None if _GROUPED.match(bare) else marks[0], bool(_GROUPED.match(bare))
    )


def value(number, decimal=None):
    """The value of a cell taken apart, with the decimal mark that holds for all cells around it."""
    mark = number.decimal or decimal
    if number.ambiguous and mark is None:
        whole, part = re.split(r"[.,]", number.digits)
        raise Ambiguous(
            f"“{number.text}” can be {whole}{part} or {whole}.{part}: write the one you mean without a comma."
        )
    digits = number.digits
    if number.ambiguous and mark not in digits:  # the other mark is the decimal one, so this one groups
        digits = re.sub(r"[.,]", "", digits)
    result = float(digits.replace(COMMA, POINT))
    return (-result if number.negative else result) + 0.0  # never minus zero: a database may lose its sign


def settled(number, limits):
    """The decimal mark of an ambiguous cell that would be far too large without one; else None."""
    if not number.ambiguous or float(re.sub("[.,]", "", number.digits)) <= limits[1]:
        return None
    return re.search("[.,]", number.digits)[0]


def read_number(text, limits, name, unit):
    """The number in a cell that stands alone, between its limits."""
    number = take_apart(text)
    return within(value(number, settled(number, limits)), limits, name, unit)


def within(number, limits, name, unit):
    """The number, if it is a possible one."""
    low, high = limits
    if not low <= number <= high:
        raise OutOfLimits(
            f"{name} of {number:g} {unit} is not possible: write {low:g} to {high:g}.".replace("-", "−")
        )
    return number


def _without_spaces(bare):
    """Spaces and apostrophes group digits by three, or the cell is left as it is and refused."""
    parts = _SPACES.split(bare)
    if len(parts) == 1:
        return bare
    head, *groups = parts
    tail = re.split(r"[.,]", groups[-1])[0]
    grouped = [*groups[:-1], tail]
    fine = re.fullmatch(r"\d{1,3}", head) and all(re.fullmatch(r"\d{3}", group) for group in grouped)
    return "".join(parts) if fine else bare


def _check_groups(shown, bare, mark):
    first, *groups = bare.split(mark)
    if not 1 <= len(first) <= 3 or any(len(group) != 3 for group in groups):
        raise CellError(f"“{shown[:40]}” is not a number: its digits are not grouped by three.")


def _other(mark):
    return COMMA if mark == POINT else POINT
