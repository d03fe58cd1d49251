"""The bench screen's grids: the cells that a run's readings go into, and how one typed is understood."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from typing import Any

from curves.engine.units import KPA_PER_INHG, KPA_PER_MMHG
from curves.models import AnyReading, Build, Frame, Run
from curves.readings import cells, input_limits
from curves.readings.limits import possible, usual
from curves.rows import convert, frames
from shop.numbers import SPEED_DECIMALS

LONGEST = 40  # characters of one number as typed
FEWEST_CYLINDERS = 4  # where nobody wrote how many the unit has

# What is typed of each kind, as (field, name, unit); the limits stand at the model's fields.
TYPED = {
    "reading": (("speed_rpm", "Speed", "rpm"), ("advance_deg", "Advance", "degrees")),
    "spark": (
        ("speed_rpm", "Speed", "rpm"),
        ("cylinder", "Cylinder", ""),
        ("offset_deg", "Off by", "degrees"),
    ),
    "dwell": (("speed_rpm", "Speed", "rpm"), ("dwell_deg", "Dwell", "degrees")),
    "vacuum": (("vacuum_kpa", "Vacuum", "kPa"), ("advance_deg", "Added", "degrees")),
}
BOUNDED = {("reading", "speed_rpm"): input_limits.SPEED, ("reading", "advance_deg"): input_limits.ANGLE}
DECIMALS = {"speed_rpm": SPEED_DECIMALS, "cylinder": 0}  # how many there can be; of the others any number
FACTS = {"reading": ("falling",)}  # beside the numbers: yes or no
# Where each check is read [distributor rpm]; common practice, no source, but where the limits name a speed.
SPARK_RPM = (300, 1500)
DWELL_RPM = (300, 875)
VACUUM_UNITS = {
    "kpa": ("kPa", 1.0, (0, 5, 10, 15, 20, 25, 30, 40, 50)),
    "inhg": ("inHg", KPA_PER_INHG, (0, 2, 4, 6, 8, 10, 12, 15)),
    "mmhg": ("mmHg", KPA_PER_MMHG, (0, 50, 100, 150, 200, 250, 300, 400)),
}


@dataclass(frozen=True)
class Part:
    """A row or a column of a grid: its heading, and what it says of a reading in it."""

    label: str
    at: dict[str, Any]


@dataclass(frozen=True)
class ReadingGrid:
    """One kind of reading as a grid of cells; ``back`` is the column that is read from the foot up."""

    kind: str
    name: str
    heading: str
    value: str
    value_name: str
    unit: str
    limits: tuple[float, float]
    rows: tuple[Part, ...]
    columns: tuple[Part, ...]
    other: dict[str, Any] | None = None  # a row that is not there yet: its field, name, unit and limits
    back: int | None = None
    units: tuple[dict[str, Any], ...] = field(default=())
    speed_unit: str = "distributor rpm"
    usual: tuple[float, float] | None = None
    beside: str = ""  # the limits in the other frame, in words
    enough: int | None = None  # rows, in one column, that end it for ``curves.judging.checks``; None: all due


def read_typed(
    kind: str, typed: Any, run: Run, said: Any = None, *, cylinders: int | None = None
) -> dict[str, Any]:
    """The values of a run's reading as the browser sent it, as they are kept, or a ``CellError`` that says
    what is wrong. ``said`` is the frame that the screen asked for them in."""
    if kind not in TYPED or not isinstance(typed, dict):
        raise cells.CellError("This is no reading that a bench gives.")
    if said is not None and said not in frames.NAMES:
        raise cells.CellError("The reading came without its frame: load the page again.")
    frame, values = frames.typed_in(said, kind, run), {}
    for name, label, _ in TYPED[kind]:
        limits = limits_in(run, kind, name, frame, cylinders=cylinders)
        factor, unit = 1.0, unit_of(kind, name, frame)
        if name == "vacuum_kpa":
            unit, factor = _vacuum_unit(typed.get("unit", "kpa"))
        try:
            number = cells.read_number(
                _text(typed.get(name), label),
                _scaled(limits, factor),
                label,
                unit,
                decimals=DECIMALS.get(name),
            )
        except cells.OutOfLimits as error:
            raise cells.CellError(
                f"{error} {beside(run, kind, name, frame, cylinders=cylinders)}".strip()
            ) from None
        values[name] = number * factor
    for name in FACTS.get(kind, ()):
        if not isinstance(typed.get(name), bool):
            raise cells.CellError("Say whether the speed was rising or falling.")
        values[name] = typed[name]
    if kind == "spark":
        values["cylinder"] = _whole(values["cylinder"])
    return frames.to_keep(kind, values, run, frame)


def unit_of(kind: str, name: str, frame: str) -> str:
    """What a field of a kind is typed in: rpm and degrees name their frame."""
    unit = next(unit for field, _, unit in TYPED[kind] if field == name)
    return f"{Frame(frame).label} {unit}" if unit in ("rpm", "degrees") else unit


def limits_in(
    run: Run, kind: str, name: str, frame: str | None = None, *, cylinders: int | None = None
) -> tuple[float, float]:
    """From where to where a field goes in a frame, by default the run's; a sweep's reading goes as far as the
    engine takes it."""
    frame, drive = frame or run.frame, convert.drive_of(run.build)
    found, of = possible(kind, name, cylinders), BOUNDED.get((kind, name))
    if of:
        return input_limits.narrowed(found, of, frame, drive)
    return tuple(frames.turned(kind, {name: limit}, Frame.SHAFT, frame, drive)[name] for limit in found)


def beside(run: Run, kind: str, name: str, frame: str | None = None, *, cylinders: int | None = None) -> str:
    """The limits of a field in the other frame, in words; empty where it has no frame, or no other limits."""
    frame = frame or run.frame
    if unit_of(kind, name, frame) == unit_of(kind, name, frames.other(frame)):
        return ""
    drive = convert.drive_of(run.build)
    low, high = (
        round(frames.number_in(limit, frame, frames.other(frame), drive), 6)
        for limit in limits_in(run, kind, name, frame, cylinders=cylinders)
    )
    said = f"That is {low:g} to {high:g} {unit_of(kind, name, frames.other(frame))}."
    return said.replace("-", "−")


def rows_of(run: Run) -> list[dict[str, Any]]:
    """Every reading of a run as plain data, in order."""
    return [row_of(kind, row, run) for kind, rows in _read(run) for row in rows]


def row_of(kind: str, row: AnyReading, run: Run) -> dict[str, Any]:
    """One reading as plain data, in its run's frame: as it was typed."""
    names = [name for name, _, _ in TYPED[kind]] + list(FACTS.get(kind, ()))
    values = frames.to_show(kind, {name: getattr(row, name) for name in names}, run)
    return {"kind": kind, "key": str(row.key), "version": row.version, "values": values}


