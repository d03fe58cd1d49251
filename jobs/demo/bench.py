"""The demo's bench: what a unit's head does, and a pair from the drawer that brings it into the band."""

from dataclasses import dataclass, replace
from functools import cache
from itertools import product

import numpy as np

from curves import simulated
from curves.engine import Drive
from jobs.demo.drawer import TRUE
from jobs.demo.heads import HEADS

DRIVE = Drive.four_stroke()
SHARES = (0.02, 0.25, 0.5, 0.75, 0.97)  # of the travel: where a band gets its points
TOLERANCE_CRANK_DEG = 1.5
BENDS_MM = (-0.4, -0.2, 0.0, 0.2, 0.4)
PAIRS_KEPT = 4
UNITS_AT_HAND = 50
READ_AGAIN = 12  # times a person sweeps before giving a pair up


@dataclass(frozen=True)
class Fit:
    """A pair of the drawer and the bends of its posts, and how far its curve misses the band's middle."""

    primary: str
    secondary: str
    bend_mm: tuple[float, float]
    worst_shaft_deg: float


@dataclass(frozen=True)
class Rebuilt:
    """A unit, what was fitted to it, and the two sweeps that proved it."""

    unit: simulated.Unit
    fit: Fit
    trial: list
    final: list


def drawn(kind):
    """The head of an engine's unit as its maker drew it."""
    return HEADS[kind.head].drawn_with(*(TRUE[label] for label in kind.springs))


@cache
def target_of(kind):
    """The band agreed for an engine: (crank rpm, crank deg, tolerance), whole numbers as people say them."""
    head = drawn(kind)
    grid = np.arange(150.0, DRIVE.to_shaft_rpm(kind.top_crank_rpm), 5.0)
    curve = head.advance(*head.wanted, grid)
    speeds = [grid[np.argmax(curve >= share * curve[-1])] for share in SHARES]
    crank_rpm = np.unique(np.round(DRIVE.to_crank_rpm(np.array([*speeds, grid[-1]])), -2))
    crank_deg = DRIVE.to_crank_deg(head.advance(*head.wanted, DRIVE.to_shaft_rpm(crank_rpm)))
    return [
        (float(rpm), float(deg), TOLERANCE_CRANK_DEG)
        for rpm, deg in zip(crank_rpm, np.round(crank_deg), strict=True)
    ]


@cache
def likely_pairs(kind):
    """The pairs of the drawer that come nearest to the band in a head as drawn, best first."""
    head = drawn(kind)
    pairs = product(*([label for label in TRUE if label[0] == side] for side in "PS"))
    fits = [_fit(head, kind, pair, (0.0, 0.0)) for pair in pairs]
    return sorted(fits, key=lambda fit: fit.worst_shaft_deg)[:PAIRS_KEPT]


def best_fits(unit, kind):
    """The likely pairs tried in this very unit, each with its best bends, best first."""
    fits = [
        min(
            (
                _fit(unit, kind, (pair.primary, pair.secondary), bends)
                for bends in product(BENDS_MM, BENDS_MM)
            ),
            key=lambda fit: fit.worst_shaft_deg,
        )
        for pair in likely_pairs(kind)
    ]
    return sorted(fits, key=lambda fit: fit.worst_shaft_deg)


def _fit(unit, kind, pair, bends):
    rpm, deg, _ = np.array(target_of(kind)).T
    curve = unit.advance(TRUE[pair[0]], TRUE[pair[1]], DRIVE.to_shaft_rpm(rpm), true_bend_mm=bends)
    return Fit(*pair, bends, float(np.max(np.abs(curve - DRIVE.to_shaft_deg(deg)))))


def sweep(unit, pair, seed, *, points=11, top_rpm, falling=True, bend_mm=(0.0, 0.0)):
    """Read a sweep up, and down again if asked: (distributor rpm, distributor deg, falling)."""
    up = np.round(np.linspace(200.0, top_rpm, points), -1)
    down = up[-2::-2] if falling else up[:0]
    speeds = np.concatenate([up, down])
    falls = np.concatenate([np.zeros(len(up), bool), np.ones(len(down), bool)])
    read = unit.run(*pair, speeds, seed=seed, falling=falls, bend_mm=bend_mm)
    advance = np.maximum(read.advance_deg, 0.0)
    return list(zip(speeds.tolist(), advance.tolist(), falls.tolist(), strict=True))


def rebuilt(kind, seed):
    """A unit of this kind with the pair and bends that bring it into its band.

    One that no pair in the drawer suits stays out of the demo: the next of its kind takes its place.
    """
    for another in range(UNITS_AT_HAND):
        unit = simulated.make_unit(drawn(kind), [*seed, another])
        for fit in best_fits(unit, kind):
            trial = proved(unit, kind, fit, [*seed, another, 0], falling=False)
            final = trial and proved(unit, kind, fit, [*seed, another, 1], falling=True)
            if final:
                return Rebuilt(unit, fit, trial, final)
    raise LookupError(f"no pair in the drawer suits a {kind.model}")


def proved(unit, kind, fit, seed, *, falling):
    """A sweep that lies in the band at every reading, or None if this pair doesn't give one."""
    for again in range(READ_AGAIN):
        readings = sweep(
            unit,
            (TRUE[fit.primary], TRUE[fit.secondary]),
            [*seed, again],
            top_rpm=top_speed(kind),
            falling=falling,
            bend_mm=fit.bend_mm,
        )
        if is_inside(readings, kind):
            return readings
    return None


def trial(unit, kind, fit, seed):
    """A quick sweep up with a pair, wherever it lies."""
    pair = (TRUE[fit.primary], TRUE[fit.secondary])
    return sweep(unit, pair, seed, points=8, top_rpm=top_speed(kind), falling=False, bend_mm=fit.bend_mm)


def is_inside(readings, kind):
    """Whether every reading lies in the band, straight edges between its points."""
    at, wanted, allowed = np.array(target_of(kind)).T
    speed, advance, _ = np.array(readings).T
    rpm, deg = DRIVE.to_crank_rpm(speed), DRIVE.to_crank_deg(advance)
    miss = np.abs(deg - np.interp(rpm, at, wanted)) - np.interp(rpm, at, allowed)
    return bool(np.all(miss[(rpm >= at[0]) & (rpm <= at[-1])] <= 1e-9))


def top_speed(kind):
    """Where a bench sweep of this unit ends [distributor rpm]: a little past the speed of the full advance."""
    return min(DRIVE.to_shaft_rpm(kind.top_crank_rpm), DRIVE.to_shaft_rpm(target_of(kind)[-2][0]) + 200.0)


def tired(unit, fault, seed):
    """The unit as it came in: its own pair, worn in the way of the fault."""
    rng = np.random.default_rng(seed)
    primary, secondary = unit.wanted
    slack = rng.uniform(0.25, 0.45)
    match fault:
        case "stretched":
            primary = replace(primary, length=primary.length + slack, tension=0.4 * primary.tension)
        case "sticking":
            unit = replace(unit, friction=unit.friction * rng.uniform(6.0, 10.0), load_friction=0.08)
        case "stiff":
            primary = replace(primary, rate=primary.rate * 1.3, length=primary.length - slack)
        case "stop worn":
            unit = replace(unit, travel_deg=unit.travel_deg + rng.uniform(1.5, 2.5))
        case "secondary lost":
            secondary = None
        case "weak":
            primary = replace(primary, rate=0.8 * primary.rate)
            secondary = replace(secondary, rate=0.75 * secondary.rate, length=secondary.length + 0.2)
    return unit, (primary, secondary)
