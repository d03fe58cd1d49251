"""What is written on cards line by line, of every kind in one query, however many cards."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from datetime import datetime
from typing import NamedTuple

from django.db.models import CharField, DateTimeField, F, FloatField, IntegerField, QuerySet, Value
from django.db.models.functions import Cast, Coalesce, NullIf

from jobs.models import EstimateAnswer, Finding, Inspection, Job, PartLine, Photo, RoadReport, Step
from jobs.rules.measured import Measured
from shop.models import Person


class Line(NamedTuple):
    """One line; what a kind hasn't got is empty or None, and ``text`` is its main words."""

    kind: str
    job: int
    place: int
    pk: int
    text: str
    at: datetime | None = None  # of a step: when it was done or put aside
    value: float | None = None  # as measured, or how many
    part_temp_c: float | None = None  # of an inspection: what was read beside the value
    start_kpa: float | None = None
    held_s: float | None = None
    left_kpa: float | None = None
    note: str = ""  # beside the text: a note, a reason, on which parts
    state: str = ""  # a verdict, a stage, a state, a list
    unit: str = ""
    name: str | None = ""  # of who wrote it
    aside: str = ""
    triggers: str = ""

    @property
    def initials(self) -> str:
        return Person(full_name=self.name).initials if self.name else ""


Lines = dict[str, list[Line]]  # of one card, by kind

_WHO = Coalesce(NullIf("by__full_name", Value("")), "by__username")  # as a person is named
_NOTHING = {
    "place": Value(0, IntegerField()),
    "at": Cast(Value(None), DateTimeField()),
    **{name: Cast(Value(None), FloatField()) for name in Measured._fields},
}
# Steps come first: a union takes its kinds of columns from the first.
_KINDS = {
    "steps": (
        Step.objects,
        {
            "place": F("order"),
            "at": F("at"),
            "note": F("parts"),
            "state": F("list"),
            "name": _WHO,
            "aside": F("aside"),
            "triggers": F("triggers"),
        },
    ),
    "inspections": (
        Inspection.objects,
        {
            "place": F("point__order"),
            "text": F("point__label"),
            **{name: F(name) for name in Measured._fields},
            "note": F("note"),
            "state": F("verdict"),
            "unit": F("point__unit"),
            "name": _WHO,
        },
    ),
    "findings": (Finding.objects, {"state": F("stage")}),
    "parts": (
        PartLine.objects,
        {"value": Cast("quantity", FloatField()), "note": F("why"), "state": F("state")},
    ),
    "photos": (Photo.objects.filter(removed=False), {"text": F("caption")}),
    "reports": (RoadReport.objects, {}),
    "answers": (EstimateAnswer.objects, {"text": F("said_by"), "note": F("note")}),
}
WORDS = ("findings", "inspections", "parts", "photos", "reports", "answers")  # what a card is found by
RECORDED = ("steps", "inspections", "findings", "parts")  # what a sheet freezes of it


def lines_of(jobs: Iterable[Job], kinds: Collection[str]) -> dict[int, Lines]:
    """The lines of these kinds on each of these cards: {card key: {kind: [Line, ...]}}, in one query."""
    keys = [job.pk for job in jobs]
    asked = [_asked(kind, keys) for kind in _KINDS if kind in kinds]
    found: dict[int, Lines] = {key: defaultdict(list) for key in keys}
    for row in asked[0].union(*asked[1:], all=True) if keys else ():
        line = Line(*row)
        found[line.job][line.kind].append(line)
    for lines in found.values():
        for rows in lines.values():
            rows.sort(key=lambda line: (line.place, line.pk))
    return found


def _asked(kind: str, keys: list[int]) -> QuerySet:
    """One kind of line as rows of the same columns as every other."""
    rows, own = _KINDS[kind]
    columns = {"kind": Value(kind), "job": F("job_id"), "pk": F("pk"), "text": F("text"), **_NOTHING, **own}
    empty = Value("", CharField())
    asked = [columns.get(name, empty) for name in Line._fields]
    return rows.filter(job__in=keys).order_by().values_list(*asked)
