"""A card on which something stands in every list, for tests of what a page costs and says."""

from django.utils import timezone

from jobs.models import Inspection, InspectionPoint
from tests import build


def full_job(stage, person, lines=4, **fields):
    """A card with ``lines`` lines in each list, and with runs of every kind."""
    job = build.job(stage=stage, **fields)
    build.target(job.build)
    for kind in ("as_received", *["trial"] * (lines // 2), "final"):
        build.run(job.build, kind=kind, primary=build.spring(), secondary=build.spring())
    Inspection.objects.bulk_create(
        Inspection(job=job, point=point, verdict="good", by=person)
        for point in InspectionPoint.objects.all()[:12]
    )
    for number in range(lines):
        job.findings.create(text=f"finding {number}", stage=stage, by=person)
        job.parts.create(text=f"part {number}", by=person)
        job.steps.create(list="cleaning", text=f"step {number}", by=person, at=timezone.now())
        job.steps.create(list="assembly", text=f"step {number}")
        job.photos.create(
            image="photos/a.jpg", small="photos/b.jpg", width=1, height=1, stage=stage, by=person
        )
    return job
