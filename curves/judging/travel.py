"""The one travel of a head: when it lies apart from its stamping, and when what was inspected becomes it."""

from __future__ import annotations

from dataclasses import dataclass

from curves import engine
from curves.models import Build
from curves.models.builds import TRAVEL_DEG
from curves.rows import convert

APART_DEG = 3.0  # distributor degrees; common practice, no source
AGREES_DEG = 2.0  # a stamping is often off by a degree or two
COUNTS = "The measured one counts."
_PLACES = 6  # no dust of a subtraction
_LEAST, _MOST = TRAVEL_DEG


@dataclass(frozen=True)
class Offer:
    """A travel measured at the inspection that the head doesn't have [both distributor degrees]."""

    inspected_deg: float
    head_deg: float | None

    @property
    def fits(self) -> bool:
        """Whether a head can have it at all."""
        return _LEAST <= self.inspected_deg <= _MOST

    @property
    def seen(self) -> str:
        """What the form that takes it over sends back: the value that was shown."""
        return f"{self.inspected_deg:.10g}"

    @property
    def said(self) -> str:
        head = "has none" if self.head_deg is None else f"says {self.head_deg:g}, and that counts"
        beyond = "" if self.fits else f" No head is taken to have that: {_LEAST:g} to {_MOST:g} can be."
        return (
            f"The inspection measured a travel of {self.inspected_deg:g} distributor degrees; "
            f"the advance head {head}.{beyond}"
        )


def inspected_deg(build: Build, value: float | None, unit: str) -> float | None:
    """A travel typed in a unit of the shop's list, in distributor degrees; None where it is no angle."""
    unit = unit.casefold()
    if value is None or not ("deg" in unit or "°" in unit):
        return None
    return round(convert.drive_of(build).to_shaft_deg(value), _PLACES) if "crank" in unit else value


def offer_on(build: Build, measured_deg: float | None) -> Offer | None:
    """What may be taken over into a build's head of a travel measured at its inspection, or None."""
    if measured_deg is None or measured_deg == build.travel_measured_deg:
        return None
    return Offer(measured_deg, build.travel_measured_deg)


def is_filled_by(build: Build, measured_deg: float | None) -> bool:
    """Whether the head takes this travel over by itself: it has none, and no other is lost."""
    offer = offer_on(build, measured_deg)
    return offer is not None and offer.head_deg is None and offer.fits


def apart_on(build: Build, measured_deg: float | None) -> str:
    """What is said of a travel measured on a build's head, against its stamping; empty while nothing is."""
    return apart(
        build.travel_stamped_deg, measured_deg, convert.drive_of(build), counts=_counts(build, measured_deg)
    )


def _counts(build: Build, measured_deg: float | None):
    """Which travel everything is reckoned with, when this one was measured at the inspection."""
    head_deg = build.travel_measured_deg
    if head_deg == measured_deg:
        return COUNTS
    if head_deg is None:
        return "It counts once the advance head has it."
    return f"The advance head says {head_deg:g}, and that counts."


def apart(
    stamped_deg: float | None, measured_deg: float | None, drive: engine.Drive, *, counts: str = COUNTS
) -> str:
    """What is said of a travel off its stamping [both distributor degrees]; empty while nothing is.

    ``counts``: which one everything is reckoned with, in a sentence.
    """
    if stamped_deg is None or measured_deg is None:
        return ""
    off = round(measured_deg - stamped_deg, _PLACES)
    if abs(off) < APART_DEG:
        return ""
    side = "more" if off > 0 else "less"
    return (
        f"Travel measured is {measured_deg:g} distributor degrees, {abs(off):g} {side} than the "
        f"{stamped_deg:g} stamped.{_asked(stamped_deg, measured_deg, off, drive)} "
        f"{counts}"
    )


def _asked(stamped_deg: float, measured_deg: float, off: float, drive: engine.Drive):
    """Whether the number would fit its stamping, had it been read at the crank."""
    turned = drive.to_shaft_deg(measured_deg)
    still_off = abs(turned - stamped_deg)
    if still_off > AGREES_DEG or still_off >= abs(off):
        return ""
    at_the_crank = f"{measured_deg:g} at the crank are {round(turned, 2):g} at the distributor"
    return f" Did you type crank degrees? {at_the_crank}."
