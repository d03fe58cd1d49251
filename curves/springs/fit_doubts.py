"""What speaks against taking a fit over: wire, coil and turns, or a rate that is hardly known."""

from __future__ import annotations

from math import log
from typing import TYPE_CHECKING

from curves import engine
from curves.engine.units import N_PER_LOAD_UNIT
from curves.models import Spring
from shop.models import LoadUnit

if TYPE_CHECKING:
    from curves.engine.springs.loads import SpringTest
    from curves.springs.load_tests import Fitted

MAX_OFF = 1.5  # times, either way, from what wire and coil give; common practice, no source
MAX_ERROR = 0.15  # of the rate; common practice, no source
ROUNDING = 1e-9
CONSENT = "I checked wire, coil and turns: use this rate all the same"
_NAMES: dict[str, str] = {
    LoadUnit.NEWTON: "newtons",
    LoadUnit.GRAM: "grams-force",
    LoadUnit.KILOGRAM: "kilograms-force",
    LoadUnit.POUND: "pounds-force",
}


def doubts_of(found: Fitted, spring: Spring) -> tuple[str, ...]:
    """Why this fit is not taken over without a second consent, in words; empty when nothing is wrong."""
    if found.test is None:
        return ()
    said = (_off(found.test.rate_n_per_mm, found.unit, spring), _hardly_known(found.test))
    return tuple(words for words in said if words)


def expected_rate(spring: Spring) -> tuple[float | None, str]:
    """The rate that a spring should have [N/mm] and what says so, or (None, "").

    Wire, coil and turns say it where they are written down; else the figure that stands.
    """
    if spring.wire_mm and spring.coil_mm and spring.active_coils and spring.coil_mm > spring.wire_mm:
        made = engine.spring_from_wire(spring.wire_mm, spring.coil_mm, spring.active_coils)
        return made.rate_n_per_mm, f"wire, coil and turns give {made.rate_n_per_mm:.3g} N/mm"
    if spring.rate_n_per_mm and spring.source != Spring.Source.UNKNOWN:
        return spring.rate_n_per_mm, f"its own figure stands at {spring.rate_n_per_mm:.3g} N/mm"
    return None, ""


def _off(rate: float, typed_in: str, spring: Spring):
    expected, says = expected_rate(spring)
    if expected is None or _fits(rate, expected):
        return ""
    factor = max(rate / expected, expected / rate)
    side = "more" if rate > expected else "less"
    words = f"The loads say {rate:.3g} N/mm, {says}: {factor:.3g} times {side}."
    unit = _unit_that_fits(rate, expected, typed_in)
    if unit is None:
        return f"{words} Look for loops that slip, a wrong length, or another spring on the tester."
    return (
        f"{words} In {_NAMES[unit]} ({unit}) it would fit: the loads are taken for {_NAMES[typed_in]} "
        f"({typed_in}). Is the unit right?"
    )


def _unit_that_fits(rate: float, expected: float, typed_in: str):
    """The unit in which the same numbers would come nearest, if that is near enough, or None."""
    others = {
        unit: rate / N_PER_LOAD_UNIT[typed_in] * N_PER_LOAD_UNIT[unit] for unit in _NAMES if unit != typed_in
    }
    nearest = min(others, key=lambda unit: abs(log(others[unit] / expected)))
    return nearest if _fits(others[nearest], expected) else None


def _fits(rate: float, expected: float):
    return max(rate / expected, expected / rate) <= MAX_OFF * (1.0 + ROUNDING)


def _hardly_known(test: SpringTest):
    error = test.rate_se / test.rate_n_per_mm
    if error <= MAX_ERROR:
        return ""
    return (
        f"The rate is known to {error * 100:.0f} % only, and {MAX_ERROR * 100:.0f} % are the most: weigh it "
        "at more lengths, further apart."
    )
