"""Round-wire coil springs: rate and stress from wire, coil and turns, and the wire for a wanted rate."""

from dataclasses import dataclass
from math import ceil, pi, sqrt

from scipy.optimize import brentq

from .readings import checked_array, checked_number
from .springs import MAX_RATE_N_PER_MM, MAX_TENSION_N

MODULUS_N_PER_MM2 = 81_370.0  # steel wire in shear (Bhandari, Design of Machine Elements, ch. 10)
YOUNGS_N_PER_MM2 = 207_000.0  # steel wire in tension (Bhandari, same place)
USUAL_INDEX = (4.0, 12.0)  # coil over wire that winds well (Bhandari, ch. 10)
MAX_WIRE_MM = 50.0
MAX_COIL_MM = 500.0
MAX_TURNS = 1_000.0
MAX_STRESS = 5_000.0


@dataclass(frozen=True)
class WireSpring:
    """A coil spring made of round wire.

    Attributes
    ----------
    wire_mm, coil_mm, turns : float
        Wire diameter, mean coil diameter [mm], active turns.
    rate_n_per_mm : float
        Rate [N/mm].
    index, wahl : float
        Coil over wire, and the Wahl stress factor.
    stress_n_per_mm2, limit_n_per_mm2 : float or None
        Shear stress at the load asked about, and the limit given [N/mm2].
    within : bool
        False when the stress is over the limit.
    warnings : tuple of str
        What to look at.
    """

    wire_mm: float
    coil_mm: float
    turns: float
    rate_n_per_mm: float
    index: float
    wahl: float
    stress_n_per_mm2: float | None
    limit_n_per_mm2: float | None
    within: bool
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class WirePlan:
    """A spring to make for a wanted rate.

    `thinnest_wire_mm` and `exact_turns` are what the equations give; `spring` is what can be bought and
    wound.
    """

    thinnest_wire_mm: float
    exact_turns: float
    spring: WireSpring


def active_turns(body_turns, *, modulus=MODULUS_N_PER_MM2, youngs=YOUNGS_N_PER_MM2) -> float:
    """Add to the turns of an extension spring's body what its two hooks yield.

    Parameters
    ----------
    body_turns : float
        Turns of the body, above 0.
    modulus, youngs : float
        Moduli of the wire in shear and in tension [N/mm2], above 0.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If a value is not a finite number in its range.

    Notes
    -----
    N_a = N_b + G / E.

    References
    ----------
    Shigley, Mechanical Engineering Design, ch. 10, extension springs.

    Examples
    --------
    >>> round(active_turns(12.17, modulus=11.6, youngs=28.7), 2)
    12.57
    """
    body = checked_number("body_turns", body_turns, 0.0, MAX_TURNS, above=True)
    shear = checked_number("modulus", modulus, 0.0, above=True)
    return body + shear / checked_number("youngs", youngs, 0.0, above=True)


def spring_from_wire(
    wire_mm, coil_mm, turns, *, modulus=MODULUS_N_PER_MM2, load_n=None, stress_limit=None
) -> WireSpring:
    """Work out rate and stress of a coil spring from wire, coil and turns.

    Parameters
    ----------
    wire_mm : float
        Wire diameter [mm], above 0.
    coil_mm : float
        Mean coil diameter, outside minus one wire [mm], above the wire's.
    turns : float
        Active turns, above 0; see `active_turns` for hooks.
    modulus : float, default 81 370
        Shear modulus [N/mm2], above 0.
    load_n : float, optional
        Load to work out the stress at, initial tension included [N], at least 0.
    stress_limit : float, optional
        Allowed shear stress [N/mm2], above 0.

    Returns
    -------
    WireSpring

    Raises
    ------
    ValueError
        If a value is not a finite number in its range.

    Notes
    -----
    k = G d^4 / (8 D^3 n); C = D / d; K = (4C - 1) / (4C - 4) + 0.615 / C; tau = K 8 P D / (pi d^3).

    References
    ----------
    V. B. Bhandari, Design of Machine Elements, ch. 10; A. M. Wahl, Mechanical Springs.

    Examples
    --------
    >>> spring = spring_from_wire(6, 36, 10, load_n=706.021471)
    >>> round(spring.rate_n_per_mm, 6), round(spring.stress_n_per_mm2, 3)
    (28.253472, 375.305)
    """
    wire = checked_number("wire_mm", wire_mm, 0.0, MAX_WIRE_MM, above=True)
    coil = checked_number("coil_mm", coil_mm, wire, MAX_COIL_MM, above=True)
    count = checked_number("turns", turns, 0.0, MAX_TURNS, above=True)
    shear = checked_number("modulus", modulus, 0.0, above=True)
    limit = _limit(stress_limit) if stress_limit is not None else None
    stress = None
    if load_n is not None:
        stress = _stress(checked_number("load_n", load_n, 0.0, MAX_TENSION_N), wire, coil)
    index = coil / wire
    within = stress is None or limit is None or stress <= limit
    words = []
    if not within:
        words.append(
            f"The stress, {stress:.0f} N/mm2, is over the limit of {limit:.0f}: the spring will take a set "
            "or break."
        )
    if not USUAL_INDEX[0] <= index <= USUAL_INDEX[1]:
        words.append(
            f"The coil is {index:.1f} times the wire; {USUAL_INDEX[0]:.0f} to {USUAL_INDEX[1]:.0f} winds "
            "well."
        )
    rate = shear * wire**4 / (8.0 * coil**3 * count)
    return WireSpring(wire, coil, count, rate, index, _wahl(index), stress, limit, within, tuple(words))


