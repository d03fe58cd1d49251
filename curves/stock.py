"""The drawer's ledger: springs go out to a unit and come back as its runs say, each counted once.

A spring's ``quantity`` is what lies in the drawer: the sum of its moves, written in the same transaction
under the lock of its row. Practice springs have no ledger.
"""

from collections import Counter
from dataclasses import dataclass

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.db.models import F, OuterRef, Subquery, Sum
from django.db.models.functions import Coalesce

from curves.models import Build, Run, Spring, SpringMove
from shop.rights import require
from shop.versions import Conflict

Kind = SpringMove.Kind
MOST = 9999


@dataclass(frozen=True)
class Held:
    """Springs of a kind that one unit has: as what, and how many."""

    kind: str
    count: int


class NotInDrawer(PermissionDenied):
    """More springs of a kind are wanted than are free; ``builds`` are the open units that have the others."""

    def __init__(self, spring, wanted, builds):
        self.spring, self.wanted, self.builds = spring, wanted, builds
        super().__init__(f"{spring}: {wanted} wanted, {spring.quantity} in the drawer.")


def held_in(builds, **only):
    """What units have of the drawer now: {(spring key, build key): Held}, in one query."""
    rows = SpringMove.objects.filter(build__in=builds, **only)
    found = {}
    for spring, build, kind, quantity in rows.values_list("spring", "build", "kind", "quantity"):
        had = found.get((spring, build), Held(kind, 0))
        found[spring, build] = Held(had.kind if kind == Kind.RETURNED else kind, had.count - quantity)
    return {place: held for place, held in found.items() if held.count}


def with_held(springs, build):
    """Springs, each with how many of it one unit has as ``held``, in the same query."""
    moves = SpringMove.objects.filter(spring=OuterRef("pk"), build=build).order_by().values("spring")
    held = Subquery(moves.annotate(held=-Sum("quantity")).values("held"))
    return springs.annotate(held=Coalesce(held, 0))


def in_unit(build):
    """What one unit has of the drawer: {spring key: Held}."""
    return {spring: held for (spring, _), held in held_in([build.pk]).items()}


@transaction.atomic
def settle(build, *, by, strict=True):
    """Let the ledger say of a unit what its runs say: what hangs in it is out, or fitted after a final run.

    Called again, it changes nothing. Not ``strict``, what is not free any more is left where it is; else
    NotInDrawer is raised.
    """
    require(by, "edit_curve")
    if not build.is_practice:
        _hold(build)
        kind, wanted = _hangs(build)
        _bring_to(build, kind, wanted, by, strict)


@transaction.atomic
def come_home(build, *, by):
    """Bring back what is out for trial, as a unit is handed back; what was fitted goes with it."""
    _hold(build)
    out = {spring for spring, held in in_unit(build).items() if held.kind == Kind.OUT}
    _bring_to(build, Kind.OUT, {}, by, strict=False, only=out)


@transaction.atomic
def give_back(build, *, by):
    """Bring back what was put into a unit, as its work ends unfinished; what it came with stays in it."""
    _hold(build)
    ours = {spring for spring, held in in_unit(build).items() if held.kind != Kind.CAME_BACK}
    _bring_to(build, Kind.OUT, {}, by, strict=False, only=ours)


@transaction.atomic
def take_over(old, new, *, by):
    """Let springs that left with a unit hang in it still, as it is back under a new build."""
    _hold(old)
    held = in_unit(old)
    _bring_to(old, Kind.OUT, {}, by, strict=False)
    _bring_to(new, Kind.CAME_BACK, {spring: one.count for spring, one in held.items()}, by, strict=False)


@transaction.atomic
def count(spring, counted, *, seen, by, note=""):
    """Write down how many lie in the drawer; Conflict when a move was made since ``seen`` was shown."""
    require(by, "edit_drawer")
    row = _locked([spring.pk])[spring.pk]
    if row.quantity != seen:
        raise Conflict(row)
    _write(row, Kind.COUNTED, counted - row.quantity, by, note=note)


@transaction.atomic
def receive(spring, quantity, *, by, note=""):
    """Put new springs into the drawer."""
    require(by, "edit_drawer")
    row = _locked([spring.pk])[spring.pk]
    if row.quantity + quantity > MOST:
        raise ValidationError(f"That would be more than {MOST} in one drawer.")
    _write(row, Kind.RECEIVED, quantity, by, note=note)


@transaction.atomic
def scrap(spring, quantity, *, by, note=""):
    """Throw springs away; what hangs in a unit comes back first."""
    require(by, "edit_drawer")
    row = _locked([spring.pk])[spring.pk]
    if quantity > row.quantity:
        raise ValidationError(f"Only {row.quantity} lie in the drawer: write that many or fewer, or count.")
    _write(row, Kind.SCRAPPED, -quantity, by, note=note)


def open_stock(spring, quantity, *, by):
    """The first count of a spring that is new."""
    if quantity:
        _write(spring, Kind.COUNTED, quantity, by)


def _hangs(build):
    """As what the springs of a unit hang in it, and how many of each: by its newest trial or final run.

    Without one, what it came back with hangs in it. A trial with the pair of a final run leaves it fitted.
    """
    runs = Run.objects.filter(build=build, removed=False).exclude(kind=Run.Kind.AS_RECEIVED)
    runs = list(runs.order_by("number").values_list("kind", "primary", "secondary"))
    if not runs:
        came = SpringMove.objects.filter(build=build, kind=Kind.CAME_BACK).values_list("spring", "quantity")
        return Kind.CAME_BACK, {spring: -quantity for spring, quantity in came}
    *_, (_, *pair) = runs
    is_final = any(kind == Run.Kind.FINAL and between == pair for kind, *between in runs)
    return Kind.FITTED if is_final else Kind.OUT, Counter(key for key in pair if key)


def _bring_to(build, kind, wanted, by, strict, only=None):
    """Write the moves that lead from what a unit has to what it is to have, and no other."""
    held = in_unit(build)
    touched = set(held) | set(wanted) if only is None else only
    springs = _locked(touched)
    for key in sorted(springs):
        has = held.get(key, Held(kind, 0))
        asked = wanted.get(key, 0)
        free = springs[key].quantity + has.count
        if asked > free:
            if strict:
                raise NotInDrawer(springs[key], asked, _elsewhere(key, build))
            asked = free
        stays = min(asked, has.count) if has.kind == kind else 0
        if has.count > stays:
            _write(springs[key], Kind.RETURNED, has.count - stays, by, build)
        if asked > stays:
            _write(springs[key], kind, stays - asked, by, build)


def _hold(build):
    """Keep others from moving springs to or from a unit until the transaction ends."""
    Build.objects.select_for_update(no_key=True).get(pk=build.pk)


def _elsewhere(key, build):
    """The open units, but for this one, that have springs of a kind; their keys."""
    others = SpringMove.objects.filter(spring=key, build__locked=False).exclude(build=build)
    return sorted(place for _, place in held_in(others.values("build"), spring=key))


def _locked(keys):
    """The rows of springs, locked in one order, so that two units never wait for each other."""
    rows = Spring.objects.select_for_update(no_key=True).filter(pk__in=keys).order_by("pk")
    return {row.pk: row for row in rows}


def _write(spring, kind, quantity, by, build=None, note=""):
    SpringMove.objects.create(spring=spring, kind=kind, quantity=quantity, by=by, build=build, note=note)
    Spring.objects.filter(pk=spring.pk).update(quantity=F("quantity") + quantity)
    spring.quantity += quantity
