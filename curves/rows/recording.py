"""Single readings as they come in from the bench: each under a key given where it was typed, so that one sent
again is the same one; each with a version, so that two tablets never overwrite each other in silence."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import isfinite
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.db.models import F, Max
from django.utils import timezone

from curves import engine
from curves.models import KINDS, AnyReading, Build, Frame, Reading, Run, TakenBack
from curves.rows import convert, frames
from curves.rows.locks import require_unlocked
from shop.models import Person
from shop.rights import require
from shop.versions import Conflict, save_versioned

SWEEP = "reading"  # among ``KINDS``
MAX_OF_A_KIND = 500  # in one run


@dataclass(frozen=True)
class Written:
    """A reading as it now stands, and what it was before: None for a new one."""

    row: AnyReading
    before: dict | None
    after: dict

    @property
    def is_new(self) -> bool:
        return self.before is None

    @property
    def is_changed(self) -> bool:
        return self.before is not None and self.before != self.after


class OffTheCard(PermissionDenied):
    """A run that was taken off its card takes no readings until it is put back."""


@transaction.atomic
def put(
    run: Run, kind: str, key: UUID, values: dict[str, Any], *, by: Person, version: int | None = None
) -> Written:
    """Write one reading of a kind in ``KINDS`` and return what was ``Written``.

    Without a version it is new; the same values under the same key are the same reading, sent again. With
    one it is a correction of that version. Conflict holds the row as it stands, or None if it was taken back:
    under the key of such a one nothing is written any more.
    """
    require(by, "edit_curve")
    _hold(run)
    model = KINDS[kind]
    _check(model, values)
    row = model.objects.filter(run=run, key=key).first()
    if row is None:
        if version is not None or TakenBack.objects.filter(run=run, key=key).exists():
            raise Conflict(None)
        row = model.objects.create(run=run, key=key, **values, **_place(run, model))
        _touch(run, kind)
        return Written(row, None, values)
    before = {name: getattr(row, name) for name in values}
    if before != values:
        if version is None:
            raise Conflict(row)
        for name, value in values.items():
            setattr(row, name, value)
        save_versioned(row, version, list(values))
        _touch(run, kind)
    return Written(row, before, values)


@transaction.atomic
def take_back(run: Run, kind: str, key: UUID, *, by: Person, version: int | None = None) -> AnyReading | None:
    """Delete one reading, from the version seen (None: as it was first written); return it, None if gone.

    The tablet may have given up waiting for the answer to its first send, which then comes in after this.
    """
    require(by, "edit_curve")
    _hold(run)
    row = KINDS[kind].objects.filter(run=run, key=key).first()
    if row is not None and row.version != (version or 1):
        raise Conflict(row)
    TakenBack.objects.get_or_create(run=run, key=key)
    if row is None:
        return None
    row.delete()
    _touch(run, kind)
    return row


def holds_readings(run: Run) -> bool:
    """Whether anything was read in a run; up to four queries."""
    return any(model.objects.filter(run=run).exists() for model in KINDS.values())


def beyond_as_typed(run: Run, before: str, now: str) -> str:
    """The first reading beside the sweep that no instrument reads, were its number in another frame."""
    return next((said for _, _, said in _refused(_as_typed(run, before, now))), "")


def beyond_at_ratio(build: Build, ratio: float) -> str:
    """The same were the head's ratio another: the numbers of crank runs stand as they were typed."""
    for _, row, said in _refused(_at_ratio(build, ratio)):
        return f"{row.run}: {said}"
    return ""


def keep_numbers(run: Run, before: str, now: str) -> None:
    """Keep the numbers of what was read beside the sweep, as readings in another frame than was said."""
    for model, row, values in _as_typed(run, before, now):
        model.objects.filter(pk=row.pk).update(version=F("version") + 1, **values)


def keep_at_ratio(build: Build, ratio: float) -> None:
    """Let what was typed beside the sweeps of crank runs, on the card or off it, stand at another ratio.

    Their sweeps are kept as typed; so both readings of one run go on to follow alike.
    """
    for model, row, values in _at_ratio(build, ratio):
        model.objects.filter(pk=row.pk).update(**values)


def _refused(rows: Iterator[tuple[type[Any], Any, dict[str, Any]]]):
    for model, row, values in rows:
        try:
            _check(model, values)
        except ValidationError as error:
            yield model, row, f"{row._meta.verbose_name.capitalize()}, {row}: {' '.join(error.messages)}"


def _at_ratio(build: Build, ratio: float):
    before = engine.Drive(Build.objects.values_list("crank_per_shaft", flat=True).get(pk=build.pk))
    for kind, fields in frames.KEPT_AT_THE_SHAFT.items():
        for row in KINDS[kind].objects.filter(run__build=build, run__frame=Frame.CRANK).select_related("run"):
            values = {name: getattr(row, name) for name in fields}
            yield KINDS[kind], row, frames.at_ratio(kind, values, before, engine.Drive(ratio))


def _as_typed(run: Run, before: str, now: str):
    drive = convert.drive_of(run.build)
    for kind, fields in frames.KEPT_AT_THE_SHAFT.items():
        for row in KINDS[kind].objects.filter(run=run):
            values = {name: getattr(row, name) for name in fields}
            yield KINDS[kind], row, frames.as_typed(kind, values, before, now, drive)


def _hold(run: Run):
    """Keep other writers off the build until the transaction ends, if it may be written on."""
    require_unlocked(run.build)
    stands = Run.objects.get(pk=run.pk)
    if stands.removed:
        raise OffTheCard(f"{run} is off the card: put it back to go on with it.")
    if stands.frame != run.frame:
        raise ValidationError(f"{run} is read in {stands.get_frame_display()} degrees now: send it again.")


def _check(model: type[Any], values: dict[str, Any]):
    """Refuse what no instrument reads; the limits stand at the model's fields."""
    for name, value in values.items():
        field = model._meta.get_field(name)
        if isinstance(value, float) and not isfinite(value):
            raise ValidationError(f"{field.verbose_name}: not a number that can be kept.")
        field.clean(value, None)


def _place(run: Run, model: type[Any]):
    """The next place in the run; only a sweep keeps the order in which it was read."""
    rows = model.objects.filter(run=run)
    if rows.count() >= MAX_OF_A_KIND:
        raise ValidationError(f"{run} holds {MAX_OF_A_KIND} readings already: go on with another run.")
    if model is not Reading:
        return {}
    last = rows.aggregate(last=Max("position"))["last"]
    return {"position": 0 if last is None else last + 1}


def _touch(run: Run, kind: str):
    """Whoever has the whole run open elsewhere must see that it has changed; a sweep teaches anew."""
    read = {"read_at": timezone.now()} if kind == SWEEP else {}
    Run.objects.filter(pk=run.pk).update(version=F("version") + 1, **read)
