"""What was read at an inspection point beside its value, and the value that comes of it for the limit.

A winding's resistance is held against its limit at 20 °C; how a capsule holds is read as a vacuum at the
start, what is left of it and after how long, and its value is what it loses in a minute.
"""

from typing import NamedTuple, Protocol

from curves.judging import leaks, windings
from curves.judging.leaks import Leak
from jobs.models import InspectionPoint

BESIDE: dict[str, tuple[str, ...]] = {
    InspectionPoint.MeasuredAs.WINDING: ("part_temp_c",),
    InspectionPoint.MeasuredAs.LEAK: ("start_kpa", "held_s", "left_kpa"),
}
LIMITS_HOLD: dict[str, str] = {
    InspectionPoint.MeasuredAs.WINDING: f" at {windings.LIMITS_C:g} °C",
    InspectionPoint.MeasuredAs.LEAK: " in a minute",
}
UNITS: dict[str, tuple[str, ...]] = {
    InspectionPoint.MeasuredAs.WINDING: ("ohm", "kilohm"),
    InspectionPoint.MeasuredAs.LEAK: ("kPa",),
}
NAMES = {
    "value": "the resistance",
    "start_kpa": "the vacuum at the start",
    "held_s": "how long it was held",
    "left_kpa": "the vacuum left",
}


class Answered(Protocol):
    """An answer to a point, or a line of one."""

    @property
    def value(self) -> float | None: ...
    @property
    def part_temp_c(self) -> float | None: ...
    @property
    def start_kpa(self) -> float | None: ...
    @property
    def held_s(self) -> float | None: ...
    @property
    def left_kpa(self) -> float | None: ...


class Measured(NamedTuple):
    """A value, and what was read beside it; all None where nothing was measured."""

    value: float | None = None
    part_temp_c: float | None = None
    start_kpa: float | None = None
    held_s: float | None = None
    left_kpa: float | None = None

    @classmethod
    def of(cls, answer: Answered) -> "Measured":
        """As an answer has it, or a line of one."""
        return cls(*(getattr(answer, name) for name in cls._fields))

    @property
    def leak(self) -> Leak | None:
        """How a capsule holds by the three readings; None without them."""
        start, held, left = self.start_kpa, self.held_s, self.left_kpa
        if start is None or held is None or left is None or leaks.impossible(start, held, left):
            return None
        return leaks.leak_of(start, held, left)


def beside(point: InspectionPoint) -> tuple[str, ...]:
    """The names of what is read at a point beside its value."""
    return BESIDE.get(point.measured_as, ())


def problems(point: InspectionPoint, measured: Measured) -> dict[str, str]:
    """What is missing or can't be of what was read at a point: {name: words}."""
    asked = beside(point)
    if all(getattr(measured, name) is None for name in asked):
        return {}
    is_leak = point.measured_as == InspectionPoint.MeasuredAs.LEAK
    missing = [name for name in (asked if is_leak else ("value",)) if getattr(measured, name) is None]
    if missing:
        return {missing[0]: f"Not saved yet: type {' and '.join(NAMES[name] for name in missing)} as well."}
    return leaks.impossible(*(getattr(measured, name) for name in asked)) if is_leak else {}


def settled(point: InspectionPoint, measured: Measured) -> Measured:
    """With the value that follows from what was read beside it; nothing is missing or impossible."""
    kept = {name: getattr(measured, name) for name in beside(point)}
    measured = Measured(measured.value, **kept)
    leak = measured.leak
    return measured._replace(value=leak.lost_kpa) if leak else measured


def judged_value(point: InspectionPoint, measured: Measured) -> float | None:
    """The value that is held against the point's limit."""
    value, temp_c = measured.value, measured.part_temp_c
    if point.measured_as == InspectionPoint.MeasuredAs.WINDING and value is not None and temp_c is not None:
        return windings.at_20(value, temp_c)
    return value


def judged_words(point: InspectionPoint, measured: Measured) -> str:
    """The same without a tail of zeros; an empty text for none."""
    value = judged_value(point, measured)
    return "" if value is None else f"{value:.10g}".replace("-", "−")


def unusual(point: InspectionPoint, measured: Measured) -> str:
    """What is unusual about what was read beside the value, in words; empty while nothing is."""
    if point.measured_as == InspectionPoint.MeasuredAs.WINDING and measured.part_temp_c is not None:
        return windings.unusual(measured.part_temp_c)
    leak = measured.leak if point.measured_as == InspectionPoint.MeasuredAs.LEAK else None
    start = measured.start_kpa
    return leaks.unusual(start, leak, point.high) if leak and start is not None else ""


def said_beside(point: InspectionPoint, measured: Measured) -> str:
    """What was read beside the value and what follows from it, in words; empty where nothing was measured."""
    if measured.value is None:
        return ""
    if point.measured_as == InspectionPoint.MeasuredAs.WINDING:
        if measured.part_temp_c is None:
            return "Compared as if measured at 20 °C: no temperature was typed."
        cold, warm = judged_value(point, measured), f"{measured.part_temp_c:g} °C".replace("-", "−")
        return f"{measured.value:.10g} {point.unit} at {warm} is {cold:g} {point.unit} at 20 °C."
    leak = measured.leak if point.measured_as == InspectionPoint.MeasuredAs.LEAK else None
    if leak is None:
        return ""
    read = f"{measured.start_kpa:g} kPa at the start, {measured.left_kpa:g} kPa after {measured.held_s:g} s"
    return f"{read}: {leak.half_said}."
