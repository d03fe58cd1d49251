"""The curve engine: pure numerics of an ignition distributor's advance, in the shaft frame."""

from .band import Target, Verdict, band_edges, distance_outside, judge_curve
from .curve import Curve
from .head import Head, Run
from .idle import idle_timing
from .knees import Knees, fit_knees
from .loads import spring_from_loads
from .readings import Readings
from .setting import best_initial, setting_card, total_timing
from .springs import Spring
from .timing import true_initial
from .units import Drive
from .wire import active_turns, spring_from_wire, thinnest_wire, turns_for_rate, wire_for_rate

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
    "active_turns",
    "band_edges",
    "best_initial",
    "distance_outside",
    "fit_knees",
    "idle_timing",
    "judge_curve",
    "setting_card",
    "spring_from_loads",
    "spring_from_wire",
    "thinnest_wire",
    "total_timing",
    "true_initial",
    "turns_for_rate",
    "wire_for_rate",
]
