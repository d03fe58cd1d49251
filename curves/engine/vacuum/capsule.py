"""The vacuum capsule: what it adds at which vacuum."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import overload

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, Several
from ..codes import Code, EngineWarning, warn
from ..lines.choice import choose_pieces
from ..lines.knees import MIN_READING_SD_DEG, READING_SD_DEG
from ..lines.pieces import Pieces, Shape
from ..readings import MAX_ADVANCE_DEG, as_given, checked_array, checked_number

MAX_VACUUM_KPA = 110.0


@dataclass(frozen=True, eq=False)
class Capsule:
    """A vacuum capsule in the shaft frame; every `_se` is the standard error of the value before it.

    Attributes
    ----------
    begin_kpa, begin_se_kpa : float or None
        Vacuum where the capsule begins to move [kPa]; None when it does not.
    end_kpa, end_se_kpa : float or None
        Vacuum where it reaches its stop [kPa]; None when the readings do not show it.
    degrees, degrees_se : float
        What it adds at its stop, or at the highest vacuum read [shaft degree].
    slope_deg_per_kpa, slope_se : float
        Slope between [shaft degree/kPa]; 0 when it does not move.
    vacuum_kpa, advance_deg, residual_deg : ndarray, shape (n,)
        The readings in rising order, and what they lie above the description.
    converged : bool
        Whether the search settled on a capsule that moves.
    warnings : tuple of EngineWarning
        What to look at.
    """

    begin_kpa: float | None
    begin_se_kpa: float | None
    end_kpa: float | None
    end_se_kpa: float | None
    degrees: float
    degrees_se: float
    slope_deg_per_kpa: float
    slope_se: float
    vacuum_kpa: Floats
    advance_deg: Floats
    residual_deg: Floats
    converged: bool
    warnings: tuple[EngineWarning, ...]
    _pieces: Pieces | None = field(repr=False)

    @overload
    def advance_at(self, vacuum_kpa: float) -> float: ...
    @overload
    def advance_at(self, vacuum_kpa: Several) -> Floats: ...
    def advance_at(self, vacuum_kpa: float | Several) -> float | Floats:
        """Give what the capsule adds at one vacuum or at several.

        Parameters
        ----------
        vacuum_kpa : float or array_like, shape (n,)
            Vacuum [kPa].

        Returns
        -------
        float or ndarray, shape (n,)
            Vacuum advance [shaft degree].

        Raises
        ------
        ValueError
            If a vacuum is not a finite number.

        Examples
        --------
        >>> round(fit_capsule([10, 20, 25, 30, 40, 50], [0, 0, 2, 4, 6, 6]).advance_at(30), 6)
        4.0
        """
        vacuum = checked_array("vacuum_kpa", vacuum_kpa)
        value = np.zeros(vacuum.size) if self._pieces is None else self._pieces.value(vacuum)
        return as_given(value, vacuum_kpa)


def fit_capsule(
    vacuum_kpa: ArrayLike, advance_deg: ArrayLike, *, reading_sd_deg: float = READING_SD_DEG
) -> Capsule:
    """Find where a vacuum capsule begins and ends, and how many degrees it adds.

    Parameters
    ----------
    vacuum_kpa : array_like, shape (n,)
        Vacuum applied [kPa below the air outside], 0 to 110, in any order.
    advance_deg : array_like, shape (n,)
        Advance the capsule adds [shaft degree].
    reading_sd_deg : float, default 0.25
        Scatter of a reading [shaft degree], 0.001 to 10.

    Returns
    -------
    Capsule

    Raises
    ------
    ValueError
        If nothing was read, lengths differ, or a value is NaN or out of range.

    Notes
    -----
    advance = s (clip(p, p_begin, p_end) - p_begin); the same least squares as for knees, with one slope.

    References
    ----------
    Datsun pick-up 1977, service manual p. EE-34: 0 degrees at 150 mmHg, 3.0 distributor degrees at 250 mmHg.

    Examples
    --------
    >>> capsule = fit_capsule([10, 20, 25, 30, 40, 50], [0, 0, 2, 4, 6, 6])
    >>> round(capsule.begin_kpa, 6), round(capsule.end_kpa, 6), round(capsule.degrees, 6)
    (20.0, 35.0, 6.0)
    """
    vacuum = checked_array("vacuum_kpa", vacuum_kpa, 0.0, MAX_VACUUM_KPA)
    like = ("vacuum_kpa", vacuum.size)
    advance = checked_array("advance_deg", advance_deg, -MAX_ADVANCE_DEG, MAX_ADVANCE_DEG, like=like)
    sd = checked_number("reading_sd_deg", reading_sd_deg, MIN_READING_SD_DEG, 10.0)
    order = np.argsort(vacuum, kind="stable")
    x, y = vacuum[order], advance[order]
    fit, few = choose_pieces(x, y, [Shape(1, False), Shape(1, True)], 0.0, sd, forced=False)
    warnings = tuple(_capsule_doubts(fit, x, y, few, sd))
    if fit is None:
        most = float(y.mean()) if few else 0.0
        none = (None,) * 4
        return Capsule(*none, most, sd, 0.0, np.inf, x, y, y - most, False, warnings, None)
    spare = len(x) - fit.shape.parameters
    variance = max(sd**2, fit.sse / spare) if spare > 0 else sd**2
    errors = np.sqrt(variance * np.diag(fit.covariance))
    stop = fit.shape.stop
    top = fit.gradient(np.inf if stop else x[-1])[0]
    felt = top != 0
    top_variance = variance * top[felt] @ fit.covariance[np.ix_(felt, felt)] @ top[felt]
    return Capsule(
        begin_kpa=float(fit.knots[0]),
        begin_se_kpa=float(errors[2]),
        end_kpa=float(fit.knots[1]) if stop else None,
        end_se_kpa=float(errors[3]) if stop else None,
        degrees=float(fit.value(fit.knots[1] if stop else x[-1])),
        degrees_se=float(np.sqrt(top_variance)),
        slope_deg_per_kpa=float(fit.slopes[0]),
        slope_se=float(errors[1]),
        vacuum_kpa=x,
        advance_deg=y,
        residual_deg=y - fit.value(x),
        converged=fit.converged,
        warnings=warnings,
        _pieces=fit,
    )


def _capsule_doubts(fit: Pieces | None, x: Floats, y: Floats, few: bool, sd: float):
    if fit is None:
        yield warn(Code.READ_AT_ONE_VACUUM if few else Code.CAPSULE_STUCK)
        return
    if few:
        yield warn(Code.READ_AT_FEW_VACUUMS)
    if fit.slopes[0] < 0:
        yield warn(Code.CAPSULE_RETARDS)
    elif not fit.shape.stop:
        yield warn(Code.CAPSULE_STOP_NOT_READ, highest_kpa=x[-1])
    if fit.knots[0] <= 0:
        yield warn(Code.CAPSULE_ABOVE_ZERO)
    elif fit.knots[0] < x[0]:
        yield warn(Code.CAPSULE_BEGIN_NOT_READ, begin_kpa=fit.knots[0])
    if not fit.held.all():
        yield warn(Code.CAPSULE_SLOPE_NOT_READ)
    far = np.abs(y - fit.value(x))
    if far.max() > 4.0 * sd:
        yield warn(Code.CAPSULE_STRAY, vacuum_kpa=x[int(np.argmax(far))])
