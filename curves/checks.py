"""What a run proves, in words: each sweep against the band, spark scatter, dwell and capsule."""

from dataclasses import asdict, dataclass
from math import isnan

from curves import convert, engine, judging
from curves.engine.sparks import SPACING_LIMIT_DEG
from curves.engine.units import KPA_PER_INHG, KPA_PER_MMHG

PASSED = {True: "passes", False: "fails", None: "not to be told yet"}


@dataclass(frozen=True)
class Line:
    """One line of a check: where, what was found, and whether it holds (None: nothing to hold it to)."""

    where: str
    found: str
    passed: bool | None = None


@dataclass(frozen=True)
class Check:
    """One thing that a run proves: the verdict, the lines it rests on, and what to look at."""

    kind: str  # rising, falling, spark, dwell, vacuum
    title: str
    passed: bool | None
    lines: tuple[Line, ...]
    words: tuple[str, ...] = ()

    @property
    def verdict(self):
        return PASSED[self.passed]


def checks_of(run, build, *, cylinders=None, beside=None):
    """Everything that a run proves, in the order of the work; what was not read is left out.

    ``beside`` are its sparks, dwells and vacuums, where they are fetched already.
    """
    drive = convert.drive_of(build)
    sparks, dwells, vacuums = beside or (run.sparks.all(), run.dwells.all(), run.vacuums.all())
    return (
        *_sweeps(run, build, drive),
        *_sparks(list(sparks), cylinders),
        *_dwells(list(dwells), cylinders),
        *_capsule(list(vacuums), drive),
    )


def as_data(run, build, *, cylinders=None):
    """The checks of a run as plain data, each with its verdict in words; none without a run."""
    proved = checks_of(run, build, cylinders=cylinders) if run else ()
    return [asdict(check) | {"verdict": check.verdict} for check in proved]


def read_beside(run):
    """What was read beside the sweep, as plain data; a run without it says nothing of it."""
    read = {
        "sparks": [[one.speed_rpm, one.cylinder, one.offset_deg] for one in run.sparks.all()],
        "dwells": [[one.speed_rpm, one.dwell_deg] for one in run.dwells.all()],
        "vacuums": [[one.vacuum_kpa, one.advance_deg] for one in run.vacuums.all()],
    }
    return {name: rows for name, rows in read.items() if rows}


def _sweeps(run, build, drive):
    band = convert.target_of(getattr(build, "target", None), drive)
    readings = convert.run_readings(run, drive)
    if band is None or readings is None:
        return
    for falling, kind in ((False, "rising"), (True, "falling")):
        sweep = judging.sweep_of(readings, falling=falling)
        if sweep is not None:
            yield _against(band, sweep, kind, drive)


def _against(band, sweep, kind, drive):
    """One sweep at every point of the band and between its points."""
    found = engine.judge_curve(band, sweep)
    points = list(
        zip(map(float, drive.to_crank_rpm(band.speed_rpm)), map(float, found.at_points_deg), strict=True)
    )
    within = [rpm for rpm, outside in points if not outside]
    lines = [Line(f"at {_listed(within)} crank rpm", "in", True)] if within else []
    lines += [_missed(rpm, outside, drive) for rpm, outside in points if outside and not isnan(outside)]
    lines += [_between(stretch, drive) for stretch in found.ranges]
    if within and not found.ranges and found.worst_side == "inside":
        lines.append(Line("between these points", "in", True))
    if open_points := [rpm for rpm, outside in points if isnan(outside)]:
        lines.append(Line(f"at {_listed(open_points)} crank rpm", "not reached"))
    fails = found.worst_side in ("above", "below")
    return Check(
        kind=kind,
        title=f"{kind.capitalize()} sweep against the band",
        passed=False if fails else True if found.within else None,
        lines=tuple(lines),
    )


def _listed(speeds):
    return ", ".join(f"{rpm:.0f}" for rpm in speeds)


