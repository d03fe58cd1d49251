"""Readings are checked here once, at the door, and trusted by the rest of the engine."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from math import inf, isfinite
from typing import TYPE_CHECKING, Any, TypeVar, overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .arrays import Flags, Floats, Several

T = TypeVar("T")

MAX_SPEED_RPM = 20_000.0
MAX_ADVANCE_DEG = 180.0
STRAY_DEG = 1.5  # six times the usual scatter of a reading


def _allowed(low: float, high: float, above: bool):
    """Say in words which values are allowed."""
    if low == -inf and high == inf:
        return "finite"
    if high == inf:
        return f"above {low:g}" if above else f"at least {low:g}"
    if low == -inf:
        return f"at most {high:g}"
    return f"above {low:g} and at most {high:g}" if above else f"from {low:g} to {high:g}"


def _real(convert: Callable[[Any], Any], value: Any):
    """Convert what NumPy would only warn of: None it takes for NaN, of a complex value it drops a part."""
    if value is None or getattr(getattr(value, "dtype", None), "kind", None) == "c":
        raise TypeError
    return convert(value)


def checked_number(
    name: str, value: Any, low: float = -inf, high: float = inf, *, above: bool = False
) -> float:
    """Give `value` as a float, or say what is wrong with it.

    Parameters
    ----------
    name : str
        The argument's name, for the message.
    value : float
        What was given.
    low, high : float
        The allowed range; infinite ends leave it open.
    above : bool, default False
        True: `low` itself is not allowed.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If the value is no finite number in the range; names argument, value and range.

    Examples
    --------
    >>> checked_number("travel_deg", 12, 0, 45)
    12.0
    >>> checked_number("travel_deg", -3, 0, 45)
    Traceback (most recent call last):
        ...
    ValueError: travel_deg must be from 0 to 45, got -3
    """
    try:
        number = _real(float, value)
    except (TypeError, ValueError, OverflowError):
        raise ValueError(f"{name} must be a number, {_allowed(low, high, above)}, got {value!r}") from None
    if not isfinite(number) or number < low or number > high or (above and number == low):
        raise ValueError(f"{name} must be {_allowed(low, high, above)}, got {value}")
    return number


def checked_count(name: str, value: Any, low: float = 1, high: float = inf) -> int:
    """Give `value` as an int from `low` to `high`, or say what is wrong with it: nothing is cut off."""
    number = checked_number(name, value, low, high)
    if number != int(number):
        raise ValueError(f"{name} must be a whole number, {_allowed(low, high, False)}, got {value!r}")
    return int(number)


def as_floats(name: str, values: ArrayLike, wanted: str = "a list of numbers") -> NDArray[np.float64]:
    """Give `values` as a new array of floats of any shape, NaN and infinity included."""
    try:
        return _real(lambda given: np.array(given, dtype=float), values)
    except (TypeError, ValueError, OverflowError):
        raise ValueError(f"{name} must be {wanted}, got {values!r}") from None


def is_single(values: ArrayLike | None) -> bool:
    """Tell whether one number was given rather than several."""
    try:
        return values is None or np.ndim(values) == 0
    except ValueError:  # lists of unequal length
        return False


@overload
def as_given(value: Floats, argument: float) -> float: ...
@overload
def as_given(value: Floats, argument: Several) -> Floats: ...
@overload
def as_given(value: Floats, argument: ArrayLike) -> float | Floats: ...
def as_given(value: Floats, argument: ArrayLike) -> float | Floats:
    """Give the only value of an array as a float where the argument was a single number, else the array."""
    return float(np.ravel(value)[0]) if is_single(argument) else value


def checked_array(
    name: str,
    values: ArrayLike,
    low: float = -inf,
    high: float = inf,
    *,
    above: bool = False,
    shortest: int = 1,
    like: tuple[str, int] | None = None,
) -> NDArray[np.float64]:
    """Give `values` as a new read-only array of one dimension, or say what is wrong with them.

    Parameters
    ----------
    name : str
        The argument's name, for the message.
    values : array_like, shape (n,)
        What was given; a single number counts as one value.
    low, high : float
        The allowed range of each value; infinite ends leave it open.
    above : bool, default False
        True: `low` itself is not allowed.
    shortest : int, default 1
        How many values there must be at least.
    like : tuple (str, int), optional
        Name and length of the argument that this one goes with, value by value.

    Returns
    -------
    ndarray, shape (n,), float64, read-only
        A copy: the caller's array is left alone.

    Raises
    ------
    ValueError
        If the values are not finite numbers in the range, too few, or not as many as `like` says.

    Examples
    --------
    >>> checked_array("speed_rpm", [500, 1000], low=0)
    array([ 500., 1000.])
    >>> checked_array("speed_rpm", [500, -1], low=0)
    Traceback (most recent call last):
        ...
    ValueError: speed_rpm must be at least 0, got -1 at position 1
    """
    array = np.atleast_1d(as_floats(name, values))
    if array.ndim != 1:
        raise ValueError(f"{name} must have one dimension, got shape {array.shape}")
    if array.size < shortest:
        raise ValueError(f"{name} must have at least {shortest} value(s), got {array.size}")
    if like is not None and array.size != like[1]:
        raise ValueError(f"{name} must have as many values as {like[0]} ({like[1]}), got {array.size}")
    bad = ~np.isfinite(array) | (array < low) | (array > high)
    if above:
        bad |= array == low
    if bad.any():
        where = int(np.argmax(bad))
        allowed = _allowed(low, high, above)
        raise ValueError(f"{name} must be {allowed}, got {array[where]:g} at position {where}")
    array.setflags(write=False)
    return array


def checked_flags(name: str, values: ArrayLike, count: int) -> Flags:
    """Give True or False for each of `count` readings, said once or for each; read-only."""
    try:
        flags: NDArray[Any] = np.asarray(values)
    except ValueError:  # lists of unequal length
        flags = np.empty(0)
    if flags.dtype != bool or flags.shape not in ((), (count,)):
        raise ValueError(
            f"{name} must be True or False, once or for each of {count} readings, got {values!r}"
        )
    return np.broadcast_to(np.asarray(flags, bool), (count,))


@overload
def checked_kind(name: str, value: Any, kind: type[T]) -> T: ...
@overload
def checked_kind(name: str, value: Any, kind: type[T], *, none_too: bool) -> T | None: ...
def checked_kind(name: str, value: Any, kind: type[T], *, none_too: bool = False) -> T | None:
    """Give `value` back if it is of its kind (or None, where that is allowed)."""
    if not isinstance(value, kind) and not (none_too and value is None):
        raise ValueError(f"{name} must be a {kind.__name__}{' or None' * none_too}, got {value!r}")
    return value


def checked_choice(name: str, value: str, choices: Iterable[str]) -> str:
    """Give a word back if it is one of those allowed."""
    if not isinstance(value, str) or value not in choices:
        raise ValueError(f"{name} must be one of {choices}, got {value!r}")
    return value


@overload
def checked_items(name: str, values: Any, kind: type[T], *, least: int = 0) -> tuple[T, ...]: ...
@overload
def checked_items(
    name: str, values: Any, kind: type[T], *, least: int = 0, none_too: bool
) -> tuple[T | None, ...]: ...
def checked_items(
    name: str, values: Any, kind: type[T], *, least: int = 0, none_too: bool = False
) -> tuple[T | None, ...]:
    """Give several things of one kind as a tuple of at least so many."""
    try:
        items = tuple(values)
    except TypeError:
        raise ValueError(f"{name} must be a list of {kind.__name__}s, got {values!r}") from None
    for item in items:
        if not isinstance(item, kind) and not (none_too and item is None):
            raise ValueError(f"{name} must hold {kind.__name__}s{' or None' * none_too}, got {item!r}")
    if len(items) < least:
        raise ValueError(f"{name} must hold at least {least} {kind.__name__}(s), got {len(items)}")
    return items


def checked_key(name: str, key: Any) -> Any:
    """Give a key back if things can be looked up by it."""
    try:
        hash(key)
    except TypeError:
        raise ValueError(f"{name} must be text, a number or a tuple of such, got {key!r}") from None
    return key


def _without_blanks(speed_rpm: ArrayLike, advance_deg: Any, falling: Flags):
    """Leave out the rows whose advance is None, a cell left blank; give the count left out too."""
    if isinstance(advance_deg, np.ndarray) and advance_deg.dtype != object:
        return speed_rpm, advance_deg, falling, 0
    if is_single(advance_deg):
        advance_deg = [advance_deg]
    if all(value is not None for value in advance_deg):
        return speed_rpm, advance_deg, falling, 0
    if len(advance_deg) != np.size(speed_rpm):
        wanted = f"as many values as speed_rpm ({np.size(speed_rpm)})"
        raise ValueError(f"advance_deg must have {wanted}, got {len(advance_deg)}")
    kept = [index for index, value in enumerate(advance_deg) if value is not None]
    speeds = np.atleast_1d(np.asarray(speed_rpm, dtype=object))[kept]
    return speeds, [advance_deg[index] for index in kept], falling[kept], len(advance_deg) - len(kept)


def _strays(speed_rpm: Floats, advance_deg: Floats):
    """Mark the readings that break the rising order, those in most conflicts first."""
    higher_speed = speed_rpm[:, None] < speed_rpm[None, :]
    conflict = higher_speed & (advance_deg[:, None] > advance_deg[None, :] + STRAY_DEG)
    conflict |= conflict.T
    stray = np.zeros(speed_rpm.size, dtype=bool)
    while conflict.any():
        counts = conflict.sum(axis=0)
        worst = counts == counts.max()
        stray |= worst
        conflict[worst] = False
        conflict[:, worst] = False
    return stray


@dataclass(frozen=True, eq=False)
class Readings:
    """Advance read at speeds, in the shaft frame, ordered by speed and read-only.

    Parameters
    ----------
    speed_rpm : array_like, shape (n,)
        Shaft speed [rpm], 0 to 20 000, in any order, repeats allowed.
    advance_deg : array_like, shape (n,)
        Advance [shaft degree], -180 to 180. None is a cell left blank: its row is left out and counted.
    falling : bool or array_like of bool, shape (n,), default False
        True where the speed came from above.

    Attributes
    ----------
    missing : int
        How many rows were blank.
    stray : ndarray of bool, shape (n,)
        Readings that go against the others of their sweep by more than 1.5 degrees. They are kept.

    Raises
    ------
    ValueError
        If nothing was read, lengths differ, or a value is NaN or out of range.

    Notes
    -----
    A mechanical advance does not go back as speed rises: of two readings in the wrong order, the one that
    disagrees with more of the others is the stray one, both when that is even.

    References
    ----------
    Common practice, no source: all points are checked up and down, and sweeps are compared each with itself.

    Examples
    --------
    >>> readings = Readings([1500, 500, 1000], [10, None, 5])
    >>> readings.speed_rpm, readings.advance_deg, readings.missing
    (array([1000., 1500.]), array([ 5., 10.]), 1)
    """

    speed_rpm: Floats
    advance_deg: Floats
    falling: Flags = False  # pyrefly: ignore[bad-assignment]: said once for all, kept for each
    missing: int = field(init=False, default=0)
    stray: Flags = field(init=False)

    if TYPE_CHECKING:  # what may be given; what is kept are arrays

        def __init__(self, speed_rpm: ArrayLike, advance_deg: Any, falling: ArrayLike = False) -> None: ...

    def __post_init__(self) -> None:
        rows = np.asarray(self.speed_rpm, dtype=object).size
        falling = checked_flags("falling", self.falling, rows)
        speed, advance, falling, missing = _without_blanks(self.speed_rpm, self.advance_deg, falling)
        speed = checked_array("speed_rpm", speed, 0.0, MAX_SPEED_RPM)
        advance = checked_array(
            "advance_deg", advance, -MAX_ADVANCE_DEG, MAX_ADVANCE_DEG, like=("speed_rpm", speed.size)
        )
        order = np.lexsort((advance, speed, falling))
        order = order[np.argsort(speed[order], kind="stable")]
        speed, advance, falling = speed[order], advance[order], falling[order]
        stray = np.zeros(speed.size, dtype=bool)
        for sweep in (falling, ~falling):
            stray[sweep] = _strays(speed[sweep], advance[sweep])
        values = {"speed_rpm": speed, "advance_deg": advance, "falling": falling, "stray": stray}
        for name, array in values.items():
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        object.__setattr__(self, "missing", missing)

    def __len__(self) -> int:
        return self.speed_rpm.size
