"""What a paper says, as plain data: gathered from the card, written as canonical JSON, and hashed."""

import hashlib
import json
from dataclasses import asdict

import numpy as np
from django.conf import settings
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localtime

from curves import charts, checks, paper, queries
from jobs.inspection import CAUTIONS
from jobs.models import PartLine, Sheet, Step
from jobs.stages import Stage
from shop.models import Paper, Shop
from shop.templatetags.numbers import fixed

FORMAT = 1
# A Letter page is shorter: the chart gives way, so that the setting card stays on the first page.
CHART_WIDTH_MM = {Paper.A4: 180, Paper.LETTER: 160}
TAG_PLACES = ["the tray", "the unit", "the bag of loose parts"]
_PLACES = 6  # more than anyone reads, and no dust of a conversion there and back


def canonical(data):
    """The one way to write data down: sorted keys, no spaces, no NaN, no minus zero."""
    return json.dumps(
        _plain(data), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def digest(text):
    """SHA-256 of a text, as people compare it: in lower-case hex."""
    return hashlib.sha256(text.encode()).hexdigest()


def gather(job, kind, *, paper_size, token, made_at, signature=None, audit_head=""):
    """All that a paper of this kind prints: what is recorded, what follows from it, and whose shop it is."""
    data = {
        "format": FORMAT,
        "kind": kind,
        "title": Sheet.Kind(kind).label,
        "paper": paper_size,
        "job": job.number,
        "made_at": made_at.isoformat(timespec="seconds"),
        "made_on": _day(made_at),
        "url": _public("check" if kind in Sheet.SIGNABLE else "card", token, job),
        "shop": _shop(),
    }
    if kind == Sheet.Kind.TRAY_TAG:
        return data | {"tag": _tag(job)}
    build = queries.build_for(job.build_id)
    said = recorded(job, build)
    return data | {
        "recorded": said,
        "recorded_sha256": digest(canonical(said)),
        "curve": reckoned(job, build, CHART_WIDTH_MM[paper_size]),
        "cautions": [CAUTIONS[Stage.HAND_BACK]],
        "signature": signature,
        "audit_head": audit_head,
    }


def signature(revision, person, at):
    """Who signed which revision when, as the sheet prints it and its hash covers it."""
    return {
        "revision": revision,
        "name": str(person),
        "role": person.get_role_display(),
        "initials": person.initials,
        "at": at.isoformat(timespec="seconds"),
        "on": _day(at),
    }


def recorded_sha256(job, build=None):
    """The hash of what a card says now; a sheet carries the one of when it was made."""
    return digest(canonical(recorded(job, build or queries.build_for(job.build_id))))


def recorded(job, build):
    """What people wrote on the card, before anything is computed from it.

    A later change is measured against this, so that a new release of the program makes no sheet outdated.
    """
    parts = list(job.parts.all())
    answers = list(job.inspections.select_related("point", "by"))
    return {
        "owner": str(job.customer) if job.customer else "Shop stock",
        "unit": _labelled(job.unit, "id"),
        "engine": _labelled(job.engine, "id") if job.engine else None,
        "unit_name": str(job.unit),
        "engine_name": str(job.engine) if job.engine else "",
        "vehicle": job.engine.vehicle if job.engine else "",
        "complaint": job.complaint,
        "came_with": job.came_with,
        "setting_note": job.setting_note,
        "inspections": [_inspection(answer) for answer in answers],
        "limit_sources": sorted({one.point.limit_source for one in answers if one.point.limit_source}),
        "findings": [
            {"text": finding.text, "stage": finding.get_stage_display()} for finding in job.findings.all()
        ],
        "parts": {
            state.value: [_part(line) for line in parts if line.state == state]
            for state in (PartLine.State.FITTED, PartLine.State.LOOSE, PartLine.State.LEFT_OFF)
        },
        "steps": {
            name.value: [_step(step) for step in job.steps.select_related("by") if step.list == name]
            for name in Step.List
        },
        "abrasive_free": _who_and_when(job.abrasive_free_by, job.abrasive_free_at) if job.blasted else "",
        "head": _head(build),
        "runs": [_run(run) for run in queries.live_runs(build)],
        "target": _target(build),
    }


def reckoned(job, build, chart_width_mm):
    """What the engine makes of it: the chart, the readings against the band, knees and the setting card."""
    engine = job.engine
    summary = queries.summary(
        build,
        idle_crank_rpm=engine.idle_crank_rpm if engine else None,
        top_crank_rpm=engine.top_crank_rpm if engine else None,
        margin_crank_rpm=Shop.current().idle_margin_crank_rpm,
    )
    figure = _judged(charts.figure(build))
    runs = {trace["role"]: getattr(summary, trace["role"]) for trace in figure["traces"]}
    return {
        "svg": None if figure["empty"] else str(paper.svg(figure, width_mm=chart_width_mm)),
        "described": figure["description"],
        "readings": readings_table(figure),
        "has_band": bool(figure["band"]),
        "runs": [_run_summary(role, said) for role, said in runs.items()],
        "words": words(runs.values()),
        "judged": next(reversed(runs), ""),
        "initial_crank_deg": summary.initial_crank_deg,
        "total_crank_deg": summary.total_crank_deg,
        "idle_slope_crank_deg_per_100_rpm": summary.idle_slope_crank_deg_per_100_rpm,
        "begin": asdict(summary.begin) if summary.begin else None,
        "setting_card": [asdict(row) for row in summary.setting_card],
        "warnings": [warning.text for warning in summary.warnings],
        "checks": checks.as_data(summary.final and summary.final.run, build, cylinders=job.cylinders),
    }


def readings_table(figure):
    """One row for each speed that was read, with each run's reading there and the edges of the band.

    Rising from slow to fast, then falling from fast to slow; a speed that a run read twice takes two rows.
    """
    rows = {}
    for place, trace in enumerate(figure["traces"]):
        for point in trace["points"]:
            row = _row_for(rows, point, place, len(figure["traces"]))
            row["reads"][place] = point
    ordered = sorted(rows.values(), key=lambda row: row["crank_rpm"])
    rising = [row for row in ordered if not row["falling"]]
    falling = [row for row in reversed(ordered) if row["falling"]]
    return [_against(figure, row) for row in rising + falling]


def _row_for(rows, point, place, count):
    """The first row of this speed and direction where this run has no reading yet."""
    for again in range(len(rows) + 1):
        key = (point["crank_rpm"], point["falling"], again)
        row = rows.setdefault(
            key,
            {name: point[name] for name in ("crank_rpm", "shaft_rpm", "falling")} | {"reads": [None] * count},
        )
        if row["reads"][place] is None:
            return row
    raise AssertionError("a new row is always free")


def _against(figure, row):
    """A row with the band at its speed, and which side of it the judged run lies, if any."""
    judged = figure["traces"][-1]
    read = row["reads"][-1]
    outside = read["outside_deg"] if read and judged["role"] != "as_received" else None
    says = "" if outside is None else "over" if outside > 0 else "under" if outside < 0 else "in"
    return row | {"says": says, **_edges(figure["band"], row["crank_rpm"])}


def _edges(band, crank_rpm):
    """The band at a speed, straight between its points; None where it says nothing."""
    if not band or not band["rpm"][0] <= crank_rpm <= band["rpm"][-1]:
        return {"low": None, "high": None}
    return {side: float(np.interp(crank_rpm, band["rpm"], band[side])) for side in ("low", "high")}


def words(runs):
    """The knees of each run as the lines of one table: a name with its unit, and a text for each run."""
    said = [dict(_knee_words(run)) for run in runs]
    longest = max(said, key=len, default={})
    names = [*longest, *(name for one in said for name in one if name not in longest)]
    return [{"name": name, "said": [one.get(name, "–") for one in said]} for name in dict.fromkeys(names)]


def _knee_words(run):
    for knee in run.knees:
        if knee.slope_deg_per_100_rpm:
            yield f"{knee.name}, °/100 rpm", fixed(knee.slope_deg_per_100_rpm.crank, 2)
        if knee.speed_rpm:
            yield f"{knee.name}, rpm", _in_both(knee.speed_rpm, 0)
        if knee.advance_deg:
            yield f"{knee.name}, degrees", _in_both(knee.advance_deg, 1)


def _in_both(value, places):
    return f"{fixed(value.crank, places)} / {fixed(value.shaft, places)}"


def _judged(figure):
    """A figure without the trials, once there is a final run to show."""
    if not any(trace["role"] == "final" for trace in figure["traces"]):
        return figure
    return figure | {
        part: [thing for thing in figure[part] if thing["role"] != "latest"]
        for part in ("traces", "labels", "misses")
    }


def _run_summary(role, said):
    return {
        "role": role,
        "name": str(said.run),
        "in_band": said.in_band,
        "miss": asdict(said.miss) if said.miss else None,
        "springs": _springs(said.run),
    }


def _springs(run):
    """The pair a run was made with, in words; empty for the springs that came in the unit."""
    pairs = [(run.primary, run.primary_bend_mm), (run.secondary, run.secondary_bend_mm)]
    return [
        {"position": position, "label": spring.label, "bend_mm": bend}
        for position, (spring, bend) in zip(("primary", "secondary"), pairs, strict=True)
        if spring
    ]


def _labelled(row, *without):
    """A row's filled fields as [label, value] in the row's order, choices in words."""
    filled = []
    for field in row._meta.concrete_fields:
        value = getattr(row, field.attname)
        if field.attname in without or value in (None, ""):
            continue
        shown = getattr(row, f"get_{field.attname}_display", None)
        filled.append([field.attname, str(field.verbose_name), shown() if shown else value])
    return filled


def _inspection(answer):
    point = answer.point
    return {
        "label": point.label,
        "unit": point.unit,
        "value": answer.value,
        "low": point.low,
        "high": point.high,
        "limit_source": point.limit_source,
        "verdict": answer.verdict,
        "verdict_name": answer.get_verdict_display(),
        "note": answer.note,
        "by": answer.by.initials,
    }


def _part(line):
    return {"text": line.text, "quantity": float(line.quantity), "why": line.why}


def _step(step):
    return {"text": step.text, "parts": step.parts, "done": _who_and_when(step.by, step.at)}


def _head(build):
    names = "crank_per_shaft scale_deg travel_stamped_deg travel_measured_deg primary_gap_mm secondary_gap_mm"
    return {name: getattr(build, name) for name in names.split()}


def _run(run):
    readings = [[one.speed_rpm, one.advance_deg, one.falling] for one in run.readings.all()]
    return {
        "number": run.number,
        "kind": run.kind,
        "frame": run.frame,
        "springs": _springs(run),
        "note": run.note,
        "readings": readings,
        **checks.read_beside(run),
    }


def _target(build):
    target = getattr(build, "target", None)
    if target is None:
        return None
    names = "initial_low_crank_deg initial_high_crank_deg initial_crank_deg total_limit_crank_deg note"
    points = [[one.crank_rpm, one.crank_deg, one.tolerance_crank_deg] for one in target.points.all()]
    return {name: getattr(target, name) for name in names.split()} | {"points": points}


def _tag(job):
    return {
        "places": TAG_PLACES,
        "unit": str(job.unit),
        "initials": job.customer.initials if job.customer else "",
        "promised_on": _day(job.promised_on),
        "opened_on": _day(job.opened_at),
        "tray": job.tray,
    }


def _shop():
    shop = Shop.current()
    return {name: getattr(shop, name) for name in ("name", "address", "phone", "email", "paper_note")}


def _public(route, token, job):
    """Where a paper's QR leads: a sheet to the page that says whether it is current, a tag to its card."""
    return settings.PUBLIC_URL + reverse(route, args=[token if route == "check" else job.number])


def _who_and_when(person, at):
    return f"{person.initials}, {_day(at)}" if person and at else ""


def _day(when):
    """A day as paper shows it, in the shop's own time zone; empty for none."""
    if when is None:
        return ""
    return date_format(localtime(when) if hasattr(when, "tzinfo") else when, "j F Y")


def _plain(value):
    """Numbers rounded, minus zero made zero, tuples made lists, all the way down."""
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return round(value, _PLACES) + 0.0 if isinstance(value, float) else value
