"""What the demo writes of a unit's curve work: the head, the target, the runs."""

from curves.models import Reading, Run, Spring, Target, TargetPoint
from jobs.actions.noting import note
from shop.versions import save_versioned


def measure_head(job, *, by, **measured):
    build = job.build
    for name, value in measured.items():
        setattr(build, name, value)
    save_versioned(build, build.version, list(measured))
    note("measured the head", job, by, **measured)


def set_target(job, points, *, by, **agreed):
    target = Target.objects.create(build=job.build, **agreed)
    TargetPoint.objects.bulk_create(
        TargetPoint(target=target, crank_rpm=rpm, crank_deg=deg, tolerance_crank_deg=tolerance)
        for rpm, deg, tolerance in points
    )
    note("set the target", job, by, points=len(points))


def record_run(job, kind, readings, *, by, primary=None, secondary=None, bend_mm=(0.0, 0.0), text=""):
    """Keep a sweep; the springs go by their labels, none for the pair a unit came in with."""
    springs = {row.label: row for row in Spring.objects.filter(label__in=[primary, secondary])}
    run = Run.objects.create(
        build=job.build,
        number=job.build.runs.count() + 1,
        kind=kind,
        primary=springs.get(primary),
        secondary=springs.get(secondary),
        primary_bend_mm=bend_mm[0],
        secondary_bend_mm=bend_mm[1],
        note=text,
        by=by,
    )
    Reading.objects.bulk_create(
        Reading(run=run, position=position, speed_rpm=rpm, advance_deg=deg, falling=falling)
        for position, (rpm, deg, falling) in enumerate(readings)
    )
    note("typed a run", job, by, run=run.number, kind=run.get_kind_display(), readings=len(readings))
