"""A grid of speeds or angles is never without its bounds."""

import pytest

from curves import engine
from curves.engine.readings import MAX_SPEED_RPM
from curves.models import Frame
from curves.readings import input_limits
from curves.readings.grid import Column

PLAIN = (Column("length", "Length", "mm", (3, 200)),)
SPEED = (Column("speed", "Speed", "rpm", (0, 2 * MAX_SPEED_RPM), of=input_limits.SPEED),)


def test_a_drive_bounds_what_is_a_speed():
    (bounded,) = input_limits.columns_for(SPEED, Frame.SHAFT, engine.Drive.four_stroke())
    assert bounded.limits == (0, MAX_SPEED_RPM / 2)  # the crank turns twice as fast, and is bounded too


def test_without_a_drive_only_what_is_neither_speed_nor_angle_is_taken():
    assert input_limits.columns_for(PLAIN, Frame.SHAFT, None) == PLAIN
    with pytest.raises(ValueError, match="needs the drive"):
        input_limits.columns_for(SPEED, Frame.SHAFT, None)