def grids_of(
    run: Run, build: Build, presets_rpm: Iterable[float], *, cylinders: int | None = None
) -> list[dict[str, Any]]:
    """The grids of a run as plain data, all in its frame; a trial has only its sweep.

    ``presets_rpm`` are distributor rpm.
    """
    grids = [_sweep(run, presets_rpm)]
    if run.kind != Run.Kind.TRIAL:
        grids += [_spark(run, cylinders), _dwell(run, cylinders), _vacuum(run)]
    return [asdict(grid) for grid in grids]


def _grid(run: Run, kind: str, value: str, *, cylinders: int | None = None, **facts: Any):
    """A grid with what its frame makes of its value and its speeds."""
    name = next(label for field, label, _ in TYPED[kind] if field == value)
    return ReadingGrid(
        kind=kind,
        value=value,
        value_name=name,
        unit=f"{run.get_frame_display()} deg",
        limits=limits_in(run, kind, value, cylinders=cylinders),
        usual=_usual(run, kind, value, cylinders),
        beside=beside(run, kind, value, cylinders=cylinders),
        speed_unit=_rpm(run),
        **facts,
    )


def _usual(run: Run, kind: str, value: str, cylinders: int | None):
    """Where the value usually lies, in the run's frame; the two numbers or None."""
    found, drive = usual(kind, cylinders), convert.drive_of(run.build)
    if found is None:
        return None
    low, high = (round(frames.number_in(one, Frame.SHAFT, run.frame, drive), 1) for one in found)
    return low, high


