"""The demo's bench: what a unit's head does, and a pair from the drawer that brings it into the band."""

from dataclasses import dataclass, replace
from functools import cache
from itertools import product

import numpy as np

from curves.engine import Drive, Readings, Target
from curves.judging import verdicts
from curves.practice import simulated
from jobs.demo.drawer import TRUE
from jobs.demo.heads import HEADS

DRIVE = Drive.four_stroke()
SHARES = (0.02, 0.25, 0.5, 0.75, 0.97)  # of the travel: where a band gets its points
TOLERANCE_CRANK_DEG = 1.5
BEYOND_FULL_CRANK_RPM = 500  # where the band ends, and the sweep
BENDS_MM = (-0.25, 0.0, 0.25)
PAIRS_KEPT = 4
BESIDE = 4
UNITS_AT_HAND = 50
LIGHT_READINGS = 9
LIGHT_SCATTER_CRANK_DEG = 0.7  # of a steady hand and eye
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
    speeds = DRIVE.to_crank_rpm(np.array([grid[np.argmax(curve >= share * curve[-1])] for share in SHARES]))
    last = min(speeds[-1] + BEYOND_FULL_CRANK_RPM, kind.top_crank_rpm)
    crank_rpm = np.unique(np.round([*speeds, last], -2))
    crank_deg = DRIVE.to_crank_deg(head.advance(*head.wanted, DRIVE.to_shaft_rpm(crank_rpm)))
    return [
        (float(rpm), float(deg), TOLERANCE_CRANK_DEG)
        for rpm, deg in zip(crank_rpm, np.round(crank_deg), strict=True)
    ]


@cache
def band_of(kind):
    """The same band as the engine judges by."""
    rpm, deg, allowed = (np.array(column) for column in zip(*target_of(kind), strict=True))
    return Target(DRIVE.to_shaft_rpm(rpm), DRIVE.to_shaft_deg(deg), DRIVE.to_shaft_deg(allowed))


@cache
def read_at(kind):
    """Where a sweep is read [distributor rpm]: at the band's speeds, between and below them."""
    speeds = band_of(kind).speed_rpm
    between = np.convolve(speeds, (0.5, 0.5), "valid")
    return np.unique(np.round([speeds[0] - 200.0, speeds[0] - 100.0, *speeds, *between], -1))


@cache
def likely_pairs(kind):
    """The pairs of the drawer that come nearest to the band in a head as drawn, best first.

    Springs for one head lie side by side in the drawer, so the hand looks round the pair its maker chose.
    """
    head = drawn(kind)
    pairs = product(*(_beside(label) for label in kind.springs))
    fits = [_fit(head, kind, pair, (0.0, 0.0)) for pair in pairs]
    return sorted(fits, key=lambda fit: fit.worst_shaft_deg)[:PAIRS_KEPT]


def _beside(label):
    """The springs at most ``BESIDE`` places from this one, on its own side of the drawer."""
    side = [other for other in TRUE if other[0] == label[0]]
    place = side.index(label)
    return side[max(0, place - BESIDE) : place + BESIDE + 1]


def fits_in(unit, kind):
    """The likely pairs tried in this very unit, one after another, each with its best bends."""
    for pair in likely_pairs(kind):
        labels = (pair.primary, pair.secondary)
        bent = (_fit(unit, kind, labels, bends) for bends in product(BENDS_MM, BENDS_MM))
        yield min(bent, key=lambda fit: fit.worst_shaft_deg)


def _fit(unit, kind, pair, bends):
    band = band_of(kind)
    curve = unit.advance(TRUE[pair[0]], TRUE[pair[1]], band.speed_rpm, true_bend_mm=bends)
    return Fit(*pair, bends, float(np.max(np.abs(curve - band.advance_deg))))


def sweep(unit, pair, speeds, seed, *, falling=False, bend_mm=(0.0, 0.0)):
    """Read a sweep up, and down again if asked: (distributor rpm, distributor deg, falling)."""
    down = speeds[-2::-1] if falling else speeds[:0]
    both = np.concatenate([speeds, down])
    falls = np.arange(len(both)) >= len(speeds)
    read = unit.run(*pair, both, seed=seed, falling=falls, bend_mm=bend_mm)
    advance = np.maximum(read.advance_deg, 0.0)
    return list(zip(both.tolist(), advance.tolist(), falls.tolist(), strict=True))


