"""The bench screen's sheets: the cells that a run's readings go into, and how one typed is understood."""

from dataclasses import asdict, dataclass, field

from django.core.validators import MaxValueValidator, MinValueValidator

from curves import cells, convert, reach
from curves.engine.units import KPA_PER_INHG, KPA_PER_MMHG
from curves.models import Frame, Run
from curves.recording import MODELS

LONGEST = 40  # characters of one number as typed
FEWEST_CYLINDERS = 4  # where nobody wrote how many the unit has

# What is typed of each kind, as (field, name, unit); the limits stand at the model's fields.
TYPED = {
    "reading": (("speed_rpm", "Speed", "rpm"), ("advance_deg", "Advance", "degrees")),
    "spark": (
        ("speed_rpm", "Speed", "distributor rpm"),
        ("cylinder", "Cylinder", ""),
        ("offset_deg", "Off by", "distributor degrees"),
    ),
    "dwell": (
        ("speed_rpm", "Speed", "distributor rpm"),
        ("dwell_deg", "Dwell", "distributor degrees"),
    ),
    "vacuum": (("vacuum_kpa", "Vacuum", "kPa"), ("advance_deg", "Added", "distributor degrees")),
}
BOUNDED = {("reading", "speed_rpm"): reach.SPEED, ("reading", "advance_deg"): reach.ANGLE}
FACTS = {"reading": ("falling",)}  # beside the numbers: yes or no
# Where each kind of check is read; common practice, no source, but where the engine's limits name a speed.
SPARK_RPM = (300, 1500)
DWELL_RPM = (300, 875)
VACUUM_UNITS = {
    "kpa": ("kPa", 1.0, (0, 5, 10, 15, 20, 25, 30, 40, 50)),
    "inhg": ("inHg", KPA_PER_INHG, (0, 2, 4, 6, 8, 10, 12, 15)),
    "mmhg": ("mmHg", KPA_PER_MMHG, (0, 50, 100, 150, 200, 250, 300, 400)),
}


@dataclass(frozen=True)
class Part:
    """A row or a column of a sheet: its heading, and what it says of a reading in it."""

    label: str
    at: dict


@dataclass(frozen=True)
class Sheet:
    """One kind of reading as a sheet of cells; ``back`` is the column that is read from the foot up."""

    kind: str
    name: str
    heading: str
    value: str
    value_name: str
    unit: str
    limits: tuple[float, float]
    rows: tuple[Part, ...]
    columns: tuple[Part, ...]
    other: dict | None = None  # a row that is not there yet: its field, name, unit and limits
    back: int | None = None
    units: tuple[dict, ...] = field(default=())
    speed_unit: str = "distributor rpm"


def read_typed(kind, typed, run):
    """The values of a run's reading as the browser sent it, or a ``CellError`` that says what is wrong."""
    if kind not in TYPED or not isinstance(typed, dict):
        raise cells.CellError("This is no reading that a bench gives.")
    values = {}
    for name, label, unit in TYPED[kind]:
        limits, factor = limits_in(run, kind, name), 1.0
        if name == "vacuum_kpa":
            unit, factor = _vacuum_unit(typed.get("unit", "kpa"))
        number = cells.read_number(_text(typed.get(name), label), _scaled(limits, factor), label, unit)
        values[name] = number * factor
    for name in FACTS.get(kind, ()):
        if not isinstance(typed.get(name), bool):
            raise cells.CellError("Say whether the speed was rising or falling.")
        values[name] = typed[name]
    if kind == "spark":
        values["cylinder"] = _whole(values["cylinder"])
    return values


def limits_of(kind, name):
    """From where to where a field of a kind goes, as its model's validators say."""
    validators = MODELS[kind]._meta.get_field(name).validators
    return (
        max(one.limit_value for one in validators if isinstance(one, MinValueValidator)),
        min(one.limit_value for one in validators if isinstance(one, MaxValueValidator)),
    )


def limits_in(run, kind, name):
    """The same in a run: a reading of its sweep goes as far as the engine takes it in the run's frame."""
    limits, of = limits_of(kind, name), BOUNDED.get((kind, name))
    return reach.narrowed(limits, of, run.frame, convert.drive_of(run.build)) if of else limits


def rows_of(run):
    """Every reading of a run as plain data, in order."""
    return [row_of(kind, row) for kind, rows in _read(run) for row in rows]


