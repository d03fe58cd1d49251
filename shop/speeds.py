"""The bench speeds of a shop, as its owner writes them: distributor rpm, rising, commas between."""

import re
from itertools import pairwise

MIN_RPM, MAX_RPM = 50, 10_000
MAX_SPEEDS = 24  # what a person steps through, and a tablet shows


def read_speeds(text: str) -> list[int]:
    """The speeds in a line, or a ValueError that says which one is wrong and what to write.

    >>> read_speeds("300, 400; 1000")
    [300, 400, 1000]
    >>> read_speeds("300, 1500, 400")
    Traceback (most recent call last):
    ValueError: 400 stands after 1500: write the speeds rising, each once.
    """
    words = [word for word in re.split(r"[,;\s]+", text) if word]
    if not words:
        raise ValueError("No speed yet: write the speeds that the bench is read at, as 300, 500, 800.")
    if len(words) > MAX_SPEEDS:
        raise ValueError(f"{len(words)} speeds are more than one sweep takes: leave {MAX_SPEEDS} at most.")
    speeds = [_speed(word) for word in words]
    for before, speed in pairwise(speeds):
        if speed <= before:
            raise ValueError(f"{speed} stands after {before}: write the speeds rising, each once.")
    return speeds


def _speed(word: str) -> int:
    if not (word.isascii() and word.isdecimal()):
        raise ValueError(f"“{word[:20]}” is no whole speed: write rpm in digits, with commas between.")
    speed = int(word[:9])
    if not MIN_RPM <= speed <= MAX_RPM:
        raise ValueError(f"{speed} distributor rpm is no bench speed: write {MIN_RPM} to {MAX_RPM}.")
    return speed
