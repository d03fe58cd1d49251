"""The timing traps of the trade, each through its page, with its numbers worked out by hand.

All numbers are invented and small enough to check with a pencil; a four-stroke's distributor turns at half
crank speed (a fact of the engine, so crank rpm and crank degrees are both twice those of the distributor).
"""

import json

import pytest

from curves.judging import sweeps, timing
from curves.models import LightReading, Run, Sweep
from jobs.curvework.curve import curve_context
from jobs.queries import card_for
from tests import build
from tests.reading import markup

pytestmark = pytest.mark.django_db


def card(readings, *, band=None, frame="shaft", idle=900, **target):
    """A job whose unit was run as received, with its band."""
    row = build.job(stage="teardown", engine=build.engine(idle_crank_rpm=idle))
    build.run(row.build, readings, kind=Run.Kind.AS_RECEIVED, frame=frame)
    if band:
        build.target(row.build, band, **target)
    return row


def sweep(job, readings, **fields):
    """A sweep of (crank rpm, crank deg) or (crank rpm, crank deg, part throttle)."""
    made = Sweep.objects.create(build=job.build, number=1, by=build.person(), **fields)
    LightReading.objects.bulk_create(
        LightReading(
            sweep=made,
            position=place,
            crank_rpm=reading[0],
            crank_deg=reading[1],
            part_throttle=len(reading) > 2 and reading[2],
        )
        for place, reading in enumerate(readings)
    )
    return made


def shown(client, job):
    """The sweep's page as data and as text."""
    answer = client.get(f"/jobs/{job.number}/sweeps/1/")
    assert answer.status_code == 200
    return answer.context["said"], markup(answer)


# Soft springs: (distributor rpm, distributor deg). At the crank: nothing up to 500 rpm, then 1 crank
# degree for every 100 crank rpm, 20 at 2500, level above.
SOFT = [(200, 0), (250, 0), (500, 2.5), (750, 5), (1000, 7.5), (1250, 10), (1750, 10)]


def test_idle_timing_that_hunts_hides_advance(client_as):
    # Idle at 900 crank rpm is 450 distributor rpm. Advance begins at 250 distributor = 500 crank rpm, 400
    # below idle. At 450: (450 - 250) / 500 * 5 = 2 distributor = 4 crank degrees. Someone turned the body
    # until the light read 12 at idle: the true initial timing is 12 - 4 = 8. Slope: 5 distributor degrees
    # in 500 rpm = 1 degree per 100 rpm, the same number at the crank (angle and speed both double). The
    # other readings with an initial of 8: at 1500 crank = 750 distributor: 8 + 2 * 5 = 18; at 2500: 28.
    job = card(SOFT)
    sweep(job, [(900, 12), (1500, 18), (2500, 28)], idle_low_crank_deg=11, idle_high_crank_deg=13)
    said, text = shown(client_as("technician"), job)
    assert [row.initial_crank_deg for row in said.rows] == pytest.approx([8, 8, 8])
    assert said.initial.pooled_deg == pytest.approx(8)
    assert said.idle.advance_crank_deg == pytest.approx(4, abs=0.05)
    assert said.idle.slope_deg_per_100rpm == pytest.approx(1, abs=0.01)
    assert said.idle.margin_crank_rpm == pytest.approx(-400, abs=10)
    assert said.wander_crank_deg == 2
    assert "4.0 crank degrees more than the initial timing" in text
    assert "moves 1.0 with every 100 rpm" in text


def test_advance_that_begins_within_the_margin_is_warned_of_too(client_as):
    # Begin at 500 distributor = 1000 crank rpm; idle at 900: 100 above, and the shop wants 150.
    job = card([(400, 0), (500, 0), (750, 2.5), (1000, 5), (1250, 7.5), (1500, 10), (1800, 10)])
    sweep(job, [(900, 10), (2000, 20), (3000, 30)])
    said, text = shown(client_as("technician"), job)
    assert said.initial.pooled_deg == pytest.approx(10)
    assert said.idle.advance_crank_deg == pytest.approx(0, abs=0.05)
    assert "less than the 150 wanted" in text