def turns_for_rate(rate_n_per_mm, wire_mm, coil_mm, *, modulus=MODULUS_N_PER_MM2) -> float:
    """Return the active turns that give a rate with this wire and coil.

    Parameters
    ----------
    rate_n_per_mm : float
        Rate wanted [N/mm], above 0.
    wire_mm, coil_mm : float
        Wire and mean coil diameter [mm]; the coil above the wire.
    modulus : float, default 81 370
        Shear modulus [N/mm2], above 0.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If a value is not a finite number in its range.

    Notes
    -----
    n = G d^4 / (8 D^3 k).

    References
    ----------
    V. B. Bhandari, Design of Machine Elements, Example 10.5: 21.974923 turns.

    Examples
    --------
    >>> round(turns_for_rate(15, 7, 42), 6)
    21.974923
    """
    rate = checked_number("rate_n_per_mm", rate_n_per_mm, 0.0, MAX_RATE_N_PER_MM, above=True)
    return spring_from_wire(wire_mm, coil_mm, 1.0, modulus=modulus).rate_n_per_mm / rate


def thinnest_wire(load_n, stress_limit, *, spring_index=None, coil_mm=None) -> float:
    """Return the thinnest wire [mm] that carries a load within a stress limit.

    Parameters
    ----------
    load_n : float
        Greatest load, initial tension included [N], above 0.
    stress_limit : float
        Allowed shear stress [N/mm2], above 0.
    spring_index, coil_mm : float
        One of the two: mean coil over wire, above 1, or mean coil diameter [mm], above 0.

    Returns
    -------
    float

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
    limit = _limit(stress_limit)
    if (spring_index is None) == (coil_mm is None):
        raise ValueError(f"give one of spring_index and coil_mm, got {spring_index!r} and {coil_mm!r}")
    if spring_index is not None:
        index = checked_number("spring_index", spring_index, 1.0, 100.0, above=True)
        return sqrt(8.0 * _wahl(index) * load * index / (pi * limit))
    coil = checked_number("coil_mm", coil_mm, 0.0, MAX_COIL_MM, above=True)
    thin, thick = coil / 1000.0, coil / 2.0
    if _stress(load, thick, coil) > limit:
        raise ValueError(
            f"stress_limit must be at least {_stress(load, thick, coil):.0f} N/mm2 for {load:g} N on a coil "
            f"of {coil:g} mm, got {limit:g}"
        )
    if _stress(load, thin, coil) <= limit:
        return thin
    return float(brentq(lambda wire: _stress(load, wire, coil) - limit, thin, thick, xtol=1e-12))


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
    The thinnest wire within the limit, then n = G d^4 / (8 D^3 k) to the nearest step.

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
        fit = wires[wires >= thinnest * (1.0 - 1e-12)]
        if not fit.size:
            raise ValueError(f"wires_mm must reach {thinnest:.3f} mm, got at most {wires.max():g}")
        wire = float(fit.min())
    coil = wire * spring_index if coil_mm is None else coil_mm
    exact = turns_for_rate(rate_n_per_mm, wire, coil, modulus=modulus)
    turns = max(round(exact / step), ceil(1.0 / step)) * step
    spring = spring_from_wire(wire, coil, turns, modulus=modulus, load_n=load_n, stress_limit=stress_limit)
    return WirePlan(thinnest, exact, spring)


def _limit(stress_limit):
    return checked_number("stress_limit", stress_limit, 0.0, MAX_STRESS, above=True)


def _wahl(index):
    return (4.0 * index - 1.0) / (4.0 * index - 4.0) + 0.615 / index


def _stress(load, wire, coil):
    return _wahl(coil / wire) * 8.0 * load * coil / (pi * wire**3)
