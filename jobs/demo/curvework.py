"""The curve part of a demo visit: what the simulated bench reads, typed in through the real actions."""

from dataclasses import replace
from functools import cached_property

import numpy as np

from curves.models import Response, Run, Sweep
from curves.rows import queries, stock
from curves.springs import corrections
from jobs.curvework import actions, sweep_actions
from jobs.demo import bench

VACUUM_CRANK_DEG = 9.0
PACKET = 5  # springs
RESPONSE_SHARE = 0.5  # of the top speed: where the dynamometer held the engine


class CurveWork:
    """What a visit does at the bench and with the light.

    The visit itself gives seed, index, kind, fault, person, drawer and head types.
    """

    @cached_property
    def unit_drawn(self):
        return bench.drawn(self.kind)

    @cached_property
    def chosen(self):
        """This very unit on the simulated bench, the pair and bends that suit it, and its final sweep."""
        return bench.rebuilt(self.kind, [self.seed, self.index])

    @cached_property
    def travel_measured_deg(self):
        """As it is once the stop was seen to."""
        return _quarter(self.chosen.unit.travel_deg)

    @cached_property
    def travel_found_deg(self):
        """As the unit came in, by the very stop that its run as received was read on."""
        return _quarter(bench.as_found(self.chosen.unit, self.fault.key, self._as_received).travel_deg)

    @property
    def _as_received(self):
        return [self.seed, self.index, 1]

    def run_as_received(self):
        seed = self._as_received
        readings = bench.received(self.chosen.unit, self.kind, self.fault.key, seed)
        self._type_run(Run.Kind.AS_RECEIVED, readings, note="As it came in, own springs.")

    def sweep_the_engine(self):
        """The light on the engine as it came in; on every other one nobody thought of the vacuum line."""
        line_on = bool(self.kind.capsule) and self.index % 2 == 1
        readings = bench.light(
            self.chosen.unit,
            self.fault.key,
            self.kind,
            [self.seed, self.index, 1],
            initial_crank_deg=float(self.kind.initial_crank_deg[1]),
            vacuum_crank_deg=VACUUM_CRANK_DEG if line_on else 0.0,
        )
        at_idle = readings[0][1]
        values = {
            "when": Sweep.When.BEFORE,
            "vacuum_on": None if line_on else False,
            "idle_low_crank_deg": at_idle - 1.0,
            "idle_high_crank_deg": at_idle + 2.0,
            "note": "In the vehicle, warm.",
        }
        sweep_actions.add_sweep(self.job, values, readings, by=self.bench_person)

    def ask_the_engine(self):
        """How the engine pulled against its timing, held at one speed."""
        crank_rpm = round(RESPONSE_SHARE * self.kind.top_crank_rpm, -2)
        points = bench.target_of(self.kind)
        wanted = float(np.interp(crank_rpm, *zip(*((rpm, deg) for rpm, deg, _ in points), strict=True)))
        best = wanted + sum(self.kind.initial_crank_deg) / 2
        values = {
            "crank_rpm": crank_rpm,
            "measure": "torque",
            "unit": "N m",
            "best": Response.Best.MOST,
            "note": "Rolling road, full throttle.",
        }
        tries = bench.pull(best, [self.seed, self.index, 6])
        sweep_actions.add_response(self.job, values, tries, by=self.bench_person)

    def measure_head(self):
        gaps, stretches, _ = self.chosen.unit.caliper([self.seed, self.index, 4])
        measured = {
            "head_type": self.head_types[self.kind.head],
            "travel_measured_deg": self.travel_measured_deg,
            "primary_gap_mm": round(gaps[0], 1),
            "secondary_gap_mm": round(gaps[1], 1),
            "primary_stretch_mm_per_deg": round(stretches[0], 3),
            "secondary_stretch_mm_per_deg": round(stretches[1], 3),
        }
        job = self.job
        actions.save_head(job, measured, by=self.bench_person, version=job.build.version)

    def set_target(self):
        low, high = self.kind.initial_crank_deg
        points = bench.target_of(self.kind)
        agreed = {
            "initial_low_crank_deg": low,
            "initial_high_crank_deg": high,
            "initial_crank_deg": (low + high) // 2,
            "total_limit_crank_deg": points[-1][1] + high,
            "note": f"For {self.kind.fuel_octane} octane, {self.kind.use} use.",
        }
        actions.save_target(self.job, agreed, points, by=self.bench_person, version=0)

    def try_springs(self, place):
        """A trial with one of the pairs that came near in a head as drawn; posts not yet bent."""
        fit = replace(bench.likely_pairs(self.kind)[place + 1], bend_mm=(0.0, 0.0))
        seed = [self.seed, self.index, 5, place]
        self._run(Run.Kind.TRIAL, fit, bench.trial(self.chosen.unit, self.kind, fit, seed))

    def try_the_chosen(self):
        self._run(Run.Kind.TRIAL, self.chosen.fit, self.chosen.trial)
        corrections.learn_springs(queries.build_for(self.job.build_id), by=self.bench_person)

    def run_final(self):
        self._run(Run.Kind.FINAL, self.chosen.fit, self.chosen.final)

    def _run(self, kind, fit, readings):
        for label in dict.fromkeys((fit.primary, fit.secondary)):
            self._restock(self.drawer[label])
        self._type_run(
            kind,
            readings,
            primary=self.drawer[fit.primary],
            secondary=self.drawer[fit.secondary],
            primary_bend_mm=fit.bend_mm[0],
            secondary_bend_mm=fit.bend_mm[1],
        )

    def _restock(self, spring):
        """A packet comes before the last one of a kind is wanted."""
        spring.refresh_from_db(fields=["quantity"])
        if not spring.quantity and spring.pk not in stock.in_unit(self.job.build):
            stock.receive(spring, PACKET, by=self.bench_person, note="A packet from the spring winder.")

    def _type_run(self, kind, readings, **values):
        actions.add_run(self.job, {"kind": kind, **values}, readings, by=self.bench_person)


def _quarter(deg):
    """As a protractor shows it: to a quarter of a degree."""
    return round(deg * 4) / 4
