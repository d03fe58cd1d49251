"""What the engine may warn of: a code and its values, never a sentence. Words are made above the engine."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum, auto
from typing import Any


class Code(StrEnum):
    """Everything that a result may warn of, or that may speak against values from the workshop."""

    # a calibration
    READING_MISTYPED = auto()
    RUN_CONTRADICTS = auto()
    WEIGHTS_SNAP = auto()
    SPRING_UNLIKE_LABEL = auto()
    SPRING_TWO_LABELS = auto()
    SEARCH_NOT_SETTLED = auto()
    HEAD_AT_FEW_SPEEDS = auto()
    NOTHING_READ_MOVING = auto()
    # proposals and the spring to buy
    EVERY_PAIR_TRIED = auto()
    NO_PAIR_BUT_WORTH_A_RUN = auto()
    NO_PAIR_UNBENT = auto()
    NO_PAIR = auto()
    NO_WANTED_SPRING = auto()
    WANTED_AT_EDGE = auto()
    NO_USUAL_WIRE = auto()
    # a spring of wire, and one on the tester
    STRESS_OVER_LIMIT = auto()
    COIL_INDEX_UNUSUAL = auto()
    LOADED_ONCE = auto()
    FREE_LENGTH_UNMEASURED = auto()
    PULL_STARTS_LATE = auto()
    LOAD_MISFITS = auto()
    LOADS_BEND = auto()
    LOADS_SCATTER = auto()
    RATE_UNKNOWN = auto()
    LOADED_AT_ONE_LENGTH = auto()
    LOADED_BELOW_FREE_LENGTH = auto()
    LOAD_DOES_NOT_RISE = auto()
    LOAD_RISES_TOO_FAST = auto()
    NO_FREE_LENGTH_LEFT = auto()
    # straight pieces
    READ_AT_ONE_SPEED = auto()
    READ_AT_FEW_SPEEDS = auto()
    NO_ADVANCE = auto()
    READINGS_SCATTER = auto()
    STRAY_KEPT = auto()
    STRAY_LEFT_ASIDE = auto()
    SLOPE_ABOVE_FLOOR = auto()
    BEGIN_NOT_READ = auto()
    STOP_NOT_READ = auto()
    CORNER_NOT_PLACED = auto()
    ADVANCE_GOES_BACK = auto()
    ADVANCE_UNUSUALLY_MUCH = auto()
    # the band
    TARGET_NOT_REACHED = auto()
    # timing on the engine
    LIGHT_READ_ONCE = auto()
    VACUUM_SUSPECTED = auto()
    VACUUM_THROUGHOUT = auto()
    LIGHT_STRAYS = auto()
    INITIAL_RISES = auto()
    INITIAL_FALLS = auto()
    LIGHT_SCATTERS_AT_SPEED = auto()
    LIGHT_DISAGREES = auto()
    LIGHT_ABOVE_CURVE = auto()
    CURVE_WITHOUT_ADVANCE = auto()
    BEGIN_BELOW_IDLE = auto()
    BEGIN_NEAR_IDLE = auto()
    ADVANCED_AT_LOWEST_SPEED = auto()
    TARGET_NOT_COVERED = auto()
    MORE_INITIAL_SUITS = auto()
    LESS_INITIAL_SUITS = auto()
    NO_INITIAL_SUITS = auto()
    CARD_ABOVE_CURVE = auto()
    TOTAL_OVER_LIMIT = auto()
    TOTAL_ABOVE_CURVE = auto()
    # timing against pull or time; degrees are of the frame that the tries were given in
    TRIED_TOO_FEW = auto()
    TRIED_TWO = auto()
    TRIED_ONCE_EACH = auto()
    MORE_IS_BETTER = auto()
    LESS_IS_BETTER = auto()
    BEST_BEYOND_TRIES = auto()
    BEST_NOT_TOLD = auto()
    BEST_MAY_LIE_BEYOND = auto()
    # the vacuum capsule
    READ_AT_ONE_VACUUM = auto()
    READ_AT_FEW_VACUUMS = auto()
    CAPSULE_STUCK = auto()
    CAPSULE_RETARDS = auto()
    CAPSULE_STOP_NOT_READ = auto()
    CAPSULE_ABOVE_ZERO = auto()
    CAPSULE_BEGIN_NOT_READ = auto()
    CAPSULE_SLOPE_NOT_READ = auto()
    CAPSULE_STRAY = auto()
    CAPSULE_LEAKS = auto()
    LEAK_NEAR_LIMIT = auto()
    VACUUM_ROSE = auto()
    # the trigger
    ONE_TURN = auto()
    SPARKS_MISSED = auto()
    SPARKS_OFF_STEADILY = auto()
    SPARKS_OFF_UNSTEADILY = auto()
    SPACING_MOVES = auto()
    DWELL_MOVES = auto()
    # what is alike
    ATTRIBUTES_UNKNOWN = auto()


@dataclass(frozen=True)
class EngineWarning:
    """Something to look at.

    Attributes
    ----------
    code : Code
    values : dict of str
        What goes with it; the name of a number ends in its unit and, of a speed or an angle, its frame:
        `speed_shaft_rpm`, `total_crank_deg`, `load_n`. A `span_` is a pair from, to; `speeds_` are any
        number; what is `typed_` was read off the bench as it is; an `offset_` has a sign.

    Examples
    --------
    >>> one = warn(Code.RUN_CONTRADICTS, run=2, misfit_count=3, reading_count=8)
    >>> one.code == "run_contradicts", one.values["misfit_count"]
    (True, 3)
    """

    code: Code
    values: dict = field(default_factory=dict)


def warn(code: Code, **values: Any) -> EngineWarning:
    """Make a warning, NumPy's numbers as plain ones."""
    return EngineWarning(code, {name: _plain(value) for name, value in values.items()})


def _plain(value: Any):
    return value.item() if hasattr(value, "item") else value


class Refused(ValueError):
    """Values from the workshop that nothing can be made of; `warning` says why to whoever typed them.

    Examples
    --------
    >>> Refused("load_n must rise with length_mm", warn(Code.LOAD_DOES_NOT_RISE)).warning.code.value
    'load_does_not_rise'
    """

    def __init__(self, message: str, warning: EngineWarning) -> None:
        super().__init__(message)
        self.warning = warning
