"""The curve engine: pure numerics of an ignition distributor's advance, in the shaft frame."""

from .bands.band import Target, band_edges, distance_outside
from .bands.verdict import Verdict, judge_curve
from .curve import Curve
from .fitting.calibrate import calibrate
from .fitting.calibration import Calibration
from .fitting.learn import learn_head, learned_values
from .governor.head import Head, Run, stretch_per_degree
from .governor.prior import LearnedType
from .likeness.curves import Shelf, curve_distance, describe_curve, nearest_curves
from .likeness.engines import nearest_engines
from .lines.knees import Knees, fit_knees
from .proposing.forecasts import Forecast
from .proposing.possible import Feasibility, can_follow
from .proposing.proposals import Proposal, Proposals
from .proposing.propose import propose
from .proposing.sweeps import Sweeps, judge_sweeps, sweep_of, unread_speeds
from .proposing.wanted import WantedSpring, wanted_spring
from .readings import Readings
from .springs.loads import spring_from_loads
from .springs.spring import Spring
from .springs.winding import wind
from .springs.wire import body_turns, spring_from_wire, turns_for_rate
from .timing.idle import idle_timing
from .timing.initial import true_initial
from .timing.response import fit_response
from .timing.setting import best_initial, setting_card, total_timing
from .trigger.points import copper_resistance, dwell, dwell_change
from .trigger.sparks import scatter
from .units import Drive, to_newtons
from .vacuum.capsule import fit_capsule
from .vacuum.leak import leak_down

__all__ = [
    "Calibration",
    "Curve",
    "Drive",
    "Feasibility",
    "Forecast",
    "Head",
    "Knees",
    "LearnedType",
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
    "band_edges",
    "best_initial",
    "body_turns",
    "calibrate",
    "can_follow",
    "copper_resistance",
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
    "to_newtons",
    "total_timing",
    "true_initial",
    "turns_for_rate",
    "unread_speeds",
    "wanted_spring",
    "wind",
]
