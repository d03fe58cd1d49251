"""The spring to buy or to wind when the drawer has none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from ..bands.band import Target
from ..codes import Code, EngineWarning, warn
from ..fitting.calibration import Calibration
from ..governor.head import MAX_BEND_MM
from ..governor.prior import GAP, POSITIONS, STRETCH, TRAVEL, TYPICAL_RATES
from ..readings import checked_array, checked_choice, checked_kind, checked_number
from ..springs.spring import (
    MAX_LENGTH_MM,
    MAX_RATE_N_PER_MM,
    MAX_TENSION_N,
    MIN_LENGTH_MM,
    MIN_RATE_N_PER_MM,
    Spring,
    within_range,
)
from ..springs.winding import COILS_MM, Winding, wind
from .drawer import Drawer
from .judge import Judge
from .ranking import FAIR_CHANCE, Choices
from .sweeps import Sweeps

RATE_RANGE = 4.0  # looked for from a quarter to four times the springs known
LENGTH_RANGE_MM = 3.0
ROUNDS = 3
POINTS = 13
NARROWER = 3.0
SPRINGS = (  # what is no spring is not looked at
    (np.log(MIN_RATE_N_PER_MM), MIN_LENGTH_MM),
    (np.log(MAX_RATE_N_PER_MM), MAX_LENGTH_MM),
)


@dataclass(frozen=True)
class WantedSpring:
    """A spring to look for.

    Attributes
    ----------
    spring : Spring
        Rate, free length and initial tension, as if exactly so.
    chance : float
        That with it the curve, or the run as it will be read, lies in the band; see `Proposal`.
    worst_miss_deg : float
        Greatest distance from the target at its points, expected [shaft degree].
    winding : Winding or None
        Wire, coil and turns that make it, and what it bears at the stop; None if none of the usual do.
    warnings : tuple of EngineWarning
        What to look at: no fair chance, a best at the edge of what was looked at, no usual wire.

    Examples
    --------
    >>> made = wind(2.5, 19.0, 12.0)
    >>> WantedSpring(Spring("wanted primary", 2.5, 19.0), 0.7, 0.4, made, ()).winding.spring.wire_mm
    1.0
    """

    spring: Spring
    chance: float
    worst_miss_deg: float
    winding: Winding | None
    warnings: tuple[EngineWarning, ...]


def wanted_spring(
    calibration: Calibration,
    target: Target,
    position: str,
    other: Spring | None,
    *,
    initial_tension_n: float = 0.0,
    post_bend_mm: tuple[float, float] = (0.0, 0.0),
    coils_mm: ArrayLike = COILS_MM,
    sweeps: Sweeps | None = None,
) -> WantedSpring:
    """Find rate and free length of the spring that would do best beside another.

    Parameters
    ----------
    calibration : Calibration
    target : Target
    position : {"primary", "secondary"}
        Where the wanted spring hangs.
    other : Spring or None
        What hangs in the other place; None for a head with a single spring.
    initial_tension_n : float, default 0
        Initial tension it will have [N], at least 0.
    post_bend_mm : tuple (float, float)
        Where the posts are [mm].
    coils_mm : array_like
        Mean coil diameters that fit the head [mm], the most welcome first.
    sweeps : Sweeps, optional
        How the run will be read, as for `propose`: then the chance is of the verdict on that run.

    Returns
    -------
    WantedSpring

    Raises
    ------
    ValueError
        If an argument is not of its kind or out of range.

    Notes
    -----
    A net over rate and free length, drawn closer three times, each knot scored over the draws like a spring
    in the drawer. Wire and turns follow as `wind` says, for the load that it bears at the stop.

    References
    ----------
    V. B. Bhandari, Design of Machine Elements, ch. 10.

    Examples
    --------
    >>> from curves.engine import Head, Run, calibrate
    >>> head = Head((20.0, 22.0), (0.24, 0.24), 12.0)
    >>> first, second = Spring("P1", 3.0, 19.7), Spring("S1", 9.0, 23.0)
    >>> run = Run(first, second, [400, 600, 800, 1100, 1400, 1800], [0, 1.5, 4.5, 7.5, 11, 12])
    >>> target = Target([600, 800, 1100], [1.5, 4.5, 7.5], 1.0)
    >>> wanted = wanted_spring(calibrate(head, [run]), target, "primary", second)
    >>> 2.0 < wanted.spring.rate_n_per_mm < 4.5, wanted.chance > 0.8
    (True, True)
    """
    checked_kind("calibration", calibration, Calibration)
    checked_kind("target", target, Target)
    place = POSITIONS.index(checked_choice("position", position, POSITIONS))
    checked_kind("other", other, Spring, none_too=position == "primary")
    tension = checked_number("initial_tension_n", initial_tension_n, 0.0, MAX_TENSION_N)
    bend = checked_array("post_bend_mm", post_bend_mm, -MAX_BEND_MM, MAX_BEND_MM, like=("(p, s)", 2))
    coils = checked_array("coils_mm", coils_mm, 0.0, 100.0, above=True)
    checked_kind("sweeps", sweeps, Sweeps, none_too=True)
    if sweeps:
        sweeps = sweeps.reaching(target).as_loose_as(calibration)
    rate, length, stop, chance, miss, at_edge = _search(
        calibration, target, place, other, tension, bend, sweeps
    )
    fair = FAIR_CHANCE * (Judge.of(target, sweeps).middle_chance(target) if sweeps else 1.0)
    rate = within_range("rate_n_per_mm", rate)  # which taking and undoing a logarithm may leave by a hair
    spring = Spring(f"wanted {position}", rate, length, tension)
    load = tension + rate * max(stop + bend[place] - length, 0.0)
    # More than any spring is taken to bear is over every wire's stress in any case.
    winding = wind(rate, length, min(load, MAX_TENSION_N), coils_mm=coils)
    warnings = []
    if chance < fair:
        warnings.append(warn(Code.NO_WANTED_SPRING))
    if at_edge and chance < 1.0:
        warnings.append(warn(Code.WANTED_AT_EDGE, rate_times=RATE_RANGE, length_mm=LENGTH_RANGE_MM))
    if not winding:
        warnings.append(warn(Code.NO_USUAL_WIRE))
    return WantedSpring(spring, chance, miss, winding, tuple(warnings))


def _search(
    calibration: Calibration,
    target: Target,
    place: int,
    other: Spring | None,
    tension: float,
    bend: Floats,
    sweeps: Sweeps | None,
):
    """Draw a net over rate and length closer and closer.

    Gives rate and length of the best knot, the gap of its posts at the stop, its chance and worst miss, and
    whether it lies at the first net's edge.
    """
    sides: list[Any] = [(other,), (other,)]
    sides[place] = (Spring("any", TYPICAL_RATES[place], 1.0),)
    drawer = Drawer.open(calibration, target, sides[0], sides[1], sweeps=sweeps)
    known = [spring.rate_n_per_mm for spring, where in calibration.model.springs if where == place]
    known = [rate for rate in known if rate] or [TYPICAL_RATES[place]]
    middle = np.array([np.mean(np.log(known)), np.exp(drawer.bench.head[:, GAP.start + place]).mean()])
    first, reach = middle, np.array([np.log(RATE_RANGE), LENGTH_RANGE_MM])
    farthest = (1.0 - 1e-9) * reach
    line = np.linspace(-1.0, 1.0, POINTS)
    for _ in range(ROUNDS):
        net = np.stack(np.meshgrid(line, line, indexing="ij"), axis=-1).reshape(-1, 2) * reach + middle
        net = np.clip(net, *SPRINGS)
        bench, choices = _hung(drawer, place, net, tension, bend)
        scores = bench.score(choices, target)
        best = np.lexsort((scores.worst_miss_deg, -scores.chance))[0]
        middle, reach = net[best], reach / NARROWER
    chance = scores.chance[best]  # pyrefly: ignore[unbound-name]: there is more than no round
    if sweeps:
        only = choices.take([best])  # pyrefly: ignore[unbound-name]: there is more than no round
        chance = bench.chances(only, target, scores.initial_deg[[best]]).mean()  # pyrefly: ignore[unbound-name]
    return (
        float(np.exp(middle[0])),
        float(middle[1]),
        _gap_at_stop_mm(drawer.bench.head, place),
        float(chance),
        float(scores.worst_miss_deg[best]),
        bool((np.abs(middle - first) >= farthest).any()),
    )


def _hung(drawer: Drawer, place: int, net: Floats, tension: float, bend: Floats):
    """Hang in springs of exactly such log rates and lengths."""
    exact = np.column_stack([net, tension * np.exp(-net[:, 0])])
    table = np.repeat(exact[:, None].astype(drawer.bench.head.dtype), len(drawer.bench.head), axis=1)
    index = [np.zeros(len(net), dtype=int)] * 2
    index[place] = np.arange(len(net))
    choices = Choices(index[0], index[1], np.tile(bend, (len(net), 1)), np.full(len(net), np.nan))
    return drawer.bench.with_side(place, table), choices


def _gap_at_stop_mm(head: Floats, place: int):
    """Give how far apart a spring's posts are at the stop, posts straight, in the mean of all draws."""
    gap, stretch, travel = (np.exp(head[:, at]) for at in (GAP.start + place, STRETCH.start + place, TRAVEL))
    return float((gap + stretch * travel).mean())
