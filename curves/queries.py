"""What is read of a build: its rows in few queries, its newest runs, and the drawer."""

from django.db.models import Prefetch, Value

from curves.models import Build, DwellReading, Run, SparkReading, Spring, VacuumReading

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
