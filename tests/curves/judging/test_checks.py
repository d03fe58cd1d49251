"""What a final run proves: the sweeps at every point and between, scatter, dwell and capsule, in words."""

import pytest

from curves.engine.units import KPA_PER_MMHG
from curves.judging import checks
from curves.models import DwellReading, Run, SparkReading, VacuumReading
from curves.readings import reading_grid
from curves.rows import queries
from tests import build

pytestmark = pytest.mark.django_db
BAND = [(600, 0, 1), (2000, 14, 1), (3000, 20, 1)]


def proved(readings, *, band=BAND, cylinders=4, sparks=(), dwells=(), vacuums=()):
    """The checks of a final run with these readings, by kind."""
    made = build.build()
    if band:
        build.target(made, band)
    run = build.run(made, readings, kind=Run.Kind.FINAL)
    for speed, cylinder, offset in sparks:
        SparkReading.objects.create(run=run, speed_rpm=speed, cylinder=cylinder, offset_deg=offset)
    for speed, dwell in dwells:
        DwellReading.objects.create(run=run, speed_rpm=speed, dwell_deg=dwell)
    for vacuum, advance in vacuums:
        VacuumReading.objects.create(run=run, vacuum_kpa=vacuum, advance_deg=advance)
    fetched = queries.build_for(made.pk)
    found = checks.checks_of(queries.live_runs(fetched)[0], fetched, cylinders=cylinders)
    return {check.kind: check for check in found}


def lines(check):
    return [(line.where, line.found, line.passed) for line in check.lines]


# The band at the distributor: 0, 7, 10 degrees at 300, 1000, 1500 rpm, half a degree either way.
GOOD = [(300, 0), (1000, 7), (1500, 10)]
ALL_POINTS = "300, 1000, 1500 distributor rpm (600, 2000, 3000 crank)"


def test_a_sweep_in_the_band_passes_at_every_point_and_between():
    check = proved(GOOD)["rising"]
    assert check.passed is True
    assert lines(check) == [
        (f"at {ALL_POINTS}", "in", True),
        ("between these points", "in", True),
    ]


def test_rising_and_falling_are_judged_each_by_itself():
    # Falling at 1000 rpm reads 8: 16 crank degrees where the band ends at 15, so 1.0 over.
    found = proved([*GOOD, (1500, 10, True), (1000, 8, True), (300, 0, True)])
    assert found["rising"].passed is True
    assert found["falling"].passed is False
    assert (
        "at 1000 distributor rpm (2000 crank)",
        "0.5 distributor degrees (1.0 crank) over",
        False,
    ) in lines(found["falling"])


def test_a_falling_sweep_starts_where_the_rising_one_turned():
    # From the top, read rising, down again: the falling sweep has no reading of its own at 3000 crank rpm.
    found = proved([*GOOD, (1000, 7.2, True), (300, 0, True)])
    assert found["falling"].passed is True
    assert (f"at {ALL_POINTS}", "in", True) in lines(found["falling"])


def test_a_miss_between_the_points_fails_though_every_point_holds():
    # Between 300 and 1000 the band runs straight: at 650 it goes to 3.5 + 0.5 = 4; 5 there is 1 distributor
    # degree over, 2 at the crank. At the points themselves the sweep is in.
    check = proved([(300, 0), (650, 5), (1000, 7), (1500, 10)])["rising"]
    assert check.passed is False
    where, found, passed = lines(check)[1]
    assert lines(check)[0] == (f"at {ALL_POINTS}", "in", True)
    assert found == "up to 1.0 distributor degrees (2.0 crank) over, most at 650 distributor rpm (1300 crank)"
    assert passed is False
    assert where.startswith("from ")


def test_a_band_not_reached_is_not_passed_yet():
    check = proved([(300, 0), (1000, 7)])["rising"]
    assert check.passed is None
    assert check.verdict == "not to be told yet"
    assert ("at 1500 distributor rpm (3000 crank)", "not reached", None) in lines(check)


def test_without_a_band_the_sweep_proves_nothing():
    assert proved(GOOD, band=None) == {}


# TM 5-4210-230-14&P-1: sparks within 2 degrees at 300 rpm of the distributor.
@pytest.mark.parametrize(("off", "passed"), [(1.5, True), (3.0, False)])
def test_scatter_against_the_published_limit(off, passed):
    # Offsets off, 0, 0, -off: their mean is 0, so the worst is off itself.
    sparks = [(300, 1, off), (300, 2, 0), (300, 3, 0), (300, 4, -off)]
    check = proved(GOOD, sparks=sparks)["spark"]
    assert check.passed is passed
    assert lines(check)[0] == (
        "cylinder 1 in firing order",
        f"+{off} distributor degrees (+{2 * off} crank) on average, "
        f"{off} distributor degrees ({2 * off} crank) at worst",
        passed,
    )
    spread = f"{2 * off:.1f} distributor degrees ({4 * off:.1f} crank) from first to last"
    assert lines(check)[-2][1].startswith(spread)
    assert lines(check)[-1][:2] == ("limit", "2.0 distributor degrees (4.0 crank) either way")


