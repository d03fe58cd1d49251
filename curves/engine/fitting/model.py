"""The model that calibration fits: readings as a function of whitened unknowns, with exact derivatives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import hypot

import numpy as np

from ..arrays import Flags, Floats, Indices
from ..governor.equilibrium import TORQUE_PER_RPM_SQUARED, Balance, settle, spring_lines
from ..governor.head import Head, Run
from ..governor.prior import (
    BEND_SD_MM,
    FRICTION,
    GAP,
    GROWTH,
    HEAD_SIZE,
    INERTIA,
    STRETCH,
    TRAVEL,
    HeadPrior,
    head_prior,
    spring_prior,
)
from ..springs.spring import Spring

READING_SCATTER_DEG = 0.25
MIN_SCATTER_DEG = 0.001  # no scale shows less
TACHOMETER_SD = 0.003  # relative
TACHOMETER_JITTER_RPM = 3.0
MODEL_SD_DEG = 0.03  # what the model itself is off by, seen on a bench with richer physics
STEEPEST_DEG_PER_RPM = 0.04
MIN_TILT = 1e-9  # [N mm/deg2] keeps a head that is about to snap from dividing by nothing
NO_SPRING = -1
SPRING_PARTS = 4  # rate, free length, tension / rate, and the bend of its post


@dataclass(frozen=True, eq=False)
class Model:
    """All runs on one head as one regression; every unknown is a standard normal a priori ("whitened").

    The columns of the unknowns z are the head's, then three for each spring (log rate, free length,
    tension / rate), then one for each bend that was made. All methods take z of shape (m, size), m points
    at once.
    """

    head: HeadPrior
    springs: dict[tuple[Spring, int], int]  # (Spring, place) -> first column
    mean: Floats  # (size,)
    root: Floats  # (size, size), block by block the square root of the prior covariance
    speed_rpm: Floats  # (n,)
    advance_deg: Floats  # (n,)
    falling: Flags | bool  # (n,), or False if all are rising
    noise_deg: Floats  # (n,)
    run: Indices  # (n,) which run a reading belongs to
    bend_mm: Floats  # (runs, 2)
    spring_column: Indices  # (runs, 2), NO_SPRING for none
    bend_column: Indices  # (runs, 2), NO_SPRING for a post left alone

    @cached_property
    def spring_columns(self) -> list[Indices]:
        """Give the columns of rate, length and tension, each (runs, 2)."""
        return [
            np.where(self.spring_column == NO_SPRING, NO_SPRING, self.spring_column + i) for i in range(3)
        ]

    @property
    def size(self) -> int:
        """Give the number of unknowns."""
        return self.mean.size

    def natural(self, z: Floats) -> Floats:
        """Turn whitened unknowns into log, mm and N."""
        return self.mean + z @ self.root.T

    def spring_root(self, column: int) -> Floats:
        """Give the square root of the prior covariance of the spring whose columns begin here."""
        return self.root[column : column + 3, column : column + 3]

    def balance(self, theta: Floats) -> Balance:
        """Give the head as it was in each run, arrays of shape (m, 1), (m, runs, 2) or (m, 1, 2)."""
        rate, length, tension, bend = self._springs(theta)
        return Balance(
            inertia=np.exp(theta[:, INERTIA, None]),
            growth=theta[:, GROWTH, None],
            friction=np.exp(theta[:, FRICTION, None]),
            travel_deg=np.exp(theta[:, TRAVEL, None]),
            gap_mm=np.exp(theta[:, None, GAP]) + bend,
            stretch=np.exp(theta[:, None, STRETCH]),
            rate=rate,
            length_mm=length,
            tension_n=tension,
        )

    def at_readings(self, balance: Balance) -> Balance:
        """Give the head as each reading met it, arrays of shape (m, 1), (m, n, 2) or (m, 1, 2)."""
        each = {
            name: getattr(balance, name).take(self.run, axis=1)
            for name in ("gap_mm", "rate", "length_mm", "tension_n")
        }
        return balance._replace(**each)

    def _springs(self, theta: Floats):
        """Give rate, free length, tension and bend, each (m, runs, 2); no spring pulls with nothing."""
        filled = np.concatenate([theta, np.zeros((len(theta), 1))], axis=1)  # what NO_SPRING points at
        first = np.arange(0, 3 * len(self.springs), 3) + HEAD_SIZE
        filled[:, first] = np.exp(np.minimum(filled[:, first], 12.0))
        filled[:, first + 2] *= filled[:, first]
        rate, length, tension = (filled[:, column] for column in self.spring_columns)
        return rate, length, tension, self.bend_mm + filled[:, self.bend_column]

    def predict(self, z: Floats) -> Floats:
        """Give the advance [deg] of each reading, shape (m, n)."""
        return self._advance(self.balance(self.natural(z)))

    def residuals(self, z: Floats) -> Floats:
        """Give reading less model over its standard deviation, shape (m, n)."""
        return (self.advance_deg - self.predict(z)) / self.noise_deg

    def _advance(self, head: Balance):
        """Give the advance [deg] of each reading of the head as it was in each run, shape (m, n)."""
        (at_1, by_1, from_1), (at_2, by_2, from_2) = (
            (part.take(self.run, axis=1) for part in line) for line in spring_lines(head)
        )
        return settle(
            ((at_1, by_1, from_1), (at_2, by_2, from_2)),
            self._weight(head),
            head.growth,
            head.friction,
            head.travel_deg,
            self.falling,
        )

    def _weight(self, head: Balance):
        """Give the weights' torque at rest [N mm/deg] at each reading's speed, shape (m, n)."""
        return head.inertia * TORQUE_PER_RPM_SQUARED * self.speed_rpm**2

    def jacobian(self, z: Floats) -> tuple[Floats, Floats]:
        """Give residuals and their derivatives by z, shapes (m, n) and (m, n, size).

        At rest inside a piece the excess q(t, theta) stays 0, so dt/dtheta = -(dq/dtheta) / (dq/dt). On the
        step where a spring comes in, t is its slack over its stretch; at the ends only the travel counts.
        """
        theta = self.natural(z)
        head = self.balance(theta)
        angle = self._advance(head)
        weight = self._weight(head)
        # Both springs at each reading, (2, m, n): the long axis last, which halves the time.
        stretch = head.stretch.transpose(2, 0, 1).copy()
        rate, tension, slack = (
            part.transpose(2, 0, 1).take(self.run, axis=-1)
            for part in (head.rate, head.tension_n, head.length_mm - head.gap_mm)
        )
        at_stop = angle >= head.travel_deg
        moves = ~at_stop & (angle > 0.0)
        step = (slack / stretch == angle) & moves
        turned = stretch * angle
        extension = turned - slack
        inside = moves & ~step.any(axis=0)
        pulls = (extension > 0) & inside
        tilt = (rate * stretch**2 * pulls).sum(axis=0) - weight * head.growth
        gain = inside * (-1.0 / np.where(np.abs(tilt) < MIN_TILT, MIN_TILT, tilt))

        by_pull = gain * stretch * pulls
        by_tension = rate * by_pull
        by_slack = step / stretch - by_tension
        pull = tension + rate * extension

        by = np.empty((HEAD_SIZE + 2 * SPRING_PARTS, *angle.shape))
        by[INERTIA] = -gain * weight * (1.0 + head.growth * angle)
        by[GROWTH] = -gain * weight * angle
        by[FRICTION] = gain * head.friction * np.where(self.falling, -1.0, 1.0)
        by[TRAVEL] = at_stop * head.travel_deg
        by[GAP] = -by_slack * np.exp(theta.T[GAP, :, None])
        by[STRETCH] = by_pull * (pull + rate * turned) - step * angle
        springs = by[HEAD_SIZE:].reshape(SPRING_PARTS, 2, *angle.shape)
        springs[0] = by_pull * pull
        springs[1] = by_slack
        springs[2] = by_tension
        springs[3] = -by_slack
        by_z = np.swapaxes(by.transpose(2, 1, 0) @ self._whitening, 0, 1)
        return (self.advance_deg - angle) / self.noise_deg, by_z

    @cached_property
    def _whitening(self):
        """Give what turns derivatives of the advance into those of residuals by z, shape (n, unknowns, size).

        A reading's unknowns: the head's, then rate, free length, tension / rate and bend of both springs.
        """
        head = np.broadcast_to(np.arange(HEAD_SIZE), (len(self.bend_mm), HEAD_SIZE))
        columns = np.concatenate([head, *self.spring_columns, self.bend_column], axis=-1)
        rows = np.concatenate([self.root, np.zeros((1, self.size))])  # the last is what NO_SPRING points at
        return rows[columns][self.run] / -self.noise_deg[:, None, None]


def _slopes(speed_rpm: Floats, advance_deg: Floats):
    """Estimate the slope of a run [deg/rpm] at its readings, for the tachometer's part in their error."""
    speed, back = np.unique(speed_rpm, return_inverse=True)
    if speed.size < 2:
        return np.zeros_like(speed_rpm)
    mean = np.bincount(back, weights=advance_deg) / np.bincount(back)
    return np.clip(np.gradient(mean, speed), 0.0, STEEPEST_DEG_PER_RPM)[back]


