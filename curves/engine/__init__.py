"""The curve engine: pure numerics of an ignition distributor's advance, in the shaft frame."""

from .band import Target, band_edges, distance_outside
from .calibrate import calibrate
from .calibration import Calibration
from .curve import Curve
from .head import Head, Run, stretch_per_degree
from .idle import idle_timing
from .knees import Knees, fit_knees
from .leak import leak_down
from .learn import learn_head, learned_values
from .likeness import Shelf, curve_distance, describe_curve, nearest_curves
from .loads import spring_from_loads
from .nearness import nearest_engines
from .possible import Feasibility, can_follow
from .prior import LearnedType
from .promises import Promise
from .proposals import Proposal, Proposals
from .propose import propose
from .readings import Readings
from .response import fit_response
from .setting import best_initial, setting_card, total_timing
from .sparks import scatter
from .springs import Spring
from .sweeps import Sweeps, judge_sweeps, sweep_of
from .timing import true_initial
from .trigger import coil_current, copper_resistance, copper_temperature, dwell, dwell_change
from .units import Drive, to_newtons
from .vacuum import advance_map, fit_capsule
from .verdict import Verdict, judge_curve
from .wanted import WantedSpring, wanted_spring
from .winding import thinnest_wire, wire_for_rate
from .wire import active_turns, spring_from_wire, turns_for_rate

__all__ = [
    "Calibration",
    "Curve",
    "Drive",
    "Feasibility",
    "Head",
    "Knees",
    "LearnedType",
    "Promise",
    "Proposal",
    "Proposals",
    "Readings",
    "Run",
    "Shelf",
    "Spring",
    "Sweeps",
    "Target",
    "Verdict",
    "WantedSpring",
    "active_turns",
    "advance_map",
    "band_edges",
    "best_initial",
    "calibrate",
    "can_follow",
    "coil_current",
    "copper_resistance",
    "copper_temperature",
    "curve_distance",
    "describe_curve",
    "distance_outside",
    "dwell",
    "dwell_change",
    "fit_capsule",
    "fit_knees",
    "fit_response",
    "idle_timing",
    "judge_curve",
    "judge_sweeps",
    "leak_down",
    "learn_head",
    "learned_values",
    "nearest_curves",
    "nearest_engines",
    "propose",
    "scatter",
    "setting_card",
    "spring_from_loads",
    "spring_from_wire",
    "stretch_per_degree",
    "sweep_of",
    "thinnest_wire",
    "to_newtons",
    "total_timing",
    "true_initial",
    "turns_for_rate",
    "wanted_spring",
    "wire_for_rate",
]