def test_the_right_total_with_the_wrong_shape_shows_where_it_is_too_much():
    # Wanted: 10 initial and at the crank 0 at 1000, 10 at 2000, 20 at 4000, each give or take 1. The
    # curve as received at the crank: 0 at 1000, 6 at 2000, 12 at 4000, so its total with 10 is 22, not
    # 30. Turn the body 8 degrees on to reach 30 at 4000: initial 18. What the light then reads, and the
    # band: 1000: 18, band 9 to 11, 7 over.   2000: 24, band 19 to 21, 3 over.   4000: 30, band 29 to 31,
    # in. Between 2000 and 4000 the reading goes 24 -> 30 (0.003 a rpm), the upper edge 21 -> 31 (0.005):
    # the excess 3 falls by 0.002 a rpm and is gone after 1500, at 3500. Area: 1000-2000: (7 + 3) / 2 *
    # 1000 = 5000; 2000-3500: 3 / 2 * 1500 = 2250. In all 7250 degree x rpm = 7.25 degree x 1000 rpm. No
    # stretch below.
    curve = [(500, 0), (1000, 3), (2000, 6)]
    job = card(curve, band=[(1000, 0, 1), (2000, 10, 1), (4000, 20, 1)], initial_crank_deg=10)
    sweep(job, [(1000, 18), (2000, 24), (4000, 30)])
    fetched = card_for(build.person(), job.number)
    said = sweeps.result_of(fetched.build.sweeps.get(), fetched.build, timing.Engine(900, 5500, 150))
    (stretch,) = said.stretches
    assert said.initial.pooled_deg == pytest.approx(18)
    assert (stretch.side, stretch.from_crank_rpm, stretch.to_crank_rpm) == (
        "too much",
        1000,
        pytest.approx(3500),
    )
    assert (stretch.worst_crank_deg, stretch.worst_crank_rpm) == (pytest.approx(7), 1000)
    assert stretch.area_crank_deg_krpm == pytest.approx(7.25)


def test_too_little_at_the_foot_and_too_much_at_the_top_are_two_stretches(client_as):
    # Wanted at the crank with 10 initial: 10 at 1000, 30 at 3000, give or take 1 (straight: 20 at 2000).
    # The light: 10 at 1000, 15 at 2000, 35 at 3000.  At 2000: lower edge 19, 4 under. At 3000: upper 31,
    # 4 over. Below: the lower edge runs 9 -> 19 over 1000-2000, the light 10 -> 15; it dips under where
    # 10 + 0.005 n = 9 + 0.010 n, n = 200: from 1200. After 2000 the light gains 0.020 a rpm, the edge
    # 0.010: 4 under is made up after 400 rpm: to 2400. Area: 4 / 2 * (2400 - 1200) = 2400 = 2.40. Above:
    # the upper edge is 21 at 2000; the light 6 under it gains 0.010 a rpm: over from 2600, 4 at 3000.
    # Area: 4 / 2 * 400 = 800 = 0.80.
    job = card([(300, 0), (500, 0), (1500, 10)], band=[(1000, 0, 1), (3000, 20, 1)], initial_crank_deg=10)
    sweep(job, [(1000, 10), (2000, 15), (3000, 35)])
    said, text = shown(client_as("technician"), job)
    rows = [(s.side, round(s.from_crank_rpm), round(s.to_crank_rpm)) for s in said.stretches]
    assert rows == [("too little", 1200, 2400), ("too much", 2600, 3000)]
    assert [s.area_crank_deg_krpm for s in said.stretches] == pytest.approx([2.4, 0.8])
    assert "from 1200 to 2400 crank rpm" in text
    assert {area["side"] for area in _figure(text, said)["areas"]} == {"below", "above"}


def _figure(text, said):
    """The figure as the page carries it."""
    raw = text.split('<script type="application/json">')[1].split("</script>")[0]
    figure = json.loads(raw)
    assert figure["key"] == f"sweep-{said.sweep.pk}"
    return figure


def test_travel_that_is_not_as_stamped_is_shown_and_the_measured_one_counts():
    # Stamped 10 distributor degrees, measured 14: 4 more, which is 8 at the crank. With 10 of initial
    # timing the total is 10 + 28 = 38 crank degrees, not the 30 that the stamp promises: 4 over a limit
    # of 34.
    curve = [(300, 0), (500, 0), (1500, 14), (1800, 14)]
    limits = {"initial_crank_deg": 10, "total_limit_crank_deg": 34}
    job = card(curve, band=[(1000, 0, 1), (3000, 20, 1)], idle=700, **limits)
    job.build.travel_stamped_deg, job.build.travel_measured_deg = 10, 14
    job.build.save()
    said = curve_context(card_for(build.person(), job.number))["curve"]["summary"]
    words = {warning.kind: warning.text for warning in said.warnings}
    assert "Travel measured is 14 distributor degrees, 4 more than the 10 stamped" in words["travel"]
    assert said.total_crank_deg == pytest.approx(38)
    assert "4.0 over the limit of 34" in words["total"]


