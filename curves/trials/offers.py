"""What a proposal says to a person: its curve, what to do to the posts, why it, what would help."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from curves import engine
from curves.engine.arrays import Floats
from curves.engine.proposing.helpful import Measurement
from curves.engine.proposing.propose import CHANCE_STEP
from curves.engine.readings import MAX_SPEED_RPM
from curves.models import Build, Run, Spring
from curves.rows import convert, frames
from curves.rows.results import InBoth
from curves.trials import promises
from curves.trials.lessons import Lesson
from curves.trials.log import Trial
from curves.words.english import TERMS, in_percent
from shop.words import several

GRID = 60
BEYOND_BAND = 1.1  # how far past the band's last speed a curve is predicted
NINE_IN_TEN = 1.645  # standard deviations of a normal that hold nine in ten
MIN_BEND_MM = 0.01
SAID_AS_NONE_DEG = 0.05  # at the distributor: nearer than this a tenth of a degree reads 0.0
SAME_RATE = 0.03  # rates nearer than this are called alike
CHANCE_OF = "chance that its run will be judged in the band"  # said wherever a chance stands
ORDER = (  # why one with less of it may stand before one with more: curves/engine/proposing/propose.py
    f"The order goes by these in steps of {CHANCE_STEP * 100:.0f} %, since nearer ones can't be told apart. "
    "Within a step the pair comes first that trimming its posts after its run is likelier to bring into the "
    "band, then the one expected nearer to its middle."
)
RANKS = ("first", "second", "third", "fourth", "fifth")
HEAD_PARTS = {
    "post_gap": "the {} post gap",
    "stretch": "how much the {} gap opens per degree",
    "travel": "the travel",
}


@dataclass(frozen=True)
class Missing:
    """What has to be there before anything can be proposed; ``step`` names where it is done."""

    step: str  # target, run, drawer
    text: str


@dataclass(frozen=True, eq=False)
class Predicted:
    """The curve to expect [shaft rpm, shaft degree], and between which two nine in ten would lie."""

    shaft_rpm: Floats
    mean_deg: Floats
    low_deg: Floats
    high_deg: Floats


@dataclass(frozen=True)
class Bend:
    """What to do to one post; ``to_mm`` counts from where it was measured, ``by_mm`` from where it stands."""

    position: str
    to_mm: float
    by_mm: float
    gap_mm: float | None  # between the posts afterwards; None while the gap was not measured

    @property
    def way(self) -> str:
        """Which way: out opens the gap."""
        return "out" if self.by_mm > 0 else "in"

    @property
    def distance_mm(self) -> float | None:
        """How far, or None to leave it where it is."""
        return abs(self.by_mm) if abs(self.by_mm) >= MIN_BEND_MM else None


@dataclass(frozen=True)
class Offer:
    """One proposal as a screen shows it."""

    place: int
    proposal: engine.Proposal
    primary: Spring
    secondary: Spring | None
    predicted: Predicted
    worst_miss_deg: InBoth
    bends: tuple[Bend, ...]
    travel_deg: InBoth | None  # what to set the stop to; None: leave it
    initial_crank_deg: float | None = None
    initial_moves: bool = False  # its chance is of that initial timing alone
    why: str = ""
    seal: str = ""  # of the chance as it is shown: what the form that takes it brings back

    @property
    def percent(self) -> float:
        return self.proposal.chance * 100

    @property
    def chance(self) -> str:
        return in_percent(self.proposal.chance)

    @property
    def chance_of(self) -> str:
        return f"{CHANCE_OF} with {self.only_at}" if self.only_at else CHANCE_OF

    @property
    def only_at(self) -> str:
        """The initial timing that its chance holds at alone, in words; nothing where it stands fixed."""
        return promises.at_initial(self.initial_crank_deg) if self.initial_moves else ""

    @property
    def prospect(self) -> str:
        """The chance that trimming its posts brings it into the band, once it was run."""
        return in_percent(self.proposal.prospect)

    @property
    def trims(self) -> bool:
        """Whether trimming adds anything that a person would see."""
        return self.proposal.prospect > self.proposal.chance and self.prospect != self.chance

    @property
    def pair(self) -> str:
        return f"{self.primary} + {self.secondary}" if self.secondary else str(self.primary)

    @property
    def keys(self) -> tuple[int, int | None]:
        return self.primary.pk, self.secondary.pk if self.secondary else None

    def is_fitted_in(self, run: Run) -> bool:
        """Whether it is this very pair with these very bends that a run was made for."""
        stands = run.primary_bend_mm, run.secondary_bend_mm
        off = [abs(asked - is_at) for asked, is_at in zip(self.proposal.post_bend_mm, stands, strict=True)]
        return self.keys == (run.primary_id, run.secondary_id) and max(off) < MIN_BEND_MM


@dataclass(frozen=True)
class Measuring:
    """The measurement that would help most to choose: what, by how much, and of which spring."""

    what: str
    gain_percent: float
    spring: Spring | None


def missing(
    band: engine.Target | None, taught: Sequence[Lesson], primaries: Sequence[engine.Spring | None]
) -> Iterator[Missing]:
    """What is wanting before the engine can propose anything."""
    if band is None:
        yield Missing("target", "A target: the band that the curve has to lie in.")
    if not taught:
        yield Missing("run", "A run that was read: as it came in, or with any pair.")
    if not primaries:
        yield Missing("drawer", "A primary spring in the drawer.")


def predict(
    calibration: engine.Calibration,
    proposal: engine.Proposal,
    band: engine.Target,
    travel_deg: float | None = None,
) -> Predicted:
    """The curve to expect from a proposal, from rest to past the band; with another travel if given."""
    speeds = np.linspace(0.0, min(BEYOND_BAND * float(band.speed_rpm[-1]), MAX_SPEED_RPM), GRID)
    # Where the band bends is where a curve is read off: those speeds are met exactly.
    speeds = np.unique(np.concatenate([speeds, band.speed_rpm]))
    mean, sd = calibration.curve(
        proposal.primary,
        proposal.secondary,
        speeds,
        post_bend_mm=proposal.post_bend_mm,
        travel_deg=travel_deg,
    )
    reach = NINE_IN_TEN * sd
    return Predicted(speeds, mean, np.maximum(mean - reach, 0.0), mean + reach)


def bends(proposal: engine.Proposal, build: Build, newest: Run | None) -> tuple[Bend, ...]:
    """What to do to each post of a proposal, from where the newest run left it, or is to find it."""
    primary, secondary = proposal.post_bend_mm
    wanted = (
        {"primary": primary} if proposal.secondary is None else {"primary": primary, "secondary": secondary}
    )
    return bends_to(wanted, build, newest)


def bends_to(wanted_mm: Mapping[str, float], build: Build, newest: Run | None) -> tuple[Bend, ...]:
    """What to do to posts, by position, that are to stand so far from where they were measured."""
    made = []
    for position, to in wanted_mm.items():
        stands = getattr(newest, f"{position}_bend_mm") if newest else 0.0
        measured = getattr(build, f"{position}_gap_mm")
        made.append(Bend(position, to, to - stands, None if measured is None else measured + to))
    return tuple(made)


def why(
    offer: Offer, log: Sequence[Trial], band: engine.Target, drive: engine.Drive, pairs: int, frame: str
) -> str:
    """Why a pair was proposed, in one sentence: what the newest trial missed, and what is to change there; in
    the frame of who types, the other beside."""
    read = [one for one in log if one.run.kind != Run.Kind.AS_RECEIVED and one.in_band is not None]
    if not read:
        rank = f"{RANKS[offer.place - 1]} of {several(pairs, 'pair')} in the drawer"
        return f"It ranks {rank}, going by {_named(log)}."
    before = next((one for one in reversed(read) if one.pair == offer.keys), read[-1])
    change = _with_the_same(offer, before.run) if before.pair == offer.keys else _against(offer, before.run)
    if before.in_band:
        found = f"{before.run} lay in the band{_moved(before)}"
        return f"{found}; {change}, the {offer.chance_of} is {offer.chance}."
    miss = before.miss
    assert miss is not None  # a run outside the band misses it somewhere
    found = f"{before.run} lay {frames.angle(miss.distance_deg, frame)} {miss.side} the band"
    found += f"{_moved(before)} at {frames.speed(miss.speed_rpm, frame)}, {miss.where}"
    expected = f"{change} it is expected {_beside(offer, band, miss.speed_rpm.shaft, drive, frame)} there"
    return f"{found}; {expected}."


def _moved(trial: Trial):
    """The initial timing that a verdict took as set, in words; nothing where it stands fixed."""
    at = promises.at_initial(trial.initial_crank_deg)
    return at and f" with {at}"


def _named(log: Sequence[Trial]):
    """The runs that taught, in words."""
    runs = [str(one.run).lower() for one in log if one.teaches]
    return runs[0] if len(runs) == 1 else f"{', '.join(runs[:-1])} and {runs[-1]}"


def _with_the_same(offer: Offer, run: Run):
    """What to change since a run with this very pair."""
    words = []
    for place, bend in enumerate(offer.bends):
        by = offer.proposal.post_bend_mm[place] - getattr(run, f"{bend.position}_bend_mm")
        if abs(by) >= MIN_BEND_MM:
            words.append(f"the {bend.position} post {abs(by):.2f} mm farther {'out' if by > 0 else 'in'}")
    if offer.travel_deg:
        words.append("the stop set closer")
    return f"with {' and '.join(words)} than then" if words else "run again as it was"


def _against(offer: Offer, run: Run):
    """What differs from the pair of a run, the rates side by side where both are known."""
    words = []
    for position in ("primary", "secondary"):
        new, old = getattr(offer, position), getattr(run, position)
        if new is not None and new != old:
            words.append(_compared(position, new, old))
    return f"with {' and '.join(words)}" if words else "with this pair"


def _compared(position: str, new: Spring, old: Spring | None):
    if old is None or new.rate_n_per_mm is None or old.rate_n_per_mm is None:
        return f"another {position}"
    ratio = new.rate_n_per_mm / old.rate_n_per_mm
    if abs(ratio - 1.0) >= SAME_RATE:
        kind = "stiffer" if ratio > 1 else "softer"
        return f"a {kind} {position} ({new.rate_n_per_mm:.2f} N/mm against {old.rate_n_per_mm:.2f})"
    if new.free_length_mm and old.free_length_mm and new.free_length_mm != old.free_length_mm:
        kind = "longer" if new.free_length_mm > old.free_length_mm else "shorter"
        return f"a {kind} {position} ({new.free_length_mm:.1f} mm against {old.free_length_mm:.1f})"
    return f"another {position} much like it"


def _beside(offer: Offer, band: engine.Target, shaft_rpm: float, drive: engine.Drive, frame: str):
    """How far from the middle of the band a proposal is expected at a speed, in words."""
    curve = engine.Curve(offer.predicted.shaft_rpm, offer.predicted.mean_deg)
    middle = engine.Curve(band.speed_rpm, band.advance_deg)
    off = InBoth.angle(curve.at(shaft_rpm) + offer.proposal.initial_deg - middle.at(shaft_rpm), drive)
    if abs(off.shaft) < SAID_AS_NONE_DEG:
        return "in the middle of the band"
    side = "over" if off.shaft > 0 else "under"
    return f"{frames.shaft_angle(abs(off.shaft), frame, drive)} {side} its middle"


def measuring(measurement: Measurement, rows: Iterable[Spring]) -> Measuring:
    """The engine's advice on what to measure, as a person would say it."""
    label = measurement.spring
    spring = next((row for row in rows if row.label == label), None)
    if label is None:
        what = HEAD_PARTS[measurement.quantity].format(measurement.position)
    else:
        what = f"the {TERMS[measurement.quantity]} of {label if spring else f'the {label}'}"
    return Measuring(what, measurement.gain * 100, spring)


