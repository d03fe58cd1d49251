"""What a build's runs teach of the springs that hung in it: kept, counted for later jobs, and reversible."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction

from curves.models import Build, Spring, SpringCorrection
from curves.rows import convert
from curves.trials import loop
from curves.trials.lessons import Lesson, lessons
from shop.models import Person
from shop.rights import require
from shop.versions import save_versioned

PLACES = (Spring.Position.PRIMARY, Spring.Position.SECONDARY)


def learn_springs(build: Build, *, by: Person) -> int:
    """Keep what the runs of a build teach of its springs, one correction for each spring and place.

    A correction that a person switched off stays off, also while its runs are off the card; one in use whose
    runs are gone goes with them. Practice teaches nothing. Costs a calibration, some 30 ms; returns how many
    springs were learned.
    """
    require(by, "edit_curve")
    if build.practice_seed is not None:
        return 0
    rows, taught = _taught(build)
    found = list(_found(build, taught, rows))
    with transaction.atomic():
        kept = [_keep(build, one, by) for one in found]
        SpringCorrection.objects.filter(build=build, in_use=True).exclude(pk__in=kept).delete()
    return len(kept)


@transaction.atomic
def use_correction(correction: SpringCorrection, in_use: bool, *, by: Person) -> None:
    """Let a correction count for later jobs, or no longer; one whose runs are gone stays off."""
    require(by, "edit_drawer")
    if in_use and not _still_taught(correction):
        raise PermissionDenied("The runs that taught it are off their card: put one back first.")
    correction.in_use = in_use
    save_versioned(correction, correction.version, ["in_use"])


def _taught(build: Build):
    """All springs by key, and the lessons of a build that teach something of them."""
    rows = {row.pk: row for row in Spring.objects.prefetch_related("corrections")}
    return rows, [lesson for lesson in lessons(build, rows) if lesson.teaches]


def _still_taught(correction: SpringCorrection):
    _, taught = _taught(correction.build)
    return any(getattr(lesson.run, f"{correction.position}_id") == correction.spring_id for lesson in taught)


@dataclass(frozen=True)
class Found:
    """What the runs of a build came to of one spring in one place; as new as its newest run there."""

    spring: Spring
    place: str
    values: dict[str, Any]
    taught_at: datetime
    rests_on: list[int]


def _found(build: Build, taught: Sequence[Lesson], rows: dict[int, Spring]):
    """Each spring of the drawer that was run, its place, and what the calibration found it to be."""
    if not taught:
        return
    head = convert.head_of(build, learned=convert.learned_of(build.head_type))
    calibration = loop.calibrated(
        head, tuple(loop.hashable_run(lesson.teaches) for lesson in taught if lesson.teaches)
    )
    for place in PLACES:
        hung = {}
        for lesson in taught:
            hung.setdefault(getattr(lesson.run, f"{place}_id"), []).append(lesson)
        hung.pop(None, None)
        for pk, those in hung.items():
            values = convert.correction_values(calibration.corrected(getattr(those[0].teaches, place), place))
            read = max(one.run.taught_at for one in those)
            yield Found(rows[pk], place, values, read, _rests_on(rows[pk], place, build))


def _rests_on(row: Spring, place: str, build: Build):
    """The builds whose runs are in the figures that a build's runs were fitted on top of."""
    prior = convert.correction_for(row, place, build)
    return sorted({prior.build_id, *prior.rests_on}) if prior else []


def _keep(build: Build, found: Found, by: Person):
    """Write a correction unless it says what stands there already; return its key.

    Reckoned anew because another pair was run, it is no newer: a weighing since then still outvotes it.
    """
    values = found.values | {"rests_on": found.rests_on}
    read = {"learned_at": found.taught_at, "by": by}
    kept, made = SpringCorrection.objects.get_or_create(
        spring=found.spring, build=build, position=found.place, defaults=values | read
    )
    if kept.learned_at != found.taught_at:
        values |= read
    if not made and any(getattr(kept, name) != value for name, value in values.items()):
        for name, value in values.items():
            setattr(kept, name, value)
        save_versioned(kept, kept.version, list(values))
    return kept.pk
