"""The balance of weights and springs: speed as a function of angle, and the advance curve, its inverse."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Flags, Floats
from ..units import RAD_PER_S_PER_RPM

# kg mm2/deg times (rad/s)2 is 1e-6 N m/deg = 1e-3 N mm/deg.
TORQUE_PER_RPM_SQUARED = 1e-3 * RAD_PER_S_PER_RPM**2
_MIN_GROWTH = 0.05  # the weights' arm never shrinks to nothing
_BESIDE = 1e-9  # of a speed: just before it, just beyond it
_SAME_DEG = 1e-3  # angles that close are one

# Both springs' torque as lines in the angle: at rest [N mm], per degree, and the angle from which it holds.
Lines = tuple[tuple[Floats, Floats, Floats], tuple[Floats, Floats, Floats]]
_Cut = tuple[tuple[Any, Any, Any, Any], ...]  # low and high end, offset and slope: arrays, or 0.0


class Balance(NamedTuple):
    """An advance head with a pair of springs in it: plain numbers, or arrays that broadcast together.

    The angle may also be a sleeve lift in mm: then every "per degree" is "per mm", as for a textbook
    governor. The last axis of `gap_mm` to `tension_n` is the two springs; rate and tension 0 is no spring.
    """

    inertia: Floats  # [kg mm2/deg] half the change of inertia per degree, at rest
    growth: Floats  # [1/deg] how much that grows per degree
    friction: Floats  # [N mm/deg] helps to stay wherever the weights are
    travel_deg: Floats
    gap_mm: Floats  # (..., 2) between the posts at rest
    stretch: Floats  # (..., 2) [mm/deg]
    rate: Floats  # (..., 2) [N/mm]
    length_mm: Floats  # (..., 2) free length
    tension_n: Floats  # (..., 2) initial tension


@dataclass(frozen=True)
class Snap:
    """At `speed_rpm` the weights jump from one angle to another and rest nowhere between."""

    speed_rpm: float
    from_deg: float
    to_deg: float


def _sign(falling: bool | Flags):
    """Friction holds the weights in on the way up, out on the way down."""
    return np.where(falling, -1.0, 1.0)


def spring_torque(balance: Balance, angle_deg: Floats) -> Floats:
    """Give the springs' torque [N mm/deg] at an angle; broadcasts."""
    angle = np.asarray(angle_deg, dtype=float)[..., None]
    extension = balance.gap_mm + balance.stretch * angle - balance.length_mm
    pull = np.where(extension > 0, balance.tension_n + balance.rate * extension, 0.0)
    return (pull * balance.stretch).sum(axis=-1)


def speed_at(balance: Balance, angle_deg: ArrayLike, falling: bool | Flags = False) -> Floats:
    """Give the speed at which the weights rest at an angle.

    Parameters
    ----------
    balance : Balance
        The head with its springs.
    angle_deg : array_like, shape (...)
        Advance [shaft degree].
    falling : bool or array_like
        True: the speed came from above, so that friction pulls the other way.

    Returns
    -------
    ndarray, shape (...)
        Shaft speed [rpm]; 0 where friction alone holds the weights out.

    Notes
    -----
    ``J (1 + b t) w**2 = sum_i F_i a_i +/- friction``, F_i = T0_i + k_i e_i for e_i > 0, else 0, and
    e_i = g_i + a_i t - L_i.

    References
    ----------
    The spring-loaded (Hartnell) governor, for instance R. S. Khurmi and J. K. Gupta, Theory of Machines,
    chapter on governors; here with the angle as its coordinate.

    Examples
    --------
    >>> one = Balance(0.2, 0.0, 0.0, 12.0, [20.0, 0.0], [0.2, 0.2], [1.0, 0.0], [18.0, 0.0], [0.0, 0.0])
    >>> speed_at(one, [0.0, 10.0]).round(3)
    array([427.058, 603.951])
    """
    angle = np.asarray(angle_deg, dtype=float)
    torque = spring_torque(balance, angle) + _sign(falling) * balance.friction
    arm = balance.inertia * np.maximum(1.0 + balance.growth * angle, _MIN_GROWTH)
    return np.sqrt(np.maximum(torque, 0.0) / (TORQUE_PER_RPM_SQUARED * arm))


def advance_at(balance: Balance, speed_rpm: ArrayLike, falling: bool | Flags = False) -> Floats:
    """Give the advance at a speed: the inverse of `speed_at`, cut at 0 and at the travel.

    Parameters
    ----------
    balance : Balance
        The head with its springs.
    speed_rpm : array_like, shape (...)
        Shaft speed [rpm].
    falling : bool or array_like
        True: the speed came from above.

    Returns
    -------
    ndarray, shape (...)
        Advance [shaft degree].

    Notes
    -----
    The excess ``q(t) = sum_i F_i a_i +/- friction - J (1 + b t) w**2`` is a straight line in t between the
    angles at which a spring's slack is used up, so its zero is explicit. Rising, the weights stop at the
    first angle where q > 0; falling, at the last where q < 0: the two differ by friction, and at a snap.

    Examples
    --------
    >>> one = Balance(0.2, 0.0, 0.0, 12.0, [20.0, 0.0], [0.2, 0.2], [1.0, 0.0], [18.0, 0.0], [0.0, 0.0])
    >>> advance_at(one, [300.0, 603.951, 2000.0]).round(3)
    array([ 0., 10., 12.])
    """
    weight = np.asarray(balance.inertia) * TORQUE_PER_RPM_SQUARED * np.square(speed_rpm, dtype=float)
    travel = np.asarray(balance.travel_deg, dtype=float)
    return settle(spring_lines(balance), weight, balance.growth, balance.friction, travel, falling)


