"""The curve engine: pure numerics of an ignition distributor's advance, in the shaft frame."""

from .band import Target
from .head import Head, Run
from .readings import Readings
from .springs import Spring
from .units import Drive

__all__ = [
    "Drive",
    "Head",
    "Readings",
    "Run",
    "Spring",
    "Target",
]
