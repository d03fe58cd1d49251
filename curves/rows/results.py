"""What a build's curve work comes to, as frozen numbers and words: what cards, sheets and guards read."""

from __future__ import annotations

from dataclasses import dataclass, field

from curves import engine
from curves.engine.bands.band import EDGE_DEG
from curves.models import Run

# Where a run lies farthest out of its band; a single reading's miss and a proposal's expected one are others.
AT_POINT, BETWEEN = "at one of its points", "between its points"


@dataclass(frozen=True)
class InBoth:
    """A number and its standard error (None: not known) in both frames."""

    shaft: float
    crank: float
    shaft_error: float | None = None
    crank_error: float | None = None

    @classmethod
    def speed(cls, shaft_rpm: float, drive: engine.Drive) -> InBoth:
        """A speed of the shaft frame in both."""
        return cls(float(shaft_rpm), drive.to_crank_rpm(float(shaft_rpm)))

    @classmethod
    def angle(cls, shaft_deg: float, drive: engine.Drive) -> InBoth:
        """An angle of the shaft frame in both."""
        return cls(float(shaft_deg), drive.to_crank_deg(float(shaft_deg)))


@dataclass(frozen=True)
class Knee:
    """One thing a rebuilder says of a curve: its name, and what it is at."""

    name: str  # begins, first slope, knee, second slope, stops
    speed_rpm: InBoth | None = None
    advance_deg: InBoth | None = None
    slope_deg_per_100_rpm: InBoth | None = None  # degrees and rpm of the same frame


@dataclass(frozen=True)
class Miss:
    """The worst distance outside the band: how far, which side, at which speed."""

    distance_deg: InBoth  # never negative
    side: str  # over, under
    speed_rpm: InBoth
    where: str = ""  # against the band: AT_POINT or BETWEEN


@dataclass(frozen=True)
class RunSummary:
    """One run in words and numbers."""

    run: Run
    in_band: bool | None  # None: no band, or no reading where it is
    miss: Miss | None  # None: in the band, or nothing to judge by
    knees: tuple[Knee, ...] = ()
    top: InBoth | None = None  # the most advance it read, degrees
    uncovered_crank_rpm: tuple[float, ...] = ()  # speeds of the band that it did not reach


@dataclass(frozen=True)
class Begin:
    """Where the advance begins, against idle."""

    speed_rpm: InBoth
    idle_crank_rpm: float | None
    margin_crank_rpm: float | None  # begin less idle; negative when it begins below idle
    enough: bool | None


@dataclass(frozen=True)
class SettingRow:
    """What the light must read at one speed, vacuum line off and plugged."""

    crank_rpm: float
    crank_deg: float | None  # None: the run was not read there
    low_crank_deg: float | None  # the band agreed, shifted by the initial timing; None where none was
    high_crank_deg: float | None
    is_idle: bool = False

    @property
    def is_outside(self) -> bool:
        """Whether what the light must read lies outside what was agreed: the curve, where it was read."""
        if self.crank_deg is None or self.low_crank_deg is None or self.high_crank_deg is None:
            return False
        return not self.low_crank_deg - EDGE_DEG <= self.crank_deg <= self.high_crank_deg + EDGE_DEG


@dataclass(frozen=True)
class CurveWarning:
    """Something unusual that is accepted, in words; ``kind`` is its code."""

    kind: str
    text: str


@dataclass(frozen=True)
class CurveSummary:
    """What a card and a sheet say of a build's curve work."""

    as_received: RunSummary | None = None
    latest: RunSummary | None = None
    final: RunSummary | None = None
    begin: Begin | None = None
    idle_slope_crank_deg_per_100_rpm: float | None = None  # None: idle is not known, or was not read
    initial_crank_deg: float | None = None
    setting_card: tuple[SettingRow, ...] = ()
    total_crank_deg: float | None = None
    total_not_read: bool = False  # the run stops below the speed that the total is asked at
    warnings: tuple[CurveWarning, ...] = field(default=())
    # Of the runs before a final one that was judged: (run, warning), said beside their own run only.
    earlier: tuple[tuple[Run, CurveWarning], ...] = ()

    @property
    def latest_in_band(self) -> bool | None:
        return self.latest.in_band if self.latest else None

    @property
    def final_in_band(self) -> bool | None:
        return self.final.in_band if self.final else None

    @property
    def judged(self) -> RunSummary | None:
        """The run that the setting card and the begin of advance are taken from."""
        return self.final or self.latest or self.as_received
