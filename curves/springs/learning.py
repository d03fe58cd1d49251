"""What a type of head learns from its handed-back units: ordered, claimed, learned, or failed."""

from __future__ import annotations

import logging
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from curves import engine
from curves.engine.fitting.calibration import Estimate
from curves.models import Build, HeadType, Spring
from curves.rows import convert, queries
from curves.trials import loop
from curves.trials.lessons import lessons
from shop import nudges
from shop.claims import Claims
from shop.models import Person
from shop.rights import require
from shop.versions import save_versioned

# Some 50 ms for each build; a claim this old belongs to a worker that is gone.
STALE = timedelta(minutes=2)
CLAIMS = Claims(HeadType, stale=STALE)
IDLE = (HeadType.State.EMPTY, HeadType.State.DONE, HeadType.State.FAILED)
MIN_BUILDS = 2
LEARN = "curves.learn_type"  # the task
TOO_FEW = "It takes two handed-back units of the type that were run on the bench."

logger = logging.getLogger(__name__)


@transaction.atomic
def save_type(head_type: HeadType, values: dict[str, Any], *, by: Person, version: int | None = None) -> None:
    """Write a type's name and note; one without a key is new."""
    require(by, "edit_drawer")
    for name, value in values.items():
        setattr(head_type, name, value)
    if head_type.pk is None:
        head_type.save(force_insert=True)
    else:
        save_versioned(head_type, version, list(values))


@transaction.atomic
def order(head_type: HeadType, *, by: Person) -> None:
    """Order a type to learn from its builds; one that waits already waits once. Nudges a worker."""
    require(by, "edit_curve")
    if CLAIMS.order(head_type.pk, state__in=IDLE):
        nudges.send_on_commit(LEARN, pk=head_type.pk)


def learn(pk: int) -> bool:
    """Learn a type if it is there to be learned, and say whether it was; repeated calls do nothing."""
    claim = CLAIMS.claim(pk)
    if claim is None:
        return False
    head_type = HeadType.objects.get(pk=pk)
    try:
        return CLAIMS.finish(pk, claim, learned=_learned(head_type), learned_at=timezone.now())
    except Exception as error:
        logger.exception("Head type %s, try %s", pk, head_type.tries)
        if CLAIMS.put_back(head_type, claim, str(error) or type(error).__name__):
            nudges.send_on_commit(LEARN, pk=pk)
        return False


def teaching_builds(head_type: HeadType) -> QuerySet[Build]:
    """The builds that teach a type: handed back, no practice, and run on the bench."""
    return (
        Build.objects.filter(head_type=head_type, locked=True, unrepaired=False, practice_seed=None)
        .filter(runs__removed=False, runs__readings__isnull=False)
        .distinct()
        .order_by("pk")
    )


def values_of(head_type: HeadType) -> dict[str, Estimate]:
    """What a type expects of its next head, by the names of the engine; empty while nothing was learned."""
    learned = convert.learned_of(head_type)
    return engine.learned_values(learned) if learned else {}


def _learned(head_type: HeadType):
    """Calibrate each build of the type as if nothing were known of the type, and put them together."""
    rows = {row.pk: row for row in Spring.objects.prefetch_related("corrections")}
    calibrations = {}
    for build in teaching_builds(head_type):
        found = _calibrated(queries.build_for(build.pk), rows)
        if found is not None:
            calibrations[build.pk] = found
    if len(calibrations) < MIN_BUILDS:
        raise ValueError(TOO_FEW)
    learned = engine.learn_head(list(calibrations.values())).learned
    if learned is None:  # it was asked to learn from heads, so it did
        raise ValueError(TOO_FEW)
    return {
        "mean": list(learned.mean),
        "covariance": [list(row) for row in learned.covariance],
        "heads": learned.heads,
        "builds": [{"build": pk, **_told(found)} for pk, found in calibrations.items()],
    }


def _calibrated(build: Build, rows: dict[int, Spring]):
    taught = [lesson for lesson in lessons(build, rows) if lesson.teaches]
    if not taught:
        return None
    runs = tuple(loop.hashable_run(lesson.teaches) for lesson in taught if lesson.teaches)
    return loop.calibrated(convert.head_of(build), runs)


def _told(calibration: engine.Calibration):
    """What one head was found to be: {name: [value, standard error]}."""
    return {name: [found.value, found.sd] for name, found in calibration.estimates.items()}
