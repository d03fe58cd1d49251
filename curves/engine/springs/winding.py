"""The wire, coil and turns to wind a wanted spring of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..readings import checked_array, checked_number
from .spring import MAX_LENGTH_MM, MAX_RATE_N_PER_MM, MAX_TENSION_N, MIN_LENGTH_MM
from .wire import (
    MAX_COIL_MM,
    MAX_WIRE_MM,
    USUAL_INDEX,
    WireSpring,
    body_turns,
    spring_from_wire,
    turns_for_rate,
)

WIRES_MM = np.round(np.arange(0.5, 2.01, 0.05), 2)
# Mean coil diameters, the most usual first; common practice, no source.
COILS_MM = (7.0, 6.0, 8.0, 5.0, 9.0, 10.0, 12.0)
MIN_TURNS = 3.0
STRENGTH_AT_1_MM, STRENGTH_FALL = 2211.0, 0.145  # music wire, Shigley, table 10-4 (from memory)
ALLOWED_SHARE = 0.45  # of it, in the body of an extension spring; Shigley, table 10-7 (from memory)


@dataclass(frozen=True)
class Winding:
    """A spring as it is wound.

    Attributes
    ----------
    spring : WireSpring
        Wire, coil, active turns, and the stress at the load beside what the wire is usually allowed.
    body_turns : float
        Turns between the hooks, which yield a little themselves.
    load_n : float
        Load it was reckoned for [N].
    """

    spring: WireSpring
    body_turns: float
    load_n: float


def allowed_stress(wire_mm: float) -> float:
    """Give the shear stress that the body of an extension spring of music wire is usually allowed.

    Parameters
    ----------
    wire_mm : float
        Wire diameter [mm], 0.1 to 50.

    Returns
    -------
    float
        Shear stress [N/mm2].

    Raises
    ------
    ValueError
        If the wire is not a finite number in its range.

    Notes
    -----
    tau = 0.45 S, S = 2211 / d^0.145.

    References
    ----------
    Shigley, Mechanical Engineering Design, tables 10-4 and 10-7 (from memory).

    Examples
    --------
    >>> round(allowed_stress(1.0))
    995
    """
    wire = checked_number("wire_mm", wire_mm, 0.1, MAX_WIRE_MM)
    return ALLOWED_SHARE * STRENGTH_AT_1_MM / wire**STRENGTH_FALL


def wind(
    rate_n_per_mm: float,
    free_length_mm: float,
    load_n: float,
    *,
    coils_mm: ArrayLike = COILS_MM,
    wires_mm: ArrayLike = WIRES_MM,
) -> Winding | None:
    """Choose wire, coil and turns that make a wanted spring between its loops.

    Parameters
    ----------
    rate_n_per_mm : float
        Rate wanted [N/mm], above 0.
    free_length_mm : float
        Free length inside the loops [mm].
    load_n : float
        Greatest load, initial tension included [N], at least 0.
    coils_mm : array_like
        Mean coil diameters that fit [mm], the most welcome first.
    wires_mm : array_like
        Wires that can be had [mm].

    Returns
    -------
    Winding or None
        None if no such wire winds it in the room there is. Where all that do are stressed over what is
        usually allowed, the first of them, its `spring.within` False.

    Raises
    ------
    ValueError
        If a value is not a finite number in its range.

    Notes
    -----
    n = G d^4 / (8 D^3 k) and the thickest wire that fits, since that bears the load best: coil 4 to 12 times
    the wire, three turns at least, the closed body and two loops within the length.

    References
    ----------
    V. B. Bhandari, Design of Machine Elements, ch. 10; Shigley, Mechanical Engineering Design, ch. 10.

    Examples
    --------
    >>> made = wind(2.5, 19.0, 12.0)
    >>> made.spring.wire_mm, made.spring.coil_mm, round(made.spring.turns, 2), made.spring.within
    (1.0, 7.0, 11.86, True)
    """
    rate = checked_number("rate_n_per_mm", rate_n_per_mm, 0.0, MAX_RATE_N_PER_MM, above=True)
    length = checked_number("free_length_mm", free_length_mm, MIN_LENGTH_MM, MAX_LENGTH_MM)
    load = checked_number("load_n", load_n, 0.0, MAX_TENSION_N)
    coils = checked_array("coils_mm", coils_mm, 0.0, MAX_COIL_MM, above=True)
    wires = np.sort(checked_array("wires_mm", wires_mm, 0.1, MAX_WIRE_MM))[::-1]
    fit = [
        _made(rate, wire, coil, load)
        for coil in coils.tolist()
        for wire in wires.tolist()
        if _fits(rate, length, wire, coil)
    ]
    return next((one for one in fit if one.spring.within), fit[0] if fit else None)


def _fits(rate: float, length: float, wire: float, coil: float):
    if not USUAL_INDEX[0] <= coil / wire <= USUAL_INDEX[1]:
        return False
    turns = turns_for_rate(rate, wire, coil)
    loops = coil - wire  # half an inner diameter at either end
    return turns >= MIN_TURNS and (turns + 1.0) * wire <= length - loops


def _made(rate: float, wire: float, coil: float, load: float):
    turns = turns_for_rate(rate, wire, coil)
    spring = spring_from_wire(wire, coil, turns, load_n=load, stress_limit=allowed_stress(wire))
    return Winding(spring, body_turns(turns), load)
