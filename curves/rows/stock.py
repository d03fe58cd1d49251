"""The drawer's ledger: springs go out to a unit and come back as its runs say, each counted once.

Which are the drawer's, and which the unit's own, is ruled in ``curves.rows.hanging``.

A spring's ``quantity`` is what lies in the drawer: the sum of its moves, written in the same transaction
under the lock of its row. Practice springs have no ledger.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.db.models import Case, F, IntegerField, QuerySet, Value, When

from curves.models import Build, Run, Spring, SpringMove
from curves.rows import queries
from curves.rows.hanging import Account, Hanging, Held, account
from shop.models import Person
from shop.rights import require
from shop.versions import Conflict

Kind = SpringMove.Kind
MOST = 9999
NOTHING = Account(Held(Kind.CAME_BACK), 0)
HUNG = "hung in a unit that came back, and was in no ledger"


class NotInDrawer(PermissionDenied):
    """More springs of a kind are wanted than are free; ``builds`` are the open units that have the others."""

    def __init__(self, spring: Spring, wanted: int, builds: Sequence[int]) -> None:
        self.spring, self.wanted, self.builds = spring, wanted, builds
        super().__init__(f"{spring}: {wanted} wanted, {spring.quantity} in the drawer.")


def held_in(builds: Any, **only: Any) -> dict[tuple[int, int], Held]:
    """What units have of the ledger now: {(spring key, build key): Held}, in one query."""
    return {place: one.held for place, one in _accounts(builds, **only).items() if one.held.count}


def in_unit(build: Build) -> dict[int, Held]:
    """What one unit has of the ledger: {spring key: Held}."""
    return {spring: held for (spring, _), held in held_in([build.pk]).items()}


def with_held(springs: QuerySet[Spring], build: Build) -> QuerySet[Spring]:
    """Springs, each with how many of it are at hand in one unit as ``held``: its own, and what was put in."""
    if build.is_practice:
        return springs.annotate(held=Value(0))
    accounts = _accounts_of(build)
    runs = [(run.kind, run.primary_id, run.secondary_id) for run in queries.live_runs(build)]
    own = Hanging(runs, _brought(accounts)).own
    at_hand = own + Counter({key: one.held.count for key, one in accounts.items()})
    at_hand.subtract(_brought(accounts))
    cases = [When(pk=key, then=Value(count)) for key, count in at_hand.items() if count > 0]
    return springs.annotate(held=Case(*cases, default=Value(0), output_field=IntegerField()))


@transaction.atomic
def settle(build: Build, *, by: Person, strict: bool = True) -> None:
    """Let the ledger say of a unit what its runs say, by the rule of ``curves.rows.hanging``.

    Called again, it changes nothing. Not ``strict``, what is not free any more is left where it is; else
    NotInDrawer is raised for what the newest run names.
    """
    require(by, "edit_curve")
    if build.is_practice:
        return
    _hold(build)
    accounts = _accounts_of(build)
    unit = _hanging(build, accounts)
    wanted = {key: unit.wanted(key) for key in {*accounts, *unit.named}}
    _bring_to(build, accounts, wanted, by, must=unit.named if strict else ())


@transaction.atomic
def come_home(build: Build, *, by: Person) -> None:
    """Bring back what is out for trial, as a unit is handed back; what was fitted goes with it."""
    _hold(build)
    accounts = _accounts_of(build)
    out = {key: one.held for key, one in accounts.items() if one.held.kind == Kind.OUT}
    _bring_to(build, accounts, {key: Held(Kind.OUT, came=held.came) for key, held in out.items()}, by)


@transaction.atomic
def give_back(build: Build, *, by: Person) -> None:
    """Bring back what was put into a unit, as its work ends unfinished; what it came with leaves in it."""
    _hold(build)
    accounts = _accounts_of(build)
    _bring_to(build, accounts, {key: Held(Kind.OUT, came=one.brought) for key, one in accounts.items()}, by)


@transaction.atomic
def take_over(old: Build, new: Build, *, by: Person) -> None:
    """Let the springs that a unit left with be its own under a new build, as it is back.

    What left before there was a ledger, or was the unit's own, is counted first: the drawer stays as it is.
    """
    _hold(old)
    accounts = _accounts_of(old)
    left = _hanging(old, accounts).left_with()
    springs = _locked(left)
    for key in sorted(springs):
        known = min(accounts.get(key, NOTHING).held.count, left[key])
        if known:
            _write(springs[key], Kind.RETURNED, known, by, old)
        if left[key] > known:
            _write(springs[key], Kind.COUNTED, left[key] - known, by, note=HUNG)
        _write(springs[key], Kind.CAME_BACK, -left[key], by, new)


@transaction.atomic
def count(spring: Spring, counted: int, *, seen: int, by: Person, note: str = "") -> None:
    """Write down how many lie in the drawer; Conflict when a move was made since ``seen`` was shown."""
    require(by, "edit_drawer")
    row = _locked([spring.pk])[spring.pk]
    if row.quantity != seen:
        raise Conflict(row)
    _write(row, Kind.COUNTED, counted - row.quantity, by, note=note)


@transaction.atomic
def receive(spring: Spring, quantity: int, *, by: Person, note: str = "") -> None:
    """Put new springs into the drawer."""
    require(by, "edit_drawer")
    row = _locked([spring.pk])[spring.pk]
    if row.quantity + quantity > MOST:
        raise ValidationError(f"That would be more than {MOST} in one drawer.")
    _write(row, Kind.RECEIVED, quantity, by, note=note)


@transaction.atomic
def scrap(spring: Spring, quantity: int, *, by: Person, note: str = "") -> None:
    """Throw springs away; what hangs in a unit comes back first."""
    require(by, "edit_drawer")
    row = _locked([spring.pk])[spring.pk]
    if quantity > row.quantity:
        raise ValidationError(f"Only {row.quantity} lie in the drawer: write that many or fewer, or count.")
    _write(row, Kind.SCRAPPED, -quantity, by, note=note)


def open_stock(spring: Spring, quantity: int, *, by: Person) -> None:
    """The first count of a spring that is new."""
    if quantity:
        _write(spring, Kind.COUNTED, quantity, by)


def _accounts(builds: Any, **only: Any):
    """{(spring key, build key): Account}, in one query."""
    moves = defaultdict(list)
    rows = SpringMove.objects.filter(build__in=builds, **only).order_by("pk")
    for spring, build, *move in rows.values_list("spring", "build", "kind", "quantity"):
        moves[spring, build].append(move)
    return {place: account(them) for place, them in moves.items()}


def _accounts_of(build: Build):
    return {spring: one for (spring, _), one in _accounts([build.pk]).items()}


def _brought(accounts: dict[int, Account]):
    return {key: one.brought for key, one in accounts.items()}


def _hanging(build: Build, accounts: dict[int, Account]):
    """What hangs in a unit by its runs as they stand in the database."""
    runs = Run.objects.filter(build=build, removed=False).order_by("number")
    if Build.objects.filter(pk=build.pk, unrepaired=True).exists():
        runs = runs.filter(kind=Run.Kind.AS_RECEIVED)  # it left as it came
    return Hanging(runs.values_list("kind", "primary", "secondary"), _brought(accounts))


def _bring_to(
    build: Build,
    accounts: dict[int, Account],
    wanted: Mapping[int, Held],
    by: Person,
    must: Collection[int] = (),
):
    """Write the moves that lead to what a unit is to have of each spring, and no other.

    What a unit came with is filled first. Of what ``must`` names there have to be enough: else NotInDrawer.
    """
    springs = _locked(wanted)
    for key in sorted(springs):
        spring, want, has = springs[key], wanted[key], accounts.get(key, NOTHING).held
        came = min(want.came, has.came)
        put_in = min(want.put_in, has.put_in) if has.kind == want.kind else 0
        back = has.count - came - put_in
        lacks = want.count - came - put_in
        if lacks > spring.quantity + back and key in must:
            raise NotInDrawer(spring, want.count - came, _elsewhere(key, build))
        lacks = min(lacks, spring.quantity + back)
        again = min(want.came - came, lacks)
        for kind, quantity in ((Kind.RETURNED, back), (Kind.CAME_BACK, -again), (want.kind, again - lacks)):
            if quantity:
                _write(spring, kind, quantity, by, build)


def _hold(build: Build):
    """Keep others from moving springs to or from a unit until the transaction ends."""
    Build.objects.select_for_update(no_key=True).get(pk=build.pk)


def _elsewhere(key: int, build: Build):
    """The open units, but for this one, that springs of a kind were put into; their keys."""
    others = SpringMove.objects.filter(spring=key, build__locked=False).exclude(build=build)
    found = held_in(others.values("build"), spring=key)
    return sorted(place for (_, place), held in found.items() if held.put_in)


def _locked(keys: Iterable[int]):
    """The rows of springs, locked in one order, so that two units never wait for each other."""
    rows = Spring.objects.select_for_update(no_key=True).filter(pk__in=keys).order_by("pk")
    return {row.pk: row for row in rows}


def _write(spring: Spring, kind: str, quantity: int, by: Person, build: Build | None = None, note: str = ""):
    SpringMove.objects.create(spring=spring, kind=kind, quantity=quantity, by=by, build=build, note=note)
    Spring.objects.filter(pk=spring.pk).update(quantity=F("quantity") + quantity)
    spring.quantity += quantity
