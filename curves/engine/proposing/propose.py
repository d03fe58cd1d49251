"""Rank every pair in the drawer by the chance that its curve lies in the band, and say what would help."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, Indices
from ..bands.band import Target
from ..codes import Code, warn
from ..fitting.calibration import Calibration
from ..governor.head import MAX_BEND_MM, MAX_TRAVEL_DEG
from ..governor.prior import TRAVEL
from ..readings import checked_array, checked_count, checked_kind, checked_number
from ..springs.spring import Spring
from .drawer import GLANCE_STRIDE, ROUGH_STRIDE, Drawer, Tried
from .forecasts import belief, forecasts_of
from .helpful import most_helpful, what_sticking_costs
from .proposals import Proposal, Proposals
from .ranking import FAIR_CHANCE, Choices, Scores
from .sweeps import Sweeps

BEND_STEP_MM = 0.05  # finer than this no post is bent
TRIM_STEPS = 4  # bends tried to either side of a pair's best
SHORTLIST = 35  # pairs looked at closely
HOPEFUL = 15  # of them chosen for what they could be bent to
HOPE = 0.5  # prospect from which a pair is worth a run although its first chance is poor
JUDGED_BENDS = 6  # of each pair, looked at as its run will be judged
CHANCE_STEP = 0.1  # 256 draws know a chance to 0.03, one standard deviation


def propose(
    calibration: Calibration,
    target: Target,
    primaries: Iterable[Spring],
    secondaries: Iterable[Spring | None] | None,
    tried: Iterable[Tried] = (),
    count: int = 10,
    post_bend_limit_mm: float = 0.0,
    *,
    smaller_travels_deg: ArrayLike = (),
    sweeps: Sweeps | None = None,
) -> Proposals:
    """Rank every pair in the drawer by the chance that its curve lies in the band.

    Parameters
    ----------
    calibration : Calibration
    target : Target
    primaries, secondaries : sequence of Spring
        The drawer; an empty `secondaries`, or a None in it, is a head with a single spring.
    tried : sequence
        What was run without success: proposals, runs, or tuples (primary, secondary) or (primary, secondary,
        post_bend_mm) of springs or their keys. A pair without a bend stands for all its runs so far.
    count : int, default 10
        How many proposals to give, a whole number from 1.
    post_bend_limit_mm : float, default 0
        How far a post may be bent either way [mm], 0 to 20.
    smaller_travels_deg : array_like, optional
        Travels that the stop could be set to [shaft degree]; one that is not smaller than the calibrated
        travel is left out.
    sweeps : Sweeps, optional
        How the run will be read. Speeds of the target that it would not reach are added to it. None: chances
        are of the curve, not of what will be read of it.

    Returns
    -------
    Proposals
        Best first, each pair once, with its own chance. The order is by steps of 0.1, as the draws cannot
        tell chances that lie closer apart: within a step the pair with the better prospect goes first, then
        the smaller expected worst miss, so that chances need not fall from one to the next. May be shorter
        than `count`.

    Raises
    ------
    ValueError
        If an argument is not of its kind or out of range.

    Notes
    -----
    The chance of a curve is the share of draws of head and springs in which ``|curve + initial - target| <=
    tolerance`` at all target points. That a pair was tried without success is used too: draws in which it
    should have lain in the band count less.

    The chance of a verdict is the share of simulated runs, four of each draw, that `judge_sweeps` would pass:
    rising and falling by the head's friction, off by tachometer, scatter and the scale's rounding. Readings
    that scatter farther than was taken of them scatter as far in the next run, and forecasts that
    earlier runs did not keep take from the next ones.

    A pair that was tried comes back only with a post bent by 0.1 mm or more from every bend it was tried at:
    what is nearer a hand, off by 0.05 mm each time, can't tell apart.

    References
    ----------
    The way to trim is the trade's own: the light spring's post sets where 1 degree is reached, the heavy
    one's where 1 degree below the maximum is (Hudson Rambler Technical Service Manual, 1955, p. 30).

    Examples
    --------
    >>> from curves.engine import Head, Run, Spring, calibrate
    >>> head = Head((20.0, 22.0), (0.24, 0.24), 12.0)
    >>> first, second = Spring("P1", 3.0, 19.7), Spring("S1", 9.0, 23.0)
    >>> run = Run(first, second, [400, 600, 800, 1100, 1400, 1800], [0, 1.5, 4.5, 7.5, 11, 12])
    >>> softer = Spring("P2", 2.0, 19.7)
    >>> target = Target([600, 800, 1100], [1.5, 4.5, 7.5], 1.0)
    >>> best = propose(calibrate(head, [run]), target, [first, softer], [second])[0]
    >>> best.primary.key, best.chance > 0.5
    ('P1', True)
    """
    limit = checked_number("post_bend_limit_mm", post_bend_limit_mm, 0.0, MAX_BEND_MM)
    count = checked_count("count", count)
    checked_kind("calibration", calibration, Calibration)
    checked_kind("target", target, Target)
    travels = checked_array(
        "smaller_travels_deg", smaller_travels_deg, 0.0, MAX_TRAVEL_DEG, above=True, shortest=0
    )
    travels = travels[travels < calibration.estimates["travel_deg"].value]
    checked_kind("sweeps", sweeps, Sweeps, none_too=True)
    if sweeps:
        sweeps = sweeps.reaching(target).as_loose_as(calibration)
    drawer = Drawer.open(calibration, target, primaries, secondaries, tried, sweeps)

    choices = _roughly_trimmed(drawer, target, drawer.pairs(), limit)
    choices = _with_travels(choices, travels)
    if not limit:
        choices = choices.take(drawer.untried(choices))
    choices = _leading(drawer, target, choices, limit, max(SHORTLIST, count))
    trimmed = _finely_trimmed(drawer, target, choices, limit)
    if trimmed is None:
        return Proposals((), False, (warn(Code.EVERY_PAIR_TRIED),))
    best, scores, finely = trimmed
    prospects = _prospects(drawer, target, best, scores, limit)
    read = _as_read(drawer, calibration, target, finely)
    scores, prospects = scores._replace(chance=read.belief * scores.chance), read.belief * prospects
    order = np.lexsort((scores.worst_miss_deg, -prospects, -np.round(scores.chance / CHANCE_STEP)))
    ranked = _proposals(drawer, best, scores, prospects, order)
    greatest = float(scores.chance.max())
    fair = greatest >= FAIR_CHANCE * read.greatest_chance
    return replace(
        read,
        ranked=_each_pair_once(ranked)[:count],
        fair=fair,
        warnings=() if fair else _warnings(ranked[0], greatest, limit),
        measurement=most_helpful(drawer, finely, target, ranked[:3]),
    )


def _as_read(drawer: Drawer, calibration: Calibration, target: Target, finely: tuple[Choices, Scores]):
    """Give what is known of the verdict on a run that will be read, with no proposals yet."""
    if drawer.bench.look is None:
        return Proposals((), False, ())
    judge, forecasts = drawer.bench.look.judge, forecasts_of(calibration, target)
    believed = belief(forecasts)
    sticking = what_sticking_costs(drawer, calibration, finely, target)
    return Proposals(
        (),
        False,
        (),
        greatest_chance=judge.middle_chance(target),
        corners_cut_rpm=judge.corners_cut(target),
        forecasts=forecasts,
        belief=believed,
        sticking=sticking and sticking.believed(believed),
    )


def _grid(limit: float, steps: int):
    """Give bends from -limit to limit in so many steps to either side."""
    return np.arange(-steps, steps + 1) * (limit / steps)


def _roughly_trimmed(drawer: Drawer, target: Target, choices: Choices, limit: float):
    """Give each pair the bends that suit the mean of the draws best."""
    if not limit:
        return choices
    centre = drawer.bench.centre()
    for axis in (_grid(limit, 2), _grid(limit / 4.0, 2)):
        wide = choices.bent(axis, axis)
        wide = wide._replace(bend_mm=np.clip(wide.bend_mm, -limit, limit))
        miss = centre.score(wide, target).worst_miss_deg.reshape(-1, axis.size**2)
        choices = wide.take(miss.argmin(axis=1) + np.arange(len(miss)) * axis.size**2)
    return choices._replace(bend_mm=_to_steps(choices.bend_mm))


def _to_steps(bend_mm: Floats):
    """Round bends to what a hand can do."""
    return np.round(np.round(bend_mm / BEND_STEP_MM) * BEND_STEP_MM, 6)


def _with_travels(choices: Choices, travels: Floats):
    """Give each choice with the travel as it is and with each smaller one."""
    parts = [choices, *(choices._replace(travel_deg=np.full(len(choices.primary), t)) for t in travels)]
    return Choices(*(np.concatenate(part) for part in zip(*parts, strict=True)))


def _leading(drawer: Drawer, target: Target, choices: Choices, limit: float, many: int):
    """Give the choices worth a closer look: those with the best chances, and with the best prospects."""
    scores = drawer.bench.thinned(ROUGH_STRIDE).score(choices, target)
    by_chance = np.lexsort((scores.worst_miss_deg, -scores.chance))[:many]
    if not limit:
        return choices.take(by_chance)
    prospects = drawer.bench.thinned(GLANCE_STRIDE).prospects(choices, target, _grid(limit, 2))
    hopeful = np.argsort(-prospects, kind="stable")[:HOPEFUL]
    return choices.take(np.union1d(by_chance[: many - HOPEFUL], hopeful))


def _finely_trimmed(drawer: Drawer, target: Target, choices: Choices, limit: float):
    """Give each choice its best bend over all draws, with its score, and all allowed bends with theirs.

    None where every one was tried.
    """
    group = 1
    if limit:
        axis = _grid(TRIM_STEPS * BEND_STEP_MM, TRIM_STEPS)
        choices, group = choices.bent(axis, axis), axis.size**2
        choices = choices._replace(bend_mm=_to_steps(choices.bend_mm))
    allowed = drawer.untried(choices) & (np.abs(choices.bend_mm) <= limit + 1e-9).all(axis=1)
    owner = np.repeat(np.arange(len(allowed) // group), group)[allowed]
    choices = choices.take(allowed)
    if not len(owner):
        return None
    bench = drawer.bench if drawer.bench.look is None else drawer.bench.thinned(ROUGH_STRIDE)
    scores = bench.score(choices, target)
    order = np.lexsort((scores.worst_miss_deg, -scores.chance, owner))
    if drawer.bench.look is not None:
        choices, scores, owner = _judged(drawer, target, choices, scores, owner, order)
        order = np.lexsort((scores.worst_miss_deg, -scores.chance, owner))
    first = order[np.unique(owner[order], return_index=True)[1]]
    return choices.take(first), scores.take(first), (choices, scores)


def _judged(drawer: Drawer, target: Target, choices: Choices, scores: Scores, owner: Indices, order: Indices):
    """Give the most promising bends of each choice, with the chance that their run is judged in the band."""
    begins = np.unique(owner[order], return_index=True)[1]
    rank = np.arange(len(order)) - np.repeat(begins, np.diff([*begins, len(order)]))
    kept = order[rank < JUDGED_BENDS]
    choices, scores, owner = choices.take(kept), scores.take(kept), owner[kept]
    chance = drawer.bench.chances(choices, target, scores.initial_deg).mean(axis=-1)
    return choices, scores._replace(chance=chance), owner


def _prospects(drawer: Drawer, target: Target, choices: Choices, scores: Scores, limit: float):
    """Give the chance that each pair could be bent into the band in the end."""
    if not limit:
        return scores.chance
    return np.maximum(
        drawer.bench.thinned(ROUGH_STRIDE).prospects(choices, target, _grid(limit, 3)), scores.chance
    )


def _proposals(drawer: Drawer, choices: Choices, scores: Scores, prospects: Floats, order: Indices):
    """Put choices into words and numbers."""
    travel = float(np.exp(drawer.bench.head[:, TRAVEL]).mean())
    return tuple(
        Proposal(
            primary=drawer.primaries[choices.primary[row]],
            secondary=drawer.secondaries[choices.secondary[row]],
            chance=float(scores.chance[row]),
            worst_miss_deg=float(scores.worst_miss_deg[row]),
            initial_deg=float(scores.initial_deg[row]),
            post_bend_mm=(float(choices.bend_mm[row, 0]), float(choices.bend_mm[row, 1])),
            travel_deg=travel if np.isnan(choices.travel_deg[row]) else float(choices.travel_deg[row]),
            prospect=float(prospects[row]),
        )
        for row in order
    )


def _each_pair_once(ranked: Iterable[Proposal]):
    """Keep the first of proposals that differ only in travel."""
    first = {}
    for proposal in ranked:
        first.setdefault((proposal.primary, proposal.secondary), proposal)
    return tuple(first.values())


def _warnings(first: Proposal, greatest_chance: float, limit: float):
    """Say plainly that there is little hope."""
    if first.prospect >= HOPE:
        code = Code.NO_PAIR_BUT_WORTH_A_RUN
        return (warn(code, greatest_chance=greatest_chance, prospect_chance=first.prospect),)
    return (warn(Code.NO_PAIR if limit else Code.NO_PAIR_UNBENT, greatest_chance=greatest_chance),)
