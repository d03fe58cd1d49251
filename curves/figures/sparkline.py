"""Small drawings of final curves, all on one scale, for lists in which builds are compared."""

from collections import defaultdict
from dataclasses import dataclass

from curves.judging import verdicts
from curves.models import Reading, Run
from curves.rows import convert, queries

WIDTH, HEIGHT = 120, 48


@dataclass(frozen=True)
class Sparkline:
    """A rising sweep as points of an SVG polyline, and in words."""

    points: str
    words: str
    width: int = WIDTH
    height: int = HEIGHT


def sparklines(builds):
    """The newest final run of each build that has one: {build key: Sparkline}, in one query.

    The builds come with their runs.
    """
    sweeps = {pk: sweep for pk, sweep in _final_sweeps(builds) if len(sweep) > 1}
    if not sweeps:
        return {}
    top_rpm = max(rpm for sweep in sweeps.values() for rpm, _ in sweep)
    top_deg = max(max(deg for sweep in sweeps.values() for _, deg in sweep), 1)
    return {pk: _drawn(sweep, top_rpm, top_deg) for pk, sweep in sweeps.items()}


def _final_sweeps(builds):
    """The rising readings of each build's newest final run: (build key, [(crank rpm, crank deg)])."""
    finals = {
        build.pk: [run for run in queries.live_runs(build) if run.kind == Run.Kind.FINAL] for build in builds
    }
    rows = defaultdict(list)
    wanted = [run.pk for runs in finals.values() for run in runs]
    for reading in Reading.objects.filter(run__in=wanted).order_by("run", "position"):
        rows[reading.run_id].append(reading)
    for build in builds:
        run = next((run for run in reversed(finals[build.pk]) if rows[run.pk]), None)
        if run:
            drive = convert.drive_of(build)
            sweep = verdicts.rising(convert.readings_of(rows[run.pk], run.frame, drive))
            rpm, deg = drive.to_crank_rpm(sweep.speed_rpm), drive.to_crank_deg(sweep.advance_deg)
            yield build.pk, list(zip(rpm.tolist(), deg.tolist(), strict=True))


def _drawn(sweep, top_rpm, top_deg):
    places = (
        f"{rpm / top_rpm * (WIDTH - 4) + 2:.1f},{HEIGHT - 3 - max(deg, 0) / top_deg * (HEIGHT - 6):.1f}"
        for rpm, deg in sweep
    )
    rpm, deg = max(sweep, key=lambda point: (point[1], -point[0]))
    return Sparkline(" ".join(places), f"{deg:.0f} crank degrees at {rpm:.0f} crank rpm")
