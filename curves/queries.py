"""What is read of a build: its rows in few queries, its newest runs, and its summary."""

from django.db.models import Prefetch, Value

from curves import convert, judging, timing
from curves.models import Build, DwellReading, Run, SparkReading, Spring, VacuumReading
from curves.results import CurveSummary, Verdicts

__all__ = ["CurveSummary", "build_for", "drawer", "live_runs", "newest_runs", "summary", "verdicts"]

ROLES = {Run.Kind.AS_RECEIVED: "as_received", Run.Kind.TRIAL: "latest", Run.Kind.FINAL: "final"}


def build_for(pk):
    """A build with its runs, all that was read in them, springs and target, in seven queries."""
    runs = Run.objects.filter(removed=False).select_related("primary", "secondary", "by")
    read = runs.prefetch_related("readings", "sparks", "dwells", "vacuums")
    return (
        Build.objects.select_related("target")
        .prefetch_related(Prefetch("runs", read), "target__points")
        .get(pk=pk)
    )


def live_runs(build):
    """The runs that count, in order."""
    return [run for run in build.runs.all() if not run.removed]


def newest_runs(build):
    """The newest run with readings of each role that a card draws: as_received, latest (trial), final."""
    newest = {ROLES[run.kind]: run for run in live_runs(build) if run.readings.all()}
    return {role: newest[role] for role in ROLES.values() if role in newest}


def read_beside(run):
    """Sparks, dwells and vacuums of a run in one query, as rows to look at and not to save."""
    none = Value(0)
    sparks = run.sparks.order_by().values_list(Value("spark"), "speed_rpm", "cylinder", "offset_deg")
    dwells = run.dwells.order_by().values_list(Value("dwell"), "speed_rpm", none, "dwell_deg")
    vacuums = run.vacuums.order_by().values_list(Value("vacuum"), "vacuum_kpa", none, "advance_deg")
    rows = sorted(sparks.union(dwells, vacuums, all=True))
    return (
        [
            SparkReading(speed_rpm=at, cylinder=n, offset_deg=off)
            for kind, at, n, off in rows
            if kind == "spark"
        ],
        [DwellReading(speed_rpm=at, dwell_deg=deg) for kind, at, _, deg in rows if kind == "dwell"],
        [VacuumReading(vacuum_kpa=at, advance_deg=deg) for kind, at, _, deg in rows if kind == "vacuum"],
    )


def drawer(build=None):
    """Every kind of spring the shop has or had; for a practice unit, the simulated ones that belong to it."""
    if build is not None and build.is_practice:
        return Spring.everything.filter(practice=build)
    return Spring.objects.all()


def verdicts(build):
    """Whether the newest trial and final run lie in the band: all that a guard asks, without the fits."""
    drive = convert.drive_of(build)
    band = convert.target_of(getattr(build, "target", None), drive)
    said = {
        role: judging.verdict(readings, band, drive)[0] for role, (_, readings) in _read(build, drive).items()
    }
    return Verdicts(said.get("latest"), said.get("final"))


def summary(build, *, idle_crank_rpm=None, top_crank_rpm=None, margin_crank_rpm=150):
    """What the runs of a build come to: verdicts, knees, begin of advance, setting card and warnings.

    Asks the database nothing when the build comes from ``build_for``. Some 10 ms for each run it looks at.
    """
    drive = convert.drive_of(build)
    row = getattr(build, "target", None)
    band = convert.target_of(row, drive)
    runs = _read(build, drive)
    warnings = judging.build_warnings(build)
    if not runs:
        return CurveSummary(warnings=tuple(warnings))
    knees = {role: judging.knees_of(readings) for role, (_, readings) in runs.items()}
    said = {role: judging.run_summary(*read, knees[role], band, drive) for role, read in runs.items()}
    for role, (run, readings) in runs.items():
        warnings += judging.run_warnings(run, readings, said[role], drive)
    judged = next(role for role in ("final", "latest", "as_received") if role in runs)
    set_up = timing.Engine(idle_crank_rpm, top_crank_rpm, margin_crank_rpm)
    found = timing.timing_of(runs[judged][1], knees[judged], band, row, set_up, drive)
    return CurveSummary(
        **said,
        begin=found.begin,
        idle_slope_crank_deg_per_100_rpm=found.idle_slope,
        initial_crank_deg=found.initial_crank_deg,
        setting_card=found.setting_card,
        total_crank_deg=found.total_crank_deg,
        warnings=(*warnings, *found.warnings),
    )


def _read(build, drive):
    """The newest run of each role that has readings, and those readings in the shaft frame."""
    found = {role: (run, convert.run_readings(run, drive)) for role, run in newest_runs(build).items()}
    return {role: read for role, read in found.items() if read[1] is not None}
