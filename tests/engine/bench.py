"""A simulated unit on the bench, with what a shop knows of it, for the tests of calibration and proposals."""

from curves.engine import Head, Run, Spring, Target
from curves.practice.simulated import make_drawer, make_kind, make_unit


def known(spring, rate_sd=0.04, length_sd=0.15, tension_sd=0.15):
    """Give a drawer's spring by its label."""
    label = spring.label
    return Spring(
        spring.key,
        label.rate,
        label.length,
        label.tension,
        rate_sd=rate_sd,
        free_length_sd_mm=length_sd,
        initial_tension_sd=tension_sd,
    )


class Bench:
    """One unit, its drawer, and its head as measured."""

    def __init__(self, seed, count=6):
        kind = make_kind((77, seed))
        self.seed = seed
        self.unit = make_unit(kind, (78, seed))
        self.drawer = make_drawer(kind, (79, seed), count=count)
        self.head = Head(*self.unit.caliper((80, seed)))
        self.primaries = [known(spring) for spring in self.drawer.primaries]
        self.secondaries = [known(spring) for spring in self.drawer.secondaries]
        self.target = Target(*self.unit.target(), 0.5)

    def run(self, first, second, number=0, *, falling=False, bend_mm=(0.0, 0.0)):
        """Run two springs of the drawer by their place in it; a second of None leaves its post bare."""
        pair = self.drawer.primaries[first], None if second is None else self.drawer.secondaries[second]
        sweep = self.unit.run(
            *pair, self.unit.sweep_speeds(), seed=(81, self.seed, number), falling=falling, bend_mm=bend_mm
        )
        labels = self.primaries[first], None if second is None else self.secondaries[second]
        return Run(*labels, sweep.speed_rpm, sweep.advance_deg, falling=sweep.falling, post_bend_mm=bend_mm)

    def true(self, first, second, speed_rpm, **how):
        """Give the true advance of two springs of the drawer."""
        pair = self.drawer.primaries[first], None if second is None else self.drawer.secondaries[second]
        return self.unit.advance(*pair, speed_rpm, **how)
