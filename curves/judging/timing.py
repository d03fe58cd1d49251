"""What a run means on the engine: begin of advance against idle, initial timing, setting card, total."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from curves import engine
from curves.engine.codes import Code
from curves.engine.timing.idle import IdleTiming
from curves.judging.verdicts import rising, tidy
from curves.models.targets import InitialTiming
from curves.rows import convert
from curves.rows.convert import Agreed
from curves.rows.results import Begin, CurveWarning, InBoth, SettingRow
from curves.words.reader import Reader

CARD_SPEEDS = 3
USUAL_CARD_SPEEDS = (
    1500.0,
    2500.0,
    3500.0,
)  # crank rpm, where the target names none; common practice
NO_LIMIT_CRANK_DEG = 180.0
HUNTING = (Code.BEGIN_BELOW_IDLE, Code.BEGIN_NEAR_IDLE)


@dataclass(frozen=True)
class Engine:
    """What the engine around the unit asks for, in crank rpm; None where nobody has said."""

    idle_crank_rpm: float | None
    top_crank_rpm: float | None
    margin_crank_rpm: float


@dataclass(frozen=True)
class Timing:
    """What the summary takes over."""

    begin: Begin | None
    idle_slope: float | None  # None: idle is not known, or was not read
    initial_crank_deg: float | None
    setting_card: tuple[SettingRow, ...]
    total_crank_deg: float | None
    total_not_read: bool
    warnings: tuple[CurveWarning, ...]


def timing_of(
    readings: engine.Readings,
    knees: engine.Knees,
    band: engine.Target | None,
    target: Agreed | None,
    set_up: Engine,
    drive: engine.Drive,
) -> Timing:
    """The run's timing on the engine; ``target`` is the row that band comes from, or None."""
    curve = rising(readings)
    idle = set_up.idle_crank_rpm
    at_idle = None
    if idle:
        at_idle = engine.idle_timing(knees, idle, drive=drive, margin_rpm=set_up.margin_crank_rpm)
    begin = _begin(knees, at_idle, set_up, drive)
    idle_read = bool(idle) and _is_read(curve, idle, drive)
    initial = initial_timing(curve, band, target, drive)
    total, over = _total(curve, initial, target, set_up, drive)
    total_read = total is None or _total_is_read(curve, band, set_up, drive)
    return Timing(
        begin,
        at_idle.slope_deg_per_100rpm if at_idle and idle_read else None,
        initial,
        _card(_pieces_at_idle(curve, at_idle, set_up, drive), initial, band, set_up, drive),
        total if total_read else None,
        not total_read,
        (
            *_idle_warnings(at_idle if idle_read else None),
            *_unread_warnings(curve, initial, set_up, drive),
            *_range_warnings(target),
            *over,
        ),
    )


def _is_read(curve: engine.Readings, crank_rpm: float, drive: engine.Drive):
    """Whether the run says what the advance is at a speed: never of one that it was not read at."""
    return bool(engine.Curve.of(curve).covers(drive.to_shaft_rpm(crank_rpm)))


def _total_is_read(
    curve: engine.Readings, band: engine.Target | None, set_up: Engine, drive: engine.Drive
) -> bool:
    """Whether the run was read up to where its total is asked: the end of the band, or top speed below it."""
    ends = [] if band is None else [drive.to_crank_rpm(float(band.speed_rpm[-1]))]
    asked = min([*ends, *filter(None, [set_up.top_crank_rpm])], default=None)
    return asked is None or _is_read(curve, asked, drive)


def _pieces_at_idle(curve: engine.Readings, at_idle: IdleTiming | None, set_up: Engine, drive: engine.Drive):
    """The curve, at idle as its straight pieces have it: begin and slope there are theirs too."""
    if not at_idle or not set_up.idle_crank_rpm or not _is_read(curve, set_up.idle_crank_rpm, drive):
        return curve
    idle = drive.to_shaft_rpm(set_up.idle_crank_rpm)
    elsewhere = curve.speed_rpm != idle
    at = drive.to_shaft_deg(at_idle.advance_crank_deg)
    return engine.Readings([idle, *curve.speed_rpm[elsewhere]], [at, *curve.advance_deg[elsewhere]])


def _unread_warnings(curve: engine.Readings, initial: float | None, set_up: Engine, drive: engine.Drive):
    idle = set_up.idle_crank_rpm
    if initial is None or not idle or _is_read(curve, idle, drive):
        return
    lowest, highest = (drive.to_crank_rpm(float(rpm)) for rpm in (min(curve.speed_rpm), max(curve.speed_rpm)))
    reach = f"down to {lowest:.0f}" if idle < lowest else f"up to {highest:.0f}"
    yield CurveWarning(
        "unread",
        f"The run was read {reach} crank rpm only: what the light must read at idle, {idle:g}, is not read, "
        "nor whether the timing stands still there. Idle may hunt: read it there too.",
    )


