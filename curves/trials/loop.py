"""The loop of spring trials: what the runs so far teach of a head, and what to hang in it next."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from curves import engine
from curves.judging import proof, timing
from curves.models import Build, Run, Spring
from curves.rows import convert, queries, stock
from curves.rows.convert import Agreed
from curves.rows.results import InBoth
from curves.trials import firstlook, offers, promises, reading_plan
from curves.trials import log as triallog
from curves.trials.lessons import Lesson, lessons
from curves.trials.log import Trial
from curves.trials.offers import Measuring, Missing, Offer
from curves.trials.reading_plan import Way
from curves.words.english import in_percent
from curves.words.reader import Reader

BEND_LIMIT_MM = 0.5
COUNT = 5  # proposals that a person looks at
TRAVEL_STEP_DEG = 0.5
RunAsKey = tuple[Any, ...]  # primary, secondary, speeds, advances, falling, scale, bends
Side = tuple[engine.Spring, ...]
REMEMBERED = 24  # questions answered lately; the engine gives the same answer to the same question


@dataclass(frozen=True)
class Choices:
    """What the person allows: how far posts may be bent, how small the travel may be made, initial timing."""

    bend_limit_mm: float = BEND_LIMIT_MM
    least_travel_deg: float | None = None  # distributor degrees; None: the stop stays
    initial_moves: bool = False  # in the range agreed, instead of where it is agreed to be


@dataclass(frozen=True)
class TrialState:
    """Where the trials of a build stand; frozen, and free of queries once made."""

    build: Build
    choices: Choices
    drive: engine.Drive
    band: engine.Target | None
    missing: tuple[Missing, ...]
    log: tuple[triallog.Trial, ...]
    springs: proof.Springs | None = None
    final: proof.Proof | None = None  # what the final run comes to, while no trial is newer
    offers: tuple[Offer, ...] = ()
    absent: tuple[Spring, ...] = ()  # none is left, or all are out elsewhere
    pairs: int = 0  # how many the drawer makes
    little_hope: tuple[str, ...] = ()  # what to do where no pair has a fair chance
    read_as: str = ""  # how the run is taken to be read, of whose verdict the chances are
    look_first: tuple[str, ...] = ()
    belief: float = 1.0  # the share of a chance that is left for how earlier forecasts came out
    measurement: Measuring | None = None
    warnings: tuple[str, ...] = ()
    calibration: engine.Calibration | None = None
    question: Question | None = None
    promise_of_waiting: promises.Promise | None = None  # as its pair was chosen
    waiting: Run | None = None  # what hangs in the unit by now, and was not read, or not over the whole band

    @property
    def chance_of(self) -> str:
        """What every chance here is of, in words."""
        also = ", with the initial timing said beside it" if self.choices.initial_moves else ""
        return f"{offers.CHANCE_OF}{also}"

    @property
    def order(self) -> str:
        """Why the offers stand in the order in which they do."""
        return offers.ORDER

    @property
    def last(self) -> Trial | None:
        """The newest trial or final run that was read, or None."""
        return next((one for one in reversed(self.log) if one.run.kind != Run.Kind.AS_RECEIVED), None)

    @property
    def done(self) -> bool:
        """Whether the springs are found, as the card says it; a final run asks for more, see ``final``."""
        return bool(self.springs and self.springs.in_band)

    @property
    def nothing_left(self) -> bool:
        """Whether the final run is proved, with what hangs in the unit."""
        return bool(self.final and self.final.is_proved)

    @property
    def unproved(self) -> proof.Proof | None:
        """The final run of springs that are found, where more must be read or mended until it is proved."""
        return self.final if self.final and not (self.nothing_left or self.final.is_out_of_band) else None

    @property
    def final_hangs(self) -> bool:
        """Whether nothing was fitted since the final run, so that reading on goes on with it."""
        return self.final is not None and queries.hangs_in(self.build) == self.final.run

    @property
    def only_moved(self) -> Trial | None:
        """The newest run, where it lies in the band only with the initial timing moved; None otherwise.

        Card, sheet and gate judge the curve as it was agreed: to them it is not found.
        """
        last = self.last
        is_moved = last is not None and last.in_band and last.initial_crank_deg is not None
        return last if is_moved and not (self.done or self.waiting) else None

    @property
    def is_begun(self) -> bool:
        """Whether something was read of what waits."""
        return bool(self.waiting and self.log and self.log[-1].run == self.waiting)

    @property
    def is_untouched(self) -> bool:
        """Whether nothing at all was read of what waits: its pair may never have hung there."""
        return bool(self.waiting and queries.is_unread(self.waiting))

    @property
    def others(self) -> tuple[Offer, ...]:
        """The offers, but for the pair that waits to be read."""
        return tuple(one for one in self.offers if not self.waiting or one.keys != _keys(self.waiting))

    @property
    def hangs(self) -> Offer | None:
        """The offer that was taken up, as long as its run is not read; None without one."""
        return next((one for one in self.offers if self.waiting and one.is_fitted_in(self.waiting)), None)

    @property
    def frame(self) -> str:
        """The frame of who types: proposals speak it first."""
        return queries.typed_in(self.build)

    @property
    def initial_may_move(self) -> bool:
        """Whether a range of initial timing was agreed, not one value."""
        target = getattr(self.build, "target", None)
        return target is not None and target.initial_low_crank_deg < target.initial_high_crank_deg


@dataclass(frozen=True)
class Question:
    """All that an answer of the engine depends on, so that an answer can be remembered."""

    head: engine.Head
    runs: tuple[RunAsKey, ...]  # of (primary, secondary, speeds, advances, falling, scale, bends)
    band: tuple[Any, ...]  # speeds, advances, tolerances, range of initial timing
    primaries: Side
    secondaries: Side
    tried: tuple[tuple[Any, Any, Any], ...]
    choices: Choices
    read: tuple[Any, ...]  # speeds, falling, scale: how the next run is taken to be read

    @property
    def sweeps(self) -> engine.Sweeps:
        *columns, scale_deg = self.read
        return engine.Sweeps(*columns, scale_deg=scale_deg)

    @property
    def target(self) -> engine.Target:
        *columns, allowed = self.band
        return engine.Target(*columns, initial_range_deg=allowed)

    @property
    def smaller_travels(self) -> tuple[float, ...]:
        """The travels to offer, from the least allowed to just below the present one [shaft degree]."""
        present, least = self.head.travel_deg, self.choices.least_travel_deg
        if least is None or present is None or least >= present:
            return ()
        return tuple(np.arange(least, present - TRAVEL_STEP_DEG / 2, TRAVEL_STEP_DEG).tolist())


def trial_state(build: Build, choices: Choices | None = None, *, cylinders: int | None = None) -> TrialState:
    """Calibrate on the runs that teach, and rank what the drawer holds against the target.

    ``build`` comes with its runs, readings and target, as from ``build_for`` or ``card_for``; three more
    queries fetch the drawer, what of it is in the unit, and what other jobs taught of it, and one the bench
    speeds while no run is whole. In the request: some 30 ms for the calibration and twenty times that for the
    ranking, once for each new question. ``cylinders``: of the engine, as scatter and dwell are judged by.
    """
    choices = choices or Choices()
    drive = convert.drive_of(build)
    drawer = stock.with_held(queries.drawer(build), build).prefetch_related("corrections")
    rows = {row.pk: row for row in drawer}
    taught = lessons(build, rows)
    target = getattr(build, "target", None)
    band = target_for(target, drive, choices)
    bands = [target_for(target, drive, Choices(initial_moves=moves)) for moves in (False, True)]
    judged = (triallog.trial_of(lesson, band, bands, drive) for lesson in taught)
    log = tuple(_proved(one, build, cylinders) for one in judged)
    sides = _sides(rows.values(), build)
    missing = tuple(offers.missing(band, [one for one in taught if one.teaches], sides[0]))
    absent = tuple(row for row in rows.values() if not row.quantity and not row.held)
    state: dict[str, Any] = {
        "build": build,
        "choices": choices,
        "drive": drive,
        "band": band,
        "log": log,
        "absent": absent,
    }
    state["springs"] = proof.springs_of(build)
    state["final"] = _final(build, log, cylinders)
    state["waiting"] = waiting = _waiting(build, log, band)
    state["promise_of_waiting"] = waiting and triallog.promise_of(waiting, bands, drive)
    if not any(lesson.teaches for lesson in taught):
        return TrialState(**state, missing=missing)
    way = reading_plan.way_of(taught, band)
    question = _question(build, taught, log, band, sides, choices, way)
    calibration = calibrated(question.head, question.runs)
    state |= {"calibration": calibration, "question": question}
    teachers = tuple(one.run for one in taught if one.teaches)
    reader = Reader(queries.typed_in(build), drive, runs=teachers)
    warnings = reader.all_words(calibration.warnings)
    if missing or band is None:
        return TrialState(**state, missing=missing, warnings=warnings)
    found = proposed(question)
    felt = reading_plan.newest_whole([one for one in taught if one.teaches], band) or taught[-1]
    pairs = len(question.primaries) * max(len(question.secondaries), 1)
    newest = state["waiting"] or (log[-1].run if log else None)
    maker = _Maker(state["calibration"], question, rows, build, target, band, drive, log, newest, pairs)
    made = tuple(
        maker.offer(place, proposal)
        for place, proposal in enumerate(_to_offer(found, rows, state, log), start=1)
    )
    return TrialState(
        **state,
        missing=(),
        warnings=warnings,
        offers=made,
        pairs=pairs,
        little_hope=reader.all_words(found.warnings),
        read_as=way.words,
        look_first=tuple(firstlook.look_first(found, felt, log, drive, queries.typed_in(build))),
        belief=found.belief,
        measurement=offers.measuring(found.measurement, rows.values()) if found.measurement else None,
    )


def target_for(target: Agreed | None, drive: engine.Drive, choices: Choices) -> engine.Target | None:
    """The band that proposals aim at, in the shaft frame, or None.

    As a rule the band of the centrifugal curve, as a bench run is judged. Where the initial timing may move,
    it is the band of the timing as a light reads it, about the timing agreed or the middle of its range.
    """
    if target is None or not choices.initial_moves:
        return convert.target_of(target, drive)
    return convert.target_of(target, drive, initial_crank_deg=timing.agreed_initial(target))


@lru_cache(maxsize=REMEMBERED)
def calibrated(head: engine.Head, runs: tuple[RunAsKey, ...]) -> engine.Calibration:
    """The engine's calibration of a head on runs that came as tuples."""
    made = [
        engine.Run(first, second, speeds, advances, falling=falling, scale_deg=scale, post_bend_mm=bends)
        for first, second, speeds, advances, falling, scale, bends in runs
    ]
    return engine.calibrate(head, made)


