"""The summary's numbers against a published curve, its verdicts, and the warnings it says in words."""

import json
import re
from dataclasses import asdict
from types import SimpleNamespace

import pytest

from curves import engine
from curves.judging import outcome
from curves.judging import verdicts as judging
from curves.models import Frame, Run
from curves.rows import convert, queries
from curves.trials import offers
from tests import build
from tests.reading import markup

pytestmark = pytest.mark.django_db

# Two-slope curve of a four-cylinder, crank rpm and crank degrees, and what the light reads with 6 initial:
# fordsix.com, thread 27815.
PRINTED = [(500, 0), (1000, 2), (1600, 9), (2000, 14), (3000, 21), (4000, 28), (4600, 32)]
LIGHT = {500: 6, 1000: 8, 1600: 15, 2000: 20, 3000: 27, 4000: 34, 4600: 38}


def summary_of(made, **engine):
    return outcome.summary(queries.build_for(made.pk), **engine)


def printed_build(frame=Frame.CRANK, kind=Run.Kind.FINAL):
    made = build.build()
    half = [(rpm / 2, deg / 2) for rpm, deg in PRINTED]
    build.run(made, PRINTED if frame == Frame.CRANK else half, kind=kind, frame=frame)
    build.target(
        made, [(rpm, deg, 1.0) for rpm, deg in PRINTED], initial_crank_deg=6, total_limit_crank_deg=40
    )
    return made


@pytest.mark.parametrize("frame", [Frame.CRANK, Frame.SHAFT])
def test_the_knee_of_the_printed_curve_is_found_in_both_frames(frame):
    knees = {knee.name: knee for knee in summary_of(printed_build(frame)).final.knees}
    # The printed points change their slope at 2000 crank rpm; they are whole degrees, hence the 150.
    assert knees["knee"].speed_rpm.crank == pytest.approx(2000, abs=150)
    assert knees["knee"].speed_rpm.shaft == pytest.approx(1000, abs=75)
    assert knees["knee"].advance_deg.crank == pytest.approx(2 * knees["knee"].advance_deg.shaft)
    error = knees["knee"].speed_rpm
    assert 0 < error.shaft_error < 150
    assert error.crank_error == pytest.approx(2 * error.shaft_error)
    # Above the knee it gains 18 degrees in 2600 rpm: 0.69 a hundred, the same number in both frames.
    slope = knees["second slope"].slope_deg_per_100_rpm
    assert slope.crank == slope.shaft == pytest.approx(18 / 26, abs=0.03)


def test_the_light_reads_what_is_printed():
    said = summary_of(printed_build(), idle_crank_rpm=500, top_crank_rpm=5000)
    assert said.initial_crank_deg == 6
    assert {row.crank_rpm: round(row.crank_deg, 6) for row in said.setting_card} == {
        rpm: LIGHT[rpm] for rpm in (500, 1000, 2000, 4600)
    }
    assert [row.is_idle for row in said.setting_card] == [True, False, False, False]
    assert said.total_crank_deg == pytest.approx(38)
    assert said.final_in_band is True
    assert said.latest_in_band is None


@pytest.mark.parametrize("idle", [700, 900])
def test_idle_below_a_lowest_reading_with_advance_is_not_read(idle):
    # The printed curve without its first point begins with 2 degrees at 1000 crank rpm.
    made = printed_build()
    made.runs.get().readings.filter(speed_rpm=500).delete()
    said = summary_of(made, idle_crank_rpm=idle)
    assert (said.setting_card[0].crank_deg, said.idle_slope_crank_deg_per_100_rpm) == (None, None)
    [warning] = [w for w in said.warnings if w.kind in ("unread", "idle")]
    assert "down to 1000 crank rpm only" in warning.text
    assert [row.crank_deg for row in said.setting_card[1:]] == [
        row.crank_deg for row in summary_of(printed_build(), idle_crank_rpm=idle).setting_card[1:]
    ]


