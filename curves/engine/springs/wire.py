"""Round-wire coil springs: rate and stress from wire, coil and turns, and the turns for a wanted rate."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

from ..codes import Code, EngineWarning, warn
from ..readings import checked_number
from .spring import MAX_RATE_N_PER_MM, MAX_TENSION_N

MODULUS_N_PER_MM2 = 81_370.0  # steel wire in shear (Bhandari, Design of Machine Elements, ch. 10)
YOUNGS_N_PER_MM2 = 207_000.0  # steel wire in tension (Bhandari, same place)
USUAL_INDEX = (4.0, 12.0)  # coil over wire that winds well (Bhandari, ch. 10)
MIN_WIRE_MM, MAX_WIRE_MM = 0.001, 50.0
MIN_COIL_MM, MAX_COIL_MM = 0.01, 500.0
MAX_TURNS = 1_000.0
MAX_STRESS = 5_000.0
ROUNDING = 1e-9  # share of a limit that is only rounding


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
    warnings : tuple of EngineWarning
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
    warnings: tuple[EngineWarning, ...]


def body_turns(
    active_turns: float, *, modulus: float = MODULUS_N_PER_MM2, youngs: float = YOUNGS_N_PER_MM2
) -> float:
    """Take from an extension spring's active turns what its two hooks yield.

    Parameters
    ----------
    active_turns : float
        Active turns, more than the hooks yield: with steel 0.39.
    modulus, youngs : float
        Moduli of the wire in shear and in tension [N/mm2], above 0.

    Returns
    -------
    float
        Turns of the body, between the hooks [-].

    Raises
    ------
    ValueError
        If a value is not a finite number in its range.

    Notes
    -----
    N_b = N_a - G / E.

    References
    ----------
    Shigley, Mechanical Engineering Design, ch. 10, extension springs.

    Examples
    --------
    >>> round(body_turns(12.574, modulus=11.6, youngs=28.7), 2)
    12.17
    """
    shear = checked_number("modulus", modulus, 0.0, above=True)
    hooks = shear / checked_number("youngs", youngs, 0.0, above=True)
    return checked_number("active_turns", active_turns, hooks, MAX_TURNS, above=True) - hooks


def spring_from_wire(
    wire_mm: float,
    coil_mm: float,
    turns: float,
    *,
    modulus: float = MODULUS_N_PER_MM2,
    load_n: float | None = None,
    stress_limit: float | None = None,
) -> WireSpring:
    """Work out rate and stress of a coil spring from wire, coil and turns.

    Parameters
    ----------
    wire_mm : float
        Wire diameter [mm], 0.001 to 50.
    coil_mm : float
        Mean coil diameter, outside minus one wire [mm], above the wire's.
    turns : float
        Active turns, above 0; see `body_turns` for hooks.
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
    wire = checked_number("wire_mm", wire_mm, MIN_WIRE_MM, MAX_WIRE_MM)
    coil = checked_number("coil_mm", coil_mm, wire, MAX_COIL_MM, above=True)
    count = checked_number("turns", turns, 0.0, MAX_TURNS, above=True)
    shear = checked_number("modulus", modulus, 0.0, above=True)
    limit = checked_limit(stress_limit) if stress_limit is not None else None
    stress = None
    if load_n is not None:
        stress = shear_stress(checked_number("load_n", load_n, 0.0, MAX_TENSION_N), wire, coil)
    index = coil / wire
    within = stress is None or limit is None or stress <= limit * (1.0 + ROUNDING)
    warnings = []
    if not within:
        warnings.append(warn(Code.STRESS_OVER_LIMIT, stress_n_per_mm2=stress, limit_n_per_mm2=limit))
    least, most = USUAL_INDEX
    if not least <= index <= most:
        warnings.append(warn(Code.COIL_INDEX_UNUSUAL, coil_times=index, least_times=least, most_times=most))
    rate = shear * wire**4 / (8.0 * coil**3 * count)
    return WireSpring(
        wire, coil, count, rate, index, wahl_factor(index), stress, limit, within, tuple(warnings)
    )


def turns_for_rate(
    rate_n_per_mm: float, wire_mm: float, coil_mm: float, *, modulus: float = MODULUS_N_PER_MM2
) -> float:
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
        Active turns [-].

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


def checked_limit(stress_limit: float) -> float:
    """Check an allowed shear stress [N/mm2]."""
    return checked_number("stress_limit", stress_limit, 0.0, MAX_STRESS, above=True)


def wahl_factor(index: float) -> float:
    """Give how much more the inside of a coil bears, its diameter over the wire's being `index`."""
    return (4.0 * index - 1.0) / (4.0 * index - 4.0) + 0.615 / index


def shear_stress(load: float, wire: float, coil: float) -> float:
    """Give the shear stress [N/mm2] of a load [N] on wire and coil [mm]."""
    return wahl_factor(coil / wire) * 8.0 * load * coil / (pi * wire**3)