@lru_cache(maxsize=REMEMBERED)
def proposed(question: Question) -> engine.Proposals:
    """The engine's proposals."""
    return engine.propose(
        calibrated(question.head, question.runs),
        question.target,
        question.primaries,
        question.secondaries,
        tried=question.tried,
        count=COUNT,
        post_bend_limit_mm=question.choices.bend_limit_mm,
        smaller_travels_deg=question.smaller_travels,
        sweeps=question.sweeps,
    )


@lru_cache(maxsize=REMEMBERED)
def wanted(question: Question, position: str, other: engine.Spring | None) -> engine.WantedSpring:
    """The spring to look for in a place, beside the one that would hang in the other."""
    calibration = calibrated(question.head, question.runs)
    return engine.wanted_spring(calibration, question.target, position, other, sweeps=question.sweeps)


def hashable_run(run: engine.Run) -> RunAsKey:
    """A run of the engine as a tuple: the same readings are the same question."""
    return (
        run.primary,
        run.secondary,
        tuple(run.speed_rpm.tolist()),
        tuple(run.advance_deg.tolist()),
        tuple(run.falling.tolist()),
        run.scale_deg,
        tuple(run.post_bend_mm),
    )


def _question(
    build: Build,
    taught: Sequence[Lesson],
    log: Sequence[Trial],
    band: engine.Target | None,
    sides: tuple[Side, Side],
    choices: Choices,
    way: Way,
):
    head = convert.head_of(build, learned=convert.learned_of(build.head_type))
    tried = tuple(
        (
            lesson.teaches.primary.key,
            getattr(lesson.teaches.secondary, "key", None),
            lesson.teaches.post_bend_mm,
        )
        for lesson, one in zip(taught, log, strict=True)
        if lesson.teaches and one.in_band is False and one.run.primary_id
    )
    columns = (
        ()
        if band is None
        else (
            *(tuple(part.tolist()) for part in (band.speed_rpm, band.advance_deg, band.tolerance_deg)),
            band.initial_range_deg,
        )
    )
    runs = tuple(hashable_run(lesson.teaches) for lesson in taught if lesson.teaches)
    read = (way.speed_rpm, way.falling, build.scale_deg)
    return Question(head, runs, columns, *sides, tried, choices, read)


