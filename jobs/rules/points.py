"""The default inspection list with its typical limits, the default steps, and the cautions of each stage.

The limits are common practice without a source; a shop replaces them with its own or with a maker's figure.
"""

from curves.judging import travel
from curves.models import Build
from curves.readings import limits
from jobs.models import Inspection, InspectionPoint, Job, Step
from jobs.models.things import Unit
from jobs.rules import measured as reading
from jobs.rules.card_lines import Line
from jobs.rules.measured import Measured
from jobs.stages import Stage

_POINTS = Unit.Trigger.POINTS.value
_PICK_UP = Unit.Trigger.MAGNETIC.value
_MODULE = ",".join(trigger.value for trigger in Unit.Trigger if trigger != Unit.Trigger.POINTS)

TRAVEL = "travel"  # the key of the point that is also measured on the head
# key, label, unit, low, high, triggers
DEFAULT_POINTS = [
    ("shaft-side-play", "Shaft side play", "mm", None, 0.10, ""),
    ("shaft-end-float", "Shaft end float", "mm", 0.05, 0.50, ""),
    ("bush-wear", "Bush wear", "mm", None, 0.08, ""),
    ("cam-lobe-spread", "Cam-lobe spread (dwell variation)", "distributor deg", None, 2.0, ""),
    ("weight-pivots", "Weight pivots and holes", "", None, None, ""),
    ("spring-loops", "Spring loops and posts", "", None, None, ""),
    (TRAVEL, "Travel against its stamping", "distributor deg", None, None, ""),
    ("drive-backlash", "Backlash in the drive", "distributor deg", None, 1.0, ""),
    ("drive-dog", "Drive dog or gear", "", None, None, ""),
    ("points-gap", "Points gap", "mm", 0.35, 0.50, _POINTS),
    ("dwell", "Dwell", "distributor deg", None, None, _POINTS),
    ("air-gap", "Air gap", "mm", 0.20, 0.50, _MODULE),
    ("pick-up-resistance", "Pick-up resistance", "ohm", 150, 1300, _PICK_UP),
    ("coil-primary", "Coil primary resistance at 20 °C", "ohm", 0.3, 4.0, ""),
    ("coil-secondary", "Coil secondary resistance at 20 °C", "kilohm", 4.0, 16.0, ""),
    ("condenser", "Condenser capacitance", "µF", 0.18, 0.30, _POINTS),
    ("module-compound", "Module: heat-sink compound present", "", None, None, _MODULE),
    ("module-pins", "Module: connector pins", "", None, None, _MODULE),
    ("module-function", "Module: function", "", None, None, _MODULE),
    ("cap-and-brush", "Cap and carbon brush", "", None, None, ""),
    ("rotor-resistance", "Rotor resistance", "kilohm", None, 6.0, ""),
    ("leads", "Leads", "ohm/m", None, 25000, ""),
    ("capsule-begins", "Capsule begins at", "kPa", None, None, ""),
    ("capsule-ends", "Capsule ends at", "kPa", None, None, ""),
    ("capsule-degrees", "Capsule moves", "distributor deg", None, None, ""),
    ("capsule-leak", "Capsule leak-down in a minute", "kPa", None, 3.0, ""),
    ("felt-and-oiler", "Felt and oiler", "", None, None, ""),
    ("o-ring", "O-ring", "", None, None, ""),
    ("clamp", "Clamp", "", None, None, ""),
]

# How a default point is measured, where not as one value.
MEASURED_AS = {
    "pick-up-resistance": InspectionPoint.MeasuredAs.WINDING,
    "coil-primary": InspectionPoint.MeasuredAs.WINDING,
    "coil-secondary": InspectionPoint.MeasuredAs.WINDING,
    "capsule-leak": InspectionPoint.MeasuredAs.LEAK,
}
BLAST = "Blast or bead outside, bores plugged"
# What an instrument can show at all at a point, by its key or else by its unit: beyond it, it is mistyped.
POSSIBLE = {
    "shaft-side-play": (0, 5),
    "shaft-end-float": (0, 5),
    "bush-wear": (0, 5),
    "cam-lobe-spread": (0, 180),
    "travel": (0, 45),
    "drive-backlash": (0, 90),
    "points-gap": (0, 2),
    "dwell": (0, 360),
    "air-gap": (0, 5),
    "pick-up-resistance": (0, 100_000),
    "coil-primary": (0, 1000),
    "coil-secondary": (0, 1000),
    "condenser": (0, 10),
    "rotor-resistance": (0, 10_000),
    "leads": (0, 1_000_000),
    "capsule-begins": (0, 101),
    "capsule-ends": (0, 101),
    "capsule-degrees": (-20, 40),
    "capsule-leak": (0, 101),
}
_POSSIBLE_IN = {"mm": (0, 500), "ohm": (0, 1_000_000), "kilohm": (0, 100_000), "kPa": (0, 1000)}
_ANYTHING = (-1_000_000, 1_000_000)
_BETWEEN_SPARKS = {"dwell", "cam-lobe-spread"}  # no more than from one spark to the next


# text, parts, and where it is not for all units the triggers
DEFAULT_STEPS = {
    Step.List.CLEANING: [
        ("Degrease", "body, shaft, weights, base plate"),
        ("Brush and rinse oilways", "body, bush"),
        (BLAST, "body"),
        ("Blow through and dry", "body, bush, oiler"),
    ],
    Step.List.ASSEMBLY: [
        ("Bush soaked in oil", "body"),
        ("Shaft oiled, side play felt again", "shaft"),
        ("Weights free on oiled pivots", "weights"),
        ("Felt oiled", "cam"),
        ("Cam greased sparingly", "cam"),
        ("Shims and end float set", "shaft"),
        ("Heat-sink compound under the module", "module", _MODULE),
        ("O-ring new and oiled", "body"),
        ("Pin and dog as found, with its marks in line", "drive"),
    ],
}

