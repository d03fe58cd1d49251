"""The condition of a demo unit, point by point of the inspection list: what is measured, what is seen."""

import numpy as np

from jobs.models import InspectionPoint
from jobs.rules.measured import Measured, settled
from jobs.rules.points import proposed_verdict

# Ordinary values of measured points: middle, spread. Where a limit cuts them, some come out worn.
USUAL = {
    "shaft-side-play": (0.06, 0.04),
    "shaft-end-float": (0.25, 0.12),
    "bush-wear": (0.05, 0.03),
    "cam-lobe-spread": (1.1, 0.6),
    "drive-backlash": (0.6, 0.3),
    "points-gap": (0.42, 0.06),
    "dwell": (51.0, 3.0),
    "air-gap": (0.35, 0.08),
    "pick-up-resistance": (620.0, 120.0),
    "coil-primary": (1.6, 0.3),
    "coil-secondary": (9.2, 1.1),
    "condenser": (0.23, 0.03),
    "rotor-resistance": (4.6, 0.9),
    "leads": (13000.0, 4500.0),
    "capsule-begins": (13.0, 2.0),
    "capsule-ends": (33.0, 3.0),
    "capsule-degrees": (7.0, 1.2),
    "capsule-leak": (1.6, 1.4),
}
DIGITS = {
    "leads": -2,
    "pick-up-resistance": 0,
    "dwell": 0,
    "coil-secondary": 1,
    "capsule-begins": 0,
    "capsule-ends": 0,
}
NOT_THERE = ("capsule-begins", "capsule-ends", "capsule-degrees", "capsule-leak")
REMARKS = {
    "weight-pivots": ("free", "dry, one hole oval", "polished, free now"),
    "spring-loops": ("loops cut into the posts", "one loop opened", "sound"),
    "drive-dog": ("burr dressed", "offset tongue as it should be", "pin loose, new one fitted"),
    "cap-and-brush": ("tracked", "brush short", "clean"),
    "felt-and-oiler": ("dry", "blocked with paint", "good"),
    "o-ring": ("flat", "new one goes on"),
    "clamp": ("cracked at the bolt", "sound"),
}
# Worn points beside what the fault itself brings.
BY_FAULT = {
    "stretched": {"spring-loops": ("replace", "primary loop opened")},
    "sticking": {"weight-pivots": ("replace", "seized with varnish")},
    "stiff": {"spring-loops": ("replace", "not springs for this head")},
    "stop worn": {"travel": ("replace", "stop worn: {over:g} degrees over its stamping, as found")},
    "secondary lost": {"spring-loops": ("replace", "secondary missing")},
    "weak": {"spring-loops": ("replace", "both under their rate")},
    "sound": {"shaft-side-play": ("replace", "new bush")},
    "seized": {"shaft-side-play": ("na", "does not turn"), "weight-pivots": ("replace", "rusted fast")},
}


def answers(points, unit_row, fault, travel_deg, stamped_deg, seed):
    """What this unit shows as found, in the order of the points: (point, Measured, verdict, note)."""
    rng = np.random.default_rng(seed)
    found = [_answer(point, unit_row, fault, travel_deg, rng) for point in points]
    over = travel_deg - stamped_deg
    return [(point, measured, verdict, note.format(over=over)) for point, measured, verdict, note in found]


def _answer(point, unit_row, fault, travel_deg, rng):
    verdict, note = BY_FAULT[fault.key].get(point.key, ("", ""))
    if point.key in NOT_THERE and not unit_row.capsule:
        return point, Measured(), "na", ""
    if verdict == "na":
        return point, Measured(), verdict, note
    measured = _measured(point, _value(point, travel_deg, rng), rng)
    if not verdict:
        verdict = proposed_verdict(point, measured) or str(rng.choice(["good", "worn"], p=[0.75, 0.25]))
    if not note and verdict != "good" and point.key in REMARKS:
        note = str(rng.choice(REMARKS[point.key]))
    return point, measured, verdict, note


def _measured(point, value, rng):
    """As a person reads it: a winding with the temperature it has, a capsule's vacuum before and after."""
    if point.measured_as == InspectionPoint.MeasuredAs.WINDING:
        return Measured(value, part_temp_c=float(rng.spawn(1)[0].integers(16, 27)))
    if point.measured_as == InspectionPoint.MeasuredAs.LEAK:
        return settled(point, Measured(None, None, 60.0, 60.0, round(60.0 - value, 1)))
    return Measured(value)


def _value(point, travel_deg, rng):
    if point.key == "travel":
        return travel_deg
    if point.key not in USUAL:
        return None
    middle, spread = USUAL[point.key]
    value = middle + spread * float(np.clip(rng.standard_normal(), -2.2, 2.2))
    digits = DIGITS.get(point.key, 2 if middle < 1 else 1)
    return round(max(value, middle / 10), digits)