def _sides(rows: Iterable[Spring], build: Build):
    """What can hang in either place: what lies in the drawer, and what hangs in this unit already."""
    either = Spring.Position.EITHER
    first, second = (
        tuple(
            convert.spring_of(row, position=place, build=build)
            for row in rows
            if row.position in (place, either) and (row.quantity or row.held)
        )
        for place in (Spring.Position.PRIMARY, Spring.Position.SECONDARY)
    )
    return first, second


def _with_enough(found: engine.Proposals, rows: Mapping[int, Spring]):
    """The proposals for which there are springs enough: two of a kind take two."""
    free: dict[Any, int] = {row.label: row.quantity + row.held for row in rows.values()}
    for proposal in found:
        keys = [one.key for one in (proposal.primary, proposal.secondary) if one]
        if len(set(keys)) == len(keys) or free[keys[0]] > 1:
            yield proposal


def _to_offer(
    found: engine.Proposals, rows: Mapping[int, Spring], state: dict[str, Any], log: Sequence[Trial]
):
    """The proposals that can be hung, but for what hangs there as it is, once that was found good."""
    ready = _with_enough(found, rows)
    read = [one.run for one in log if one.run.kind != Run.Kind.AS_RECEIVED]
    if not (read and state["springs"].in_band):
        return ready
    smaller = state["question"].smaller_travels
    return [one for one in ready if one.travel_deg in smaller or not _hangs_so(one, read[-1])]


