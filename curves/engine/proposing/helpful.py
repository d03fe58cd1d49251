"""Which measurement would raise the best chance most, and what the weights cost that stick."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ..arrays import Floats
from ..bands.band import Target
from ..fitting.calibration import Calibration
from ..governor.prior import GAP, POSITIONS, SPRING_FIGURES, STRETCH, TRAVEL
from .drawer import Drawer
from .ranking import Choices, Scores

if TYPE_CHECKING:
    from .proposals import Proposal

PARTS = 4  # the draws are cut into so many by what a measurement would say
CONTENDERS = 200
WORTH_IT = 0.03
CHANCE_ROUNDS = 8
FREED_SHARE = 0.25  # of the friction is left in clean, oiled weights; common practice, no source
FREED_CONTENDERS = 60
WORTH_FREEING = 0.15
POINTS = 41
_SEED = 20_014


@dataclass(frozen=True)
class Measurement:
    """What to measure, and by how much the best chance would rise on average.

    Attributes
    ----------
    quantity : str
        "post_gap" or "stretch", of the post at `position`; "travel"; "rate", "free_length" or
        "initial_tension", of the spring of that key.
    gain : float
        Of the chance, 0 to 1.
    position : {"primary", "secondary"} or None
    spring : str or None
    """

    quantity: str
    gain: float
    position: str | None = None
    spring: str | None = None


def most_helpful(
    drawer: Drawer, finely: tuple[Choices, Scores], target: Target, ranked: Sequence[Proposal]
) -> Measurement | None:
    """Find the measurement that would help most to choose.

    If a quantity were known, one would choose what suits that value. So the draws are cut into parts by the
    quantity, the best choice of each part is taken, and the mean of their chances is compared with what a
    meaningless quantity would gain in the same way.
    """
    choices, scores = finely
    leading = np.argsort(-scores.chance, kind="stable")[:CONTENDERS]
    chances = drawer.bench.chances(choices.take(leading), target, scores.initial_deg[leading])
    rng = np.random.default_rng(_SEED)
    by_luck = [_gain(chances, rng.random(chances.shape[1])) for _ in range(CHANCE_ROUNDS)]
    gains = {what: _gain(chances, values) for what, values in _quantities(drawer, ranked)}
    best = max(gains, key=lambda what: gains[what])
    gain = gains[best] - float(np.mean(by_luck))
    quantity, position, spring = best
    return Measurement(quantity, gain, position, spring) if gain > WORTH_IT else None


@dataclass(frozen=True)
class Sticking:
    """How far apart friction keeps the sweeps, and what the best chance would be with the weights freed.

    Attributes
    ----------
    apart_deg, at_rpm : float
        Greatest distance of the falling curve above the rising one in the newest run [shaft degree], where.
    chance, freed_chance : float
        The best chance as it is, and with a quarter of the friction left.
    """

    apart_deg: float
    at_rpm: float
    chance: float
    freed_chance: float

    def believed(self, share: float) -> Sticking:
        """Give the same with only so much left of its chances."""
        return replace(self, chance=share * self.chance, freed_chance=share * self.freed_chance)


def what_sticking_costs(
    drawer: Drawer, calibration: Calibration, finely: tuple[Choices, Scores], target: Target
) -> Sticking | None:
    """Tell what it would bring to free the weights, or None where it is not worth it."""
    if not any(run.falling.any() for run in calibration.runs):
        return None  # nothing read tells the friction
    choices, scores = finely
    leading = np.argsort(-scores.chance, kind="stable")[:FREED_CONTENDERS]
    free = drawer.bench.freed(FREED_SHARE)
    freed = free.chances(choices.take(leading), target, scores.initial_deg[leading]).mean(axis=-1).max()
    chance = float(scores.chance.max())
    if freed - chance < WORTH_FREEING:
        return None
    last = len(calibration.runs) - 1
    speeds = np.linspace(target.speed_rpm[0], target.speed_rpm[-1], POINTS)
    up, down = (
        calibration.run_draws(last, speeds, falling=falling).mean(axis=0) for falling in (False, True)
    )
    worst = int(np.argmax(down - up))
    return Sticking(float(down[worst] - up[worst]), float(speeds[worst]), chance, float(freed))


def _gain(chances: Floats, values: Floats):
    """Give how much the best chance would rise on average if `values` were known to a quarter."""
    parts = np.array_split(np.argsort(values, kind="stable"), PARTS)
    informed = np.mean([chances[:, part].mean(axis=1).max() for part in parts])
    return float(informed - chances.mean(axis=1).max())


def _quantities(
    drawer: Drawer, ranked: Sequence[Proposal]
) -> Iterator[tuple[tuple[str, str | None, Any], Floats]]:
    """Give what can be measured, (quantity, position, spring), with its draws: the head, and the springs of
    the first proposals."""
    head = drawer.bench.head
    for place, position in enumerate(POSITIONS):
        yield ("post_gap", position, None), head[:, GAP.start + place]
        yield ("stretch", position, None), head[:, STRETCH.start + place]
    yield ("travel", None, None), head[:, TRAVEL]
    for proposal in ranked:
        sides = (
            (proposal.primary, drawer.primaries, drawer.bench.primaries),
            (proposal.secondary, drawer.secondaries, drawer.bench.secondaries),
        )
        for spring, springs, table in sides:
            if spring is not None:
                draws = table[springs.index(spring)]
                for column, figure in enumerate(SPRING_FIGURES):
                    yield (figure, None, spring.key), draws[:, column]
