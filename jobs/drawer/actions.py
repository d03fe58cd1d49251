"""What is done to the drawer of springs, with its entry in the record."""

from collections.abc import Sequence
from typing import Any

from django.db import transaction
from django.utils.timezone import localtime

from curves.models import LoadTest, Spring, SpringMove
from curves.rows import actions, stock
from curves.springs import fit_doubts, load_tests
from jobs.record import audit
from shop.models import Person

NEWER = "what is newer"


@transaction.atomic
def save_load_test(
    spring: Spring,
    pairs: Sequence,
    *,
    by: Person,
    version: int,
    use: bool,
    unit: str,
    consent: str = "",
    anew: bool = False,
) -> None:
    """Write what the spring tester said; with ``use`` its fit becomes the spring's own figures.

    A fit that something speaks against takes a consent, and the record keeps both, and the pairs that went.
    """
    stood = {row.pk: row for row in spring.load_tests.select_related("by")}
    doubts = load_tests.save_load_test(
        spring, pairs, by=by, version=version, use=use, unit=unit, consent=consent, anew=anew
    )
    told: dict[str, Any] = {"spring": str(spring), "pairs": len(pairs), "unit": unit}
    if gone := set(stood) - set(spring.load_tests.values_list("pk", flat=True)):
        told["gone"] = [_weighed(stood[pk]) for pk in stood if pk in gone]
    if use:
        told["rate_n_per_mm"] = spring.rate_n_per_mm
    if doubts:
        told |= {"doubts": list(doubts), "consent": fit_doubts.CONSENT}
    audit.record("used the fit of a load test" if use else "kept a load test", by=by, **told)


def _weighed(row: LoadTest) -> str:
    return f"{row} ({row.by.initials}, {localtime(row.at):%Y-%m-%d})"


@transaction.atomic
def choose_figures(spring: Spring, chosen: str, *, by: Person, version: int) -> None:
    """Say which figures of a spring count for the next job."""
    words = {"": NEWER, **dict(Spring.Chosen.choices)}
    before = words[spring.chosen]
    actions.choose_figures(spring, chosen, by=by, version=version)
    audit.record(
        "chose what counts of a spring", by=by, spring=str(spring), before=before, after=words[chosen]
    )


@transaction.atomic
def move_stock(spring: Spring, happened: str, number: int, *, seen: int, by: Person, note: str = "") -> None:
    """Write down what happened in the drawer: counted, received or scrapped."""
    if happened == SpringMove.Kind.COUNTED:
        stock.count(spring, number, seen=seen, by=by, note=note)
    else:
        act = stock.receive if happened == SpringMove.Kind.RECEIVED else stock.scrap
        act(spring, number, by=by, note=note)
    audit.record(f"{happened} springs", by=by, spring=str(spring), number=number, note=note)
