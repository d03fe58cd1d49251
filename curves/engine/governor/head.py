"""What is known of an advance head before a curve is run, and the runs made on it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from numpy.typing import ArrayLike

from ..arrays import Flags, Floats
from ..readings import Readings, checked_array, checked_kind, checked_number
from ..springs.spring import Spring
from .prior import MIN_GAP_MM, LearnedType

MAX_GAP_MM = 500.0
MIN_STRETCH_MM_PER_DEG, MAX_STRETCH_MM_PER_DEG = 0.001, 10.0
MIN_TRAVEL_DEG, MAX_TRAVEL_DEG = 0.1, 60.0
MAX_BEND_MM = 20.0
UNMEASURED = (None, None)


def _pair(name: str, values: Any, low: float, high: float):
    """Check a (primary, secondary) pair in which None stands for unmeasured."""
    if values is None:
        return UNMEASURED
    try:
        primary, secondary = values
    except (TypeError, ValueError):
        raise ValueError(f"{name} must be a pair (primary, secondary), got {values!r}") from None
    return tuple(
        None if value is None else checked_number(name, value, low, high) for value in (primary, secondary)
    )


@dataclass(frozen=True)
class Head:
    """An advance head as measured with a caliper; None in place of a measurement is unmeasured.

    Parameters
    ----------
    post_gap_mm : tuple (float or None, float or None)
        Distance between the posts at rest [mm], primary and secondary, 0.5 to 500.
    stretch_mm_per_deg : tuple (float or None, float or None)
        How much that opens per degree of advance [mm/shaft degree], 0.001 to 10.
    travel_deg : float or None
        Advance at the stop [shaft degree], 0.1 to 60.
    post_gap_sd_mm, stretch_sd, travel_sd_deg : float
        Standard deviations: [mm], relative [-], [shaft degree], above 0. More than the value itself counts
        as that.
    learned : LearnedType, optional
        What earlier heads of the same type were found to be; see `learn_head`.

    Raises
    ------
    ValueError
        If a measurement is not a finite number in its range, or what was learned is no `LearnedType`.

    Notes
    -----
    With the shaft at w and the weights out by t, ``J (1 + b t) w**2 = sum_i F_i a_i +/- friction``: spring i
    hangs in a gap g_i that opens by a_i per degree, so that it is stretched by ``g_i + a_i t - L_i``. J, b
    and the friction are found by `calibrate`.

    References
    ----------
    The spring-loaded (Hartnell) governor, for instance R. S. Khurmi and J. K. Gupta, Theory of Machines,
    chapter on governors.

    Examples
    --------
    >>> Head((20.0, None), (0.2, 0.2), 12).travel_deg
    12.0
    """

    post_gap_mm: tuple[float | None, float | None]
    stretch_mm_per_deg: tuple[float | None, float | None]
    travel_deg: float | None
    post_gap_sd_mm: float = field(default=0.2, kw_only=True)
    stretch_sd: float = field(default=0.08, kw_only=True)
    travel_sd_deg: float = field(default=0.25, kw_only=True)
    learned: LearnedType | None = field(default=None, kw_only=True, repr=False)

    def __post_init__(self) -> None:
        checked = {
            "post_gap_mm": _pair("post_gap_mm", self.post_gap_mm, MIN_GAP_MM, MAX_GAP_MM),
            "stretch_mm_per_deg": _pair(
                "stretch_mm_per_deg",
                self.stretch_mm_per_deg,
                MIN_STRETCH_MM_PER_DEG,
                MAX_STRETCH_MM_PER_DEG,
            ),
            "post_gap_sd_mm": checked_number("post_gap_sd_mm", self.post_gap_sd_mm, 0.0, 50.0, above=True),
            "stretch_sd": checked_number("stretch_sd", self.stretch_sd, 0.0, 10.0, above=True),
            "travel_sd_deg": checked_number("travel_sd_deg", self.travel_sd_deg, 0.0, 60.0, above=True),
        }
        if self.travel_deg is not None:
            checked["travel_deg"] = checked_number(
                "travel_deg", self.travel_deg, MIN_TRAVEL_DEG, MAX_TRAVEL_DEG
            )
        checked_kind("learned", self.learned, LearnedType, none_too=True)
        for name, value in checked.items():
            object.__setattr__(self, name, value)


def stretch_per_degree(gap_mm: float, gap_at_stop_mm: float, travel_deg: float) -> float:
    """Give how much a post gap opens per degree, from the gap at rest and at the stop.

    Parameters
    ----------
    gap_mm, gap_at_stop_mm : float
        Distance between the posts [mm] at rest and with the weights out at the stop, above 0 to 500.
    travel_deg : float
        Advance at the stop [shaft degree], above 0 to 60.

    Returns
    -------
    float
        Opening [mm/shaft degree].

    Raises
    ------
    ValueError
        If a value is not a finite number in its range, or the gap does not open.

    Notes
    -----
    a = (g_stop - g_rest) / travel, the mean over the travel.

    References
    ----------
    A difference quotient; common practice, no source.

    Examples
    --------
    >>> round(stretch_per_degree(17.0, 20.0, 12.0), 3)
    0.25
    """
    rest = checked_number("gap_mm", gap_mm, 0.0, MAX_GAP_MM, above=True)
    stop = checked_number("gap_at_stop_mm", gap_at_stop_mm, rest, MAX_GAP_MM, above=True)
    return (stop - rest) / checked_number("travel_deg", travel_deg, 0.0, MAX_TRAVEL_DEG, above=True)


@dataclass(frozen=True, eq=False)
class Run:
    """One curve read on the bench with a pair of springs in the head.

    Parameters
    ----------
    primary : Spring
        The spring that pulls from the start.
    secondary : Spring or None
        The second spring; None for a head with a single spring.
    speed_rpm : array_like, shape (n,)
        Shaft speeds [rpm], 0 to 20 000, in any order.
    advance_deg : array_like, shape (n,)
        Advance read [shaft degree]; None is a cell left blank.
    falling : bool or array_like of bool, shape (n,), default False
        True where the speed came from above.
    scale_deg : float, default 0.5
        Division of the scale that was read [shaft degree], at least 0.
    post_bend_mm : tuple (float, float), default (0, 0)
        How far the posts were bent from where they were measured [mm]; positive opens the gap.

    Raises
    ------
    ValueError
        If nothing was read, a spring is no `Spring`, or a value is NaN or out of range.

    Notes
    -----
    A reading errs by its scatter, by the rounding of the scale (its division / sqrt(12)) and by the
    tachometer (its error times the slope).

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7 and F.2.2.1: the standard deviation of a rounding is its division / sqrt(12).

    Examples
    --------
    >>> run = Run(Spring("P", 1.0, 20.0), None, [1500, 500], [10, 0])
    >>> run.speed_rpm, run.advance_deg
    (array([ 500., 1500.]), array([ 0., 10.]))
    """

    primary: Spring
    secondary: Spring | None
    speed_rpm: Floats
    advance_deg: Floats
    falling: Flags = field(default=False, kw_only=True)  # pyrefly: ignore[bad-assignment]: as in Readings
    scale_deg: float = field(default=0.5, kw_only=True)
    post_bend_mm: tuple[float, float] = field(default=(0.0, 0.0), kw_only=True)

    if TYPE_CHECKING:  # what may be given; what is kept are arrays

        def __init__(
            self,
            primary: Spring,
            secondary: Spring | None,
            speed_rpm: ArrayLike,
            advance_deg: Any,
            *,
            falling: ArrayLike = False,
            scale_deg: float = 0.5,
            post_bend_mm: tuple[float, float] = (0.0, 0.0),
        ) -> None: ...

    def __post_init__(self) -> None:
        checked_kind("primary", self.primary, Spring)
        checked_kind("secondary", self.secondary, Spring, none_too=True)
        readings = Readings(self.speed_rpm, self.advance_deg, self.falling)
        bend = checked_array("post_bend_mm", self.post_bend_mm, -MAX_BEND_MM, MAX_BEND_MM)
        if bend.size != 2:
            raise ValueError(f"post_bend_mm must be a pair (primary, secondary), got {self.post_bend_mm!r}")
        object.__setattr__(self, "speed_rpm", readings.speed_rpm)
        object.__setattr__(self, "advance_deg", readings.advance_deg)
        object.__setattr__(self, "falling", readings.falling)
        object.__setattr__(self, "scale_deg", checked_number("scale_deg", self.scale_deg, 0.0, 10.0))
        object.__setattr__(self, "post_bend_mm", tuple(map(float, bend)))