@pytest.mark.parametrize(("frame", "factor"), [("shaft", 1), ("crank", 2)])
def test_one_run_in_either_frame_gives_one_initial_timing(client_as, frame, factor):
    # The same bench run written in distributor or in crank numbers, each twice the other. At 3000 crank
    # rpm the distributor turns at 1500 and gives 10 degrees, 20 at the crank: a light at 30 hides 30 - 20
    # = 10. Taken in the wrong frame it would be 30 - 10 = 20, or 30 - 40 = -10.
    readings = [(rpm * factor, deg * factor) for rpm, deg in [(500, 0), (1500, 10), (2000, 10)]]
    job = card(readings, frame=frame)
    sweep(job, [(1000, 10), (2000, 20), (3000, 30)])
    said, text = shown(client_as("technician"), job)
    assert [row.curve_crank_deg for row in said.rows] == pytest.approx([0, 10, 20])
    assert said.initial.pooled_deg == pytest.approx(10)
    assert "crank deg" in text


def test_crank_degrees_typed_as_distributor_degrees_are_warned_of():
    # 22 crank degrees typed as 22 distributor degrees would be 44 at the crank: more than any maker's figure
    # at hand (TM 10-3930-623-12 gives at most 42 crank degrees).
    job = card([(300, 0), (500, 0), (1500, 22), (1800, 22)])
    said = curve_context(card_for(build.person(), job.number))["curve"]["summary"]
    assert (
        "22.0 distributor degrees (44.0 crank) of centrifugal advance is much. Is the frame right?"
        in " ".join(warning.text for warning in said.warnings)
    )


PART = [(900, 10), (1500, 24, True), (2000, 30, True), (2600, 36, True), (3000, 30), (3400, 30)]


def test_a_vacuum_line_left_on_is_found_at_part_throttle(client_as):
    # The curve at the crank: 0 at 1000, 20 at 3000, level above. With 10 initial a light would read 10 at
    # 900, 15 at 1500, 20 at 2000, 26 at 2600, 30 at 3000 and at 3400. At part throttle it read 24, 30 and
    # 36: 9, 10 and 10 more. Behind them lie 19, 20, 20, mean 19.667; behind the others 10, 10, 10. The
    # capsule adds 19.667 - 10 = 9.667, and the true initial timing is 10, not the mean of all six, 14.8.
    job = card([(300, 0), (500, 0), (1500, 10), (2000, 10)])
    sweep(job, PART)
    said, text = shown(client_as("technician"), job)
    assert [row.initial_crank_deg for row in said.rows] == pytest.approx([10, 19, 20, 20, 10, 10])
    assert [row.vacuum_on for row in said.rows] == [False, True, True, True, False, False]
    assert said.initial.pooled_deg == pytest.approx(10)
    assert said.initial.vacuum_deg == pytest.approx(29 / 3)
    assert "Vacuum line found connected" in text
    assert "Take it off, plug it and read again" in text


def test_a_line_written_down_as_off_is_still_found(client_as):
    job = card([(300, 0), (500, 0), (1500, 10), (2000, 10)])
    sweep(job, PART, vacuum_on=False)
    said, text = shown(client_as("technician"), job)
    assert said.vacuum_found
    assert "written down with the line off" in text


def test_a_line_known_to_be_on_is_no_initial_timing(client_as):
    job = card([(300, 0), (500, 0), (1500, 10), (2000, 10)])
    sweep(job, [(900, 19), (3000, 40)], vacuum_on=True)
    _, text = shown(client_as("technician"), job)
    assert "Every reading had the vacuum line on" in text


def test_wear_shows_as_an_initial_timing_that_drifts(client_as):
    # The curve gives 0 at 1000, 10 at 2000, 20 at 3000 and at 4000 crank rpm. A worn unit, or another
    # curve, read 10, 24, 38 and 42: behind them 10, 14, 18, 22: 4 crank degrees more with every 1000 rpm.
    # A distributor's body does not turn by itself.
    job = card([(300, 0), (500, 0), (1500, 10), (2000, 10)])
    sweep(job, [(1000, 10), (2000, 24), (3000, 38), (4000, 42)])
    said, text = shown(client_as("technician"), job)
    assert said.initial.drift_deg_per_1000rpm == pytest.approx(4)
    assert "wear, or not this curve" in text
    assert "rise 4.0 crank degrees per 1000 rpm" in text


def test_without_a_bench_run_nothing_is_made_up(client_as):
    job = build.job(stage="teardown")
    sweep(job, [(900, 12), (3000, 30)])
    said, text = shown(client_as("technician"), job)
    assert said.initial is None
    assert "True initial timing" not in text
