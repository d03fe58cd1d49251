"""How fast and how far can be read at a build's drive: the engine's limits, asked for at the door.

What passes a door is drawn and judged on every page of its card, so a value that the engine refuses must not
be kept.
"""

from __future__ import annotations

from dataclasses import replace

from curves import engine
from curves.engine.readings import MAX_ADVANCE_DEG, MAX_SPEED_RPM
from curves.models import Build, Frame, LightReading, Reading, TargetPoint
from curves.readings.grid import Column
from curves.rows import recording

MAX_INITIAL_CRANK_DEG = 40  # it is added to a target's points where a light's reading is judged
SPEED, ANGLE, TARGET_ANGLE = "speed", "angle", "target angle"
WAY_OUT = "Is the frame right, and the head's crank turns per distributor turn ({ratio:g})?"


def narrowed(limits: tuple[float, float], of: str, frame: str, drive: engine.Drive) -> tuple[float, float]:
    """Limits of a speed or an angle typed in a frame, as far as the engine takes it at this drive."""
    low, high = limits
    return low, min(high, _most(of, frame, drive))


def columns_for(columns: tuple[Column, ...], frame: str, drive: engine.Drive | None) -> tuple[Column, ...]:
    """The columns of a grid, each with the limits that hold at this drive."""
    if not frame or not any(column.of for column in columns):
        return columns
    if drive is None:
        raise ValueError("A grid of speeds or angles needs the drive that bounds it.")
    return tuple(_column(column, frame, drive) if column.of else column for column in columns)


def beyond(build: Build, crank_per_shaft: float) -> str:
    """What a build holds that another ratio would put out of reach, in words; empty while nothing is.

    Runs and sweeps off the card count: they can be put back.
    """
    drive = engine.Drive(crank_per_shaft)
    for where, of, frame, value in _stored(build):
        most = _most(of, frame, drive)
        if value > most:
            unit = "rpm" if of == SPEED else "degrees"
            name = Frame(frame).label
            return f"{where} holds {value:g} {name} {unit}, and with this ratio {most:g} are the most."
    return recording.beyond_at_ratio(build, crank_per_shaft)


def _most(of: str, frame: str, drive: engine.Drive):
    if of == SPEED:
        # Both frames are bounded: a card's light and its total are judged at the crank.
        other = drive.to_shaft_rpm if frame == Frame.SHAFT else drive.to_crank_rpm
        return min(MAX_SPEED_RPM, other(MAX_SPEED_RPM))
    most = MAX_ADVANCE_DEG if frame == Frame.SHAFT else drive.to_crank_deg(MAX_ADVANCE_DEG)
    return most - MAX_INITIAL_CRANK_DEG if of == TARGET_ANGLE else most


def _column(column: Column, frame: str, drive: engine.Drive):
    limits = narrowed(column.limits, column.of, frame, drive)
    if limits == column.limits:
        return column
    return replace(column, limits=limits, way_out=WAY_OUT.format(ratio=drive.crank_per_shaft))


def _stored(build: Build):
    for row in Reading.objects.filter(run__build=build).select_related("run"):
        yield str(row.run), SPEED, row.run.frame, row.speed_rpm
        yield str(row.run), ANGLE, row.run.frame, row.advance_deg
    for row in TargetPoint.objects.filter(target__build=build):
        yield "The target", SPEED, Frame.CRANK, row.crank_rpm
        yield "The target", TARGET_ANGLE, Frame.CRANK, row.crank_deg
    for row in LightReading.objects.filter(sweep__build=build).select_related("sweep"):
        yield str(row.sweep), SPEED, Frame.CRANK, row.crank_rpm
        yield str(row.sweep), ANGLE, Frame.CRANK, row.crank_deg