def test_scatter_names_the_cylinders_still_to_read():
    check = proved(GOOD, sparks=[(300, 1, 0), (300, 2, 0)])["spark"]
    assert check.passed is None
    assert check.words == ("Still to read: cylinder 3, 4.",)


# GM 1967 manual, p. 347: dwell may move by 3 degrees from idle to 1750 engine rpm (875 of the distributor).
@pytest.mark.parametrize(("fast", "passed"), [(49, True), (46, False)])
def test_dwell_at_two_speeds_against_the_published_limit(fast, passed):
    check = proved(GOOD, dwells=[(300, 51), (875, fast)])["dwell"]
    assert check.passed is passed
    # 51 of 90 degrees from spark to spark: 56.7 %.
    assert lines(check)[0] == (
        "at 300 distributor rpm (600 crank)",
        "51.0 distributor degrees (102.0 crank), 57 %",
        None,
    )
    moved = f"−{51 - fast}.0 distributor degrees (−{2 * (51 - fast)}.0 crank)"
    assert lines(check)[-2] == ("moves by", f"{moved} by 875 distributor rpm (1750 crank)", passed)
    assert lines(check)[-1][:2] == ("limit", "3.0 distributor degrees (6.0 crank) either way")


def test_dwell_at_one_speed_asks_for_another():
    check = proved(GOOD, dwells=[(300, 51)])["dwell"]
    assert (check.passed, check.words) == (None, ("Read it at a second speed too.",))


def test_dwell_beyond_the_period_of_the_cam_is_said():
    # Six cylinders: 60 degrees from spark to spark.
    check = proved(GOOD, cylinders=6, dwells=[(300, 61), (875, 61)])["dwell"]
    assert check.passed is False
    assert (
        "more than the 60.0 distributor degrees (120.0 crank) from spark to spark of 6 cylinders"
        in check.words[0]
    )


def test_capsule_in_every_unit_that_gauges_show():
    # Datsun pick-up 1977, service manual p. EE-34: 0 at 150 mmHg, 3.0 distributor degrees at 250 mmHg.
    steps = (50, 100, 150, 175, 200, 225, 250, 300, 350)
    vacuums = [(mmhg * KPA_PER_MMHG, min(max(mmhg - 150, 0), 100) * 0.03) for mmhg in steps]
    check = proved(GOOD, vacuums=vacuums)["vacuum"]
    assert check.passed is True
    said = dict(line[:2] for line in lines(check))
    # 150 mmHg are 20.0 kPa and 5.9 inHg (NIST SP 811: 133.322 Pa a mmHg); 250 are 33.3 and 9.8.
    assert said["begins at"] == "20.0 kPa, 5.9 inHg, 150 mmHg"
    assert said["ends at"] == "33.3 kPa, 9.8 inHg, 250 mmHg"
    assert said["adds"] == "3.0 distributor degrees (6.0 crank)"


def test_a_capsule_that_moves_nothing_fails():
    check = proved(GOOD, vacuums=[(0, 0), (10, 0), (20, 0), (30, 0), (40, 0)])["vacuum"]
    assert check.passed is False
    assert "torn diaphragm" in check.words[0]


def test_a_capsule_read_once_is_not_judged():
    assert proved(GOOD, vacuums=[(20, 0)])["vacuum"].passed is None


@pytest.mark.parametrize("kind", ["spark", "dwell", "vacuum"])
def test_the_bench_asks_on_for_as_many_rows_as_the_checks_do(kind):
    rows = {
        "spark": [(300, cylinder, 0) for cylinder in (1, 2, 3, 4)],
        "dwell": [(300, 50), (875, 50)],
        "vacuum": [(10, 0), (30, 5)],
    }[kind]
    run = build.run(build.build(), [], kind=Run.Kind.FINAL)
    grids = {one["kind"]: one for one in reading_grid.grids_of(run, run.build, (300,), cylinders=4)}
    enough = grids[kind]["enough"]
    assert enough == len(rows)
    for count in range(1, enough):
        assert proved(GOOD, **{f"{kind}s": rows[:count]})[kind].passed is None
    assert proved(GOOD, **{f"{kind}s": rows})[kind].passed is not None