def test_the_light_at_idle_agrees_with_the_begin_of_advance():
    # By hand: 0 to 600, then 1 degree of the distributor a hundred from 650 on, but for one reading of half a
    # degree at 600 (the scatter of a reading): crank rpm 1200 to 1300 is where it begins, idle lies below.
    made = build.build()
    build.target(made, [(1000, 0, 2), (3000, 17, 2)], initial_crank_deg=7)
    shaft = [(400, 0), (500, 0), (600, 0.5), (700, 0.5), (800, 1.5), (900, 2.5), (1000, 3.5), (1500, 8.5)]
    build.run(made, shaft)
    said = summary_of(made, idle_crank_rpm=1150)
    assert said.begin.margin_crank_rpm > 0
    assert said.idle_slope_crank_deg_per_100_rpm == 0
    assert said.setting_card[0].crank_deg == pytest.approx(7)


WANTED = [(900, 0, 1), (1800, 9, 1.5), (3000, 18, 1.5), (3600, 20, 1.5)]


@pytest.mark.parametrize(
    "readings",
    [
        [(850, 0), (1800, 9), (2400, 14.6)],
        [(850, 0), (1500, 6)],
        [(900, 4)],
        [(1700, 6)],
        [(850, 0), (1800, 9), (3600, 20)],
    ],
)
@pytest.mark.parametrize("top", [None, 5500])
def test_no_figure_is_said_of_a_speed_that_was_not_read(readings, top):
    made = build.build()
    build.target(made, WANTED, initial_crank_deg=10, total_limit_crank_deg=28)
    build.run(made, readings, kind=Run.Kind.FINAL, frame=Frame.CRANK)
    said = summary_of(made, idle_crank_rpm=700, top_crank_rpm=top)
    low, high = (700 if readings[0][1] == 0 else readings[0][0]), readings[-1][0]
    assert len(said.setting_card) == 4
    for row in said.setting_card:
        assert (row.crank_deg is not None) is (low <= row.crank_rpm <= high), row
        assert not row.is_outside or row.crank_deg is not None
    assert said.total_not_read is (high < 3600)
    assert (said.total_crank_deg is None) is said.total_not_read


def test_top_speed_below_the_end_of_the_band_is_where_the_total_is_asked():
    made = build.build()
    build.target(made, WANTED, initial_crank_deg=10, total_limit_crank_deg=28)
    build.run(made, [(850, 0), (1800, 9), (2400, 14.6)], frame=Frame.CRANK)
    said = summary_of(made, top_crank_rpm=2400)
    assert (said.total_not_read, said.total_crank_deg) == (False, pytest.approx(24.6))


def test_a_limit_passed_before_the_run_stops_is_said_though_the_total_is_not_read():
    made = build.build()
    build.target(made, WANTED, initial_crank_deg=10, total_limit_crank_deg=20)
    build.run(made, [(850, 0), (1800, 9), (2400, 14.6)], frame=Frame.CRANK)
    said = summary_of(made, top_crank_rpm=5500)
    assert (said.total_not_read, said.total_crank_deg) == (True, None)
    assert "4.6 over the limit of 20" in {one.kind: one.text for one in said.warnings}["total"]


def test_begin_of_advance_is_held_against_idle():
    said = summary_of(printed_build(), idle_crank_rpm=900, margin_crank_rpm=150)
    assert said.begin.speed_rpm.crank < 900
    assert said.begin.margin_crank_rpm < 0
    assert said.begin.enough is False
    assert said.idle_slope_crank_deg_per_100_rpm > 0.3
    [warning] = [w for w in said.warnings if w.kind == "idle"]
    assert "below idle at 900" in warning.text


def test_enough_above_idle_is_no_warning():
    said = summary_of(printed_build(), idle_crank_rpm=500, margin_crank_rpm=150)
    assert said.begin.enough is True
    assert said.idle_slope_crank_deg_per_100_rpm == 0
    assert not said.warnings


