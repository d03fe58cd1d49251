"""The curve engine: pure numerics of an ignition distributor's advance, in the shaft frame."""

from .band import Target
from .calibrate import Calibration, calibrate
from .head import Head, Run
from .propose import Proposal, Proposals, propose
from .readings import Readings
from .springs import Spring
from .units import Drive

__all__ = [
    "Calibration",
    "Drive",
    "Head",
    "Proposal",
    "Proposals",
    "Readings",
    "Run",
    "Spring",
    "Target",
    "calibrate",
    "propose",
]