def rebuilt(kind, seed):
    """A unit of this kind with the pair and bends that bring it into its band.

    One that no pair in the drawer suits stays out of the demo: the next of its kind takes its place.
    """
    for another in range(UNITS_AT_HAND):
        unit = simulated.make_unit(drawn(kind), [*seed, another])
        for fit in fits_in(unit, kind):
            trial = proved(unit, kind, fit, [*seed, another, 0], falling=False)
            final = trial and proved(unit, kind, fit, [*seed, another, 1], falling=True)
            if final:
                return Rebuilt(unit, fit, trial, final)
    raise LookupError(f"no pair in the drawer suits a {kind.model}")


def proved(unit, kind, fit, seed, *, falling):
    """A sweep that lies in the band all along, or None if this pair doesn't give one."""
    pair = (TRUE[fit.primary], TRUE[fit.secondary])
    for again in range(READ_AGAIN):
        readings = sweep(unit, pair, read_at(kind), [*seed, again], falling=falling, bend_mm=fit.bend_mm)
        if is_good(readings, kind):
            return readings
    return None


def is_good(readings, kind):
    """Whether it begins at rest, and both sweeps lie in the band and near each other."""
    speed, advance, falls = (np.array(column) for column in zip(*readings, strict=True))
    up, down = advance[~falls], advance[falls][::-1]
    if up[0]:  # it must be at rest below the band
        return False
    if np.any(np.abs(down - up[: len(down)]) >= verdicts.APART_DEG):
        return False
    return verdicts.verdict(Readings(speed, advance, falls), band_of(kind), DRIVE)[0] is True


def trial(unit, kind, fit, seed):
    """A quick sweep up with a pair, wherever it lies."""
    pair = (TRUE[fit.primary], TRUE[fit.secondary])
    return sweep(unit, pair, band_of(kind).speed_rpm, seed, bend_mm=fit.bend_mm)


def as_found(unit, fault, seed):
    """The unit as it came in, of the same seed as ``received``."""
    return tired(unit, fault, [*seed, 0])[0]


def received(unit, kind, fault, seed):
    """The sweep of a unit as it came in, with its own tired pair."""
    unit, pair = tired(unit, fault, [*seed, 0])
    return sweep(unit, pair, read_at(kind), [*seed, 1], falling=True)


def light(unit, fault, kind, seed, *, initial_crank_deg, vacuum_crank_deg=0.0):
    """What a timing light reads with the unit as it came in: (crank rpm, crank deg, part throttle).

    With the vacuum line left on, the readings taken at part throttle are too high by what the capsule adds.
    """
    unit, pair = tired(unit, fault, [*seed, 0])
    idle, top = kind.idle_crank_rpm, 0.8 * kind.top_crank_rpm
    crank_rpm = np.unique(np.round(np.linspace(idle, top, LIGHT_READINGS), -2))
    part_throttle = (np.arange(len(crank_rpm)) % 3 == 1) & (vacuum_crank_deg > 0)
    wander = np.random.default_rng([*seed, 2]).normal(0.0, LIGHT_SCATTER_CRANK_DEG, len(crank_rpm))
    crank_deg = DRIVE.to_crank_deg(unit.advance(*pair, DRIVE.to_shaft_rpm(crank_rpm)))
    read = np.round(initial_crank_deg + crank_deg + vacuum_crank_deg * part_throttle + wander)
    return list(zip(crank_rpm.tolist(), read.tolist(), part_throttle.tolist(), strict=True))


def pull(best_crank_deg, seed):
    """Pull on a dynamometer against the timing in all, at one speed: (crank deg, N m); flat at the top."""
    crank_deg = np.round(best_crank_deg) + np.arange(-8.0, 7.0, 2.0)
    drop = 0.12 * (crank_deg - best_crank_deg) ** 2
    read = 118.0 - drop + np.random.default_rng(seed).normal(0.0, 0.5, len(crank_deg))
    return list(zip(crank_deg.tolist(), np.round(read, 1).tolist(), strict=True))


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
            unit = replace(unit, travel_deg=unit.travel_deg + rng.uniform(1.9, 2.1))
        case "secondary lost":
            secondary = None
        case "weak":
            primary = replace(primary, rate=0.8 * primary.rate)
            secondary = replace(secondary, rate=0.75 * secondary.rate, length=secondary.length + 0.2)
    return unit, (primary, secondary)
