"""The springs at hand as draws, together with the head they would hang in, and what was tried of them."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..arrays import Flags
from ..bands.band import Target
from ..fitting.calibration import Calibration
from ..governor.head import MAX_BEND_MM, Run
from ..governor.prior import BEND_SD_MM
from ..readings import checked_array, checked_items, checked_key
from ..springs.spring import Spring
from .ranking import Bench, Choices, chance_inside
from .sweeps import Sweeps

DRAWS = 256
ROUGH_STRIDE = 2  # every so many-th draw does for a first look at a whole drawer
GLANCE_STRIDE = 16  # and for a glance at all its bends
SAME_BEND_MM = 0.02
TOLD_APART_MM = 2.0 * BEND_SD_MM  # bends nearer than this a hand can't tell apart
BELIEF_IN_FAILURE = 0.9  # someone may have judged a run by its readings, not by the curve behind them
_SEED = 20_012
# A run, or its springs or their keys, and the bends it was run at.
Tried = Run | tuple[Any, Any] | tuple[Any, Any, Any]
Bends = list[tuple[float, float]]


@dataclass(frozen=True, eq=False)
class Drawer:
    """A drawer opened on a calibrated head."""

    primaries: tuple[Spring, ...]
    secondaries: tuple[Spring | None, ...]
    bench: Bench
    tried: dict[tuple[Hashable, Hashable], Bends]  # (primary key, secondary key) -> bends (k, 2)

    @classmethod
    def open(
        cls,
        calibration: Calibration,
        target: Target,
        primaries: Iterable[Spring],
        secondaries: Iterable[Spring | None] | None,
        tried: Iterable[Tried] = (),
        sweeps: Sweeps | None = None,
    ) -> Drawer:
        """Draw all springs of a drawer together with the head.

        Raises ValueError if the drawer has no primary or holds something else than springs, or what was tried
        is not said as `propose` wants it.
        """
        firsts = checked_items("primaries", primaries, Spring, least=1)
        given = () if secondaries is None else secondaries
        seconds = checked_items("secondaries", given, Spring, none_too=True) or (None,)
        done = tried_bends(tried, calibration.runs)
        # Of a run that is judged by its readings, its failure says nothing that they do not say.
        rows = _plausible_draws(calibration, target, {} if sweeps else done)
        tables = [_table(calibration, side, place)[:, rows] for place, side in enumerate((firsts, seconds))]
        bench = Bench.make(
            calibration.head_draws[rows],
            *tables,
            stays_mm=np.array(calibration.runs[-1].post_bend_mm),
            stays_error=calibration.post_error_draws()[rows],
            rng=np.random.default_rng(_SEED),
        )
        return cls(firsts, seconds, bench.read(target, sweeps) if sweeps else bench, done)

    def pairs(self) -> Choices:
        """Give every pair, posts straight and the travel as it is."""
        first, second = np.meshgrid(
            np.arange(len(self.primaries)), np.arange(len(self.secondaries)), indexing="ij"
        )
        return Choices(first.ravel(), second.ravel(), np.zeros((first.size, 2)), np.full(first.size, np.nan))

    def untried(self, choices: Choices) -> Flags:
        """Mark the choices that were not tried; a smaller travel makes any choice a new one."""
        fresh = np.ones(len(choices.primary), dtype=bool)
        for (primary, secondary), bends in self.tried.items():
            mine = np.isnan(choices.travel_deg)
            mine &= np.isin(choices.primary, [i for i, s in enumerate(self.primaries) if s.key == primary])
            mine &= np.isin(
                choices.secondary, [i for i, s in enumerate(self.secondaries) if _key(s) == secondary]
            )
            rows = np.flatnonzero(mine)
            apart = np.abs(choices.bend_mm[rows, None] - np.array(bends)).max(axis=-1).min(axis=-1)
            fresh[rows] = apart >= TOLD_APART_MM - 1e-6
        return fresh


def _key(spring: Spring | Hashable):
    """Give a spring's key, or the key itself."""
    return checked_key("tried", getattr(spring, "key", spring))


def tried_bends(tried: Iterable[Tried], runs: Sequence[Run]) -> dict[tuple[Hashable, Hashable], Bends]:
    """Give the bends at which each pair was tried, {(primary key, secondary key): [bend, ...]}."""
    done: dict[tuple[Hashable, Hashable], Bends] = {}
    entries: tuple[Any, ...] = checked_items("tried", tried, object)
    for entry in entries:
        if hasattr(entry, "post_bend_mm"):
            entry = (entry.primary, entry.secondary, entry.post_bend_mm)
        if not isinstance(entry, tuple | list) or len(entry) not in (2, 3):
            raise ValueError(f"tried must hold (primary, secondary[, post_bend_mm]), got {entry!r}")
        pair = _key(entry[0]), _key(entry[1])
        bends = done.setdefault(pair, [])
        if len(entry) == 3:
            bend = checked_array("bend of tried", entry[2], -MAX_BEND_MM, MAX_BEND_MM, like=("(p, s)", 2))
            bends.append((float(bend[0]), float(bend[1])))
        else:
            bends.extend([run.post_bend_mm for run in runs if _pair(run) == pair] or [(0.0, 0.0)])
    return done


def _pair(run: Run):
    """Give the keys of a run's springs."""
    return _key(run.primary), _key(run.secondary)


def _table(calibration: Calibration, springs: Sequence[Spring | None], place: int):
    """Give draws of one side of the drawer, shape (springs, draws, 3)."""
    table = np.zeros((len(springs), len(calibration.head_draws), 3))
    for number, spring in enumerate(springs):
        if spring is None:
            table[number, :, 0] = -np.inf  # a rate of 0
        else:
            table[number] = calibration.spring_draws(spring, place, number)
    return table


def _plausible_draws(calibration: Calibration, target: Target, tried: dict[tuple[Hashable, Hashable], Bends]):
    """Choose 256 draws, those less often in which a run that failed should have been a success.

    The runs' readings are in the draws already; that the curve behind them was out of the band is one thing
    more to know, and keeps a near miss from being proposed again and again.
    """
    weight = np.ones(len(calibration.head_draws))
    for index, run in enumerate(calibration.runs):
        bends = tried.get(_pair(run), ())
        if any(np.abs(np.subtract(run.post_bend_mm, bend)).max() < SAME_BEND_MM for bend in bends):
            low, high = target.initial_range_deg
            off = np.abs(
                calibration.run_draws(index, target.speed_rpm) - target.advance_deg + (low + high) / 2.0
            )
            reach = target.tolerance_deg + (high - low) / 2.0
            weight *= 1.0 - BELIEF_IN_FAILURE * chance_inside((reach - off).min(axis=-1))
    order = np.random.default_rng(_SEED).permutation(weight.size)
    share = np.cumsum(weight[order]) / weight.sum()
    return order[np.searchsorted(share, (np.arange(DRAWS) + 0.5) / DRAWS)]