def _hangs_so(proposal: engine.Proposal, run: Run):
    """Whether a run was read of this very pair with these very bends."""
    pairs = (proposal.primary, run.primary), (proposal.secondary, run.secondary)
    bends = zip(proposal.post_bend_mm, (run.primary_bend_mm, run.secondary_bend_mm), strict=True)
    alike = all((new and new.key) == (old and old.label) for new, old in pairs)
    return alike and all(abs(new - old) < offers.MIN_BEND_MM for new, old in bends)


def _waiting(build: Build, log: Sequence[Trial], band: engine.Target | None):
    """The newest run, where it names a pair and there is no verdict on it yet; None otherwise."""
    run = next(iter(queries.live_runs(build)[-1:]), None)
    if run is None or not run.primary_id:
        return None
    if not log or log[-1].run != run:
        return run
    return run if band is not None and log[-1].in_band is None else None


def _proved(one: Trial, build: Build, cylinders: int | None):
    """A line of the log, of a final run with what it comes to."""
    if one.run.kind != Run.Kind.FINAL:
        return one
    return replace(one, proof=proof.proof_of(one.run, build, cylinders=cylinders))


def _final(build: Build, log: Sequence[Trial], cylinders: int | None):
    """What the final run comes to, or None where a trial was read since."""
    final = proof.final_of(build, cylinders=cylinders)
    trials = [one.run.number for one in log if one.run.kind == Run.Kind.TRIAL]
    return None if final is None or final.run.number < max(trials, default=0) else final


def _keys(run: Run):
    return run.primary_id, run.secondary_id


@dataclass(frozen=True)
class _Maker:
    """Turns proposals into offers; holds what they all need."""

    calibration: engine.Calibration
    question: Question
    rows: dict[int, Spring]
    build: Build
    target: Agreed | None
    band: engine.Target
    drive: engine.Drive
    log: tuple[triallog.Trial, ...]
    newest: Run | None  # the posts stand where it has them
    pairs: int

    def offer(self, place: int, proposal: engine.Proposal) -> Offer:
        labelled: dict[Any, Spring] = {row.label: row for row in self.rows.values()}
        travel = proposal.travel_deg if proposal.travel_deg in self.question.smaller_travels else None
        bare = Offer(
            place=place,
            proposal=proposal,
            primary=labelled[proposal.primary.key],
            secondary=labelled[proposal.secondary.key] if proposal.secondary else None,
            predicted=offers.predict(self.calibration, proposal, self.band, travel),
            worst_miss_deg=InBoth.angle(proposal.worst_miss_deg, self.drive),
            bends=offers.bends(proposal, self.build, self.newest),
            travel_deg=None if travel is None else InBoth.angle(travel, self.drive),
        )
        moves = self.question.choices.initial_moves
        bare = replace(bare, initial_crank_deg=self._initial(bare), initial_moves=moves)
        reason = offers.why(bare, self.log, self.band, self.drive, self.pairs, queries.typed_in(self.build))
        shown = bare.keys, proposal.post_bend_mm, proposal.chance
        initial = bare.initial_crank_deg if moves else None
        seal = promises.sealed(self.build, *shown, self.band, initial)
        return replace(bare, why=reason, seal=seal)

    def _initial(self, offer: Offer):
        """The initial timing that goes with a proposal [crank degree]: the engine's, or the one agreed."""
        if self.question.choices.initial_moves:
            return self.drive.to_crank_deg(offer.proposal.initial_deg)
        curve = engine.Curve(offer.predicted.shaft_rpm, offer.predicted.mean_deg)
        return timing.initial_timing(curve, self.band, self.target, self.drive)


@dataclass(frozen=True)
class Wanted:
    """A spring to buy or wind for one place, beside one that is there."""

    position: str
    beside: str
    found: engine.WantedSpring
    worst_miss_deg: InBoth
    belief: float

    @property
    def chance(self) -> str:
        return in_percent(self.belief * self.found.chance)

    @property
    def warnings(self) -> tuple[str, ...]:
        return Reader().all_words(self.found.warnings)


def to_buy(state: TrialState) -> tuple[Wanted, ...]:
    """What to look for in either place, each beside the best that the drawer has for the other."""
    if not state.offers:
        return ()
    best = state.offers[0].proposal
    pairs = [("primary", best.secondary)]
    if best.secondary is not None:
        pairs.append(("secondary", best.primary))
    return tuple(_wanted(state, position, other) for position, other in pairs)


def _wanted(state: TrialState, position: str, other: engine.Spring | None):
    found = wanted(state.question, position, other)
    miss = InBoth.angle(found.worst_miss_deg, state.drive)
    return Wanted(position, str(other.key) if other else "", found, miss, state.belief)
