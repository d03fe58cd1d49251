"""What stood in the drawer becomes its first count, and what hangs in units goes out of it."""

from importlib import import_module

import pytest
from django.apps import apps
from django.db.models import Sum

from curves.models import LoadTest, Spring, SpringMove
from curves.rows import stock
from tests import build

pytestmark = pytest.mark.django_db
ledger = import_module("curves.migrations.0005_first_count_of_the_drawer")
weighed = import_module("curves.migrations.0003_weighed_and_learned_side_by_side")


def drawer(**counts):
    """Springs by label, as they stood before there was a ledger."""
    rows = {label: build.spring(label, quantity=count) for label, count in counts.items()}
    SpringMove.objects.all().delete()
    return rows


def moves(spring):
    return [(move.kind, move.quantity) for move in spring.moves.order_by("pk")]


def test_numbers_become_counts_and_what_hangs_goes_out_of_them():
    rows = drawer(P1=4, P2=1, P3=0, S1=3, S2=2)
    trial, final, closed, gone = (build.build(), build.build(), build.build(locked=True), build.build())
    build.run(trial, [], primary=rows["P1"], secondary=rows["S1"])
    build.run(trial, [], primary=rows["P2"], secondary=rows["S1"])  # the newest says what hangs there
    build.run(final, [], kind="final", primary=rows["P3"], secondary=rows["S2"])
    build.run(final, [], primary=rows["P3"], secondary=rows["S2"])
    build.run(closed, [], kind="final", primary=rows["P1"], secondary=rows["S1"])
    build.run(gone, [], primary=rows["P1"], removed=True)
    build.run(gone, [], kind="as_received", primary=rows["P1"])
    ledger.open_the_ledger(apps, None)
    found = {row.label: (row.quantity, moves(row)) for row in Spring.objects.all()}
    assert found == {
        "P1": (4, [("counted", 4)]),
        "P2": (0, [("counted", 1), ("out", -1)]),
        "P3": (0, [("counted", 1), ("fitted", -1)]),  # none was left, and yet it was run: it is there
        "S1": (2, [("counted", 3), ("out", -1)]),
        "S2": (1, [("counted", 2), ("fitted", -1)]),
    }
    before = SpringMove.objects.count()
    for row in (trial, final):  # the ledger says what the runs say: nothing is left to settle
        stock.settle(row, by=build.person())
    assert SpringMove.objects.count() == before
    for row in Spring.objects.annotate(sum=Sum("moves__quantity")):
        assert row.quantity == row.sum
    ledger.close_it(apps, None)
    assert {row.label: row.quantity for row in Spring.objects.all()} == {
        "P1": 4,
        "P2": 1,
        "P3": 1,
        "S1": 3,
        "S2": 2,
    }


def test_one_that_hangs_in_three_units_was_three():
    rows = drawer(P1=1)
    for _ in range(3):
        build.run(build.build(), [], primary=rows["P1"])
    ledger.open_the_ledger(apps, None)
    assert moves(rows["P1"]) == [("counted", 3), ("out", -1), ("out", -1), ("out", -1)]
    assert Spring.objects.get().quantity == 0


def test_practice_springs_stay_out_of_it():
    practice = build.build(practice_seed=3)
    spring = build.spring("P1", quantity=2, practice=practice)
    build.run(practice, [], primary=spring)
    ledger.open_the_ledger(apps, None)
    assert not SpringMove.objects.exists()
    assert Spring.everything.get().quantity == 2


def test_what_was_called_weighed_is_so_only_with_pairs():
    said, seen = (build.spring(label, source="weighed") for label in ("P1", "P2"))
    pair = LoadTest.objects.create(spring=seen, length_mm=20, load=3, by=build.person())
    weighed.date_what_stands(apps, None)
    said.refresh_from_db()
    seen.refresh_from_db()
    assert (said.source, said.weighed_at) == ("typed", None)
    assert (seen.source, seen.weighed_at, seen.weighed_by) == ("weighed", pair.at, pair.by)
