"""Small things said the same way everywhere."""


def several(count, noun):
    """A count and its noun: 1 step, 3 steps."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def days(count):
    """A length of time in whole days."""
    return several(count, "day") if count else "today"
