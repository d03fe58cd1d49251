"""The simulated bench behaves like a bench: friction, scatter and scale are there, and seeds repeat."""

import ast
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from curves.practice import simulated

SPEEDS = np.arange(200.0, 2400.0, 50.0)


@pytest.fixture(scope="module")
def unit():
    return simulated.make_unit(simulated.make_kind(3), 4)


def test_it_shares_nothing_with_the_engine():
    tree = ast.parse(Path(simulated.__file__).read_text())
    imported = [node for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom)]
    names = {getattr(node, "module", None) or node.names[0].name for node in imported}
    types = {"__future__", "collections.abc", "numpy.typing"}
    assert names - types == {"dataclasses", "math", "numpy"}


def test_the_true_curve_rises_from_0_to_the_stop(unit):
    curve = unit.advance(*unit.wanted, SPEEDS)
    assert curve[0] == 0.0
    assert curve[-1] == pytest.approx(unit.travel_deg)
    assert (np.diff(curve) >= 0).all()


def test_friction_parts_the_sweeps(unit):
    up = unit.advance(*unit.wanted, SPEEDS)
    down = unit.advance(*unit.wanted, SPEEDS, falling=True)
    assert (down >= up - 1e-9).all()
    assert (down - up).max() > 0.05
    smooth = replace(unit, friction=0.0, load_friction=0.0)
    # The true curve is read off a net of 1201 angles.
    assert smooth.advance(*unit.wanted, SPEEDS, falling=True) == pytest.approx(
        smooth.advance(*unit.wanted, SPEEDS), abs=0.02
    )


def test_weights_that_stick_keep_the_sweeps_as_far_apart_as_was_asked(unit):
    stuck = simulated.sticking(unit, 1.5)
    assert stuck.sweeps_apart() == pytest.approx(1.5, abs=0.05)
    exact = replace(simulated.ERRORS, scatter_deg=0.0, scale_deg=1e-6, tachometer=0.0, jitter_rpm=0.0)
    speeds = np.tile(SPEEDS, 20)
    uneven = replace(stuck, uneven=1.0).run(*unit.wanted, speeds, seed=1, errors=exact).advance_deg
    up = stuck.advance(*unit.wanted, speeds)
    middle = (up + stuck.advance(*unit.wanted, speeds, falling=True)) / 2.0
    assert ((uneven >= up - 1e-5) & (uneven <= middle + 1e-5)).all()
    assert (uneven - up).max() > 0.6


def test_bending_a_post_outwards_takes_advance_away(unit):
    straight = unit.advance(*unit.wanted, SPEEDS)
    assert (unit.advance(*unit.wanted, SPEEDS, true_bend_mm=(0.3, 0.3)) <= straight + 1e-9).all()


def test_readings_have_the_scatter_and_the_scale_that_are_said(unit):
    speeds = np.full(4000, 900.0)
    sweep = unit.run(*unit.wanted, speeds, seed=1)
    assert (sweep.advance_deg * 2 == np.round(sweep.advance_deg * 2)).all()
    expected = np.hypot(simulated.ERRORS.scatter_deg, simulated.ERRORS.scale_deg / 12**0.5)
    # The tachometer's jitter of 3 rpm comes on top; it is small.
    assert sweep.advance_deg.std() == pytest.approx(expected, rel=0.1)


def test_an_untouched_post_stays_and_a_bent_one_errs(unit):
    sweeps = [unit.run(*unit.wanted, [900.0], seed=n, bend_mm=(0.2, 0.0)) for n in range(200)]
    bends = np.array([sweep.true_bend_mm for sweep in sweeps])
    assert (bends[:, 1] == 0.0).all()
    assert bends[:, 0].mean() == pytest.approx(0.2, abs=0.02)
    assert bends[:, 0].std() == pytest.approx(simulated.ERRORS.bend_mm, rel=0.2)


def test_a_post_that_is_to_stay_is_left_alone(unit):
    first = unit.run(*unit.wanted, [900.0], seed=1, bend_mm=(0.2, 0.1))
    second = unit.run(*unit.wanted, [900.0], seed=2, bend_mm=(0.2, 0.3), before=first)
    assert second.true_bend_mm[0] == first.true_bend_mm[0]
    assert second.true_bend_mm[1] != first.true_bend_mm[1]


def test_the_same_seed_gives_the_same_bench():
    one, other = (simulated.make_unit(simulated.make_kind(3), 4) for _ in range(2))
    assert one == other
    assert simulated.make_drawer(one, 5) == simulated.make_drawer(one, 5)
    first, second = (one.run(*one.wanted, SPEEDS, seed=6).advance_deg for _ in range(2))
    assert list(first) == list(second)


def test_labels_err_as_much_as_they_say(unit):
    drawer = simulated.make_drawer(unit, 7, count=300, errors=simulated.ROUGH)
    off = np.array([[np.log(s.label.rate / s.rate), s.label.length - s.length] for s in drawer.primaries])
    assert off.std(axis=0) == pytest.approx([0.12, 0.4], rel=0.2)


def test_a_head_may_have_one_spring(unit):
    alone = unit.advance(unit.wanted[0], None, SPEEDS)
    assert (alone >= unit.advance(*unit.wanted, SPEEDS) - 1e-9).all()


def test_the_caliper_errs(unit):
    gaps, stretches, travel = unit.caliper(8)
    assert gaps != unit.true_gap_mm
    assert np.abs(np.subtract(gaps, unit.true_gap_mm)).max() < 1.0
    assert np.abs(np.log(np.divide(stretches, unit.true_stretch))).max() < 0.4
    assert abs(travel - unit.travel_deg) < 1.2
