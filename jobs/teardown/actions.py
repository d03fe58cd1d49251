"""Writing down what a teardown shows: answers to the inspection list, findings, and parts."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from jobs.models import Finding, Inspection, InspectionPoint, Job, PartLine
from jobs.record.noting import changes, note
from jobs.rules import measured as reading
from jobs.rules.guards import lock_open_card
from jobs.rules.points import limit_of, proposed_verdict, unusual
from jobs.teardown.travel import fill_travel
from shop.models import Person
from shop.rights import require
from shop.versions import Conflict, save_versioned

OF_A_SPRING = {"why", "price"}  # what a person writes on the line of a fitted spring
LEDGERS = (
    "This spring hangs in the unit by its final run: take that run off the card, and the spring goes back to "
    "the drawer and off this list."
)
NO_LIMIT = "No limit to go by: say good, worn, replace or not applicable."
UNUSUAL = "Unusual as it is, the limit alone can't judge it: say good, worn, replace or not applicable."
MEASURED = "What was measured applies: take the value out, or give another verdict."


@transaction.atomic
def answer_point(
    job: Job,
    point: InspectionPoint,
    *,
    by: Person,
    value: float | None = None,
    beside: Mapping[str, float | None] | tuple = (),
    verdict: str = "",
    note_text: str = "",
    version: int | None = None,
) -> Inspection:
    """Answer one inspection point, or answer it anew; without a verdict the point's limit gives it.

    ``beside`` is what was read beside the value, by name, as the point is measured.
    A travel measured becomes that of a head that has none; the answer says so.

    ``version`` is that of the answer the writer saw, None for none; Conflict if there is another by now
    that says something else.
    """
    require(by, "edit_work")
    lock_open_card(job)
    measured = reading.Measured(value, **dict(beside))
    if verdict == Inspection.Verdict.NOT_APPLICABLE and any(said is not None for said in measured):
        raise ValidationError({"verdict": MEASURED})
    if wrong := reading.problems(point, measured):
        raise ValidationError(wrong)
    measured = reading.settled(point, measured)
    said_or_proposed = verdict or proposed_verdict(point, measured, job.build)
    if not said_or_proposed:
        is_measured = measured.value is not None and limit_of(point)
        raise ValidationError({"verdict": UNUSUAL if is_measured else NO_LIMIT})
    data = {**measured._asdict(), "verdict": said_or_proposed, "note": note_text}
    answer = Inspection.objects.filter(job=job, point=point).first()
    _require_said_of_this_value(answer, job, point, data)
    if answer is None:
        answer = _first_answer(job, point, by, data)
        changed = changes(Inspection(), measured._fields, data)
    elif all(getattr(answer, name) == said for name, said in data.items()):
        return answer  # sent twice, by the line itself and by the button below all lines
    elif version is None:
        raise Conflict(answer)
    else:
        changed = changes(answer, data, data)
        written = data | {"by": by, "at": timezone.now(), "in_bulk": False}
        for name, new in written.items():
            setattr(answer, name, new)
        save_versioned(answer, version, list(written))
    said = answer.get_verdict_display()
    note("answered an inspection point", job, by, point=point.label, verdict=said, changes=changed)
    answer.taken_over = fill_travel(job, point, measured.value, by=by)
    return answer


@transaction.atomic
def answer_rest(job: Job, points: Sequence[InspectionPoint], *, by: Person) -> list[Inspection]:
    """Answer these points as good in one go, each an answer of its own; those answered since stay."""
    require(by, "edit_work")
    lock_open_card(job)
    if measured := [point.label for point in points if point.wants_value]:
        raise ValidationError(f"These want a measured value: {', '.join(measured)}.")
    taken = set(Inspection.objects.filter(job=job).values_list("point", flat=True))
    data = {"verdict": Inspection.Verdict.GOOD, "in_bulk": True}
    made = [_first_answer(job, point, by, data) for point in points if point.pk not in taken]
    for answer in made:
        note("answered a point with the rest", job, by, point=answer.point.label, verdict="Good")
    return made


@transaction.atomic
def take_back_rest(job: Job, answers: Iterable[int], *, by: Person) -> int:
    """Take such answers back, but for those that were answered anew meanwhile."""
    require(by, "edit_work")
    lock_open_card(job)
    rows = Inspection.objects.select_related("point").filter(job=job, pk__in=answers, in_bulk=True)
    for answer in rows:
        note("took an answer back", job, by, point=answer.point.label)
    return rows.delete()[0]


def _require_said_of_this_value(
    answer: Inspection | None, job: Job, point: InspectionPoint, data: dict[str, Any]
) -> None:
    """A "good" left standing from another value is not yet said of one that is unusual."""
    measured = reading.Measured(**{name: data[name] for name in reading.Measured._fields})
    if answer is None or measured == reading.Measured.of(answer) or not unusual(point, measured, job.build):
        return
    if data["verdict"] == answer.verdict == Inspection.Verdict.GOOD and data["note"] in ("", answer.note):
        raise ValidationError(
            {"verdict": "Good was not said of this value: choose again, or write in the note why it is good."}
        )


def _first_answer(job: Job, point: InspectionPoint, by: Person, data: dict[str, Any]) -> Inspection:
    try:
        with transaction.atomic():
            return Inspection.objects.create(job=job, point=point, by=by, **data)
    except IntegrityError as error:
        raise Conflict(Inspection.objects.get(job=job, point=point)) from error


@transaction.atomic
def add_finding(job: Job, *, text: str, by: Person) -> Finding:
    require(by, "edit_work")
    lock_open_card(job)
    finding = Finding.objects.create(job=job, text=text, stage=job.stage, by=by)
    note("wrote a finding", job, by, text=text)
    return finding


@transaction.atomic
def remove_finding(finding: Finding, *, by: Person) -> None:
    _remove(finding, by, "struck out a finding")


@transaction.atomic
def add_part(job: Job, data: dict[str, Any], *, by: Person) -> PartLine:
    require(by, "edit_work")
    lock_open_card(job)
    line = PartLine.objects.create(job=job, by=by, **data)
    note("added a line", job, by, text=str(line), state=line.get_state_display())
    return line


@transaction.atomic
def change_part(line: PartLine, data: dict[str, Any], *, by: Person, version: int) -> None:
    require(by, "edit_work")
    lock_open_card(line.job)
    if line.spring_id and not set(data) <= OF_A_SPRING:
        raise PermissionDenied(LEDGERS)
    changed = changes(PartLine.objects.get(pk=line.pk), data, data)
    for name, value in data.items():
        setattr(line, name, value)
    save_versioned(line, version, list(data))
    if changed:
        note("changed a line", line.job, by, text=str(line), changes=changed)


@transaction.atomic
def remove_part(line: PartLine, *, by: Person) -> None:
    if line.spring_id:
        raise PermissionDenied(LEDGERS)
    _remove(line, by, "struck out a line")


def _remove(row: Finding | PartLine, by: Person, verb: str) -> None:
    """Strike out a line; what it said stays in the history. A line already gone is no error."""
    require(by, "edit_work")
    lock_open_card(row.job)
    deleted, _ = type(row).objects.filter(pk=row.pk).delete()
    if deleted:
        note(verb, row.job, by, text=str(row))
