"""The curve engine: pure numerics of an ignition distributor's advance, in the shaft frame."""

from .band import Target, Verdict, band_edges, distance_outside, judge_curve
from .curve import Curve
from .head import Head, Run
from .idle import idle_timing
from .knees import Knees, fit_knees
from .readings import Readings
from .setting import best_initial, setting_card, total_timing
from .springs import Spring
from .timing import true_initial
from .units import Drive

__all__ = [
    "Curve",
    "Drive",
    "Head",
    "Knees",
    "Readings",
    "Run",
    "Spring",
    "Target",
    "Verdict",
    "band_edges",
    "best_initial",
    "distance_outside",
    "fit_knees",
    "idle_timing",
    "judge_curve",
    "setting_card",
    "total_timing",
    "true_initial",
]
