"""What can be said of a target while it is typed: idle, travel, total, and whether any springs can do it."""

from __future__ import annotations

from dataclasses import dataclass

from django.core.exceptions import ValidationError

from curves import engine
from curves.engine.timing.setting import InitialChoice
from curves.judging import timing, verdicts
from curves.judging.sweeps import Stretch, Wanted, area_in_crank, stretch_of, wanted_of
from curves.judging.timing import Engine
from curves.models import Build, Frame, Run
from curves.models.targets import InitialTiming
from curves.readings.forms import TargetForm, range_to_keep
from curves.rows import convert, queries
from curves.rows.convert import Agreed
from curves.words.reader import Reader

ROUND_CRANK_DEG = 4.0  # tried to either side of an initial timing that has no range
GOOD, BAD, OPEN = "good", "failed", "open"


class Points(list):
    """Points that no row holds yet, asked for as those of a row are."""

    def all(self) -> Points:
        return self


@dataclass(frozen=True)
class Point:
    crank_rpm: float
    crank_deg: float
    tolerance_crank_deg: float


@dataclass(frozen=True)
class Typed(InitialTiming):
    """A target as typed so far; what can't be read yet is None."""

    points: Points
    initial_low_crank_deg: float = 0.0
    initial_high_crank_deg: float = 0.0
    initial_crank_deg: float | None = None
    total_limit_crank_deg: float | None = None


@dataclass(frozen=True)
class Check:
    """One thing looked at: its state, and what was found."""

    kind: str
    name: str
    state: str
    text: str


@dataclass(frozen=True)
class Choice:
    """One initial timing for the curve there is, in the crank frame; areas in degrees x 1000 rpm."""

    initial_crank_deg: float
    worst_crank_deg: float
    too_little: float
    too_much: float
    stretches: tuple[Stretch, ...]
    is_best: bool


@dataclass(frozen=True)
class Choices:
    """The initial timings allowed, each tried on the newest run's curve."""

    run: Run
    rows: tuple[Choice, ...]
    warnings: tuple[str, ...]


def typed_target(form: TargetForm) -> Typed:
    """The target as it stands in a form, saved or not, however much of it can be read."""
    if form.is_bound:
        sound = not form.errors  # cleans it, so that lines count as the grid does
        rows = form.rows if sound and form.rows else form.readable_rows()
    else:
        rows = [row for row in form.grid.values() if row is not None]
    rows = {row[0]: row for row in rows}.values()  # a speed typed twice counts once
    low, high, initial, limit = (_number(form, name) for name in form.Meta.fields[:4])
    low, high, initial = range_to_keep(low, high, initial)
    return Typed(Points(Point(*row) for row in rows), min(low, high), max(low, high), initial, limit)


def _number(form: TargetForm, name: str):
    """The value of a field, if it can be read."""
    try:
        return form.fields[name].clean(form[name].value())
    except ValidationError:
        return None


def checks_of(target: Agreed, build: Build, set_up: Engine) -> list[Check]:
    """Each check that the points allow."""
    drive = convert.drive_of(build)
    band = convert.target_of(target, drive)
    if band is None:
        return []
    found = engine.can_follow(band, travel_deg=_travel(build))
    return [
        _idle(band, set_up, drive),
        _travel_check(build, found, drive),
        _total(band, target, set_up, drive),
        *_initial(target),
        _possible(found, drive),
    ]


def choices_of(target: Agreed | None, build: Build) -> Choices | None:
    """The initial timings allowed, tried on the newest run's curve; None without a run or a band."""
    drive = convert.drive_of(build)
    wanted = wanted_of(target, drive)
    newest = queries.newest_runs(build)
    run = newest.get("final") or newest.get("latest") or newest.get("as_received")
    readings = convert.run_readings(run, drive) if run else None
    if target is None or run is None or wanted is None or readings is None:
        return None
    curve = verdicts.rising(readings)
    if curve.speed_rpm[-1] < wanted.band.speed_rpm[0] or curve.speed_rpm[0] > wanted.band.speed_rpm[-1]:
        return None
    found = engine.best_initial(curve, wanted.band, range_deg=_initials(target, wanted, drive), drive=drive)
    others = [one for one in found.choices if abs(one.initial_deg - found.initial_deg) > 1e-9]
    rows = sorted([found.best, *others], key=lambda one: one.initial_deg)
    words = Reader(Frame.CRANK, drive).all_words(found.warnings)
    return Choices(run, tuple(_choice(one, one is found.best, drive) for one in rows), words)


def _initials(target: Agreed, wanted: Wanted, drive: engine.Drive):
    """The range to try: the one allowed, or some degrees round the one agreed."""
    low, high = target.initial_low_crank_deg, target.initial_high_crank_deg
    if low == high:
        low, high = (wanted.initial_crank_deg + side for side in (-ROUND_CRANK_DEG, ROUND_CRANK_DEG))
    return drive.to_shaft_deg(low), drive.to_shaft_deg(high)


def _choice(one: InitialChoice, is_best: bool, drive: engine.Drive):
    return Choice(
        one.initial_crank_deg,
        drive.to_crank_deg(one.worst_deg),
        area_in_crank(one.too_little_deg_rpm, drive),
        area_in_crank(one.too_much_deg_rpm, drive),
        tuple(stretch_of(part, drive) for part in one.ranges),
        is_best,
    )


