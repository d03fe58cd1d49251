"""What a paper says: gathered once, written one way, and covered by a hash that holds everywhere."""

import hashlib
import json
import re

import pytest

from curves.figures import charts, tables
from curves.judging import outcome
from curves.models import DwellReading, Run, SparkReading
from curves.rows import queries
from jobs.models import InspectionPoint, Sheet
from jobs.page.results import result_of
from jobs.papers import pdf
from jobs.queries import card_for
from jobs.rules.recorded import canonical, digest, recorded, recorded_sha256
from jobs.stages import Stage
from shop.templatetags.numbers import fixed
from tests import build
from tests.jobs.papers.paperwork import draft, finished_job, signed_sheet
from tests.reading import markup

pytestmark = pytest.mark.django_db


def test_canonical_json_is_one_text_whatever_the_order_and_the_zero():
    assert canonical({"b": -0.0, "a": (1, 2.00000004)}) == '{"a":[1,2.0],"b":0.0}'
    assert canonical({"a": [1, 2.0], "b": 0.0}) == canonical({"b": -0.0, "a": [1, 2.0]})


def test_canonical_json_refuses_what_json_cannot_carry():
    with pytest.raises(ValueError, match="not JSON compliant"):
        canonical({"a": float("nan")})


def test_hash_is_sha256_of_the_kept_text():
    sheet = signed_sheet(finished_job(), built=False)
    kept = Sheet.objects.values_list("data", flat=True).get(pk=sheet.pk)
    assert sheet.data_sha256 == hashlib.sha256(kept.encode()).hexdigest()
    assert json.dumps(json.loads(kept), sort_keys=True, separators=(",", ":"), ensure_ascii=False) == kept


