"""What a person should look at after a calibration."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from ..codes import Code, EngineWarning, warn
from ..governor.equilibrium import Balance, find_snaps
from ..governor.head import Run
from ..governor.prior import POSITIONS, SPRING_FIGURES, TRAVEL
from .fit import Fit
from .model import Model

DOUBTED_WEIGHT = 0.5
CONTRADICTED_SHARE = 0.2  # of a run's readings
SURPRISE = 3.0  # standard deviations between a label and what was found
MIN_SNAP_DEG = 0.25  # a smaller jump is lost in the scatter of a reading
MOVING_SDS = 2.0  # standard deviations of a reading that it must lie off rest and stop
FEWEST_SPEEDS = 3


def doubts(model: Model, fitted: Fit, runs: Sequence[Run]) -> Iterator[EngineWarning]:
    """Give warnings: readings left out, contradictions, snaps, springs unlike their label, little data."""
    yield from _mistyped(model, fitted)
    yield from _snaps(model, fitted, runs)
    yield from _surprises(model, fitted)
    yield from _two_labels(model)
    if not fitted.converged:
        yield warn(Code.SEARCH_NOT_SETTLED)
    yield from _uninformed(model, fitted)


def _mistyped(model: Model, fitted: Fit):
    """Name the readings that were left out, and say when there are too many of them."""
    doubted = np.flatnonzero(fitted.weight < DOUBTED_WEIGHT)
    fits = model.advance_deg - fitted.residuals * model.noise_deg
    for index in doubted:
        yield warn(
            Code.READING_MISTYPED,
            run=model.run[index] + 1,
            typed_shaft_deg=model.advance_deg[index],
            typed_shaft_rpm=model.speed_rpm[index],
            others_shaft_deg=fits[index],
        )
    for run, wrong in enumerate(np.bincount(model.run[doubted], minlength=len(model.bend_mm))):
        total = np.count_nonzero(model.run == run)
        if wrong > max(1, CONTRADICTED_SHARE * total):
            yield warn(Code.RUN_CONTRADICTS, run=run + 1, misfit_count=wrong, reading_count=total)


def _uninformed(model: Model, fitted: Fit):
    """Say when the readings hold too little to know the springs and weights by."""
    speeds = np.unique(model.speed_rpm).size
    if speeds < FEWEST_SPEEDS:
        yield warn(Code.HEAD_AT_FEW_SPEEDS, speed_count=speeds)
    travel = np.exp(model.natural(fitted.z[None])[0, TRAVEL])
    clear = MOVING_SDS * model.noise_deg
    moving = (model.advance_deg > clear) & (model.advance_deg < travel - clear)
    if not (moving & (fitted.weight >= DOUBTED_WEIGHT)).any():
        yield warn(Code.NOTHING_READ_MOVING)


def _snaps(model: Model, fitted: Fit, runs: Sequence[Run]):
    """Name the runs in which the weights jump."""
    head = model.balance(model.natural(fitted.z[None]))
    for index, run in enumerate(runs):
        parts = (part[0, min(index, part.shape[1] - 1)] for part in head)
        for snap in find_snaps(Balance(*parts), falling=bool(run.falling.all())):
            seen = abs(snap.to_deg - snap.from_deg) >= MIN_SNAP_DEG
            if seen and any(run.speed_rpm > snap.speed_rpm):
                yield warn(
                    Code.WEIGHTS_SNAP,
                    run=index + 1,
                    span_shaft_deg=(float(snap.from_deg), float(snap.to_deg)),
                    speed_shaft_rpm=snap.speed_rpm,
                )


def _surprises(model: Model, fitted: Fit):
    """Name the springs that are far from what their label says."""
    for (spring, place), column in model.springs.items():
        off = np.abs(fitted.z[column : column + 3])
        if off.max() > SURPRISE:
            figure = SPRING_FIGURES[int(off.argmax())]
            yield warn(
                Code.SPRING_UNLIKE_LABEL, position=POSITIONS[place], spring=spring.key, quantity=figure
            )


def _two_labels(model: Model):
    """Name keys that came with more than one label in the same place."""
    seen = {}
    for spring, place in model.springs:
        if seen.setdefault((spring.key, place), spring) != spring:
            yield warn(Code.SPRING_TWO_LABELS, spring=spring.key)
