"""What was checked in a run, in words: each sweep against the band, spark scatter, dwell and capsule."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from math import isnan
from typing import Any

from curves import engine
from curves.engine.bands.verdict import SpeedRange
from curves.engine.trigger.points import MAX_DWELL_CHANGE_DEG
from curves.engine.trigger.sparks import SPACING_LIMIT_DEG
from curves.engine.units import KPA_PER_INHG, KPA_PER_MMHG
from curves.judging import verdicts
from curves.models import Build, DwellReading, Run, SparkReading, VacuumReading
from curves.rows import convert
from curves.words.reader import Reader

PASSED = {True: "passes", False: "fails", None: "not to be told yet"}


@dataclass(frozen=True)
class Line:
    """One line of a check: where, what was found, and whether it holds (None: nothing to hold it to)."""

    where: str
    found: str
    passed: bool | None = None


@dataclass(frozen=True)
class Check:
    """One thing that was checked: the verdict, the lines it rests on, and what to look at."""

    kind: str  # rising, falling, spark, dwell, vacuum
    title: str
    passed: bool | None
    lines: tuple[Line, ...]
    words: tuple[str, ...] = ()

    @property
    def verdict(self) -> str:
        return PASSED[self.passed]


def checks_of(run: Run, build: Build, *, cylinders: int | None = None) -> tuple[Check, ...]:
    """Everything that was checked in a run, in the order of the work and in the run's own frame, the other
    beside; what was not read is left out."""
    drive = convert.drive_of(build)
    say = Reader(run.frame, drive)
    return (
        *_sweeps(run, build, drive, say),
        *_sparks(list(run.sparks.all()), cylinders, say),
        *_dwells(list(run.dwells.all()), cylinders, say),
        *_capsule(list(run.vacuums.all()), say),
    )


def as_data(found: Sequence[Check]) -> list[dict[str, Any]]:
    """Checks as plain data, each with its verdict in words."""
    return [asdict(check) | {"verdict": check.verdict} for check in found]


def read_beside(run: Run) -> dict[str, Any]:
    """What was read beside the sweep, as plain data; a run without it says nothing of it."""
    read = {
        "sparks": [[one.speed_rpm, one.cylinder, one.offset_deg] for one in run.sparks.all()],
        "dwells": [[one.speed_rpm, one.dwell_deg] for one in run.dwells.all()],
        "vacuums": [[one.vacuum_kpa, one.advance_deg] for one in run.vacuums.all()],
    }
    return {name: rows for name, rows in read.items() if rows}


def _sweeps(run: Run, build: Build, drive: engine.Drive, say: Reader):
    band = convert.target_of(getattr(build, "target", None), drive)
    readings = convert.run_readings(run, drive)
    if band is None or readings is None:
        return
    for falling, kind in ((False, "rising"), (True, "falling")):
        sweep = engine.sweep_of(readings, falling=falling)
        if sweep is not None:
            # A final run is proof: it is read over the whole band, not drawn over it.
            unread = engine.unread_speeds(band, sweep) if run.kind == Run.Kind.FINAL else ()
            yield _against(band, sweep, kind, say, unread)


def _against(band: engine.Target, sweep: engine.Readings, kind: str, say: Reader, unread: Iterable[float]):
    """One sweep at every point of the band and between its points; ``unread``: where it wants a reading."""
    found = engine.judge_curve(band, sweep)
    points = list(zip(map(float, band.speed_rpm), map(float, found.at_points_deg), strict=True))
    within = [rpm for rpm, outside in points if not outside]
    lines = [Line(f"at {say.rpm(*within)}", "in", True)] if within else []
    lines += [_missed(rpm, outside, say) for rpm, outside in points if outside and not isnan(outside)]
    lines += [_between(stretch, say) for stretch in found.ranges]
    if within and not found.ranges and found.worst_side == "inside":
        lines.append(Line("between these points", "in", True))
    if open_points := [rpm for rpm, outside in points if isnan(outside)]:
        lines.append(Line(f"at {say.rpm(*open_points)}", "not reached"))
    if unread := [rpm for rpm in unread if rpm not in open_points]:
        lines.append(Line(f"near {say.rpm(*unread)}", "not read"))
    fails = found.worst_side in ("above", "below")
    return Check(
        kind=kind,
        title=f"{kind.capitalize()} sweep against the band",
        passed=False if fails else True if found.within and not unread else None,
        lines=tuple(lines),
    )


def _missed(rpm: float, outside_deg: float, say: Reader):
    side = "over" if outside_deg > 0 else "under"
    return Line(f"at {say.rpm(rpm)}", f"{say.deg(verdicts.tidy(abs(outside_deg)))} {side}", False)


def _between(stretch: SpeedRange, say: Reader):
    side = "over" if stretch.side == "above" else "under"
    far = f"up to {say.deg(verdicts.tidy(stretch.worst_deg))} {side}, most at {say.rpm(stretch.worst_rpm)}"
    return Line(f"from {say.span(stretch.from_rpm, stretch.to_rpm)}", far, False)


def _sparks(rows: list[SparkReading], cylinders: int | None, say: Reader):
    if not rows:
        return
    count = max([cylinders or 1, *(row.cylinder for row in rows)])
    turns, speeds = convert.sparks_of(rows, count)
    title = "Spark scatter"
    if not turns:
        read = {row.cylinder for row in rows}
        missing = [str(number) for number in range(1, count + 1) if number not in read]
        where = f"cylinder {', '.join(missing)}" if missing else "every cylinder at one speed"
        yield Check("spark", title, None, (), (f"Still to read: {where}.",))
        return
    found = engine.scatter(turns, speed_rpm=speeds)
    lines = [
        Line(
            f"cylinder {number} in firing order",
            f"{say.deg(offset, signed=True)} on average, {say.deg(worst)} at worst",
            bool(worst <= SPACING_LIMIT_DEG),
        )
        for number, offset, worst in zip(
            range(1, count + 1), found.offset_deg, found.cylinder_worst_deg, strict=True
        )
    ]
    spread = f"{say.deg(found.total_range_deg)} from first to last, standard deviation "
    lines.append(Line(f"all, at {say.rpm(*sorted(set(speeds)))}", spread + say.deg(found.total_sd_deg)))
    lines.append(Line("limit", f"{say.deg(SPACING_LIMIT_DEG)} either way"))
    yield Check("spark", title, found.within, tuple(lines), say.all_words(found.warnings))


def _dwells(rows: list[DwellReading], cylinders: int | None, say: Reader):
    if not rows:
        return
    lines, impossible = [], []
    for row in rows:
        share = ""
        if cylinders:
            try:
                share = f", {engine.dwell(cylinders, dwell_deg=row.dwell_deg).percent:.0f} %"
            except ValueError:
                period = engine.dwell(cylinders, percent=100).dwell_deg
                impossible.append(
                    f"{say.deg(row.dwell_deg)} are more than the {say.deg(period)} from spark to spark of "
                    f"{cylinders} cylinders: read it again."
                )
        lines.append(Line(f"at {say.rpm(row.speed_rpm)}", f"{say.deg(row.dwell_deg)}{share}"))
    if impossible:
        yield Check("dwell", "Dwell", False, tuple(lines), tuple(impossible))
    elif len({row.speed_rpm for row in rows}) == 1:
        yield Check("dwell", "Dwell", None, tuple(lines), ("Read it at a second speed too.",))
    else:
        moved = engine.dwell_change([row.speed_rpm for row in rows], [row.dwell_deg for row in rows])
        text = f"{say.deg(moved.change_deg, signed=True)} by {say.rpm(moved.at_rpm)}"
        lines.append(Line("moves by", text, moved.within))
        lines.append(Line("limit", f"{say.deg(MAX_DWELL_CHANGE_DEG)} either way"))
        yield Check("dwell", "Dwell", moved.within, tuple(lines), say.all_words(moved.warnings))


def _capsule(rows: list[VacuumReading], say: Reader):
    if not rows:
        return
    found = engine.fit_capsule([row.vacuum_kpa for row in rows], [row.advance_deg for row in rows])
    if found.begin_kpa is None:
        many = len({row.vacuum_kpa for row in rows}) > 1
        yield Check("vacuum", "Vacuum capsule", False if many else None, (), say.all_words(found.warnings))
        return
    lines = [Line("begins at", _kpa(found.begin_kpa))]
    if found.end_kpa is not None:
        lines.append(Line("ends at", _kpa(found.end_kpa)))
    lines.append(Line("adds", say.deg(found.degrees)))
    # No limit is agreed for a capsule: that it moves is all there is to pass.
    yield Check("vacuum", "Vacuum capsule", found.degrees > 0, tuple(lines), say.all_words(found.warnings))


def _kpa(kpa: float):
    return f"{kpa:.1f} kPa, {kpa / KPA_PER_INHG:.1f} inHg, {kpa / KPA_PER_MMHG:.0f} mmHg"
