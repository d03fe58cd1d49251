"""How a closed vacuum capsule holds: lost in a minute, by a vacuum at the start and one later."""

from __future__ import annotations

from dataclasses import dataclass
from math import isinf

from curves import engine
from curves.engine.units import KPA_PER_INHG
from shop.words import several

MINUTE_S = 60.0
LEAST_START_KPA = 30.0  # a pump is usually drawn to 50 or more; a gauge in inHg ends at 30. Common practice
_PLACES = 2


@dataclass(frozen=True)
class Leak:
    """What a capsule loses in its first minute, what the gauge leaves open [kPa]; when half is gone [s]."""

    lost_kpa: float
    lost_se_kpa: float
    half_time_s: float | None  # None: within what was read nothing is lost; 0: all was gone

    @property
    def half_said(self) -> str:
        if self.half_time_s is None:
            return "no loss to be seen"
        if self.half_time_s == 0:
            return "nothing is left"
        seconds = round(self.half_time_s)
        if seconds < 2 * MINUTE_S:
            return f"half is gone in {several(max(seconds, 1), 'second')}"
        minutes = round(self.half_time_s / MINUTE_S)
        return f"half is gone in {several(minutes, 'minute')}" if minutes < 120 else "half is gone in hours"


def impossible(start_kpa: float, held_s: float, left_kpa: float) -> dict[str, str]:
    """Why three such readings can't be of one capsule: {name: words}; empty where they can."""
    if start_kpa <= 0:
        return {
            "start_kpa": "Nothing can leak where there is no vacuum: where the capsule takes none, leave "
            "these empty and say repair or replace."
        }
    if left_kpa > start_kpa:
        return {
            "left_kpa": f"More is left than the {start_kpa:g} kPa at the start: was it pumped again? "
            "Read both anew."
        }
    if left_kpa == 0 and held_s > MINUTE_S:
        return {
            "held_s": f"Nothing left after {held_s:g} s doesn't say how much went in a minute: read it again "
            "within 60 s."
        }
    return {}


def leak_of(start_kpa: float, held_s: float, left_kpa: float) -> Leak:
    """What three readings say of a capsule; they are possible."""
    if left_kpa == 0:
        return Leak(start_kpa, 0.0, 0.0)
    found = engine.leak_down([0.0, held_s], [start_kpa, left_kpa], within_s=MINUTE_S)
    still = left_kpa == start_kpa or isinf(found.half_time_s)
    return Leak(
        round(start_kpa * found.loss_share, _PLACES) + 0.0,
        start_kpa * found.loss_share_se,
        None if still else found.half_time_s,
    )


def unusual(start_kpa: float, leak: Leak, limit_kpa: float | None) -> str:
    """What speaks against taking the readings as they are, by a limit or None; empty while nothing does."""
    said = []
    if start_kpa <= LEAST_START_KPA:
        said.append(
            f"{start_kpa:g} kPa is little to begin with: draw 50 kPa or more. If the gauge reads inHg, that "
            f"is {start_kpa * KPA_PER_INHG:.0f} kPa."
        )
    if limit_kpa is not None and abs(leak.lost_kpa - limit_kpa) < leak.lost_se_kpa:
        said.append(
            f"The gauge leaves ±{leak.lost_se_kpa:.1f} kPa open, and the limit lies within: hold it for "
            "longer."
        )
    return " ".join(said)
