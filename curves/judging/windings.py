"""A copper winding's resistance at 20 °C, from what was measured at another temperature."""

from __future__ import annotations

from curves import engine

USUAL_C = (0.0, 45.0)
LIMITS_C = 20.0  # where the trade's limits hold, and a maker's unless it says otherwise
_DIGITS = 4  # no ohmmeter of a workshop reads finer


def at_20(resistance: float, part_temp_c: float) -> float:
    """A winding's resistance at 20 °C, in the unit it was measured in, to four digits."""
    cold = engine.copper_resistance(resistance, part_temp_c, LIMITS_C)
    return float(f"{cold:.{_DIGITS}g}")


def unusual(part_temp_c: float) -> str:
    """What is unusual about a part's temperature, in words; empty while nothing is."""
    if USUAL_C[0] <= part_temp_c <= USUAL_C[1]:
        return ""
    said = f"{part_temp_c:g} °C".replace("-", "−") + " is unusual for a part on a bench."
    if part_temp_c < USUAL_C[0]:
        return said
    return f"{said} If the thermometer reads Fahrenheit, that is {(part_temp_c - 32) / 1.8:.0f} °C."
