"""Reads which tray a search means: "tray 7", "tray7" and "Tray 07" are one, as "T 4", "t4" and "T-04" are."""

import re
from collections.abc import Callable, Iterator

from django.db.models import Q

MAX_WORDS = 2  # of a tray's mark: "T 4"
NUMBER = {"no", "nr", "number"}  # "tray no 7" is tray 7


def asked_for(words: list[str], rest_of: Callable[[list[str]], Q]) -> Q | None:
    """A condition on cards for the tray that folded words ask for, or None; ``rest_of`` makes the others'."""
    means = None
    for place, word in enumerate(words):
        if not word.startswith("tray"):
            continue
        for mark, after in _marks(words, place):
            meant = _is_called(mark) & rest_of(words[:place] + words[after:])
            means = meant if means is None else means | meant
    return means


def _marks(words: list[str], place: int) -> Iterator[tuple[str, int]]:
    """What the tray named at a place may be called, and at which word the rest goes on."""
    if words[place] != "tray":
        yield words[place][4:], place + 1
        return
    begin = place + 1
    starts = [begin, begin + 1] if words[begin : begin + 1] and words[begin] in NUMBER else [begin]
    for start in starts:
        for end in range(start + 1, min(start + MAX_WORDS, len(words)) + 1):
            yield "".join(words[start:end]), end


def _is_called(mark: str) -> Q:
    """Trays of this mark, whatever stands between its letters and digits and before a number."""
    groups = re.findall(r"[0-9]+|[^0-9]+", mark)
    # What the card's words end with comes first: it is cheap, and leaves little to compare letter by letter.
    ends = Q(search_text__contains=f"{groups[-1].lstrip('0') or '0'} ")
    pattern = "[^a-z0-9]*".join(
        f"0*{int(group)}" if group.isdecimal() else re.escape(group) for group in groups
    )
    return ends & Q(tray__iregex=f"^[^a-z0-9]*{pattern}[^a-z0-9]*$")