@dataclass(frozen=True)
class Expected:
    """What a proposal is expected to do at one speed of the band, and what the band asks there."""

    speed_rpm: InBoth
    advance_deg: InBoth
    low_deg: InBoth  # nine in ten lie from here
    high_deg: InBoth  # to here
    band_low_deg: InBoth
    band_high_deg: InBoth

    @property
    def inside(self) -> bool:
        return self.band_low_deg.shaft <= self.advance_deg.shaft <= self.band_high_deg.shaft


def at_band(offer: Offer, band: engine.Target, drive: engine.Drive) -> tuple[Expected, ...]:
    """The prediction at the band's own speeds: the twin of the drawing, for the centrifugal curve."""
    band = convert.band_below(band, offer.proposal.initial_deg)
    found = offer.predicted
    rows = []
    for place, rpm in zip(np.searchsorted(found.shaft_rpm, band.speed_rpm), band.speed_rpm, strict=True):
        low, high = engine.band_edges(band, float(rpm))
        angles = (found.mean_deg[place], found.low_deg[place], found.high_deg[place], low, high)
        rows.append(Expected(InBoth.speed(rpm, drive), *(InBoth.angle(angle, drive) for angle in angles)))
    return tuple(rows)


def model_line(offer: Offer, drive: engine.Drive) -> tuple[str, Floats, Floats, Floats, Floats]:
    """The prediction as a chart draws it: label, crank rpm, then crank degrees, low and high."""
    found = offer.predicted
    mean, low, high = (drive.to_crank_deg(part) for part in (found.mean_deg, found.low_deg, found.high_deg))
    return f"expected, {offer.pair}", drive.to_crank_rpm(found.shaft_rpm), mean, low, high