def _idle(band: engine.Target, set_up: Engine, drive: engine.Drive):
    name, idle = "Begin against idle", set_up.idle_crank_rpm
    if not idle:
        return Check("idle", name, OPEN, "No idle speed is written on the card.")
    found = engine.idle_timing(
        (band.speed_rpm, band.advance_deg), idle, drive=drive, margin_rpm=set_up.margin_crank_rpm
    )
    if found.begin_crank_rpm is None or found.margin_crank_rpm is None:
        return Check("idle", name, OPEN, "These points have no advance that begins.")
    begins = f"Begins at {found.begin_crank_rpm:.0f} crank rpm"
    if found.margin_crank_rpm < 0:
        text = (
            f"{begins}, below idle at {idle:g}: {found.advance_crank_deg:.1f} crank degrees are in at idle, "
            f"and {found.slope_deg_per_100rpm:.1f} more come with every 100 rpm. Idle will hunt."
        )
        return Check("idle", name, BAD, text)
    above = f"{begins}, {found.margin_crank_rpm:.0f} above idle at {idle:g}"
    if not found.steady:
        return Check("idle", name, BAD, f"{above}; {set_up.margin_crank_rpm:g} are wanted.")
    return Check("idle", name, GOOD, f"{above}.")


def _travel(build: Build):
    measured = build.travel_measured_deg
    return measured if measured is not None else build.travel_stamped_deg


def _travel_check(build: Build, found: engine.Feasibility, drive: engine.Drive):
    name, travel = "Travel needed", _travel(build)
    needs = f"Needs {drive.to_crank_deg(found.needed_deg):.1f} crank degrees at least"
    if travel is None:
        return Check("travel", name, OPEN, f"{needs}; no travel is measured or stamped.")
    kind = "measured" if build.travel_measured_deg is not None else "stamped, not measured"
    has = f"the head has {drive.to_crank_deg(travel):.1f} ({travel:g} distributor degrees, {kind})"
    if found.needed_deg > travel:
        return Check("travel", name, BAD, f"{needs}, but {has}.")
    return Check("travel", name, GOOD if kind == "measured" else OPEN, f"{needs}; {has}.")


def _total(band: engine.Target, target: Agreed, set_up: Engine, drive: engine.Drive):
    name, limit = "Total against its limit", target.total_limit_crank_deg
    initial, said = _most_initial(target)
    top = set_up.top_crank_rpm or drive.to_crank_rpm(float(band.speed_rpm[-1]))
    line = (band.speed_rpm, band.advance_deg)
    found = engine.total_timing(initial, line, top or 1.0, limit or timing.NO_LIMIT_CRANK_DEG, drive=drive)
    reaches = f"{found.total_crank_deg:.1f} crank degrees at {found.at_crank_rpm:.0f} crank rpm {said}"
    if limit is None:
        return Check("total", name, OPEN, f"{reaches}; no limit is written.")
    if not found.within:
        over = f"{found.over_deg:.1f} over the limit of {limit:g} crank degrees"
        text = f"{reaches}: {over}. Detonation can destroy an engine."
        return Check("total", name, BAD, text)
    agreed = timing.agreed_initial(target) is not None
    return Check("total", name, GOOD if agreed else OPEN, f"{reaches}; the limit is {limit:g} crank degrees.")


def _most_initial(target: Agreed):
    """The most initial timing that the target lets be set [crank degree], and how it is said."""
    if target.initial_crank_deg is not None:
        return target.initial_crank_deg, f"with {target.initial_crank_deg:g} crank degrees of initial timing"
    if timing.agreed_initial(target) is None:
        return 0.0, "without initial timing, as none is agreed"
    most = target.initial_high_crank_deg
    return most, f"with the most initial timing allowed, {most:g} crank degrees"


def _initial(target: Agreed):
    """That an initial timing is wanted, while none is agreed; else the one to set against its own range."""
    name = "Initial timing"
    if timing.agreed_initial(target) is None:
        text = "None is agreed: write one or a range, and it is tried on the newest run's curve."
        yield Check("initial", name, OPEN, text)
    elif off := timing.off_range_words(target):
        yield Check("initial", name, BAD, f"{off} Change the one or the other.")
    elif target.initial_crank_deg is not None and target.initial_range_agreed:
        low, high = target.initial_low_crank_deg, target.initial_high_crank_deg
        text = f"{target.initial_crank_deg:g} crank degrees to set, in the range agreed, {low:g} to {high:g}."
        yield Check("initial", name, GOOD, text)


def _possible(found: engine.Feasibility, drive: engine.Drive):
    name = "Can any springs do it"
    at = "" if found.at_rpm is None else f"{drive.to_crank_rpm(found.at_rpm):.0f} crank rpm"
    words = {
        "negative": f"Not at {at}: weights can't retard below where they rest.",
        "retards": f"Not at {at}: the advance would have to fall while the speed rises.",
        "travel": f"Not from {at} on: the stop holds the weights before it. More travel is wanted.",
        "steeper": f"Not up to {at}: the curve would have to grow steeper as it rises; springs only come in.",
    }
    if found.possible:
        return Check("possible", name, GOOD, "Nothing stands against it; the drawer has to show.")
    return Check("possible", name, BAD, words[found.reasons[0]])
