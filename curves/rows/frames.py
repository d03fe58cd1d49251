"""One frame within one run: what is typed in a frame, as it is kept, shown again and said in words."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from curves import engine
from curves.models import Frame, Run
from curves.rows import convert
from curves.rows.results import InBoth

SPEED, ANGLE = "speed", "angle"
# What is kept of each kind in distributor rpm and degrees; a sweep's readings stay in their run's frame.
KEPT_AT_THE_SHAFT = {
    "spark": {"speed_rpm": SPEED, "offset_deg": ANGLE},
    "dwell": {"speed_rpm": SPEED, "dwell_deg": ANGLE},
    "vacuum": {"advance_deg": ANGLE},
}
IN_ITS_RUN = {"reading": {"speed_rpm": SPEED, "advance_deg": ANGLE}}
NAMES = tuple(dict(Frame.choices))
_KEPT_PLACES = 12  # finer than any instrument, and no dust: a speed typed twice is one speed
_SHOWN_PLACES = 9
_PLACES = {Frame.CRANK: 1, Frame.SHAFT: 2}  # of an angle that stands beside


def other(frame: str) -> Frame:
    """The frame that stands beside."""
    return Frame.SHAFT if frame == Frame.CRANK else Frame.CRANK


def typed_in(said: str | None, kind: str, run: Run) -> str:
    """The frame that values of a kind are typed in: as the screen said it, else as it was before it did."""
    return said or (Frame.SHAFT if kind in KEPT_AT_THE_SHAFT else run.frame)


def to_keep(kind: str, values: dict[str, Any], run: Run, said: str | None = None) -> dict[str, Any]:
    """Values typed in a frame, as the rows of a run keep them."""
    kept_in = Frame.SHAFT if kind in KEPT_AT_THE_SHAFT else run.frame
    return turned(kind, values, typed_in(said, kind, run), kept_in, convert.drive_of(run.build), _KEPT_PLACES)


def to_show(kind: str, values: dict[str, Any], run: Run) -> dict[str, Any]:
    """Values as a run's row keeps them, in the run's frame: what was typed, to the digit."""
    kept_in = Frame.SHAFT if kind in KEPT_AT_THE_SHAFT else run.frame
    return turned(kind, values, kept_in, run.frame, convert.drive_of(run.build), _SHOWN_PLACES)


def turned(
    kind: str,
    values: dict[str, Any],
    from_frame: str,
    to_frame: str,
    drive: engine.Drive,
    places: int = _KEPT_PLACES,
) -> dict[str, Any]:
    """The same values of a kind in another frame."""
    if from_frame == to_frame:
        return values
    fields = KEPT_AT_THE_SHAFT.get(kind) or IN_ITS_RUN[kind]
    return {
        name: round(number_in(value, from_frame, to_frame, drive), places) if name in fields else value
        for name, value in values.items()
    }


def as_typed(kind: str, values: dict[str, Any], before: str, now: str, drive: engine.Drive) -> dict[str, Any]:
    """Values as kept, once the numbers typed in one frame are said to be in another."""
    shown = turned(kind, values, Frame.SHAFT, before, drive, _SHOWN_PLACES)
    return turned(kind, shown, now, Frame.SHAFT, drive)


def at_ratio(kind: str, values: dict[str, Any], before: engine.Drive, now: engine.Drive) -> dict[str, Any]:
    """Values as kept of a crank run, once the drive is another: what was typed stands."""
    shown = turned(kind, values, Frame.SHAFT, Frame.CRANK, before, _SHOWN_PLACES)
    return turned(kind, shown, Frame.CRANK, Frame.SHAFT, now)


def row_in(
    row: tuple[float, float, bool], from_frame: str, to_frame: str, drive: engine.Drive
) -> tuple[float, float, bool]:
    """A reading of a sweep (speed, advance, falling) in another frame."""
    speed, advance, falling = row
    values = {"speed_rpm": speed, "advance_deg": advance}
    speed, advance = turned("reading", values, from_frame, to_frame, drive).values()
    return speed, advance, falling


def number_in(value: float, from_frame: str, to_frame: str, drive: engine.Drive) -> float:
    """A speed or an angle of one frame in the other; both turn alike."""
    if from_frame == to_frame:
        return value
    return drive.to_crank_deg(value) if to_frame == Frame.CRANK else drive.to_shaft_deg(value)


def angle(both: InBoth, frame: str, *, signed: bool = False) -> str:
    """An angle in words, in the reader's frame, the other beside: 4.0 crank degrees (2.00 distributor)."""
    shape = "+.1f" if signed else ".1f"
    beside = f"{of(both, other(frame)):{'+' if signed else ''}.{_PLACES[other(frame)]}f}"
    text = f"{of(both, frame):{shape}} {Frame(frame).label} degrees ({beside} {other(frame).label})"
    return text.replace("-", "−")


def speed(both: InBoth, frame: str) -> str:
    """A speed in words, in the frame of who reads it, the other beside."""
    return speeds([both], frame)


def speeds(several: Iterable[InBoth], frame: str) -> str:
    """Speeds in words: 600, 2000 crank rpm (300, 1000 distributor)."""
    first, beside = (", ".join(f"{of(both, one):.0f}" for both in several) for one in (frame, other(frame)))
    return f"{first} {Frame(frame).label} rpm ({beside} {other(frame).label})"


def span(low: InBoth, high: InBoth, frame: str) -> str:
    """A stretch of speeds in words: 1250 to 1400 crank rpm (625 to 700 distributor)."""
    first, beside = (f"{of(low, one):.0f} to {of(high, one):.0f}" for one in (frame, other(frame)))
    return f"{first} {Frame(frame).label} rpm ({beside} {other(frame).label})"


def shaft_angle(shaft_deg: float, frame: str, drive: engine.Drive, *, signed: bool = False) -> str:
    """``angle`` of one in distributor degrees."""
    return angle(InBoth.angle(shaft_deg, drive), frame, signed=signed)


def shaft_speed(shaft_rpm: float, frame: str, drive: engine.Drive) -> str:
    """``speed`` of one in distributor rpm."""
    return speed(InBoth.speed(shaft_rpm, drive), frame)


def of(both: InBoth, frame: str) -> float:
    """A number that is known in both frames, in one of them."""
    return both.crank if frame == Frame.CRANK else both.shaft
