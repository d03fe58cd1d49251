"""What people wrote on a card, as plain values: what a sheet freezes, and a later change is held against."""

import hashlib
import json
from datetime import date, datetime
from typing import Any

from django.db.models import Model, QuerySet, prefetch_related_objects
from django.utils.formats import date_format
from django.utils.timezone import localtime

from curves.judging import checks
from curves.models import Build, Run
from curves.rows import queries
from jobs.models import Inspection, Job, PartLine, Step
from jobs.rules import abrasive
from jobs.rules.card_lines import RECORDED, Line, Lines, lines_of
from jobs.rules.measured import Measured
from jobs.rules.points import applies
from jobs.stages import Stage

_PLACES = 6  # more than anyone reads, and no dust of a conversion there and back


def canonical(data: Any) -> str:
    """The one way to write data down: sorted keys, no spaces, no NaN, no minus zero."""
    return json.dumps(
        _plain(data), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def digest(text: str) -> str:
    """SHA-256 of a text, as people compare it: in lower-case hex."""
    return hashlib.sha256(text.encode()).hexdigest()


def recorded_sha256(job: Job, build: Build | None = None, lines: Lines | None = None) -> str:
    """The hash of what a card says now; a sheet carries the one of when it was made."""
    return digest(canonical(recorded(job, build or queries.build_for(job.build_id), lines)))


def recorded(job: Job, build: Build, lines: Lines | None = None) -> dict[str, Any]:
    """What people wrote on the card, before anything is computed from it; asks for its lines, unless given.

    As long as the card is open, a later change is measured against this. Figures computed from it, a limit
    that the shop changes on its list and the unit's owner are not in it. Names kept elsewhere are, as a sheet
    prints them: initials, points and their units, springs, labels and choices of a release, and the unit,
    which other cards share; so nobody asks this of a closed card.
    """
    if lines is None:
        lines = lines_of([job], RECORDED)[job.pk]
    parts, steps = lines["parts"], _steps(job, lines)
    wanted = [_part(line) for line in parts if line.state == PartLine.State.WANTED]
    runs = queries.live_runs(build)
    prefetch_related_objects(runs, "sparks", "dwells", "vacuums")
    return {
        "unit": _labelled(job.unit, "id"),
        "engine": _labelled(job.engine, "id") if job.engine else None,
        "unit_name": str(job.unit),
        "engine_name": str(job.engine) if job.engine else "",
        "vehicle": job.engine.vehicle if job.engine else "",
        "complaint": job.complaint,
        "came_with": job.came_with,
        "setting_note": job.setting_note,
        "inspections": [_inspection(answer) for answer in lines["inspections"]],
        "findings": [
            {"text": finding.text, "stage": Stage(finding.state).label} for finding in lines["findings"]
        ],
        "parts": {
            state.value: [_part(line) for line in parts if line.state == state]
            for state in (PartLine.State.FITTED, PartLine.State.LOOSE, PartLine.State.LEFT_OFF)
        }
        | ({"wanted": wanted} if wanted else {}),  # a card without says what it said before there was this
        "steps": {name.value: [_step(step) for step in steps if step.state == name] for name in Step.List},
        **_abrasive(job),
        "head": _head(build),
        "runs": [_run(run) for run in runs],
        "target": _target(build),
    }


def answers_of(job: Job) -> QuerySet[Inspection]:
    """The answers to the inspection list, in its order."""
    return job.inspections.select_related("point", "by")


def springs_of(run: Run) -> list[dict[str, Any]]:
    """The pair a run was made with, in words; empty for the springs that came in the unit."""
    pairs = [(run.primary, run.primary_bend_mm), (run.secondary, run.secondary_bend_mm)]
    return [
        {"position": position, "label": spring.label, "bend_mm": bend}
        for position, (spring, bend) in zip(("primary", "secondary"), pairs, strict=True)
        if spring
    ]


def _labelled(row: Model, *without: str) -> list[list]:
    """A row's filled fields as [label, value] in the row's order, choices in words."""
    filled = []
    for field in row._meta.concrete_fields:
        value = getattr(row, field.attname)
        if field.attname in without or value in (None, ""):
            continue
        shown = getattr(row, f"get_{field.attname}_display", None)
        filled.append([field.attname, str(field.verbose_name), shown() if shown else value])
    return filled


def _inspection(answer: Line) -> dict[str, Any]:
    return {
        "label": answer.text,
        "unit": answer.unit,
        "value": answer.value,
        "verdict": answer.state,
        "verdict_name": Inspection.Verdict(answer.state).label,
        "note": answer.note,
        "by": answer.initials,
        **_read_beside(answer),
    }


def _read_beside(answer: Line) -> dict[str, float]:
    """What was read beside the value; an answer without says what it said before there was this."""
    read = Measured.of(answer)._asdict()
    return {name: said for name, said in read.items() if name != "value" and said is not None}


def _part(line: Line) -> dict[str, Any]:
    return {"text": line.text, "quantity": line.value, "why": line.note}


def _steps(job: Job, lines: Lines) -> list[Line]:
    """What was done, and what this unit is still asked."""
    return [step for step in lines["steps"] if step.at or applies(step, job.unit)]


def _step(step: Line) -> dict[str, str]:
    said = _who_and_when(step.initials, step.at)
    done = "" if step.aside else said
    aside = {"aside": f"{step.aside}: {said}"} if step.aside else {}
    return {"text": step.text, "parts": step.note, "done": done, **aside}


def _abrasive(job: Job) -> dict[str, Any]:
    """The sign-off after blasting, or that it is still wanted; of a card without, an empty sign-off."""
    card = abrasive.card_of(job)
    if abrasive.is_left_open(card):
        return {"abrasive_free": "", "abrasive_open": True}
    signed = abrasive.was_blasted(card)
    by = card.abrasive_free_by if signed else None
    return {"abrasive_free": _who_and_when(by.initials, card.abrasive_free_at) if by else ""}


def _head(build: Build) -> dict[str, Any]:
    names = "crank_per_shaft scale_deg travel_stamped_deg travel_measured_deg primary_gap_mm secondary_gap_mm"
    return {name: getattr(build, name) for name in names.split()}


def _run(run: Run) -> dict[str, Any]:
    readings = [[one.speed_rpm, one.advance_deg, one.falling] for one in run.readings.all()]
    return {
        "number": run.number,
        "kind": run.kind,
        "frame": run.frame,
        "springs": springs_of(run),
        "note": run.note,
        "readings": readings,
        **checks.read_beside(run),
    }


def _target(build: Build) -> dict[str, Any] | None:
    target = getattr(build, "target", None)
    if target is None:
        return None
    names = "initial_low_crank_deg initial_high_crank_deg initial_crank_deg total_limit_crank_deg note"
    points = [[one.crank_rpm, one.crank_deg, one.tolerance_crank_deg] for one in target.points.all()]
    return {name: getattr(target, name) for name in names.split()} | {"points": points}


def _who_and_when(initials: str, at: date | None) -> str:
    return f"{initials}, {day(at)}" if initials and at else ""


def day(when: date | None) -> str:
    """A day as paper shows it, in the shop's own time zone; empty for none."""
    if when is None:
        return ""
    return date_format(localtime(when) if isinstance(when, datetime) else when, "j F Y")


def _plain(value: Any) -> Any:
    """Numbers rounded, minus zero made zero, tuples made lists, all the way down."""
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return round(value, _PLACES) + 0.0 if isinstance(value, float) else value