def test_the_total_over_its_limit_is_said():
    made = printed_build()
    made.target.total_limit_crank_deg = 36
    made.target.save()
    [warning] = summary_of(made, top_crank_rpm=5000).warnings
    assert warning.kind == "total"
    assert "2.0 over the limit of 36" in warning.text


def test_the_worst_miss_names_distance_side_and_speed_in_both_frames():
    made = build.build()
    build.target(made, [(1000, 0, 1), (3000, 20, 1)])
    build.run(
        made, [(500, 0), (1000, 7), (1500, 10)]
    )  # at 2000 crank rpm 14 degrees: 3 over the upper edge of 11
    said = summary_of(made)
    assert said.latest_in_band is False
    assert said.latest.miss.side == "over"
    assert said.latest.miss.distance_deg.crank == pytest.approx(3)
    assert said.latest.miss.distance_deg.shaft == pytest.approx(1.5)
    assert said.latest.miss.speed_rpm.crank == pytest.approx(2000)


def test_a_miss_at_a_point_of_the_band_and_one_between_points_are_told_apart():
    made = build.build()
    build.target(made, [(1000, 0, 1), (3000, 20, 1)])
    build.run(made, [(500, 0), (1000, 7), (1500, 10)])  # 3 crank degrees over at 2000 rpm, within at its ends
    between = summary_of(made).latest
    build.run(made, [(500, 2), (1000, 5), (1500, 10)], frame="shaft")  # 3 over at 1000 rpm, where it begins
    at_point = summary_of(made).latest
    assert (between.miss.where, at_point.miss.where) == ("between its points", "at one of its points")
    # What is typed is told in the frame it is typed in, and where it lies: the same words as on the sheet.
    said = [
        judging.miss_words(one.miss, frame) for one in (between, at_point) for frame in ("crank", "shaft")
    ]
    assert said == [
        "Out of the band by 3.0 crank degrees (1.50 distributor) over, at 2000 crank rpm (1000 distributor), "
        "between its points.",
        "Out of the band by 1.5 distributor degrees (3.0 crank) over, at 1000 distributor rpm (2000 crank), "
        "between its points.",
        "Out of the band by 3.0 crank degrees (1.50 distributor) over, at 1000 crank rpm (500 distributor), "
        "at one of its points.",
        "Out of the band by 1.5 distributor degrees (3.0 crank) over, at 500 distributor rpm (1000 crank), "
        "at one of its points.",
    ]


def test_a_falling_sweep_out_of_the_band_is_a_miss_too():
    made = build.build()
    build.target(made, [(1000, 0, 1), (3000, 20, 1)])
    build.run(made, [(500, 0), (1500, 10), (1500, 10, True), (1000, 6, True), (500, 0, True)])
    miss = summary_of(made).latest.miss
    assert (miss.side, miss.distance_deg.crank, miss.speed_rpm.crank) == ("over", pytest.approx(1), 2000)


def test_a_run_that_has_not_reached_the_band_yet_has_no_verdict():
    made = build.build()
    build.target(made, [(1000, 0, 1), (3000, 20, 1)])
    build.run(made, [(500, 0), (1000, 5)])
    said = summary_of(made)
    assert said.latest_in_band is None
    assert said.latest.uncovered_crank_rpm == (3000,)


def test_the_newest_run_counts_and_one_taken_off_does_not():
    made = build.build()
    build.target(made, [(1000, 0, 1), (3000, 20, 1)])
    build.run(made, [(500, 3), (1500, 10)])
    good = build.run(made, [(500, 0), (1500, 10)])
    assert summary_of(made).latest_in_band is True
    good.removed = True
    good.save()
    assert summary_of(made).latest_in_band is False
    verdicts = outcome.verdicts(queries.build_for(made.pk))
    assert (verdicts.latest_in_band, verdicts.final) == (False, None)


