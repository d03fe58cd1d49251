"""A simulated unit as rows: its drawer, head and band, and runs read on the simulated bench."""

from dataclasses import dataclass

import numpy as np

from curves.engine import Drive
from curves.models import Build, Run
from curves.practice import simulated
from curves.rows import queries
from tests import build

DRIVE = Drive.four_stroke()
# A run is judged by its readings, which scatter by 0.25 distributor degree on a scale of half a degree.
TOLERANCE_CRANK_DEG = 1.5
AT_SOURCE = {"rate_sd": 0.04, "free_length_sd_mm": 0.15}


@dataclass
class Bench:
    """One invented unit; `springs` holds what its springs really are, by label."""

    unit: simulated.Unit
    springs: dict
    build: Build
    seed: int
    frame: str = "shaft"

    def read(self, primary, secondary, bends=(0.0, 0.0), *, kind=Run.Kind.TRIAL, number=0, run=None, **how):
        """Read a pair of rows, or of labels, up and down; into `run`, or into a new one."""
        rows = self.rows(primary, secondary, bends, number=number, **how)
        if run is not None:
            run.readings.all().delete()
            for position, (speed, deg, falling) in enumerate(rows):
                run.readings.create(position=position, speed_rpm=speed, advance_deg=deg, falling=falling)
            return run
        named = {} if kind == Run.Kind.AS_RECEIVED else {"primary": primary, "secondary": secondary}
        bent = {"primary_bend_mm": bends[0], "secondary_bend_mm": bends[1]}
        return build.run(self.build, rows, kind=kind, frame=self.frame, **named, **bent)

    def rows(self, primary, secondary, bends=(0.0, 0.0), *, number=0, both_ways=True):
        """What a person types of a pair, in order: (speed, advance, falling) in the bench's frame."""
        up = self.unit.sweep_speeds()
        speeds = np.concatenate([up, up[::-1]]) if both_ways else up
        falling = np.arange(speeds.size) >= up.size
        true = [self.springs[getattr(one, "label", one)] for one in (primary, secondary)]
        sweep = self.unit.run(*true, speeds, seed=(self.seed, 4, number), falling=falling, bend_mm=bends)
        angles = np.maximum(sweep.advance_deg, 0.0).tolist()
        return [
            (*self.typed(*read), way)
            for *read, way in zip(sweep.speed_rpm.tolist(), angles, falling.tolist(), strict=True)
        ]

    def typed(self, shaft_rpm, shaft_deg):
        if self.frame == "shaft":
            return shaft_rpm, shaft_deg
        return DRIVE.to_crank_rpm(shaft_rpm), DRIVE.to_crank_deg(shaft_deg)

    def fresh(self):
        return queries.build_for(self.build.pk)


def simulated_bench(
    seed=5, *, count=10, frame="shaft", into=None, drawer_seed=None, tolerance=TOLERANCE_CRANK_DEG
):
    """Take in a unit of an invented type with a drawer of `count` springs a side, all as rows."""
    kind = simulated.make_kind(seed)
    drawer = simulated.make_drawer(kind, (seed, 1), count=count)
    unit = simulated.make_unit(kind, (seed, drawer_seed or 2))
    gaps, stretches, travel = unit.caliper((seed, 3))
    measured = {
        "travel_stamped_deg": None,
        "travel_measured_deg": round(travel, 1),
        "primary_gap_mm": round(gaps[0], 1),
        "secondary_gap_mm": round(gaps[1], 1),
        "primary_stretch_mm_per_deg": round(stretches[0], 3),
        "secondary_stretch_mm_per_deg": round(stretches[1], 3),
    }
    row = into or build.build()
    for name, value in measured.items():
        setattr(row, name, value)
    row.save()
    for place, side in (("primary", drawer.primaries), ("secondary", drawer.secondaries)):
        for one in side:
            build.spring(
                one.key,
                position=place,
                rate_n_per_mm=one.label.rate,
                free_length_mm=one.label.length,
                initial_tension_n=one.label.tension,
                **AT_SOURCE,
            )
    speeds, wanted = unit.target()
    points = [
        (DRIVE.to_crank_rpm(rpm), DRIVE.to_crank_deg(deg), tolerance)
        for rpm, deg in zip(speeds.tolist(), wanted.tolist(), strict=True)
    ]
    build.target(row, points, initial_low_crank_deg=6, initial_high_crank_deg=10, initial_crank_deg=8)
    springs = {one.key: one for one in (*drawer.primaries, *drawer.secondaries, *unit.received)}
    return Bench(unit, springs, row, seed, frame)
