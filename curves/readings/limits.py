"""What can be read at all, and what usually is: the one table, in the distributor's frame.

What no instrument shows is refused where it is typed; what is unusual is kept and said there. The limits of a
number by itself stand at the models' fields; here they meet the cylinders, which set the sparks apart.
"""

from __future__ import annotations

from typing import Any, cast

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db.models import Field

from curves.engine.trigger.sparks import SPACING_LIMIT_DEG
from curves.models import KINDS

TURN_DEG = 360  # of the distributor: one spark for each cylinder
# Shares of the angle between two sparks, and distributor degrees: common practice, no source.
USUAL_DWELL = (0.4, 0.8)
USUAL_ADVANCE_DEG = (-2, 20)
USUAL_VACUUM_DEG = (-1, 15)


def apart_deg(cylinders: int | None) -> float | None:
    """The angle from one spark to the next [distributor degree], or None while nobody wrote the cylinders."""
    return TURN_DEG / cylinders if cylinders else None


def possible(kind: str, name: str, cylinders: int | None = None) -> tuple[float, float]:
    """From where to where a field of a kind of reading goes, both included."""
    validators = cast("Field[Any, Any]", KINDS[kind]._meta.get_field(name)).validators
    low = max(one.limit_value for one in validators if isinstance(one, MinValueValidator))
    high = min(one.limit_value for one in validators if isinstance(one, MaxValueValidator))
    apart = apart_deg(cylinders)
    if cylinders is None or apart is None:
        return low, high
    if (kind, name) == ("spark", "cylinder"):
        return low, min(high, cylinders)
    if (kind, name) == ("spark", "offset_deg"):  # beyond half of it, it is the next cylinder's spark
        return max(low, -apart / 2), min(high, apart / 2)
    return (low, min(high, apart)) if name == "dwell_deg" else (low, high)


def usual(kind: str, cylinders: int | None = None) -> tuple[float, float] | None:
    """From where to where the value of a kind usually lies, or None where nothing is usual."""
    apart = apart_deg(cylinders)
    if kind == "dwell":
        return (USUAL_DWELL[0] * apart, USUAL_DWELL[1] * apart) if apart else None
    return {
        "reading": USUAL_ADVANCE_DEG,
        "spark": (-SPACING_LIMIT_DEG, SPACING_LIMIT_DEG),
        "vacuum": USUAL_VACUUM_DEG,
    }[kind]
