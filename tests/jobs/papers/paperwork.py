"""A finished card to print, and what tests ask of a PDF."""

from io import BytesIO

from django.utils import timezone
from pypdf import PdfReader

from curves.models import Run, Spring
from jobs.models import Finding, Inspection, InspectionPoint, PartLine, Sheet, Step
from jobs.papers import building, signing
from jobs.rules.points import seed_points
from jobs.rules.recorded import recorded_sha256
from tests import build

# A worn unit, (distributor rpm, distributor deg), invented; and the rebuilt one with its falling sweep.
WORN = [(250, 0.5), (400, 3.0), (600, 6.5), (800, 8.5), (1000, 10.0), (1250, 11.5), (1500, 11.5)]
FALLING = [(1500, 10.75, True), (1000, 8.0, True), (600, 3.5, True), (300, 0.0, True)]


def finished_job(by=None, **fields):
    """A card with everything a sheet prints on it."""
    by = by or build.person()
    job = build.job(
        by=by,
        stage="hand_back",
        complaint="Idle hunts between 700 and 900.",
        came_with="Cap, rotor, clamp plate.",
        setting_note="Reconnect the vacuum line after setting.",
        **fields,
    )
    build.run(job.build, WORN, kind=Run.Kind.AS_RECEIVED, by=by)
    build.run(
        job.build,
        build.RISING + FALLING,
        kind=Run.Kind.FINAL,
        by=by,
        primary=_spring("Thin 0.6"),
        secondary=_spring("Stout 1.2"),
        primary_bend_mm=0.15,
    )
    build.target(job.build, initial_low_crank_deg=8, initial_high_crank_deg=12, initial_crank_deg=10)
    seed_points()
    point = InspectionPoint.objects.get(key="shaft-side-play")
    found = {"value": 0.06, "verdict": "good", "by": by}
    Inspection.objects.update_or_create(job=job, point=point, defaults=found)
    Finding.objects.create(job=job, text="Weights sticking on dry pivots.", stage="teardown", by=by)
    PartLine.objects.create(job=job, text="Oil-soaked bush", state="fitted", by=by)
    PartLine.objects.create(job=job, text="Resistive rotor", state="loose", why="after a drive", by=by)
    PartLine.objects.create(job=job, text="Connector module", state="left_off", why="fits the car", by=by)
    PartLine.objects.create(job=job, text="Bench hours", state="labour", quantity=3.5, by=by)
    Step.objects.create(job=job, list="cleaning", text="Degrease", by=by, at=timezone.now())
    return job


def _spring(label):
    return Spring.objects.filter(label=label).first() or build.spring(label)


def signed_sheet(job, kind=Sheet.Kind.CURVE_SHEET, *, by=None, paper_size="A4", built=True):
    """A revision signed by someone who has just looked at the card."""
    seen = recorded_sha256(job)
    sheet = signing.sign(job, kind, paper_size=paper_size, by=by or build.person(), seen=seen)
    if built:
        assert building.build(sheet.pk)
        sheet.refresh_from_db()
    return sheet


def draft(job, kind=Sheet.Kind.CURVE_SHEET, *, by=None, paper_size="A4", built=True):
    sheet = building.order_draft(job, kind, paper_size=paper_size, by=by or build.person())
    if built:
        assert building.build(sheet.pk)
        sheet.refresh_from_db()
    return sheet


def reader(sheet):
    with sheet.pdf.open("rb") as file:
        return PdfReader(BytesIO(file.read()))


def text_of(sheet):
    """All words of a PDF, in order, with single spaces."""
    return " ".join(" ".join(page.extract_text() for page in reader(sheet).pages).split())
