"""The engine at work on the simulated bench: how many runs a head needs until its curve lies in the band."""

from dataclasses import dataclass, field, replace

import numpy as np

from curves.engine import Head, Run, Spring, Sweeps, Target, calibrate, judge_sweeps, propose
from curves.practice.simulated import ERRORS, Errors, Label, make_drawer, make_kind, make_unit, sticking

TOLERANCE_DEG = 0.5
BEND_LIMIT_MM = 0.5
GIVE_UP = 15


def known_spring(key, label, errors):
    """Give a spring as its label, or the spring tester, describes it."""
    return Spring(
        key,
        label.rate,
        label.length,
        label.tension,
        rate_sd=errors.rate,
        free_length_sd_mm=errors.length,
        initial_tension_sd=errors.tension,
    )


def weigh(spring, errors, seed):
    """Put a spring that came in with a unit on the spring tester."""
    normal = np.random.default_rng((*seed, sum(spring.key.encode()))).standard_normal(3)
    return Label(
        spring.rate * float(np.exp(errors.rate * normal[0])),
        spring.length + errors.length * float(normal[1]),
        spring.tension * float(np.exp(errors.tension * normal[2])),
    )


@dataclass
class Job:
    """One unit on the bench, its drawer, and what the shop knows of both."""

    seed: tuple  # of int
    unit: object
    drawer: object
    errors: object
    head: Head
    known: dict  # key -> Spring as the shop knows it
    both_ways: bool = True  # read up and down (Hudson Rambler manual, 1955, p. 30)
    speeds: int = 12
    step_deg: float = 0.1  # in which the maker printed the curve
    before: object = None  # the sweep before, for where the posts are
    bench_errors: Errors = ERRORS
    tolerance_deg: float = TOLERANCE_DEG
    as_read: bool = False  # judged by its readings, as the product does; else by the true rising curve
    told_how_it_is_read: bool = True
    said: list = field(default_factory=list, init=False)  # (chance of a proposal, whether it came true)

    @classmethod
    def invent(cls, seed, errors, *, received="weighed", count=14):
        """Invent a unit of a type of its own, with a drawer of so many springs a side."""
        kind = make_kind(seed)
        drawer = make_drawer(kind, (seed, 1), count=count, errors=errors)
        return cls.of_kind(kind, drawer, (seed,), errors, received=received)

    @classmethod
    def of_kind(cls, kind, drawer, seed, errors, *, head=None, known=None, received="weighed"):
        """Take in a unit of a known type, with a drawer that may be better known than by its labels."""
        unit = make_unit(kind, (*seed, 2))
        labelled = (*drawer.primaries, *drawer.secondaries)
        springs = {s.key: known_spring(s.key, s.label, errors) for s in labelled}
        springs |= known or {}
        for spring in unit.received:
            springs[spring.key] = Spring(spring.key, None, None, None)
            if received == "weighed":
                springs[spring.key] = known_spring(spring.key, weigh(spring, errors, seed), errors)
        return cls(seed, unit, drawer, errors, head or Head(*unit.caliper((*seed, 3))), springs)

    def stuck(self, apart_deg, uneven=0.0):
        """Give the same job with weights that stick."""
        return replace(self, unit=sticking(self.unit, apart_deg, uneven))

    def target(self):
        """Give the band of the unit's maker."""
        return Target(*self.unit.target(self.step_deg), self.tolerance_deg)

    def way(self):
        """Give the speeds of a run, and which of them are read falling."""
        speeds = self.unit.sweep_speeds(self.speeds)
        falling = np.zeros(speeds.size, dtype=bool)
        if self.both_ways:
            speeds, falling = np.concatenate([speeds, speeds]), np.concatenate([falling, ~falling])
        return speeds, falling

    def side(self, springs):
        """Give a side of the drawer as the shop knows it."""
        return [self.known[spring.key] for spring in springs]

    def run(self, primary, secondary, number, bend_mm=(0.0, 0.0)):
        """Run a pair; give the run as read, and whether it lay in the band."""
        speeds, falling = self.way()
        sweep = self.unit.run(
            primary,
            secondary,
            speeds,
            seed=(*self.seed, 4, number),
            falling=falling,
            bend_mm=bend_mm,
            before=self.before if number else None,
            errors=self.bench_errors,
        )
        self.before = sweep
        pair = self.known[primary.key], self.known[secondary.key]
        run = Run(
            *pair,
            sweep.speed_rpm,
            sweep.advance_deg,
            falling=falling,
            scale_deg=self.bench_errors.scale_deg,
            post_bend_mm=sweep.bend_mm,
        )
        if self.as_read:
            return run, all(verdict.within for verdict in judge_sweeps(self.target(), run))
        speeds, wanted = self.unit.target(self.step_deg)
        true = self.unit.advance(primary, secondary, speeds, true_bend_mm=sweep.true_bend_mm)
        return run, bool(np.all(np.abs(true - wanted) <= self.tolerance_deg))

    def tune(self, *, bend_limit_mm=BEND_LIMIT_MM, give_up=GIVE_UP):
        """Follow the engine's first proposal until a run lies in the band; give how many, and all runs."""
        springs = {spring.key: spring for spring in (*self.drawer.primaries, *self.drawer.secondaries)}
        runs, tried = [self.run(*self.unit.received, 0)[0]], []
        sweeps = Sweeps(*self.way(), scale_deg=self.bench_errors.scale_deg) if self.as_read else None
        sweeps = sweeps if self.told_how_it_is_read else None
        for number in range(1, give_up + 1):
            proposals = propose(
                calibrate(self.head, runs, scatter_deg=self.bench_errors.scatter_deg),
                self.target(),
                self.side(self.drawer.primaries),
                self.side(self.drawer.secondaries),
                tried=tried,
                post_bend_limit_mm=bend_limit_mm,
                sweeps=sweeps,
            )
            if not proposals:
                return give_up + 1, runs
            best = proposals[0]
            run, good = self.run(
                springs[best.primary.key], springs[best.secondary.key], number, best.post_bend_mm
            )
            runs.append(run)
            self.said.append((best.chance, good))
            if good:
                return number, runs
            tried.append(best)
        return give_up + 1, runs

    def reachable(self):
        """Say whether any pair lies in the band with the posts as they are."""
        speeds, wanted = self.unit.target(self.step_deg)
        return any(
            np.all(np.abs(self.unit.advance(first, second, speeds) - wanted) <= self.tolerance_deg)
            for first in self.drawer.primaries
            for second in self.drawer.secondaries
        )


def summary(counts):
    """Give median, ninetieth percentile and most of runs needed, and how many heads were done in so many."""
    counts = np.sort(counts)
    ninetieth = counts[int(np.ceil(0.9 * counts.size)) - 1]
    done = {f"in_{most}": int((counts <= most).sum()) for most in (2, 4, 6)}
    return {"median": float(np.median(counts)), "p90": int(ninetieth), "most": int(counts[-1])} | done
