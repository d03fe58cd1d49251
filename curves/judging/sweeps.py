"""What a sweep on the engine says: the initial timing behind the light, hunting, too little and too much."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from curves import engine
from curves.engine.arrays import Flags, Floats
from curves.engine.bands.verdict import SpeedRange
from curves.engine.codes import Code
from curves.engine.timing.idle import IdleTiming
from curves.engine.timing.initial import TrueInitial
from curves.judging import timing, verdicts
from curves.judging.timing import Engine
from curves.models import Build, LightReading, Run, Sweep
from curves.rows import convert, queries
from curves.rows.convert import Agreed
from curves.rows.results import CurveWarning
from curves.words.reader import Reader

FINDINGS = {
    "steady": "The readings agree on one initial timing",
    "vacuum line": "Vacuum line found connected",
    "drift": "The initial timing drifts with speed: wear, or not this curve",
    "scatter": "The readings scatter more at high speed: wear",
    "disagree": "The readings disagree",
}
VACUUM_ON = (Code.VACUUM_SUSPECTED, Code.VACUUM_THROUGHOUT)
ROLES = {"before": ("as_received",), "after": ("final", "latest")}


@dataclass(frozen=True)
class LightRow:
    """One reading of the light, at the crank, and the initial timing behind it (None: no curve known)."""

    crank_rpm: float
    crank_deg: float
    part_throttle: bool
    curve_crank_deg: float | None = None
    initial_crank_deg: float | None = None
    vacuum_on: bool = False
    used: bool = True


@dataclass(frozen=True)
class Stretch:
    """Speeds at which the engine gets too much or too little timing, against the band, in the crank frame."""

    side: str  # too much, too little
    from_crank_rpm: float
    to_crank_rpm: float
    worst_crank_deg: float
    worst_crank_rpm: float
    area_crank_deg_krpm: float  # crank degrees x 1000 crank rpm


@dataclass(frozen=True)
class Wanted:
    """The band as a light reads it, and the initial timing that is in it."""

    band: engine.Target
    initial_crank_deg: float


@dataclass(frozen=True)
class SweepResult:
    """All that one sweep comes to."""

    sweep: Sweep
    rows: tuple[LightRow, ...]
    run: Run | None = None  # whose curve was taken off
    initial: TrueInitial | None = None
    idle: IdleTiming | None = None
    wander_crank_deg: float | None = None
    wanted: Wanted | None = None
    lacks: str = ""  # what has to be agreed before there is anything wanted
    verdict: engine.Verdict | None = None
    stretches: tuple[Stretch, ...] = ()
    warnings: tuple[CurveWarning, ...] = ()

    @property
    def finding(self) -> str:
        return FINDINGS[self.initial.finding] if self.initial else ""

    @property
    def vacuum_found(self) -> bool:
        """Whether the line is found on though nobody said so."""
        return bool(self.initial and self.initial.vacuum_on.any() and not self.sweep.vacuum_on)

    @property
    def light_at_idle_hides(self) -> bool:
        """Whether what the light reads at idle is more than the initial timing."""
        return bool(self.idle and self.idle.advance_crank_deg > 0)


def sweeps_of(build: Build) -> list[Sweep]:
    """The sweeps that count, with their readings, in two queries."""
    return list(build.sweeps.filter(removed=False).select_related("by").prefetch_related("readings"))


def curve_for(sweep: Sweep, build: Build, drive: engine.Drive) -> tuple[Run | None, engine.Readings | None]:
    """The run whose curve was in the engine then, and its readings; (None, None) while there is none."""
    runs = queries.newest_runs(build)
    for role in ROLES[sweep.when]:
        readings = convert.run_readings(runs[role], drive) if role in runs else None
        if readings is not None:
            return runs[role], readings
    return None, None


def wanted_of(target: Agreed | None, drive: engine.Drive) -> Wanted | None:
    """The band a light should read: the target with its initial timing; None while none is agreed."""
    initial = timing.agreed_initial(target)
    if initial is None:
        return None
    band = convert.target_of(target, drive, initial_crank_deg=initial)
    return Wanted(band, initial) if band else None


def lacks_of(target: Agreed | None, drive: engine.Drive) -> str:
    """What has to be agreed before a light can be judged: a target, or its initial timing."""
    return "a target" if convert.target_of(target, drive) is None else "an initial timing, or a range of it"


def result_of(sweep: Sweep, build: Build, set_up: Engine) -> SweepResult:
    """What a sweep says; asks for nothing when build and sweep come with their rows."""
    drive = convert.drive_of(build)
    lights = list(sweep.readings.all())
    if not lights:
        return SweepResult(sweep, ())
    rpm = np.array([light.crank_rpm for light in lights])
    deg = np.array([light.crank_deg for light in lights])
    part = np.array([light.part_throttle for light in lights])
    run, readings = curve_for(sweep, build, drive)
    found = idle = None
    if readings is not None:
        curve = verdicts.rising(readings)
        known = np.full(len(lights), sweep.vacuum_on is True)
        found = engine.true_initial(rpm, deg, curve, drive=drive, part_throttle=part, vacuum_on=known)
        idle = _idle(readings, set_up, drive)
    used = found.used if found else np.full(len(lights), sweep.vacuum_on is not True)
    target = getattr(build, "target", None)
    wanted = wanted_of(target, drive)
    verdict = _verdict(wanted, rpm[used], deg[used], drive)
    wander = _wander(sweep)
    return SweepResult(
        sweep,
        tuple(_rows(lights, found, used)),
        run,
        found,
        idle,
        wander,
        wanted,
        "" if wanted else lacks_of(target, drive),
        verdict,
        tuple(stretch_of(part, drive) for part in verdict.ranges) if verdict else (),
        tuple(_warnings(sweep, found, idle, wander)),
    )


def _idle(readings: engine.Readings, set_up: Engine, drive: engine.Drive):
    if not set_up.idle_crank_rpm:
        return None
    knees = verdicts.knees_of(readings)
    return engine.idle_timing(knees, set_up.idle_crank_rpm, drive=drive, margin_rpm=set_up.margin_crank_rpm)


def _wander(sweep: Sweep):
    low, high = sweep.idle_low_crank_deg, sweep.idle_high_crank_deg
    return None if low is None or high is None else high - low


def _verdict(wanted: Wanted | None, rpm: Floats, deg: Floats, drive: engine.Drive):
    """How the timing lies against the band; None where they share no speed."""
    if wanted is None or not len(rpm):
        return None
    line = (drive.to_shaft_rpm(rpm), drive.to_shaft_deg(deg))
    if line[0].max() < wanted.band.speed_rpm[0] or line[0].min() > wanted.band.speed_rpm[-1]:
        return None
    return engine.judge_curve(wanted.band, line)


def _rows(lights: list[LightReading], found: TrueInitial | None, used: Flags):
    for i, light in enumerate(lights):
        behind = float(found.initial_deg[i]) if found else None
        yield LightRow(
            light.crank_rpm,
            light.crank_deg,
            light.part_throttle,
            None if behind is None else light.crank_deg - behind,
            behind,
            bool(found.vacuum_on[i]) if found else False,
            bool(used[i]),
        )


def stretch_of(part: SpeedRange, drive: engine.Drive) -> Stretch:
    """A range of the engine's as a stretch in the crank frame."""
    return Stretch(
        "too much" if part.side == "above" else "too little",
        drive.to_crank_rpm(part.from_rpm),
        drive.to_crank_rpm(part.to_rpm),
        drive.to_crank_deg(part.worst_deg),
        drive.to_crank_rpm(part.worst_rpm),
        area_in_crank(part.area_deg_rpm, drive),
    )


def area_in_crank(area_deg_rpm: float, drive: engine.Drive) -> float:
    """Shaft degrees x shaft rpm as crank degrees x 1000 crank rpm."""
    return drive.to_crank_deg(drive.to_crank_rpm(area_deg_rpm)) / 1000.0


def _warnings(sweep: Sweep, found: TrueInitial | None, idle: IdleTiming | None, wander: float | None):
    for one in found.warnings if found else ():
        yield CurveWarning("vacuum" if one.code in VACUUM_ON else "initial", Reader().words(one))
    if sweep.vacuum_on is False and found is not None and found.vacuum_on.any():
        yield CurveWarning(
            "vacuum", "The sweep was written down with the line off: look again where it goes."
        )
    for one in idle.warnings if idle else ():
        if one.code in timing.HUNTING:
            yield CurveWarning("hunting", Reader().words(one))
    if wander is not None and wander >= 2.0 and (idle is None or idle.steady):
        yield CurveWarning(
            "wander",
            f"The mark wanders {wander:.1f} crank degrees at idle, which this curve does not explain: look "
            "at the drive, the bushes and the idle itself.",
        )