@pytest.mark.parametrize(
    ("kind", "readings", "words"),
    [
        (
            "falling_above",
            [(500, 0), (1000, 5), (1500, 8), (1500, 8, True), (1000, 6.5, True)],
            "1.5 distributor degrees (3.0 crank)",
        ),
        ("falling_below", [(500, 0), (1000, 5), (1500, 8), (1500, 8, True), (1000, 3.5, True)], "mixed up"),
        ("much_advance", [(500, 0), (1500, 20)], "20.0 distributor degrees (40.0 crank)"),
        ("stray", [(500, 0), (800, 3), (1000, 5), (1200, 1), (1500, 9), (1700, 10)], "(2400 crank)"),
    ],
)
def test_the_unusual_is_said_in_words_and_accepted(kind, readings, words):
    made = build.build()
    build.run(made, readings)
    texts = {warning.kind: warning.text for warning in summary_of(made).warnings}
    assert words in texts[kind]


@pytest.mark.parametrize(("measured", "kinds"), [(13.9, []), (14.0, ["travel"]), (8.0, ["travel"])])
def test_travel_three_degrees_off_its_stamp_is_said(measured, kinds):
    made = build.build(travel_stamped_deg=11, travel_measured_deg=measured)
    assert [warning.kind for warning in summary_of(made).warnings] == kinds


def test_the_best_initial_timing_of_the_range_is_found_where_none_is_set():
    made = build.build()
    build.target(made, [(1000, 0, 2), (3000, 20, 2)], initial_low_crank_deg=6, initial_high_crank_deg=12)
    build.run(made, [(500, 0), (1500, 9)])  # 2 crank degrees too little at 3000: 1 more of initial halves it
    assert summary_of(made).initial_crank_deg == pytest.approx(10)


def test_without_runs_there_is_nothing_to_say():
    said = summary_of(build.build(), idle_crank_rpm=700)
    assert (said.latest, said.begin, said.setting_card, said.warnings) == (None, None, (), ())


@pytest.mark.parametrize(
    "readings", [[(500, 3)], [(500, 3), (500, 4)], [(0, 0), (900, 0)], [(500, 5), (900, 3)], [(700, 1, True)]]
)
def test_few_or_odd_readings_are_summed_up_without_failing(readings):
    made = build.build()
    build.run(made, readings)
    build.target(made, initial_low_crank_deg=5, initial_high_crank_deg=9)
    said = summary_of(made, idle_crank_rpm=700, top_crank_rpm=5000)
    json.dumps([asdict(knee) for knee in said.latest.knees], allow_nan=False)


def test_a_build_is_fetched_in_four_queries_and_summed_up_in_none(django_assert_num_queries):
    made = printed_build()
    for _ in range(5):
        build.run(made)
    with django_assert_num_queries(4):
        row = queries.build_for(made.pk)
    with django_assert_num_queries(0):
        outcome.summary(row, idle_crank_rpm=600)
        outcome.verdicts(row)


def test_numbers_on_the_card_carry_unit_and_frame(client_as):
    job = build.job(stage="spring_trials", engine=build.engine(idle_crank_rpm=900))
    build.target(job.build)
    build.run(job.build, [(rpm, deg / 3) for rpm, deg in build.RISING])
    card = markup(client_as("technician").get(f"/jobs/{job.number}/"))
    worst = re.sub(
        r"<[^>]+>", "", card.split("<dt>Out of the band at one of its points</dt>")[1].split("</dd>")[0]
    )
    assert re.search(r"distributor deg \([\d.]+ crank\) under at \d+ distributor rpm \(\d+ crank\)", worst)
    assert "crank deg per 100 crank rpm" in card


