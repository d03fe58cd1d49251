"""The wire, coil and turns to make a spring of: the thinnest wire that carries a load, at a wanted rate."""

from dataclasses import dataclass
from math import ceil, pi, sqrt

from scipy.optimize import brentq

from ..readings import checked_array, checked_number
from .spring import MAX_TENSION_N
from .wire import (
    MAX_COIL_MM,
    MAX_TURNS,
    MAX_WIRE_MM,
    MIN_COIL_MM,
    MODULUS_N_PER_MM2,
    ROUNDING,
    WireSpring,
    checked_limit,
    shear_stress,
    spring_from_wire,
    turns_for_rate,
    wahl_factor,
)

RATE_OFF = 0.03  # share of a wanted rate; closer no spring is wound


@dataclass(frozen=True)
class WirePlan:
    """A spring to make for a wanted rate.

    Attributes
    ----------
    thinnest_wire_mm, exact_turns : float
        What the equations give: wire [mm] and active turns.
    spring : WireSpring
        What can be bought and wound.
    warnings : tuple of str
        What to look at, the spring's own warnings included.
    """

    thinnest_wire_mm: float
    exact_turns: float
    spring: WireSpring
    warnings: tuple[str, ...] = ()


def thinnest_wire(load_n, stress_limit, *, spring_index=None, coil_mm=None) -> float:
    """Return the thinnest wire that carries a load within a stress limit.

    Parameters
    ----------
    load_n : float
        Greatest load, initial tension included [N], above 0.
    stress_limit : float
        Allowed shear stress [N/mm2], above 0.
    spring_index, coil_mm : float
        One of the two: mean coil over wire, above 1, or mean coil diameter [mm], 0.01 to 500.

    Returns
    -------
    float
        Wire diameter [mm].

    Raises
    ------
    ValueError
        If a value is not a finite number in its range, not exactly one of index and coil is given, or no wire
        of at most half the coil carries the load.

    Notes
    -----
    d = sqrt(8 K P C / (pi tau)) at a given index; at a given coil the root of tau(d) = limit.

    References
    ----------
    V. B. Bhandari, Design of Machine Elements, Examples 10.1 and 10.5.

    Examples
    --------
    >>> round(thinnest_wire(1250, 0.5 * 1090, spring_index=6), 6)
    6.625083
    """
    load = checked_number("load_n", load_n, 0.0, MAX_TENSION_N, above=True)
    limit = checked_limit(stress_limit)
    if (spring_index is None) == (coil_mm is None):
        raise ValueError(f"give one of spring_index and coil_mm, got {spring_index!r} and {coil_mm!r}")
    if spring_index is not None:
        index = checked_number("spring_index", spring_index, 1.0, 100.0, above=True)
        return sqrt(8.0 * wahl_factor(index) * load * index / (pi * limit))
    coil = checked_number("coil_mm", coil_mm, MIN_COIL_MM, MAX_COIL_MM)
    thin, thick = coil / 1000.0, coil / 2.0
    least = shear_stress(load, thick, coil)
    if least > limit:
        raise ValueError(
            f"stress_limit must be at least {least:.0f} N/mm2 for {load:g} N on a coil of {coil:g} mm, got "
            f"{limit:g}"
        )
    if shear_stress(load, thin, coil) <= limit:
        return thin
    return float(brentq(lambda wire: shear_stress(load, wire, coil) - limit, thin, thick, xtol=1e-12))


def wire_for_rate(
    rate_n_per_mm,
    load_n,
    stress_limit,
    *,
    spring_index=None,
    coil_mm=None,
    wires_mm=None,
    turn_step=0.25,
    modulus=MODULUS_N_PER_MM2,
) -> WirePlan:
    """Choose wire, coil and turns that make a wanted rate and carry a load.

    Parameters
    ----------
    rate_n_per_mm : float
        Rate wanted [N/mm], above 0.
    load_n : float
        Greatest load, initial tension included [N], above 0.
    stress_limit : float
        Allowed shear stress [N/mm2], above 0.
    spring_index, coil_mm : float
        One of the two: mean coil over wire, or mean coil diameter [mm].
    wires_mm : array_like, optional
        Wires that can be had [mm], above 0; by default any.
    turn_step : float, default 0.25
        Turns come in such steps, above 0.
    modulus : float, default 81 370
        Shear modulus [N/mm2], above 0.

    Returns
    -------
    WirePlan

    Raises
    ------
    ValueError
        If a value is not a finite number in its range, or no wire carries the load.

    Notes
    -----
    The thinnest wire within the limit, then n = G d^4 / (8 D^3 k) to the nearest step, one turn at least. A
    rate that this misses by more than 3 % is said.

    References
    ----------
    V. B. Bhandari, Design of Machine Elements, Example 10.5.

    Examples
    --------
    >>> plan = wire_for_rate(15, 1500, 680, spring_index=6, wires_mm=[6, 7, 8], turn_step=1)
    >>> round(plan.thinnest_wire_mm, 6), plan.spring.wire_mm, plan.spring.turns
    (6.497192, 7.0, 22.0)
    """
    thinnest = thinnest_wire(load_n, stress_limit, spring_index=spring_index, coil_mm=coil_mm)
    step = checked_number("turn_step", turn_step, 0.0, MAX_TURNS, above=True)
    wire = thinnest
    if wires_mm is not None:
        wires = checked_array("wires_mm", wires_mm, 0.0, MAX_WIRE_MM, above=True)
        fit = wires[wires >= thinnest * (1.0 - ROUNDING)]
        if not fit.size:
            raise ValueError(f"wires_mm must reach {thinnest:.3f} mm, got at most {wires.max():g}")
        wire = float(fit.min())
    coil = wire * float(spring_index) if coil_mm is None else float(coil_mm)
    exact = turns_for_rate(rate_n_per_mm, wire, coil, modulus=modulus)
    if exact > MAX_TURNS:
        raise ValueError(
            f"rate_n_per_mm must be at least {float(rate_n_per_mm) * exact / MAX_TURNS:.3g} with a wire of "
            f"{wire:.3g} mm, got {rate_n_per_mm}"
        )
    turns = max(round(exact / step), ceil(1.0 / step)) * step
    spring = spring_from_wire(wire, coil, turns, modulus=modulus, load_n=load_n, stress_limit=stress_limit)
    off = spring.rate_n_per_mm / float(rate_n_per_mm) - 1.0
    missed = ()
    if abs(off) > RATE_OFF:
        missed = (
            f"The rate comes out {abs(off):.0%} too {'high' if off > 0 else 'low'}, "
            f"{spring.rate_n_per_mm:.3g} N/mm with {turns:g} turns: choose another coil or wire, or finer "
            "turns.",
        )
    return WirePlan(thinnest, exact, spring, missed + spring.warnings)