def _range_warnings(target: Agreed | None):
    if off := target and off_range_words(target):
        yield CurveWarning("initial-range", f"{off} Agree the one or the other anew.")


def off_range_words(target: Agreed | InitialTiming) -> str:
    """That the initial timing to set lies outside its own range, in a sentence; empty where it does not."""
    if not target.initial_off_range:
        return ""
    low, high = target.initial_low_crank_deg, target.initial_high_crank_deg
    to_set = f"The initial timing to set is {target.initial_crank_deg:g} crank degrees"
    return f"{to_set}: {target.initial_off_range}, {low:g} to {high:g}."


def agreed_initial(target: Agreed | None) -> float | None:
    """The initial timing to set, else the middle of the range agreed, else None [crank degree]."""
    if target is None or not target.initial_agreed:
        return None
    if target.initial_crank_deg is not None:
        return target.initial_crank_deg
    return (target.initial_low_crank_deg + target.initial_high_crank_deg) / 2


def initial_timing(
    curve: engine.Readings | engine.Curve,
    band: engine.Target | None,
    target: Agreed | None,
    drive: engine.Drive,
) -> float | None:
    """The initial timing agreed, else the best in the range agreed, else None; crank degrees."""
    about = agreed_initial(target)
    if target is None or about is None or target.initial_crank_deg is not None:
        return about
    wanted = convert.target_of(target, drive, initial_crank_deg=about)
    if band is None or wanted is None:
        return None
    if curve.speed_rpm[-1] < wanted.speed_rpm[0] or curve.speed_rpm[0] > wanted.speed_rpm[-1]:
        return None
    return round(engine.best_initial(curve, wanted, drive=drive).initial_crank_deg, 1)


def _begin(knees: engine.Knees, at_idle: IdleTiming | None, set_up: Engine, drive: engine.Drive):
    if knees.begin_rpm is None:
        return None
    error = knees.begin_se_rpm
    error = None if error is None or not np.isfinite(error) else error
    speed = InBoth(
        knees.begin_rpm,
        drive.to_crank_rpm(knees.begin_rpm),
        error,
        None if error is None else drive.to_crank_rpm(error),
    )
    margin = at_idle.margin_crank_rpm if at_idle else None
    return Begin(speed, set_up.idle_crank_rpm, margin, at_idle.steady if at_idle else None)


def _idle_warnings(at_idle: IdleTiming | None):
    for one in at_idle.warnings if at_idle else ():
        if one.code in HUNTING:
            yield CurveWarning("idle", Reader().words(one))


def _card(
    curve: engine.Readings,
    initial: float | None,
    band: engine.Target | None,
    set_up: Engine,
    drive: engine.Drive,
):
    if initial is None or not set_up.idle_crank_rpm:
        return ()
    speeds = card_speeds(band, set_up, drive)
    card = engine.setting_card(initial, curve, set_up.idle_crank_rpm, speeds, drive=drive, band=band)
    rows = [(card.idle, True), *((line, False) for line in card.lines)]
    return tuple(
        SettingRow(
            line.speed_crank_rpm,
            None if np.isnan(line.light_crank_deg) else line.light_crank_deg,
            _known(line.low_crank_deg),
            _known(line.high_crank_deg),
            is_idle,
        )
        for line, is_idle in rows
    )


def _known(edge: float):
    """An edge of the band without the dust of its arithmetic, or None where none was agreed."""
    return None if np.isnan(edge) else tidy(edge)


def card_speeds(band: engine.Target | None, set_up: Engine, drive: engine.Drive) -> list[float]:
    """Three speeds to check at, above idle: spread over those the target names, else the usual ones."""
    above = (set_up.idle_crank_rpm or 0) + set_up.margin_crank_rpm
    named = [] if band is None else [float(rpm) for rpm in drive.to_crank_rpm(band.speed_rpm) if rpm > above]
    speeds = named if len(named) >= CARD_SPEEDS else [rpm for rpm in USUAL_CARD_SPEEDS if rpm > above]
    if set_up.top_crank_rpm:
        speeds = [rpm for rpm in speeds if rpm <= set_up.top_crank_rpm] or speeds
    places = np.linspace(0, len(speeds) - 1, min(CARD_SPEEDS, len(speeds))).round().astype(int)
    return [speeds[place] for place in places]


def _total(
    curve: engine.Readings, initial: float | None, target: Agreed | None, set_up: Engine, drive: engine.Drive
):
    """The greatest timing up to top speed, and a warning where it exceeds the limit agreed."""
    if target is None or initial is None:
        return None, ()
    limit = target.total_limit_crank_deg
    top = set_up.top_crank_rpm or drive.to_crank_rpm(float(curve.speed_rpm[-1]))
    if not top:
        return None, ()
    found = engine.total_timing(initial, curve, top, limit or NO_LIMIT_CRANK_DEG, drive=drive)
    over = [Reader().words(one) for one in found.warnings if one.code == Code.TOTAL_OVER_LIMIT]
    return found.total_crank_deg, tuple(CurveWarning("total", words) for words in over)