def _noise(run: Run, scatter_deg: float):
    """Give the standard deviation of each reading of a run [deg]."""
    slope = _slopes(run.speed_rpm, run.advance_deg)
    tachometer = np.hypot(TACHOMETER_SD * run.speed_rpm, TACHOMETER_JITTER_RPM)
    reading = hypot(scatter_deg, run.scale_deg / 12.0**0.5)
    return np.hypot(reading, slope * tachometer)


def _block_diagonal(blocks: Sequence[Floats]):
    """Put square blocks on a diagonal; SciPy's own takes ten times as long for small ones."""
    ends = np.cumsum([len(block) for block in blocks])
    whole = np.zeros((ends[-1], ends[-1]))
    for block, end in zip(blocks, ends, strict=True):
        whole[end - len(block) : end, end - len(block) : end] = block
    return whole


def build_model(head: Head, runs: Sequence[Run], scatter_deg: float = READING_SCATTER_DEG) -> Model:
    """Lay out the unknowns of a head and all springs and bends of its runs."""
    prior = head_prior(head, runs)
    mean, roots = list(prior.mean), [prior.root]
    springs, spring_columns, bend_columns = {}, [], []
    for run in runs:
        columns = [NO_SPRING, NO_SPRING]
        for place, spring in enumerate((run.primary, run.secondary)):
            if spring is None:
                continue
            if (spring, place) not in springs:
                springs[spring, place] = len(mean)
                label = spring_prior(spring, place, float(np.exp(prior.mean[3 + place])))
                mean.extend(label.mean)
                roots.append(label.root)
            columns[place] = springs[spring, place]
        spring_columns.append(columns)
    columns, standing = [NO_SPRING, NO_SPRING], (0.0, 0.0)
    for run in runs:
        columns = list(columns)
        for place, (bend, before) in enumerate(zip(run.post_bend_mm, standing, strict=True)):
            if bend == before:
                continue  # the post is left alone
            columns[place] = NO_SPRING if bend == 0.0 else len(mean)
            if bend != 0.0:
                mean.append(0.0)
                roots.append(np.array([[BEND_SD_MM]]))
        bend_columns.append(columns)
        standing = run.post_bend_mm
    falling = np.concatenate([run.falling for run in runs])

    return Model(
        head=prior,
        springs=springs,
        mean=np.array(mean),
        root=_block_diagonal(roots),
        speed_rpm=np.concatenate([run.speed_rpm for run in runs]),
        advance_deg=np.concatenate([run.advance_deg for run in runs]),
        falling=falling if falling.any() else False,
        noise_deg=np.concatenate([_noise(run, scatter_deg) for run in runs]),
        run=np.repeat(np.arange(len(runs)), [run.speed_rpm.size for run in runs]),
        bend_mm=np.array([run.post_bend_mm for run in runs]),
        spring_column=np.array(spring_columns),
        bend_column=np.array(bend_columns),
    )
