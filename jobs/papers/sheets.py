"""What a paper says, as plain data: what is recorded, what follows from it, and whose shop it is."""

import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from datetime import datetime
from typing import Any

from django.conf import settings
from django.urls import reverse

from curves.figures import charts, svg
from curves.figures.tables import readings_table
from curves.judging import checks, proof, verdicts
from curves.judging.proof import Proof
from curves.models import Build
from curves.rows import queries
from curves.rows.results import InBoth, RunSummary
from jobs.models import Inspection, Job, Sheet
from jobs.rules import measured as reading
from jobs.rules.agreed_for import earlier_engine_words, summary_of
from jobs.rules.points import CAUTIONS, unusual
from jobs.rules.recorded import answers_of, canonical, day, digest, recorded, springs_of
from jobs.rules.revisions import SHELF
from jobs.stages import Stage
from shop.amounts import FRAME
from shop.models import Paper, Person, Shop
from shop.templatetags.numbers import fixed
from shop.words import claim_in

FORMAT = 1
# A Letter page is shorter: the chart gives way, so that the setting card stays on the first page.
CHART_WIDTH_MM: dict[str, int] = {Paper.A4: 180, Paper.LETTER: 160}
TAG_PLACES = ["the tray", "the unit", "the bag of loose parts"]


def gather(
    job: Job,
    kind: str,
    *,
    paper_size: str,
    token: str,
    made_at: datetime,
    signature: dict[str, Any] | None = None,
    audit_head: str = "",
) -> dict[str, Any]:
    """All that a paper of this kind prints: what is recorded, what follows from it, and whose shop it is."""
    data: dict[str, Any] = {
        "format": FORMAT,
        "kind": kind,
        "title": Sheet.Kind(kind).label,
        "paper": paper_size,
        "job": job.number,
        "practice": job.is_practice,
        "made_at": made_at.isoformat(timespec="seconds"),
        "made_on": day(made_at),
        "url": _public("check" if kind in Sheet.SIGNABLE else "card", token, job),
    }
    if job.ending:
        data["ended"] = _ended(job)
    if earlier := earlier_engine_words(job):
        data["earlier_engine"] = earlier
    if kind == Sheet.Kind.TRAY_TAG:
        return data | {"shop": _shop(False), "tag": tag(job)}
    build = queries.build_for(job.build_id)
    said = recorded(job, build)
    answers = list(answers_of(job))
    curve = reckoned(job, build, CHART_WIDTH_MM[paper_size])
    return data | {
        "shop": _shop(bool(curve["headline"] and curve["headline"]["proved"])),
        "owner": str(job.customer) if job.customer else SHELF,
        "owner_key": job.customer_id,
        "recorded": said,
        "inspections": _beside(said["inspections"], answers, build),
        "limit_sources": sorted({answer.point.limit_source for answer in answers} - {""}),
        "recorded_sha256": digest(canonical(said)),
        "curve": curve,
        "cautions": [CAUTIONS[Stage.HAND_BACK]],
        "signature": signature,
        "audit_head": audit_head,
    }


def still_says(sheet: Sheet, job: Job) -> bool:
    """Whether a tray tag says of its card, its shop and its address what a new one would say."""
    told = {"paper_size": sheet.paper, "token": sheet.token, "made_at": sheet.created_at}
    now = json.loads(canonical(gather(job, sheet.kind, **told)))
    return _timeless(now) == _timeless(sheet.content)


def _timeless(data: dict[str, Any]) -> dict[str, Any]:
    return {name: said for name, said in data.items() if name not in ("made_at", "made_on")}


def signature(revision: int, person: Person, at: datetime) -> dict[str, Any]:
    """Who signed which revision when, as the sheet prints it and its hash covers it."""
    return {
        "revision": revision,
        "name": str(person),
        "role": person.get_role_display(),
        "initials": person.initials,
        "at": at.isoformat(timespec="seconds"),
        "on": day(at),
    }


def reckoned(job: Job, build: Build, chart_width_mm: float) -> dict[str, Any]:
    """What the engine makes of it: the chart, the readings against the band, knees and the setting card."""
    summary = summary_of(job, build, Shop.current().idle_margin_crank_rpm)
    figure = charts.figure(build, with_trials=False)
    final = proof.final_of(build, cylinders=job.cylinders)
    judged = final
    if judged is None and summary.latest:
        judged = proof.proof_of(summary.latest.run, build, cylinders=job.cylinders)
    runs = {trace["role"]: getattr(summary, trace["role"]) for trace in figure["traces"]}
    return {
        "svg": None if figure["empty"] else str(svg.svg(figure, width_mm=chart_width_mm)),
        "described": figure["description"],
        "readings": readings_table(figure),
        "has_band": bool(figure["band"]),
        "runs": [_run_summary(role, said) for role, said in runs.items()],
        "words": words(runs.values()),
        "judged": next(reversed(runs), ""),
        "initial_crank_deg": summary.initial_crank_deg,
        "total_crank_deg": summary.total_crank_deg,
        "total_not_read": summary.total_not_read,
        "idle_slope_crank_deg_per_100_rpm": summary.idle_slope_crank_deg_per_100_rpm,
        "begin": asdict(summary.begin) if summary.begin else None,
        "setting_card": [asdict(row) | {"outside": row.is_outside} for row in summary.setting_card],
        "warnings": [warning.text for warning in summary.warnings],
        "checks": checks.as_data(final.checks) if final else [],
        "headline": _headline(judged),
    }


