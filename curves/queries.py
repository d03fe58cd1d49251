"""What is read of a build: its rows in few queries, its newest runs, and its summary."""

from django.db.models import Prefetch

from curves import convert, judging, timing
from curves.models import Build, Run, Spring
from curves.results import CurveSummary

__all__ = ["CurveSummary", "build_for", "drawer", "live_runs", "newest_runs", "summary"]

ROLES = {Run.Kind.AS_RECEIVED: "as_received", Run.Kind.TRIAL: "latest", Run.Kind.FINAL: "final"}


def build_for(pk):
    """A build with its runs, readings, springs and target, in four queries."""
    runs = Run.objects.filter(removed=False).select_related("primary", "secondary", "by")
    return (
        Build.objects.select_related("target")
        .prefetch_related(Prefetch("runs", runs.prefetch_related("readings")), "target__points")
        .get(pk=pk)
    )


def live_runs(build):
    """The runs that count, in order."""
    return [run for run in build.runs.all() if not run.removed]


def newest_runs(build):
    """The newest run of each role that a card draws: as_received, latest (trial), final."""
    newest = {ROLES[run.kind]: run for run in live_runs(build)}
    return {role: newest[role] for role in ROLES.values() if role in newest}


def drawer():
    """Every kind of spring the shop has or had."""
    return Spring.objects.all()


def summary(build, *, idle_crank_rpm=None, top_crank_rpm=None, margin_crank_rpm=150):
    """What the runs of a build come to: verdicts, knees, begin of advance, setting card and warnings.

    Asks the database nothing when the build comes from ``build_for``.
    """
    drive = convert.drive_of(build)
    row = getattr(build, "target", None)
    band = convert.target_of(row, drive)
    runs = {
        role: (run, readings)
        for role, run in newest_runs(build).items()
        if (readings := convert.run_readings(run, drive)) is not None
    }
    said = {role: judging.run_summary(run, readings, band, drive) for role, (run, readings) in runs.items()}
    judged = next((runs[role] for role in ("final", "latest", "as_received") if role in runs), None)
    warnings = judging.build_warnings(build, drive)
    for role, (run, readings) in runs.items():
        warnings += judging.run_warnings(run, readings, said[role], drive)
    if judged is None:
        return CurveSummary(warnings=tuple(warnings))
    set_up = timing.Engine(idle_crank_rpm, top_crank_rpm, margin_crank_rpm)
    found = timing.timing_of(judged[1], band, row, set_up, drive)
    return CurveSummary(
        **said,
        begin=found.begin,
        idle_slope_crank_deg_per_100_rpm=found.idle_slope,
        initial_crank_deg=found.initial_crank_deg,
        setting_card=found.setting_card,
        total_crank_deg=found.total_crank_deg,
        warnings=(*warnings, *found.warnings),
    )
