"""What to look at when straight pieces were put through readings, in plain words."""

import numpy as np

from ..units import FOUR_STROKE

# Maximum advance in the field runs from "only a few" to 42 crank degrees (TM 10-3930-623-12, para 4-22).
UNUSUAL_DEG = FOUR_STROKE.to_shaft_deg(42.0)
MAX_NAMED = 3  # more strays than this are no strays: the scatter is named instead
STRAY_SDS = 4.0  # a residual beyond this many standard deviations is named


def few_words(readings, used):
    """Say what too few readings leave open."""
    speeds = len(np.unique(readings.speed_rpm[used]))
    if speeds == 1:
        return ("All readings are at one speed: that says nothing about a slope; read at other speeds.",)
    return (
        f"Readings at only {speeds} speeds: one straight line is all they can show; "
        "read at more speeds to see begin, knee and stop.",
    )


def scatter_words(rms_deg, sd_deg):
    return (
        f"The readings scatter {rms_deg:.2f} degrees about the straight pieces, more than the {sd_deg:.2f} "
        "expected: look for sticking weights, a loose spring or rising and falling sweeps in one table."
    )


def stray_words(readings, used, left, sd_deg):
    """Name the readings left aside and those that lie far from the pieces."""
    words = []
    far = np.flatnonzero(~used | (np.abs(left) > STRAY_SDS * sd_deg))
    worst = far[np.argsort(-np.abs(left[far]), kind="stable")][:MAX_NAMED]
    for i in np.sort(worst):
        side = "above" if left[i] > 0 else "below"
        fate = "was kept" if used[i] else "was left aside"
        words.append(
            f"The reading at {readings.speed_rpm[i]:.0f} rpm ({readings.advance_deg[i]:.1f} degrees) lies "
            f"{abs(left[i]):.1f} {side} the others and {fate}: look at it again."
        )
    return tuple(words)


def shape_words(fit, x, values):
    """Say what the readings do not show of the shape that was found."""
    words = []
    begin, stop = values["begin_rpm"], values["stop_rpm"]
    if fit.shape.begin_free and begin <= 0:
        words.append(
            "The first slope does not come down to the floor above 0 rpm: the readings may include the "
            "initial timing; then fit the floor too."
        )
    elif fit.shape.begin_free and begin < x[0]:
        words.append(
            f"The begin is drawn on from higher readings, the lowest is at {x[0]:.0f} rpm: read below "
            f"{begin:.0f} rpm."
        )
    if stop is None and fit.slopes[-1] > 0:
        words.append(f"Still rising at the highest reading, {x[-1]:.0f} rpm: the stop was not seen.")
    for name, value, error in _named(values):
        if not np.isfinite(error):
            words.append(
                f"The readings near {value:.0f} rpm are too few to place the {name}: read there again."
            )
    if (fit.slopes < 0).any():
        words.append(
            "The advance goes back as speed rises on one slope: look for mixed-up readings or a slipping "
            "stop."
        )
    if values["top_deg"] - values["floor_deg"] > UNUSUAL_DEG:
        words.append(
            f"{values['top_deg'] - values['floor_deg']:.1f} distributor degrees is unusually much: are these "
            "crank degrees?"
        )
    return tuple(words)


def _named(values):
    yield "begin", values["begin_rpm"], values["begin_se_rpm"]
    for knee, error in zip(values["knee_rpm"], values["knee_se_rpm"], strict=True):
        yield "knee", knee, error
    if values["stop_rpm"] is not None:
        yield "stop", values["stop_rpm"], values["stop_se_rpm"]
