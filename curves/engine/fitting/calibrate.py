"""Find the head and the springs that explain all runs so far, and how surely."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from ..governor.head import Head, Run
from ..governor.prior import GROWTH, HEAD_SIZE
from ..readings import checked_items, checked_kind, checked_number
from .calibration import ESTIMATES, Calibration, Estimate
from .doubts import doubts
from .fit import Fit, fit
from .model import MIN_SCATTER_DEG, READING_SCATTER_DEG, Model, build_model
from .starts import starting_points


def calibrate(head: Head, runs: Iterable[Run], *, scatter_deg: float = READING_SCATTER_DEG) -> Calibration:
    """Find the most likely head and springs given all runs on it so far.

    Parameters
    ----------
    head : Head
        What was measured, or learned from earlier heads of its type; all else starts wide.
    runs : sequence of Run
        At least one. A spring is known by its key and label: one that hung in several runs is one spring.
    scatter_deg : float, default 0.25
        Standard deviation of a reading, but for the rounding of its scale [shaft degree], 0.001 to 10.

    Returns
    -------
    Calibration

    Raises
    ------
    ValueError
        If there is no run, or an argument is not of its kind or out of range.

    Notes
    -----
    Minimises ``sum rho(r) + z' z``: r is reading less model over its standard deviation (scatter, rounding,
    tachometer error times slope), rho a square that turns flat beyond 3.5 so that a mistyped reading is left
    out, and z all unknowns less their prior mean over their prior standard deviation. Several starts, by
    Levenberg-Marquardt with exact derivatives. The same input gives the same result.

    References
    ----------
    D. W. Marquardt, An algorithm for least-squares estimation of nonlinear parameters, J. SIAM 11 (1963).
    A. Tarantola, Inverse Problem Theory, SIAM (2005), ch. 3: measurements and priors as one sum of squares.

    Examples
    --------
    >>> from curves.engine import Spring
    >>> head = Head((20.0, 22.0), (0.24, 0.24), 12.0)
    >>> primary, secondary = Spring("P1", 3.0, 19.7), Spring("S1", 9.0, 23.0)
    >>> run = Run(primary, secondary, [400, 600, 800, 1100, 1400, 1800], [0, 1.5, 4.5, 7.5, 11, 12])
    >>> calibration = calibrate(head, [run])
    >>> calibration.converged, calibration.warnings
    (True, ())
    >>> round(calibration.estimates["travel_deg"].value)
    12
    """
    checked_kind("head", head, Head)
    runs = checked_items("runs", runs, Run, least=1)
    model = build_model(head, runs, checked_number("scatter_deg", scatter_deg, MIN_SCATTER_DEG, 10.0))
    fitted = fit(model.jacobian, starting_points(model))
    residual = fitted.residuals * model.noise_deg
    residuals = tuple(residual[model.run == index] for index in range(len(runs)))
    return Calibration(
        head=head,
        runs=runs,
        estimates=_estimates(model, fitted),
        converged=fitted.converged,
        cost=fitted.cost,
        residuals_deg=residuals,
        warnings=tuple(doubts(model, fitted, runs)),
        fitted=fitted,
        model=model,
    )


def _estimates(model: Model, fitted: Fit):
    """Give the head's values and standard errors; those taken by their logarithm are turned back."""
    value = model.natural(fitted.z[None])[0, :HEAD_SIZE]
    root = model.head.root
    sd = np.sqrt(np.diag(root @ fitted.covariance[:HEAD_SIZE, :HEAD_SIZE] @ root.T))
    logarithmic = np.arange(HEAD_SIZE) != GROWTH
    value = np.where(logarithmic, np.exp(np.where(logarithmic, value, 0.0)), value)
    sd = np.where(logarithmic, value * sd, sd)
    return {name: Estimate(float(v), float(s)) for name, v, s in zip(ESTIMATES, value, sd, strict=True)}