def _rpm(run: Run):
    return f"{run.get_frame_display()} rpm"


def _speeds(run: Run, shaft_rpm: Iterable[float]):
    """Speeds to read at, in the run's frame."""
    drive = convert.drive_of(run.build)
    return [round(frames.number_in(float(rpm), Frame.SHAFT, run.frame, drive), 6) for rpm in shaft_rpm]


def _sweep(run: Run, presets_rpm: Iterable[float]):
    return _grid(
        run,
        "reading",
        "advance_deg",
        name="Sweep",
        heading=_rpm(run),
        rows=tuple(Part(f"{rpm:g}", {"speed_rpm": rpm}) for rpm in _speeds(run, presets_rpm)),
        columns=(Part("Rising", {"falling": False}), Part("Falling", {"falling": True})),
        other=_other(run, "reading", "speed_rpm", _rpm(run)),
        back=1,
    )


def _spark(run: Run, cylinders: int | None):
    count = cylinders or FEWEST_CYLINDERS
    return _grid(
        run,
        "spark",
        "offset_deg",
        cylinders=cylinders,
        name="Spark scatter",
        enough=count,
        heading="cylinder, firing order",
        rows=tuple(Part(f"{number}", {"cylinder": number}) for number in range(1, count + 1)),
        columns=tuple(Part(f"{rpm:g} {_rpm(run)}", {"speed_rpm": rpm}) for rpm in _speeds(run, SPARK_RPM)),
    )


def _dwell(run: Run, cylinders: int | None):
    return _grid(
        run,
        "dwell",
        "dwell_deg",
        cylinders=cylinders,
        name="Dwell",
        enough=2,
        heading=_rpm(run),
        rows=tuple(Part(f"{rpm:g}", {"speed_rpm": rpm}) for rpm in _speeds(run, DWELL_RPM)),
        columns=(Part("Dwell", {}),),
        other=_other(run, "dwell", "speed_rpm", _rpm(run)),
    )


def _vacuum(run: Run):
    return _grid(
        run,
        "vacuum",
        "advance_deg",
        name="Vacuum",
        enough=2,
        heading="vacuum",
        rows=(),
        columns=(Part("Added", {}),),
        other=_other(run, "vacuum", "vacuum_kpa", "kPa"),
        units=tuple(
            {
                "key": key,
                "name": name,
                "kpa": factor,
                "rows": [Part(f"{step} {name}", {"vacuum_kpa": round(step * factor, 4)}) for step in steps],
            }
            for key, (name, factor, steps) in VACUUM_UNITS.items()
        ),
    )


def _other(run: Run, kind: str, name: str, unit: str):
    """A row that is not there yet: its field, name, unit and limits."""
    label = next(label for field, label, _ in TYPED[kind] if field == name)
    limits = {"limits": limits_in(run, kind, name), "beside": beside(run, kind, name)}
    return {"field": name, "name": label, "unit": unit, "decimals": DECIMALS.get(name), **limits}


def _read(run: Run):
    yield "reading", run.readings.all()
    yield "spark", run.sparks.all()
    yield "dwell", run.dwells.all()
    yield "vacuum", run.vacuums.all()


def _text(typed: Any, label: str):
    if not isinstance(typed, str) or not typed.strip():
        raise cells.CellError(f"{label} is missing: type it.")
    if len(typed) > LONGEST:
        raise cells.CellError(f"{label} is too long for a number: type it again.")
    return typed


def _vacuum_unit(unit: Any):
    if not isinstance(unit, str) or unit not in VACUUM_UNITS:
        raise cells.CellError("This is no unit of vacuum: read it in kPa, inHg or mmHg.")
    name, factor, _ = VACUUM_UNITS[unit]
    return name, factor


def _scaled(limits: tuple[float, float], factor: float):
    """Limits in the unit that was typed, where that is not the one they are kept in."""
    low, high = limits
    return limits if factor == 1.0 else (round(low / factor, 1), round(high / factor, 1))


def _whole(number: float):
    if number != int(number):
        raise cells.CellError(f"Cylinder {number:g}: count the cylinders in firing order, from 1.")
    return int(number)
