"""What was said of a pair as it was chosen: sealed into the page, kept with its run, and what came of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.core import signing

from curves import engine
from curves.models import Build
from curves.words.english import in_percent

SIGNER = signing.Signer(salt="curves.trials.promises")
SAME_MM = 1e-6


@dataclass(frozen=True)
class Promise:
    """The chance that was shown, and whether its run was judged in the band it was of; None: not yet."""

    chance: float
    kept: bool | None
    same_band: bool
    initial_crank_deg: float | None = None  # what it was said to hold at alone, where the timing could move

    @property
    def shown(self) -> str:
        """The chance as it was shown."""
        return _shown(self.chance, self.initial_crank_deg)

    @property
    def words(self) -> str:
        """What was said and what came of it, in one sentence."""
        of = "" if self.same_band else ", of the band as it was then"
        came = {True: ", and it came true", False: ", and it did not come true", None: ""}[self.kept]
        return f"A chance of {self.shown} was shown when it was chosen{of}{came}."


def columns_of(band: engine.Target) -> list[Any]:
    """A band as plain data: speeds, advances, tolerances, the range of initial timing."""
    parts = (band.speed_rpm, band.advance_deg, band.tolerance_deg)
    return [*(part.tolist() for part in parts), list(band.initial_range_deg)]


def band_of(columns: Any) -> engine.Target:
    """The band of such data."""
    *parts, allowed = columns
    return engine.Target(*parts, initial_range_deg=tuple(allowed))


def initial_of(promised: dict[str, Any]) -> float | None:
    """The initial timing [crank degree] that a kept chance holds at alone; None where it stood fixed, or the
    chance was kept before that was kept with it."""
    return promised.get("initial_crank_deg")


def words_of(promised: dict[str, Any]) -> str:
    """The chance that is kept with a run, as people say it."""
    return _shown(promised["chance"], initial_of(promised))


def at_initial(initial_crank_deg: float | None) -> str:
    """The initial timing that a chance holds at alone, in words; nothing where it stands fixed."""
    return "" if initial_crank_deg is None else f"the initial timing at {initial_crank_deg:.1f} crank degrees"


def sealed(
    build: Build,
    keys: Sequence[int | None],
    bends_mm: tuple[float, float],
    chance: float,
    band: engine.Target,
    initial_crank_deg: float | None = None,
) -> str:
    """What a form brings back of a chance as it is shown; nobody can change it on the way."""
    said = {"chance": chance, "band": columns_of(band)}
    if initial_crank_deg is not None:
        said["initial_crank_deg"] = initial_crank_deg
    return SIGNER.sign_object({"pair": _pair(build, keys, bends_mm), "said": said})


def opened(
    seal: str, build: Build, keys: Sequence[int | None], bends_mm: tuple[float, float]
) -> dict[str, Any] | None:
    """What was shown of this very pair at these bends on this card, to be kept with its run, or None."""
    try:
        found = SIGNER.unsign_object(seal)
    except signing.BadSignature:
        return None
    *of, first, second = found["pair"]
    *asked, primary, secondary = _pair(build, keys, bends_mm)
    near = max(abs(first - primary), abs(second - secondary)) < SAME_MM
    return found["said"] if of == asked and near else None


def _shown(chance: float, initial_crank_deg: float | None):
    percent = in_percent(chance)
    return percent if initial_crank_deg is None else f"{percent} with {at_initial(initial_crank_deg)}"


def _pair(build: Build, keys: Sequence[int | None], bends_mm: tuple[float, float]):
    return [build.pk, *keys, *map(float, bends_mm)]
