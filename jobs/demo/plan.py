"""Which visits the demo shop has had: sixty finished ones, and thirty on the board at every stage."""

from dataclasses import dataclass

import numpy as np

from jobs.demo.bygone import Bygone
from jobs.demo.engines import KINDS
from jobs.demo.faults import FAULTS
from jobs.demo.visit import Visit
from jobs.stages import ORDER, Stage

FIRST_DAY, LAST_DAY = -480, -30  # working days from today in which the finished ones came in


@dataclass(frozen=True)
class Size:
    """How much a demo shop has behind it, and on its board."""

    finished: int
    on_board: dict


FULL = Size(
    60,
    {
        Stage.INTAKE: 6,
        Stage.TEARDOWN: 6,
        Stage.CLEANING: 5,
        Stage.SPRING_TRIALS: 5,
        Stage.BENCH_CURVE: 4,
        Stage.HAND_BACK: 3,
    },
)
# Working days that a stage takes, shortest and longest.
TAKES = {
    Stage.INTAKE: (0.7, 4.0),
    Stage.TEARDOWN: (1.2, 4.0),
    Stage.CLEANING: (0.8, 2.5),
    Stage.SPRING_TRIALS: (1.0, 3.0),
    Stage.BENCH_CURVE: (0.9, 2.0),
    Stage.HAND_BACK: (0.5, 3.0),
}
STOCK_EVERY = 11


@dataclass(frozen=True)
class Goal:
    """Where a visit stands today: over, since it began long ago, or at a stage, among others there."""

    stage: Stage | None = None
    begun: float = 0.0  # working days from today; of one that is over
    place: int = 0
    among: int = 1


@dataclass(frozen=True)
class World:
    """Who and what the visits meet: people at bench and counter, customers, springs and heads by name."""

    bench: tuple
    counter: tuple
    customers: list
    drawer: dict
    head_types: dict


def visits(seed, world, size):
    """Every visit, planned; the same seed plans the same."""
    rng = np.random.default_rng([seed, 7])
    begun = np.linspace(FIRST_DAY, LAST_DAY, size.finished)
    finished = [Goal(begun=day) for day in begun]
    on_board = [
        Goal(stage=stage, place=place, among=n) for stage, n in size.on_board.items() for place in range(n)
    ]
    return [_visit(index, goal, seed, world, rng) for index, goal in enumerate([*finished, *on_board])]


def _visit(index, goal, seed, world, rng):
    stage = goal.stage
    days = _days(rng)
    fault = FAULTS[rng.choice(len(FAULTS), p=[fault.share for fault in FAULTS])]
    return (Bygone if stage is None else Visit)(
        index=index,
        seed=seed,
        kind=KINDS[(5 * index + int(rng.integers(0, 2))) % len(KINDS)],
        fault=fault,
        customer=None
        if index % STOCK_EVERY == 4
        else world.customers[int(rng.integers(0, len(world.customers)))],
        opened=_opened(goal, days, rng),
        days=days,
        bench_person=world.bench[index % len(world.bench)],
        counter=world.counter[index % len(world.counter)],
        drawer=world.drawer,
        head_types=world.head_types,
        promised_after=int(rng.integers(9, 26)),
        waits_for_answer=stage == Stage.TEARDOWN and goal.place % 2 == 1,
        with_photos=stage is not None and index % 4 == 0,
    )


def _days(rng):
    """When each stage begins, in working days from opening; under None, the hand-back."""
    days, at = {}, 0.0
    for stage in ORDER:
        days[stage] = round(at, 2)
        at += float(rng.uniform(*TAKES[stage]))
    days[None] = round(at, 2)
    return days


def _opened(goal, days, rng):
    """The day a unit came in, so that today it stands where the plan wants it."""
    stage = goal.stage
    if stage is None:
        return round(float(goal.begun + rng.uniform(0, 4)), 2)
    following = [*ORDER, None][ORDER.index(stage) + 1]
    # Those of one stage are spread over its work, so that the board shows it begun, half done and done.
    share = (goal.place + float(rng.uniform(0.2, 0.9))) / goal.among
    return round(-(days[stage] + share * (days[following] - days[stage])) - 0.05, 2)