def row_of(kind, row):
    """One reading as plain data."""
    names = [name for name, _, _ in TYPED[kind]] + list(FACTS.get(kind, ()))
    values = {name: getattr(row, name) for name in names}
    return {"kind": kind, "key": str(row.key), "version": row.version, "values": values}


def sheets_of(run, build, presets_rpm, *, cylinders=None):
    """The sheets of a run as plain data; a trial has only its sweep. ``presets_rpm`` are distributor rpm."""
    drive = convert.drive_of(build)
    sheets = [_sweep(run, drive, presets_rpm)]
    if run.kind != Run.Kind.TRIAL:
        sheets += [_spark(cylinders or FEWEST_CYLINDERS), _dwell(), _vacuum()]
    return [asdict(sheet) for sheet in sheets]


def _sweep(run, drive, presets_rpm):
    in_crank = run.frame == Frame.CRANK
    speeds = [drive.to_crank_rpm(rpm) if in_crank else float(rpm) for rpm in presets_rpm]
    frame = run.get_frame_display()
    return Sheet(
        kind="reading",
        name="Sweep",
        heading=f"{frame} rpm",
        value="advance_deg",
        value_name="Advance",
        unit=f"{frame} deg",
        limits=limits_in(run, "reading", "advance_deg"),
        rows=tuple(Part(f"{rpm:g}", {"speed_rpm": rpm}) for rpm in speeds),
        columns=(Part("Rising", {"falling": False}), Part("Falling", {"falling": True})),
        other=_other("speed_rpm", "Speed", f"{frame} rpm", limits_in(run, "reading", "speed_rpm")),
        back=1,
        speed_unit=f"{frame} rpm",
    )


def _spark(cylinders):
    return Sheet(
        kind="spark",
        name="Spark scatter",
        heading="cylinder, firing order",
        value="offset_deg",
        value_name="Off by",
        unit="distributor deg",
        limits=limits_of("spark", "offset_deg"),
        rows=tuple(Part(f"{number}", {"cylinder": number}) for number in range(1, cylinders + 1)),
        columns=tuple(Part(f"{rpm} distributor rpm", {"speed_rpm": rpm}) for rpm in SPARK_RPM),
    )


def _dwell():
    return Sheet(
        kind="dwell",
        name="Dwell",
        heading="distributor rpm",
        value="dwell_deg",
        value_name="Dwell",
        unit="distributor deg",
        limits=limits_of("dwell", "dwell_deg"),
        rows=tuple(Part(f"{rpm}", {"speed_rpm": rpm}) for rpm in DWELL_RPM),
        columns=(Part("Dwell", {}),),
        other=_other("speed_rpm", "Speed", "distributor rpm", limits_of("dwell", "speed_rpm")),
    )


def _vacuum():
    return Sheet(
        kind="vacuum",
        name="Vacuum",
        heading="vacuum",
        value="advance_deg",
        value_name="Added",
        unit="distributor deg",
        limits=limits_of("vacuum", "advance_deg"),
        rows=(),
        columns=(Part("Added", {}),),
        other=_other("vacuum_kpa", "Vacuum", "kPa", limits_of("vacuum", "vacuum_kpa")),
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


def _other(name, label, unit, limits):
    return {"field": name, "name": label, "unit": unit, "limits": limits}


def _read(run):
    yield "reading", run.readings.all()
    yield "spark", run.sparks.all()
    yield "dwell", run.dwells.all()
    yield "vacuum", run.vacuums.all()


def _text(typed, label):
    if not isinstance(typed, str) or not typed.strip():
        raise cells.CellError(f"{label} is missing: type it.")
    if len(typed) > LONGEST:
        raise cells.CellError(f"{label} is too long for a number: type it again.")
    return typed


def _vacuum_unit(unit):
    if not isinstance(unit, str) or unit not in VACUUM_UNITS:
        raise cells.CellError("This is no unit of vacuum: read it in kPa, inHg or mmHg.")
    name, factor, _ = VACUUM_UNITS[unit]
    return name, factor


def _scaled(limits, factor):
    """Limits in the unit that was typed, where that is not the one they are kept in."""
    return limits if factor == 1.0 else tuple(round(limit / factor, 1) for limit in limits)


def _whole(number):
    if number != int(number):
        raise cells.CellError(f"Cylinder {number:g}: count the cylinders in firing order, from 1.")
    return int(number)
