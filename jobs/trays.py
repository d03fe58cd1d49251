"""Reads which tray a search means: "tray 7", "tray7" and "Tray 07" are one, as "T 4", "t4" and "T-04" are."""

import re

from django.db.models import Q

MOST_WORDS = 2  # of a tray's mark: "T 4"


def asked_for(words, rest_of):
    """A condition on cards for the tray that folded words ask for, or None; ``rest_of`` makes the others'."""
    means = None
    for place, word in enumerate(words):
        if not word.startswith("tray"):
            continue
        following = [word[4:]] if word != "tray" else words[place + 1 : place + 1 + MOST_WORDS]
        for count in range(1, len(following) + 1):
            used = place + 1 + (count if word == "tray" else 0)
            meant = _is_called("".join(following[:count])) & rest_of(words[:place] + words[used:])
            means = meant if means is None else means | meant
    return means


def _is_called(mark):
    """Trays of this mark, whatever stands between its letters and digits and before a number."""
    groups = re.findall(r"[0-9]+|[^0-9]+", mark)
    # What the card's words end with comes first: it is cheap, and leaves little to compare letter by letter.
    ends = Q(search_text__contains=f"{groups[-1].lstrip('0') or '0'} ")
    pattern = "[^a-z0-9]*".join(
        f"0*{int(group)}" if group.isdecimal() else re.escape(group) for group in groups
    )
    return ends & Q(tray__iregex=f"^[^a-z0-9]*{pattern}[^a-z0-9]*$")