# The "abc" example of FIPS 180-4 as NIST's CSRC publishes it (SHA256.pdf); from memory.
def test_hash_agrees_with_the_published_example():
    assert digest("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_readings_table_carries_every_reading_once_in_both_frames():
    job = finished_job()
    figure = charts.figure(queries.build_for(job.build_id))
    rows = tables.readings_table(figure)
    told = sorted(
        (place, read["crank_rpm"], read["crank_deg"], read["falling"])
        for row in rows
        for place, read in enumerate(row["reads"])
        if read
    )
    kept = sorted(
        # A four-stroke's crank turns twice as fast and twice as far: 300 rpm and 5.5 degrees are 600 and 11.
        (place, 2 * one.speed_rpm, 2 * one.advance_deg, one.falling)
        for place, run in enumerate(job.build.runs.all())
        for one in run.readings.all()
    )
    assert told == kept
    assert [row["falling"] for row in rows] == sorted(row["falling"] for row in rows)


def test_speed_read_twice_takes_two_rows():
    job = build.job()
    build.run(job.build, [(400, 1.0), (800, 5.0), (800, 5.5)], kind=Run.Kind.FINAL)
    rows = tables.readings_table(charts.figure(queries.build_for(job.build_id)))
    assert [row["crank_rpm"] for row in rows] == [800, 1600, 1600]


def test_band_is_straight_between_its_points_and_silent_outside():
    job = build.job()
    build.run(job.build, [(250, 0.0), (450, 1.0), (1000, 9.0), (2000, 11.0)], kind=Run.Kind.FINAL)
    build.target(job.build, [(600, 0.0, 1.0), (1200, 6.0, 1.0), (2000, 15.0, 1.5)])
    rows = tables.readings_table(charts.figure(queries.build_for(job.build_id)))
    edges = {row["crank_rpm"]: (row["low"], row["high"], row["says"]) for row in rows}
    assert edges[500] == (None, None, "")
    # Half way from 600 to 1200: 3 degrees, and 1 to either side; the reading of 2 lies on the lower edge.
    assert edges[900] == (pytest.approx(2.0), pytest.approx(4.0), "in")
    assert edges[2000] == (pytest.approx(13.5), pytest.approx(16.5), "over")
    assert edges[4000] == (None, None, "")


def test_as_received_is_told_from_the_band_as_any_other_run():
    job = build.job()
    build.run(job.build, [(300, 4.0), (450, 1.5), (1000, 1.0)], kind=Run.Kind.AS_RECEIVED)
    build.target(job.build, [(600, 0.0, 1.0), (1200, 6.0, 1.0), (2000, 15.0, 1.5)])
    rows = draft(job, built=False).content["curve"]["readings"]
    assert [row["says"] for row in rows] == ["over", "in", "under"]


def test_numbers_on_paper_are_those_of_the_screen():
    job = finished_job()
    shown = outcome.summary(
        queries.build_for(job.build_id),
        idle_crank_rpm=job.engine.idle_crank_rpm,
        top_crank_rpm=job.engine.top_crank_rpm,
        margin_crank_rpm=150,
    )
    curve = draft(job, built=False).content["curve"]
    assert [(row["crank_rpm"], row["crank_deg"]) for row in curve["setting_card"]] == [
        (pytest.approx(row.crank_rpm), pytest.approx(row.crank_deg, abs=1e-6)) for row in shown.setting_card
    ]
    begins = next(line for line in curve["words"] if line["name"] == "begins, rpm")
    final = next(knee for knee in shown.final.knees if knee.name == "begins")
    assert begins["said"][-1] == f"{fixed(final.speed_rpm.crank, 0)} / {fixed(final.speed_rpm.shaft, 0)}"
    assert curve["warnings"] == [warning.text for warning in shown.warnings]


def test_what_was_not_read_is_said_so_on_screen_draft_and_signed_paper(client_as):
    job = build.job(stage="hand_back", engine=build.engine(idle_crank_rpm=700))
    wanted = [(900, 0, 1), (1800, 9, 1.5), (3000, 18, 1.5), (3600, 20, 1.5)]
    build.target(job.build, wanted, initial_crank_deg=10, total_limit_crank_deg=28)
    build.run(job.build, [(850, 0), (1800, 9), (2400, 14.6)], kind=Run.Kind.FINAL, frame="crank")
    card = markup(client_as("technician").get(f"/jobs/{job.number}/"))
    screen = re.sub(r"<[^>]+>", " ", card.split("<dt>Total</dt>")[1].split("</dd>")[0])
    assert screen.split() == ["not", "read"]
    sheets = {"screen": card.split("What the light must read, crank degrees")[1]}
    for name, sheet in (("draft", draft(job, built=False)), ("signed", signed_sheet(job, built=False))):
        sheets[name] = pdf.write_html(sheet.content, data_sha256="0" * 64).split("Setting card</h2>")[1]
        words = " ".join(re.sub(r"<[^>]+>", " ", sheets[name]).split())
        assert "Total at full speed not read, limit 28.0° crank." in words
    for name, html in sheets.items():
        rows = [re.sub(r"<[^>]+>", " ", row).split() for row in html.split("</table>")[0].split("<tr")[2:]]
        unread = [row for row in rows if "3600" in row]
        assert [row[-3:] for row in unread] == [["not", "read", "–"]], (name, rows)
        assert [row for row in rows if "700" in row and ("10.0" in row or "10.0°" in row)], (name, rows)
        assert "24.6" not in html.split("</table>")[0]


def test_a_sheet_frozen_before_a_total_could_be_unread_says_its_total():
    content = draft(finished_job(), built=False).content
    del content["curve"]["total_not_read"]
    total = fixed(content["curve"]["total_crank_deg"])
    words = " ".join(re.sub(r"<[^>]+>", " ", pdf.write_html(content, data_sha256="0" * 64)).split())
    assert f"Total at full speed {total}° crank" in words


def test_trials_are_left_out_once_there_is_a_final_run():
    job = finished_job()
    build.run(job.build, kind=Run.Kind.TRIAL)
    curve = draft(job, built=False).content["curve"]
    assert [run["role"] for run in curve["runs"]] == ["as_received", "final"]
    assert curve["judged"] == "final"
    assert all(len(row["reads"]) == 2 for row in curve["readings"])


def test_card_without_a_run_still_makes_a_paper():
    curve = draft(build.job(engine=None), built=True).content["curve"]
    assert curve["readings"] == []
    assert curve["setting_card"] == []


def test_what_is_not_on_a_sheet_does_not_change_what_is_recorded():
    job = finished_job()
    before = recorded_sha256(job)
    job.tray, job.handed_to = "B 12", "her brother"
    job.save(update_fields=["tray", "handed_to"])
    assert recorded_sha256(job) == before
    job.customer = None
    job.save(update_fields=["customer"])
    InspectionPoint.objects.update(high=9.0, limit_source="the maker")
    assert recorded_sha256(job) == before
    job.findings.create(text="One more thing.", stage="teardown", by=build.person())
    assert recorded_sha256(job) != before


def test_tray_tag_leads_to_the_card_and_names_nobody():
    sheet = draft(finished_job(), Sheet.Kind.TRAY_TAG, built=False)
    assert sheet.content["url"].endswith(f"/jobs/{sheet.job.number}/")
    assert sheet.content["tag"]["initials"] == "MQ"
    assert "Marta" not in sheet.data
    assert "Quill" not in sheet.data


def test_what_was_checked_beside_the_sweep_is_on_the_sheet_and_in_its_hash():
    job = finished_job()
    before = recorded_sha256(job)
    final = job.build.runs.get(kind=Run.Kind.FINAL)
    for cylinder in range(1, 5):
        SparkReading.objects.create(run=final, speed_rpm=300, cylinder=cylinder, offset_deg=0)
    DwellReading.objects.create(run=final, speed_rpm=300, dwell_deg=51)
    sheet = draft(job, built=False)
    proved = {check["kind"]: check["verdict"] for check in sheet.content["curve"]["checks"]}
    assert proved["spark"] == "passes"
    assert proved["dwell"] == "not to be told yet"
    assert set(proved) == {"rising", "falling", "spark", "dwell"}
    assert recorded_sha256(job) != before


def test_a_run_without_checks_says_what_it_said_before_there_were_any():
    """Else every sheet signed by an earlier release would look outdated."""
    [run, *_] = recorded(finished_job(), queries.build_for(Run.objects.first().build_id))["runs"]
    assert set(run) == {"number", "kind", "frame", "springs", "note", "readings"}


def part_read(band):
    """A final run that goes only half way through the band, or without any."""
    job = build.job(stage="hand_back")
    if band:
        build.target(job.build)
    build.run(job.build, build.RISING[:4], kind=Run.Kind.FINAL)
    return job


def printed(job):
    made = draft(job, built=False)
    return markup(pdf.write_html(made.content, data_sha256=made.data_sha256))


@pytest.mark.parametrize(
    ("band", "says", "never"),
    [
        (True, "not read over the whole band", "no band to hold it against"),
        (False, "no band to hold it against", "not read over the whole band"),
    ],
)
def test_a_band_that_was_not_fully_read_is_told_from_none_agreed(band, says, never):
    said = printed(part_read(band))
    assert says in said
    assert never not in said


def test_the_folded_stage_tells_a_band_not_fully_read_from_none_agreed():
    assert "not read over the whole band" in result_of(fetched(part_read(True)), Stage.BENCH_CURVE)
    assert "no band to hold it against" in result_of(fetched(part_read(False)), Stage.BENCH_CURVE)


def fetched(job):
    return card_for(build.person(), job.number)


def test_numbers_on_paper_carry_unit_and_frame():
    said = printed(finished_job())
    assert 'stamped 11 <span class="unit">distributor deg</span>' in said
    assert "within, crank degrees" in said


@pytest.mark.parametrize(
    ("frame", "readings", "words"),
    [
        (
            "shaft",
            [(500, 0), (1000, 12)],
            "3.8 distributor degrees (7.5 crank) over, at 1000 distributor rpm",
        ),
        ("crank", [(1000, 0), (2000, 24)], "7.5 crank degrees (3.75 distributor) over, at 2000 crank rpm"),
    ],
)
def test_words_and_figure_of_a_sheet_speak_of_a_miss_in_the_frame_of_the_run(frame, readings, words):
    job = build.job()
    build.target(job.build, [(1000, 0, 1.0), (2000, 15.0, 1.5)])
    build.run(job.build, readings, kind=Run.Kind.FINAL, frame=frame)
    content = draft(job, built=False).content
    page = page_of(content)
    assert f"Out of the band by {words}" in page
    assert "at one of its points." in page
    first = words.split(" degrees")[0]
    assert f"read {first} deg over" in content["curve"]["svg"]
    # Signed before a miss had words of its own, it still says what it said.
    for run in content["curve"]["runs"]:
        del run["miss_said"]
    assert "Worst: 7.5° at the crank over, at 2000 crank rpm." in page_of(content)


def test_the_job_sheet_says_what_was_answered_with_the_rest_and_an_older_one_prints_without(person):
    job = finished_job(by=person)
    point = InspectionPoint.objects.get(key="clamp")
    job.inspections.create(point=point, verdict="good", in_bulk=True, by=person)
    sheet = signed_sheet(job, Sheet.Kind.JOB_SHEET, built=False)
    assert page_of(sheet.content).count("Good with the rest") == 1
    assert "with_the_rest" not in json.dumps(sheet.content["recorded"])  # it makes no signed sheet outdated
    older = sheet.content
    for answer in older["inspections"]:
        del answer["with_the_rest"]
    assert "with the rest" not in page_of(older)


def test_a_sheet_says_a_winding_at_20_degrees_and_how_a_capsule_holds_and_an_older_one_its_bare_values(
    person,
):
    job = finished_job(by=person)
    primary, leak = (InspectionPoint.objects.get(key=key) for key in ("coil-primary", "capsule-leak"))
    job.inspections.create(point=primary, value=4.2, part_temp_c=45, verdict="good", by=person)
    three = {"start_kpa": 60, "held_s": 30, "left_kpa": 54}
    job.inspections.create(point=leak, value=11.4, **three, verdict="replace", by=person)
    older = signed_sheet(job, Sheet.Kind.JOB_SHEET, built=False).content
    page = page_of(older)
    # IEC 60028, 0.00393 per kelvin at 20 C (from memory): 4.2 / (1 + 0.00393 * 25) = 3.824.
    for words in (
        '3.824 <span class="unit">ohm</span>',
        "4.2 ohm at 45 °C is 3.824 ohm at 20 °C.",
        '0.3 to 4 <span class="unit">ohm at 20 °C</span>',
        "60 kPa at the start, 54 kPa after 30 s: half is gone in 3 minutes.",
        '11.4 <span class="unit">kPa</span>',
    ):
        assert words in page, words
    assert [one.get("part_temp_c") for one in older["recorded"]["inspections"] if one["value"] == 4.2] == [45]
    for answer in older["inspections"]:
        for name in ("judged", "said_beside", "limit_holds"):
            del answer[name]
    page = page_of(older)
    assert '4.2 <span class="unit">ohm</span>' in page
    assert "at 20 °C is" not in page


def page_of(content):
    return markup(pdf.write_html(content, data_sha256="0" * 64))
