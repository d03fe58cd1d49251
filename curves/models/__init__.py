"""A unit's curve work: the head, the drawer of springs, runs on the bench, sweeps, and the target."""

from curves.models.builds import Build, Frame, HeadType
from curves.models.runs import (
    ADVANCE_DEG,
    KINDS,
    SPEED_RPM,
    AnyReading,
    DwellReading,
    Reading,
    Run,
    SparkReading,
    TakenBack,
    VacuumReading,
)
from curves.models.springs import LoadTest, Spring, SpringCorrection
from curves.models.stock import SpringMove
from curves.models.sweeps import LightReading, Response, ResponseReading, Sweep
from curves.models.targets import Target, TargetPoint

__all__ = [
    "ADVANCE_DEG",
    "KINDS",
    "SPEED_RPM",
    "AnyReading",
    "Build",
    "DwellReading",
    "Frame",
    "HeadType",
    "LightReading",
    "LoadTest",
    "Reading",
    "Response",
    "ResponseReading",
    "Run",
    "SparkReading",
    "Spring",
    "SpringCorrection",
    "SpringMove",
    "Sweep",
    "TakenBack",
    "Target",
    "TargetPoint",
    "VacuumReading",
]
