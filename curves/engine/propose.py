"""Rank every pair in the drawer by the chance that its curve lies in the band, and say what to do next."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .ranking import Choices, make_bench
from .readings import checked_number
from .springs import Spring

BEND_STEP_MM = 0.05  # finer than this no post is bent
FAIR_CHANCE = 0.1
SHORTLIST = 30
_SEED = 20_012


@dataclass(frozen=True)
class Proposal:
    """What to hang in next, and what to expect of it."""

    primary: Spring
    secondary: Spring | None
    chance: float
    worst_miss_deg: float
    initial_deg: float
    post_bend_mm: tuple[float, float]
    travel_deg: float


def _grid(limit, step):
    count = int(limit / step + 1e-9)
    return np.arange(-count, count + 1) * step


def _with_bends(choices, first, second):
    """Combine each choice with each pair of added bends."""
    a, b = (axis.ravel() for axis in np.meshgrid(first, second, indexing="ij"))
    n = a.size
    repeated = choices.take(np.repeat(np.arange(len(choices.primary)), n))
    return repeated._replace(
        bend_mm=repeated.bend_mm + np.tile(np.column_stack([a, b]), (len(choices.primary), 1))
    )


def _best_of(choices, scores, group):
    """Keep the best of each `group` of neighbouring choices."""
    order = np.lexsort((scores.worst_miss_deg, -scores.chance.round(12))).astype(int)
    rank = np.empty(order.size, dtype=int)
    rank[order] = np.arange(order.size)
    best = rank.reshape(-1, group).argmin(axis=1) + np.arange(order.size // group) * group
    return best


def _tried_bends(tried, calibration):
    out = {}
    for item in tried:
        if hasattr(item, "primary"):
            p, s, b = item.primary, item.secondary, item.post_bend_mm
        else:
            p, s, *rest = item
            b = rest[0] if rest else None
        key = (getattr(p, "key", p), getattr(s, "key", s))
        if b is None:
            out.setdefault(key, []).append((0.0, 0.0))
            for run in calibration.runs:
                if (run.primary.key, getattr(run.secondary, "key", None)) == key:
                    out[key].append(run.post_bend_mm)
        else:
            out.setdefault(key, []).append(tuple(b))
    return out


def propose(calibration, target, primaries, secondaries, tried=(), count=10, post_bend_limit_mm=0.0):
    limit = checked_number("post_bend_limit_mm", post_bend_limit_mm, 0.0, 20.0)
    primaries, secondaries = tuple(primaries), tuple(secondaries)
    head = calibration.head_draws()
    tables = tuple(
        np.stack([calibration.spring_draws(s, place, i) for i, s in enumerate(side)])
        for place, side in enumerate((primaries, secondaries))
    )
    bench = make_bench(head, *tables, np.random.default_rng(_SEED))
    centre = make_bench(
        head.mean(axis=0)[None], *(t.mean(axis=1)[:, None] for t in tables), np.random.default_rng(_SEED)
    )
    p, s = (
        axis.ravel()
        for axis in np.meshgrid(np.arange(len(primaries)), np.arange(len(secondaries)), indexing="ij")
    )
    choices = Choices(p, s, np.zeros((p.size, 2)), np.full(p.size, np.nan))
    done = _tried_bends(tried, calibration)
    keys = [(primaries[i].key, secondaries[j].key) for i, j in zip(p, s)]

    def allowed(ch):
        ok = (np.abs(ch.bend_mm) <= limit + 1e-9).all(axis=1)
        for n, (i, j) in enumerate(zip(ch.primary, ch.secondary)):
            for b in done.get((primaries[i].key, secondaries[j].key), ()):
                if abs(ch.bend_mm[n] - b).max() < 0.02:
                    ok[n] = False
        return ok

    if limit > 0:
        for step, axis in ((limit / 2, _grid(limit, limit / 2)), (limit / 8, _grid(limit / 4, limit / 8))):
            wide = _with_bends(choices, axis, axis)
            sc = centre.score(wide, target)
            sc = sc._replace(
                worst_miss_deg=np.where(
                    (np.abs(wide.bend_mm) <= limit + 1e-9).all(axis=1), sc.worst_miss_deg, np.inf
                ),
                chance=np.zeros_like(sc.chance),
            )
            choices = wide.take(_best_of(wide, sc, axis.size**2))
        choices = choices._replace(bend_mm=np.round(choices.bend_mm / BEND_STEP_MM) * BEND_STEP_MM)
    sc = bench.score(choices, target)
    order = np.lexsort((sc.worst_miss_deg, -sc.chance))[:SHORTLIST]
    choices = choices.take(order)
    if limit > 0:
        axis = _grid(3 * BEND_STEP_MM, BEND_STEP_MM)
        choices = _with_bends(choices, axis, axis)
        choices = choices._replace(bend_mm=np.round(choices.bend_mm, 6))
    sc = bench.score(choices, target)
    ok = allowed(choices)
    sc = sc._replace(
        chance=np.where(ok, sc.chance, -1.0), worst_miss_deg=np.where(ok, sc.worst_miss_deg, np.inf)
    )
    best = _best_of(choices, sc, (axis.size**2 if limit > 0 else 1))
    best = best[np.lexsort((sc.worst_miss_deg[best], -sc.chance[best]))]
    best = [b for b in best if ok[b]][:count]
    return [
        Proposal(
            primaries[choices.primary[b]],
            secondaries[choices.secondary[b]],
            float(sc.chance[b]),
            float(sc.worst_miss_deg[b]),
            float(sc.initial_deg[b]),
            tuple(choices.bend_mm[b].tolist()),
            float(np.exp(head[:, -1]).mean()),
        )
        for b in best
    ]