def test_how_far_a_proposal_lies_from_the_middle_is_said_in_the_frame_of_who_types():
    drive = engine.Drive.four_stroke()
    band = engine.Target([500, 1500], [0, 10], 0.5)
    expected = SimpleNamespace(
        predicted=SimpleNamespace(shaft_rpm=[0, 2000], mean_deg=[6.0, 6.0]),
        proposal=SimpleNamespace(initial_deg=0.0),
    )
    # 6 distributor degrees where the middle is 5: 1 over it, 2 at the crank of a four-stroke.
    said = offers._beside(expected, band, 1000, drive, "crank")
    assert said == "2.0 crank degrees (1.00 distributor) over its middle"
    said = offers._beside(expected, band, 1000, drive, "shaft")
    assert said == "1.0 distributor degrees (2.0 crank) over its middle"


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ([(500, 0), (1000, 5), (1500, 10)], "Sweeps in the band so far."),
        (
            [(500, 0), (1000, 5), (1500, 10), (1500, 10, True), (1000, 5, True)],
            "Sweeps in the band so far; falling sweep not read over the whole band.",
        ),
        (
            [(500, 0), (1000, 5), (1500, 10), (1500, 10, True), (1000, 5, True), (500, 0, True)],
            "Sweeps in the band.",
        ),
        (
            [(500, 0), (1000, 5)],
            "Sweeps in the band so far; not reached yet: 1500 distributor rpm (3000 crank).",
        ),
    ],
)
def test_sweeps_in_the_band_are_not_said_to_be_the_run(readings, words):
    # Scatter or dwell may fail beside them: what the run comes to stands in its headline alone.
    made = build.build()
    build.target(made, [(1000, 0, 1), (3000, 20, 1)])
    run = build.run(made, readings)
    row, drive = queries.build_for(made.pk), engine.Drive.four_stroke()
    band = convert.target_of(row.target, drive)
    said = judging.draft_words(convert.run_readings(run, drive), band, drive, Frame.SHAFT)
    assert [one.text for one in said if one.kind == "in"] == [words]


NARROW = [(500, 0), (1500, 10), (1500, 10, True), (500, 0, True)]  # nothing near the bend at 1000


@pytest.mark.parametrize(
    ("readings", "said"),
    [
        (NARROW, "Sweeps in the band so far; sweeps not read over the whole band."),
        (
            [*NARROW[:1], (1000, 5), *NARROW[1:]],
            "Sweeps in the band so far; falling sweep not read over the whole band.",
        ),
        (NARROW[:2], "Sweeps in the band so far; rising sweep not read over the whole band."),
        ([*NARROW[:1], (1000, 5), *NARROW[1:3], (1000, 5, True), NARROW[3]], "Sweeps in the band."),
    ],
)
def test_a_final_run_drawn_over_a_bend_of_the_band_is_in_it_so_far_only(client_as, readings, said):
    job = build.job(stage="bench_curve")
    build.target(job.build, [(1000, 0, 1), (2000, 10, 1), (3000, 20, 1)])
    # A bend is where the band's slope changes: without one the middle wants a reading of its own.
    build.run(job.build, readings, kind=Run.Kind.FINAL)
    page = markup(client_as("owner").get(f"/jobs/{job.number}/bench/?run=1"))
    assert said in page
    assert ("Sweeps in the band." in page) is (" so far" not in said)
    assert ("not read over the whole band" in page) is ("over the whole" in said)


STICKS = [*build.RISING, *((rpm, deg + 1.5, True) for rpm, deg in reversed(build.RISING[:-1]))]


@pytest.mark.parametrize("kind", [Run.Kind.AS_RECEIVED, Run.Kind.TRIAL])
def test_what_an_earlier_run_warned_of_is_not_said_under_a_final_run_that_is_judged(kind):
    made = build.build()
    early = build.run(made, STICKS, kind=kind)
    assert "falling_above" in [warning.kind for warning in summary_of(made).warnings]
    final = build.run(made, build.SWEPT, kind=Run.Kind.FINAL)
    # Without a band nothing is judged yet, and all is said.
    assert "falling_above" in [warning.kind for warning in summary_of(made).warnings]
    build.target(made)
    said = summary_of(made)
    assert "falling_above" not in [warning.kind for warning in said.warnings]
    assert [(run, warning.kind) for run, warning in said.earlier] == [(early, "falling_above")]
    final.readings.all().delete()
    build.run(made, STICKS, kind=Run.Kind.FINAL)
    assert "falling_above" in [warning.kind for warning in summary_of(made).warnings]