_RULES = "Follow local rules and the maker's data; leave licensed work to those who hold the licence."

CAUTIONS = {
    Stage.TEARDOWN: "Coil and leads carry a voltage that can kill, and can stop a pacemaker: switch off and"
    f" unplug first. {_RULES}",
    Stage.CLEANING: "Solvent and its vapour catch fire: no flame or spark, open the door, gloves. Blast only"
    f" in a closed cabinet, with eyes and lungs covered. {_RULES}",
    Stage.SPRING_TRIALS: "The bench turns: guards on, sleeves and hair tied back, eyes covered."
    f" Weights and springs can fly. {_RULES}",
    Stage.BENCH_CURVE: "The bench turns, and its spark bites: guards on, eyes covered, hands off the leads;"
    f" nobody with a pacemaker near it. {_RULES}",
    Stage.HAND_BACK: "Too much advance can destroy an engine by detonation: come up from the retarded side"
    f" and listen. Don't rev an engine in a closed room. {_RULES}",
}


def seed_points(using: str = "default") -> None:
    """Fill an empty inspection list with the defaults; a list that a shop has touched stays as it is."""
    points = InspectionPoint.objects.using(using)
    if points.exists():
        return
    points.bulk_create(
        InspectionPoint(
            key=key,
            label=label,
            unit=unit,
            low=low,
            high=high,
            triggers=triggers,
            measured_as=MEASURED_AS.get(key, InspectionPoint.MeasuredAs.VALUE),
            possible_low=POSSIBLE.get(key, (None, None))[0],
            possible_high=POSSIBLE.get(key, (None, None))[1],
            order=10 * place,
            limit_source="common practice" if (low, high) != (None, None) else "",
        )
        for place, (key, label, unit, low, high, triggers) in enumerate(DEFAULT_POINTS, start=1)
    )


def possible(point: InspectionPoint, cylinders: int | None = None) -> tuple[float, float]:
    """From where to where a value of this point can go: the shop's own range, or what its unit allows."""
    low, high = _POSSIBLE_IN.get(point.unit, _ANYTHING)
    low = low if point.possible_low is None else point.possible_low
    high = high if point.possible_high is None else point.possible_high
    apart = limits.apart_deg(cylinders) if point.key in _BETWEEN_SPARKS else None
    return low, min(high, apart) if apart else high


def impossible(point: InspectionPoint, value: float | None, cylinders: int | None = None) -> str:
    """Why a value can't be one of this point, in words; empty where it can."""
    low, high = possible(point, cylinders)
    if value is None or low <= value <= high:
        return ""
    said = f"{value:g} {point.unit} is not possible here: write {low:g} to {high:g}."
    if point.key in _BETWEEN_SPARKS and value > high and cylinders:
        said += f" {cylinders} cylinders spark every {limits.apart_deg(cylinders):g} distributor degrees."
    return said.replace("-", "−")


def inspected_travel(point: InspectionPoint, value: float | None, build: Build) -> float | None:
    """The travel that was measured at a point [distributor degrees]; None at any other point."""
    return travel.inspected_deg(build, value, point.unit) if point.key == TRAVEL else None


def unusual(point: InspectionPoint, measured: Measured, build: Build | None) -> str:
    """What is unusual about what was measured, beside its limit, in words; empty while nothing is."""
    beside = reading.unusual(point, measured)
    if beside or build is None:
        return beside
    return travel.apart_on(build, inspected_travel(point, measured.value, build))


def applies(point: InspectionPoint | Step | Line, unit: Unit) -> bool:
    """Whether a point or a step is asked of this unit; of a unit whose trigger nobody knows, all are."""
    return not point.triggers or unit.trigger in point.triggers


def triggers_of(point: InspectionPoint) -> str:
    """The triggers a point is asked for, in words."""
    keys = [key for key in point.triggers.split(",") if key]
    return ", ".join(Unit.Trigger(key).label for key in keys) or "all"


def limit_of(point: InspectionPoint) -> str:
    """A point's limits in words, with where they come from; an empty text for none."""
    low, high, unit = point.low, point.high, point.unit
    if low is None and high is None:
        return ""
    if low is None:
        said = f"at most {high:g} {unit}"
    elif high is None:
        said = f"at least {low:g} {unit}"
    else:
        said = f"{low:g} to {high:g} {unit}"
    said += reading.LIMITS_HOLD.get(point.measured_as, "")
    return f"{said}, {point.limit_source}" if point.limit_source else said


def proposed_verdict(
    point: InspectionPoint, measured: Measured, build: Build | None = None
) -> Inspection.Verdict | None:
    """What the limit says about what was measured: good or replace, or None where there is no limit.

    None too for a value within it that is unusual, or unusual on this build: nobody but a person calls that
    good.
    """
    value = reading.judged_value(point, measured)
    if value is None or (point.low is None and point.high is None):
        return None
    low = point.low is not None and value < point.low
    high = point.high is not None and value > point.high
    if low or high:
        return Inspection.Verdict.REPLACE
    return None if unusual(point, measured, build) else Inspection.Verdict.GOOD


def new_steps(job: Job) -> list[Step]:
    """The default steps of a new card, not saved."""
    return [
        Step(
            job=job,
            list=name,
            text=text,
            parts=parts,
            abrasive=text == BLAST,
            triggers="".join(triggers),
            order=place,
        )
        for name, steps in DEFAULT_STEPS.items()
        for place, (text, parts, *triggers) in enumerate(steps, start=1)
    ]