def spring_lines(balance: Balance) -> Lines:
    """Give both springs' torque as a line in the angle: offset, slope, and the angle from which it holds."""
    stretch, rate = np.asarray(balance.stretch, dtype=float), np.asarray(balance.rate, dtype=float)
    slack = np.subtract(balance.length_mm, balance.gap_mm)
    at_rest, slope = (np.asarray(balance.tension_n) - rate * slack) * stretch, rate * stretch**2
    taut = slack / stretch
    return (at_rest[..., 0], slope[..., 0], taut[..., 0]), (at_rest[..., 1], slope[..., 1], taut[..., 1])


def settle(
    lines: Lines,
    weight: Floats,
    growth: Floats,
    friction: Floats,
    travel_deg: Floats,
    falling: bool | Flags = False,
) -> Floats:
    """Give the angle at which the weights rest, all arguments broadcasting together.

    `lines` are those of `spring_lines`; `weight` is the weights' torque at rest [N mm/deg], J w**2.
    """
    pieces = _pieces(lines, travel_deg)
    bend = weight * growth
    # A piece whose torque does not tilt has no zero: what comes of dividing by it is not used.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        if np.ndim(falling) == 0:
            if falling:
                return _last_stop(pieces, -friction - weight, bend)
            return _first_stop(pieces, friction - weight, bend, travel_deg)
        rising = _first_stop(pieces, friction - weight, bend, travel_deg)
        return np.where(falling, _last_stop(pieces, -friction - weight, bend), rising)


def _pieces(lines: Lines, travel_deg: Floats) -> _Cut:
    """Cut 0 to travel where springs come in; give each piece's edges and its torque's offset and slope."""
    (offset_1, slope_1, taut_1), (offset_2, slope_2, taut_2) = lines
    taut_1, taut_2 = (np.minimum(np.maximum(taut, 0.0), travel_deg) for taut in (taut_1, taut_2))
    early = taut_1 <= taut_2
    first, second = np.minimum(taut_1, taut_2), np.maximum(taut_1, taut_2)
    offset, slope = np.where(early, offset_1, offset_2), np.where(early, slope_1, slope_2)
    return (
        (0.0, first, 0.0, 0.0),
        (first, second, offset, slope),
        (second, travel_deg, offset_1 + offset_2, slope_1 + slope_2),
    )


def _first_stop(pieces: _Cut, against: Floats, bend: Floats, travel_deg: Floats):
    """Give the smallest angle at which the springs win."""
    angle = np.full(np.broadcast(against, bend, *pieces[-1]).shape, travel_deg)
    for low, high, offset, slope in reversed(pieces):
        if (high > low).any():
            at_low, at_high, zero = _excess(low, high, offset + against, slope - bend)
            np.copyto(angle, zero, where=at_high > 0)
            np.copyto(angle, low, where=at_low > 0)
    return angle


def _last_stop(pieces: _Cut, against: Floats, bend: Floats):
    """Give the greatest angle at which the weights win."""
    angle = np.zeros(np.broadcast(against, bend, *pieces[-1]).shape)
    for low, high, offset, slope in pieces:
        if (high > low).any():
            at_low, at_high, zero = _excess(low, high, offset + against, slope - bend)
            np.copyto(angle, zero, where=at_low < 0)
            np.copyto(angle, high, where=at_high < 0)
    return angle


def _excess(low: Floats, high: Floats, level: Floats, tilt: Floats):
    """Give the springs' excess at both ends of a piece, and where its line crosses zero."""
    at_low, at_high = tilt * low, tilt * high
    at_low += level
    at_high += level
    return at_low, at_high, level / -tilt


def find_snaps(balance: Balance, falling: bool = False) -> tuple[Snap, ...]:
    """Give the snaps of one head: where a higher speed has no angle next to the one before.

    Parameters
    ----------
    balance : Balance
        One head with its springs (plain numbers).
    falling : bool
        True: as the speed falls.

    Returns
    -------
    tuple of Snap

    Notes
    -----
    Within a piece the speed falls with the angle where ``slope < b (offset +/- friction)``. That is a snap
    only if the sweep comes to rest at the piece's edge and goes on from there in its own direction: what lies
    below 0 torque or was jumped over by an earlier snap is never met.

    Examples
    --------
    >>> strong = Balance(0.2, 0.05, 0.0, 12.0, [30.0, 0.0], [0.2, 0.2], [1.0, 0.0], [18.0, 0.0], [0.0, 0.0])
    >>> find_snaps(strong)[0].to_deg
    12.0
    """
    friction = float(_sign(falling)) * balance.friction
    snaps = []
    for low, high, offset, slope in _pieces(spring_lines(balance), balance.travel_deg):
        if high > low and slope < balance.growth * (offset + friction):
            start = float(high if falling else low)
            torque = offset + slope * start + friction
            if torque <= 0:
                continue  # no speed balances it
            arm = balance.inertia * max(1.0 + balance.growth * start, _MIN_GROWTH)
            speed = float(np.sqrt(torque / (TORQUE_PER_RPM_SQUARED * arm)))
            ahead = -_BESIDE if falling else _BESIDE
            before, end = advance_at(balance, speed * np.array([1 - ahead, 1 + ahead]), falling).tolist()
            onward = end < start if falling else end > start
            if onward and abs(before - start) < _SAME_DEG:
                snaps.append(Snap(speed, start, end))
    return tuple(snaps)
