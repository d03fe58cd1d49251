"""Small things said the same way everywhere."""

import re

_CLAIM = re.compile(r"\b(?:prove[dns]?|proving|pass(?:es|ed)?|tested)\b", re.IGNORECASE)


def claim_in(text: str) -> str:
    """The first word of a text that says of a unit that it was proved; empty for none."""
    found = _CLAIM.search(text)
    return found[0] if found else ""


def several(count: int, noun: str) -> str:
    """A count and its noun: 1 step, 3 steps."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def days(count: int) -> str:
    """A length of time in whole days."""
    return several(count, "day") if count else "today"
