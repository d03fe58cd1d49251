"""The only place where crank and shaft frames meet, and where imperial units become metric ones."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import overload

from .arrays import Floats, Several
from .readings import as_floats, checked_number

MM_PER_INCH = 25.4
N_PER_LBF = 4.4482216152605
STANDARD_GRAVITY = 9.80665  # m/s2 (NIST SP 811, App. B)
N_PER_KGF = STANDARD_GRAVITY
N_PER_LOAD_UNIT = {"N": 1.0, "gf": N_PER_KGF / 1000.0, "kgf": N_PER_KGF, "lbf": N_PER_LBF}
N_PER_MM_PER_LBF_PER_INCH = N_PER_LBF / MM_PER_INCH
# Conventional mercury: 13 595.1 kg/m3 under 9.80665 m/s2 (NIST SP 811, App. B).
KPA_PER_MMHG = 13_595.1 * STANDARD_GRAVITY * 1e-6
KPA_PER_INHG = KPA_PER_MMHG * MM_PER_INCH
RAD_PER_S_PER_RPM = pi / 30.0

MIN_RATIO, MAX_RATIO = 0.01, 100.0
_FOUR_STROKE_CRANK_PER_SHAFT = 2.0


@overload
def _scaled(name: str, values: float, factor: float) -> float: ...
@overload
def _scaled(name: str, values: Several, factor: float) -> Floats: ...
def _scaled(name: str, values: float | Several, factor: float) -> float | Floats:
    """Scale a number to a number, anything else to a new array."""
    scaled = as_floats(name, values, "a number or a list of numbers") * factor
    return float(scaled) if scaled.ndim == 0 else scaled


@overload
def to_newtons(load: float, unit: str) -> float: ...
@overload
def to_newtons(load: Several, unit: str) -> Floats: ...
def to_newtons(load: float | Several, unit: str) -> float | Floats:
    """Turn loads as a spring tester shows them into newtons.

    Parameters
    ----------
    load : float or array_like
        Loads in the unit.
    unit : str
        N, gf, kgf or lbf.

    Returns
    -------
    float or ndarray
        Loads [N].

    Raises
    ------
    ValueError
        If something is not a number, or the unit is none of these.

    Notes
    -----
    gf, kgf and lbf are the weight of that mass under standard gravity, 9.80665 m/s2.

    References
    ----------
    NIST SP 811, App. B.8: 1 lbf = 4.448 222 N, 1 kgf = 9.806 65 N.

    Examples
    --------
    >>> to_newtons(2, "kgf")
    19.6133
    """
    if unit not in N_PER_LOAD_UNIT:
        raise ValueError(f"unit must be one of {', '.join(N_PER_LOAD_UNIT)}, got {unit!r}")
    return _scaled("load", load, N_PER_LOAD_UNIT[unit])


@dataclass(frozen=True, slots=True)
class Drive:
    """How many turns the crank makes for one turn of the distributor shaft.

    Parameters
    ----------
    crank_per_shaft : float, default of a four-stroke
        Crank turns per shaft turn [-], 0.01 to 100. A six-cylinder magneto that turns at 1.5 times crank
        speed is ``Drive(1 / 1.5)``.

    Raises
    ------
    ValueError
        If the ratio is not a number in its range.

    Notes
    -----
    Speeds and angles scale alike: ``crank = ratio * shaft``.

    References
    ----------
    Datsun roadster: 17.5 distributor degrees are 35 crank degrees, as the maker prints it.

    Examples
    --------
    >>> drive = Drive.four_stroke()
    >>> drive.to_crank_deg(17.5), drive.to_shaft_rpm(3000)
    (35.0, 1500.0)
    """

    crank_per_shaft: float = _FOUR_STROKE_CRANK_PER_SHAFT

    def __post_init__(self) -> None:
        ratio = checked_number("crank_per_shaft", self.crank_per_shaft, MIN_RATIO, MAX_RATIO)
        object.__setattr__(self, "crank_per_shaft", ratio)

    @classmethod
    def four_stroke(cls) -> Drive:
        """Give the drive of a four-stroke engine: the shaft turns at half crank speed."""
        return cls(_FOUR_STROKE_CRANK_PER_SHAFT)

    @classmethod
    def two_stroke(cls) -> Drive:
        """Give the drive of a two-stroke engine: the shaft turns at crank speed."""
        return cls(1.0)

    @classmethod
    def crank_speed(cls) -> Drive:
        """Give the drive of a magneto that turns at crank speed."""
        return cls(1.0)

    @overload
    def to_crank_deg(self, shaft_deg: float) -> float: ...
    @overload
    def to_crank_deg(self, shaft_deg: Several) -> Floats: ...
    def to_crank_deg(self, shaft_deg: float | Several) -> float | Floats:
        """Turn angles of the shaft into angles of the crank.

        Parameters
        ----------
        shaft_deg : float or array_like
            Angles [shaft degree].

        Returns
        -------
        float or ndarray
            Angles [crank degree].

        Raises
        ------
        ValueError
            If something is not a number.

        Examples
        --------
        >>> Drive.four_stroke().to_crank_deg(5)
        10.0
        """
        return _scaled("shaft_deg", shaft_deg, self.crank_per_shaft)

    @overload
    def to_crank_rpm(self, shaft_rpm: float) -> float: ...
    @overload
    def to_crank_rpm(self, shaft_rpm: Several) -> Floats: ...
    def to_crank_rpm(self, shaft_rpm: float | Several) -> float | Floats:
        """Turn speeds of the shaft into speeds of the crank.

        Parameters
        ----------
        shaft_rpm : float or array_like
            Speeds [shaft rpm].

        Returns
        -------
        float or ndarray
            Speeds [crank rpm].

        Raises
        ------
        ValueError
            If something is not a number.

        Examples
        --------
        >>> Drive.four_stroke().to_crank_rpm([400, 1500])
        array([ 800., 3000.])
        """
        return _scaled("shaft_rpm", shaft_rpm, self.crank_per_shaft)

    @overload
    def to_shaft_deg(self, crank_deg: float) -> float: ...
    @overload
    def to_shaft_deg(self, crank_deg: Several) -> Floats: ...
    def to_shaft_deg(self, crank_deg: float | Several) -> float | Floats:
        """Turn angles of the crank into angles of the shaft.

        Parameters
        ----------
        crank_deg : float or array_like
            Angles [crank degree].

        Returns
        -------
        float or ndarray
            Angles [shaft degree].

        Raises
        ------
        ValueError
            If something is not a number.

        Examples
        --------
        >>> Drive.four_stroke().to_shaft_deg(35)
        17.5
        """
        return _scaled("crank_deg", crank_deg, 1.0 / self.crank_per_shaft)

    @overload
    def to_shaft_rpm(self, crank_rpm: float) -> float: ...
    @overload
    def to_shaft_rpm(self, crank_rpm: Several) -> Floats: ...
    def to_shaft_rpm(self, crank_rpm: float | Several) -> float | Floats:
        """Turn speeds of the crank into speeds of the shaft.

        Parameters
        ----------
        crank_rpm : float or array_like
            Speeds [crank rpm].

        Returns
        -------
        float or ndarray
            Speeds [shaft rpm].

        Raises
        ------
        ValueError
            If something is not a number.

        Examples
        --------
        >>> Drive.four_stroke().to_shaft_rpm(3000)
        1500.0
        """
        return _scaled("crank_rpm", crank_rpm, 1.0 / self.crank_per_shaft)


FOUR_STROKE = Drive.four_stroke()