def _missed(crank_rpm, outside_deg, drive):
    far = drive.to_crank_deg(judging.tidy(abs(outside_deg)))
    side = "over" if outside_deg > 0 else "under"
    return Line(f"at {crank_rpm:.0f} crank rpm", f"{far:.1f} crank degrees {side}", False)


def _between(stretch, drive):
    low, high, worst = (
        drive.to_crank_rpm(rpm) for rpm in (stretch.from_rpm, stretch.to_rpm, stretch.worst_rpm)
    )
    side = "over" if stretch.side == "above" else "under"
    far = drive.to_crank_deg(judging.tidy(stretch.worst_deg))
    return Line(
        f"from {low:.0f} to {high:.0f} crank rpm",
        f"up to {far:.1f} crank degrees {side}, most at {worst:.0f}",
        False,
    )


def _sparks(rows, cylinders):
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
            f"{offset:+.1f} distributor degrees on average, {worst:.1f} at worst".replace("-", "−"),
            bool(worst <= SPACING_LIMIT_DEG),
        )
        for number, offset, worst in zip(
            range(1, count + 1), found.offset_deg, found.cylinder_worst_deg, strict=True
        )
    ]
    rpm = ", ".join(f"{speed:.0f}" for speed in sorted(set(speeds)))
    lines.append(
        Line(
            f"all, at {rpm} distributor rpm",
            f"{found.total_range_deg:.1f} distributor degrees from first to last, "
            f"standard deviation {found.total_sd_deg:.2f}",
        )
    )
    yield Check("spark", title, found.within, tuple(lines), found.warnings)


def _dwells(rows, cylinders):
    if not rows:
        return
    lines, impossible = [], []
    for row in rows:
        where = f"at {row.speed_rpm:.0f} distributor rpm"
        share = ""
        if cylinders:
            try:
                share = f", {engine.dwell(cylinders, dwell_deg=row.dwell_deg).percent:.0f} %"
            except ValueError:
                period = engine.dwell(cylinders, percent=100).dwell_deg
                impossible.append(
                    f"{row.dwell_deg:g} degrees are more than the {period:g} from spark to spark of "
                    f"{cylinders} cylinders: read it again."
                )
        lines.append(Line(where, f"{row.dwell_deg:.1f} distributor degrees{share}"))
    if impossible:
        yield Check("dwell", "Dwell", False, tuple(lines), tuple(impossible))
    elif len({row.speed_rpm for row in rows}) == 1:
        yield Check("dwell", "Dwell", None, tuple(lines), ("Read it at a second speed too.",))
    else:
        moved = engine.dwell_change([row.speed_rpm for row in rows], [row.dwell_deg for row in rows])
        text = f"{moved.change_deg:+.1f} distributor degrees by {moved.at_rpm:.0f} distributor rpm"
        lines.append(Line("moves by", text.replace("-", "−"), moved.within))
        yield Check("dwell", "Dwell", moved.within, tuple(lines), moved.warnings)


def _capsule(rows, drive):
    if not rows:
        return
    found = engine.fit_capsule([row.vacuum_kpa for row in rows], [row.advance_deg for row in rows])
    if found.begin_kpa is None:
        many = len({row.vacuum_kpa for row in rows}) > 1
        yield Check("vacuum", "Vacuum capsule", False if many else None, (), found.warnings)
        return
    adds = f"{found.degrees:.1f} distributor degrees, {drive.to_crank_deg(found.degrees):.1f} crank degrees"
    lines = [Line("begins at", _kpa(found.begin_kpa))]
    if found.end_kpa is not None:
        lines.append(Line("ends at", _kpa(found.end_kpa)))
    lines.append(Line("adds", adds))
    # No limit is agreed for a capsule: that it moves is all there is to pass.
    yield Check("vacuum", "Vacuum capsule", found.degrees > 0, tuple(lines), found.warnings)


def _kpa(kpa):
    return f"{kpa:.1f} kPa, {kpa / KPA_PER_INHG:.1f} inHg, {kpa / KPA_PER_MMHG:.0f} mmHg"