def _headline(judged: Proof | None) -> dict[str, Any] | None:
    """What a run comes to, as the sheet freezes it; None where no more than the unit as received was read."""
    if judged is None:
        return None
    return {
        "text": judged.headline,
        "proved": judged.is_proved,
        "state": judged.state,
        "run": str(judged.run),  # the curve's figures may be of an earlier one: who prints both says so
    }


def words(runs: Iterable[RunSummary]) -> list[dict[str, Any]]:
    """The knees of each run as the lines of one table: a name with its unit, and a text for each run."""
    said = [dict(_knee_words(run)) for run in runs]
    longest = max(said, key=len, default={})
    names = [*longest, *(name for one in said for name in one if name not in longest)]
    return [{"name": name, "said": [one.get(name, "–") for one in said]} for name in dict.fromkeys(names)]


def _knee_words(run: RunSummary) -> Iterator[tuple[str, str]]:
    for knee in run.knees:
        if knee.slope_deg_per_100_rpm:
            yield f"{knee.name}, °/100 rpm", fixed(knee.slope_deg_per_100_rpm.crank, 2)
        if knee.speed_rpm:
            yield f"{knee.name}, rpm", _in_both(knee.speed_rpm, 0)
        if knee.advance_deg:
            yield f"{knee.name}, degrees", _in_both(knee.advance_deg, 1)


def _in_both(value: InBoth, places: int) -> str:
    return f"{fixed(value.crank, places)} / {fixed(value.shaft, places)}"


def _run_summary(role: str, said: RunSummary) -> dict[str, Any]:
    return {
        "role": role,
        "name": str(said.run),
        "in_band": said.in_band,
        "miss": asdict(said.miss) if said.miss else None,
        "miss_said": verdicts.miss_words(said.miss, said.run.frame) if said.miss else "",
        "springs": springs_of(said.run),
    }


def _beside(
    recorded_answers: list[dict[str, Any]], answers: list[Inspection], build: Build
) -> list[dict[str, Any]]:
    """The answers recorded, each with the limit it was held against as the shop's list has it now, what is
    unusual about its value, and whether it was said together with the rest of the list."""
    return [
        said
        | {
            "low": answer.point.low,
            "high": answer.point.high,
            "judged": reading.judged_value(answer.point, reading.Measured.of(answer)),
            "limit_holds": reading.LIMITS_HOLD.get(answer.point.measured_as, ""),
            "said_beside": reading.said_beside(answer.point, reading.Measured.of(answer)),
            "unusual": unusual(answer.point, reading.Measured.of(answer), build),
            "with_the_rest": answer.in_bulk,
        }
        for said, answer in zip(recorded_answers, answers, strict=True)
    ]


def tag(job: Job) -> dict[str, Any]:
    """What a tray tag says of its card."""
    return {
        "places": TAG_PLACES,
        "unit": str(job.unit),
        "initials": job.customer.initials if job.customer else "",
        "promised_on": day(job.promised_on),
        "opened_on": day(job.opened_at),
        "tray": job.tray,
    }


def _ended(job: Job) -> dict[str, Any]:
    """How a card was closed whose unit was not rebuilt; only its papers carry this."""
    closing = job.closing
    return {
        "as": job.ended_as,
        "on": day(job.closed_at),
        "went_back": closing.went_back,
        "stayed": closing.stayed,
        "fee": f"{closing.fee:.2f}",
        "labour": f"{closing.labour:.2f}",
        "parts": f"{closing.parts:.2f}",
        "parts_left": closing.parts_left,
        "parts_taken_out": closing.parts_taken_out,
        "owed": f"{closing.owed:.2f}",
        "currency": closing.currency,
        "frame": FRAME,
        "collected_by": closing.collected_by,
        "collected_said": closing.collected_said,
        "consent_by": closing.consent_by,
        "reason": closing.reason,
    }


def _shop(is_proved: bool) -> dict[str, str]:
    """The shop as its papers name it; a standing note that says "proved" is left off a unit that isn't."""
    shop = Shop.current()
    names = {name: getattr(shop, name) for name in ("name", "address", "phone", "email")}
    return names | {"paper_note": shop.paper_note if is_proved or not claim_in(shop.paper_note) else ""}


def _public(route: str, token: str, job: Job) -> str:
    """Where a paper's QR leads: a sheet to the page that says whether it is current, a tag to its card."""
    return settings.PUBLIC_URL + reverse(route, args=[token if route == "check" else job.number])
