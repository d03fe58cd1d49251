"""What is read of a build: its rows in few queries, its newest runs, and the drawer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.db.models import Model, Prefetch, QuerySet, Value, prefetch_related_objects

from curves.models import (
    Build,
    DwellReading,
    Frame,
    Reading,
    Run,
    SparkReading,
    Spring,
    VacuumReading,
)

ROLES: dict[str, str] = {
    Run.Kind.AS_RECEIVED: "as_received",
    Run.Kind.TRIAL: "latest",
    Run.Kind.FINAL: "final",
}

# What is read in a run: its model, the two numbers of a reading, and the one it may be counted by.
READ = {
    "readings": (Reading, "speed_rpm", "advance_deg", "position"),
    "sparks": (SparkReading, "speed_rpm", "offset_deg", "cylinder"),
    "dwells": (DwellReading, "speed_rpm", "dwell_deg", None),
    "vacuums": (VacuumReading, "vacuum_kpa", "advance_deg", None),
}


def build_for(pk: int) -> Build:
    """A build with its runs, all that was read in them, springs and target, in four queries."""
    build = Build.objects.select_related("target").get(pk=pk)
    fetch_curves([build])
    return build


def fetch_curves(builds: Sequence[Build]) -> None:
    """Fetch of these builds the runs with all that was read in them, and the points of the target."""
    runs = Run.objects.filter(removed=False).select_related("primary", "secondary", "by")
    prefetch_related_objects(builds, Prefetch("runs", runs), "target__points")
    fetch_read([run for build in builds for run in live_runs(build)])


def live_runs(build: Build) -> list[Run]:
    """The runs that count, in order."""
    return [run for run in build.runs.all() if not run.removed]


def is_unread(run: Run) -> bool:
    """Whether nothing at all was read in a run, as it was fetched."""
    return not any(getattr(run, name).all() for name in READ)


def hangs_in(build: Build) -> Run | None:
    """The newest live run that isn't as received: its pair, at its bends, hangs in the unit; None without."""
    return next((run for run in reversed(live_runs(build)) if run.kind != Run.Kind.AS_RECEIVED), None)


def pair_and_bends(run: Run) -> tuple[int | None, int | None, float, float]:
    """What a run was made with: two of the same were made of the same head."""
    return run.primary_id, run.secondary_id, run.primary_bend_mm, run.secondary_bend_mm


def typed_in(build: Build) -> Frame:
    """The frame that the newest run of a build was typed in; the distributor's while there is none."""
    runs = live_runs(build)
    return Frame(runs[-1].frame) if runs else Frame.SHAFT


def newest_runs(build: Build) -> dict[str, Run]:
    """The newest run with readings of each role that a card draws: as_received, latest (trial), final."""
    newest = {ROLES[run.kind]: run for run in live_runs(build) if run.readings.all()}
    return {role: newest[role] for role in ROLES.values() if role in newest}


def fetch_read(runs: Sequence[Run]) -> None:
    """Fetch all that was read in these runs: in one query what ``prefetch_related`` fetches in four."""
    if not runs:
        return
    of = {run.pk: run for run in runs}
    found: dict[tuple[int, str], list[Any]] = {(run.pk, name): [] for run in runs for name in READ}
    for name, pk, run, key, version, at, value, number, falling in _rows_read(of):
        model, first, second, third = READ[name]
        values = {first: at, second: value} | ({third: number} if third else {})
        values |= {"falling": falling} if name == "readings" else {}
        found[run, name].append(model(pk=pk, run=of[run], key=key, version=version, **values))
    for (pk, name), rows in found.items():
        kept = getattr(of[pk], name).all()
        kept._result_cache, kept._prefetch_done = sorted(rows, key=_place), True
        of[pk].__dict__.setdefault("_prefetched_objects_cache", {})[name] = kept


def _rows_read(pks: Iterable[int]):
    """Every reading of these runs as one kind of row."""
    rows = []
    for name, (model, first, second, third) in READ.items():
        falling = "falling" if name == "readings" else Value(False)
        number = third or Value(0)
        asked = model.objects.filter(run__in=list(pks)).order_by()
        rows.append(
            asked.values_list(Value(name), "pk", "run_id", "key", "version", first, second, number, falling)
        )
    return rows[0].union(*rows[1:], all=True)


def _place(row: Model):
    """Where a reading stands among the others of its run, as its model orders them."""
    return [getattr(row, name) for name in row._meta.ordering or ()]


def drawer(build: Build | None = None) -> QuerySet[Spring]:
    """Every kind of spring the shop has or had; for a practice unit, the simulated ones that belong to it."""
    if build is not None and build.is_practice:
        return Spring.everything.filter(practice=build)
    return Spring.objects.all()
