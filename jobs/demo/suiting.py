"""Which of the demo's words may be said of which unit: none of what it lacks or came without."""

import re

from jobs.demo.engines import COMPETITION, INJECTED, MARINE, ROAD, STATIONARY, TOWING, TRACTOR

# What a text speaks of, and the kinds of which it may be said.
NEEDS = (
    (r"capsule|vacuum|\bline\b", lambda kind: bool(kind.capsule)),
    (r"\bpoints\b|condenser|breaker|dwell", lambda kind: kind.trigger == "points"),
    (r"module|pick-up", lambda kind: kind.trigger != "points"),
    (r"carburettor", lambda kind: kind.induction != INJECTED),
    (r"motorway", lambda kind: kind.use in (ROAD, TOWING)),
    (r"hill\b|miles|\bgear\b|bumps|way home", lambda kind: kind.use in (ROAD, TOWING, COMPETITION)),
    (r"boatyard", lambda kind: kind.use == MARINE),
    (r"governed", lambda kind: kind.use in (TRACTOR, STATIONARY)),
)
_SPEED = re.compile(r"\b[1-9]000\b")  # crank rpm
_ABSENT = re.compile(r"\bno (\w+)")


def suits(text, kind, came_with=""):
    """Whether it may be said of a unit of this kind that came in with what ``came_with`` says."""
    return (
        all(may(kind) for of, may in NEEDS if re.search(of, text, re.IGNORECASE))
        and all(int(rpm) < kind.top_crank_rpm for rpm in _SPEED.findall(text))
        and not absent(came_with) & set(re.findall(r"\w+", text.lower()))
    )


def absent(came_with):
    """What is said not to have come.

    >>> absent("Cap and leads, no rotor.")
    {'rotor'}
    """
    return set(_ABSENT.findall(came_with.lower()))


def drawn(texts, places, fits):
    """The texts drawn, by their places in the list; instead of one that doesn't fit, the next that does.

    So a rule changes the cards that break it, and no other draw. Raises StopIteration when none is left.

    >>> drawn(["a", "b", "c"], [0, 2], lambda text: text != "a")
    ['b', 'c']
    """
    told = []
    for place in places:
        following = (*texts[place:], *texts[:place])
        told.append(next(text for text in following if text not in told and fits(text)))
    return told
