"""What is read beside a point's value: a winding's temperature, and how a capsule holds its vacuum."""

import html

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from jobs.models import Inspection, InspectionPoint
from jobs.rules.measured import Measured, judged_value
from jobs.rules.points import limit_of, proposed_verdict
from jobs.rules.recorded import recorded_sha256
from jobs.teardown.actions import answer_point
from tests import build
from tests.reading import markup

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}
PRIMARY, LEAK = "coil-primary", "capsule-leak"


def point(key):
    return InspectionPoint.objects.get(key=key)


def one(client, job, key, version="", **typed):
    asked = point(key)
    values = {f"p{asked.pk}-{name}": value for name, value in ({"version": version} | typed).items()}
    return client.post(reverse("answer_one", args=[job.number, asked.pk]), values, headers=HTMX)


def words(answer):
    return " ".join(html.unescape(markup(answer)).split())


@pytest.fixture
def job():
    return build.job(stage="teardown")


@pytest.fixture
def bench(client_as):
    return client_as("technician")


class TestWinding:
    def test_its_limit_is_held_against_it_at_20_degrees(self, job, bench):
        # IEC 60028: copper has 0.00393 per kelvin at 20 C (from memory), so 4.2 ohm at 45 C are 3.824 at 20.
        said = words(one(bench, job, PRIMARY, value="4,2", part_temp_c="45"))
        assert "4.2 ohm at 45 °C is 3.824 ohm at 20 °C." in said
        assert judged_value(point(PRIMARY), Measured(4.2, 45)) == pytest.approx(4.2 / 1.09825, rel=1e-3)
        assert proposed_verdict(point(PRIMARY), Measured(4.2)) == "replace"  # 4 ohm is the limit

    def test_measured_warm_it_is_good_where_the_bare_figure_is_not(self, job, bench):
        one(bench, job, PRIMARY, value="4.2", part_temp_c="40")
        row = job.inspections.get()
        assert (row.value, row.part_temp_c, row.verdict) == (4.2, 40, "good")

    def test_measured_cold_it_is_bad_where_the_bare_figure_is_not(self, job, bench):
        one(bench, job, PRIMARY, value="3.95", part_temp_c="5")
        assert job.inspections.get().verdict == "replace"

    def test_both_figures_stand_on_the_card_and_the_limit_names_its_temperature(self, job, bench):
        one(bench, job, PRIMARY, value="1.75", part_temp_c="40")
        card = words(bench.get(reverse("card", args=[job.number])))
        assert "1.75 ohm at 40 °C is 1.622 ohm at 20 °C." in card
        assert '<b>1.622</b> <span class="unit">ohm</span>' in card  # the figure the limit is held against
        assert limit_of(point(PRIMARY)) == "0.3 to 4 ohm at 20 °C, common practice"

    def test_without_a_temperature_it_says_what_it_was_compared_as(self, job, bench):
        assert "Compared as if measured at 20 °C" in words(one(bench, job, PRIMARY, value="1.75"))

    @pytest.mark.parametrize(
        ("temperature", "said"),
        [
            ("200", "200.0 is too high"),
            ("-80", "-80.0 is too low"),
            ("warm", "not a number"),
            ("NaN", "not a number"),
        ],
    )
    def test_a_temperature_that_no_part_has_is_refused(self, job, bench, temperature, said):
        answer = one(bench, job, PRIMARY, value="1.75", part_temp_c=temperature)
        assert answer.status_code == 422
        assert said in words(answer).replace("−", "-")
        assert not job.inspections.exists()

    def test_degrees_fahrenheit_make_nothing_good_by_themselves(self, job, bench):
        # 4.3 ohm in a shop at 68 F is too much; taken as 68 C it would pass.
        answer = one(bench, job, PRIMARY, value="4.3", part_temp_c="68")
        assert answer.status_code == 422
        assert "If the thermometer reads Fahrenheit, that is 20 °C." in words(answer)
        assert "the limit alone can't judge it" in words(answer)
        assert not job.inspections.exists()
        assert one(bench, job, PRIMARY, value="4.3", part_temp_c="68", verdict="good").status_code == 200

    def test_a_good_that_was_said_cold_is_not_said_of_another_temperature(self, job, bench):
        one(bench, job, PRIMARY, value="4.3", part_temp_c="20", verdict="good")
        assert one(bench, job, PRIMARY, "1", value="4.3", part_temp_c="68", verdict="good").status_code == 422
        assert job.inspections.get().part_temp_c == 20

    def test_a_temperature_alone_is_not_saved(self, job, bench):
        answer = one(bench, job, PRIMARY, part_temp_c="20", verdict="good")
        assert answer.status_code == 422
        assert "Not saved yet" in words(answer)
        assert not job.inspections.exists()

    def test_taken_back_the_bare_figure_counts_again(self, job, bench):
        one(bench, job, PRIMARY, value="4.2", part_temp_c="40")
        one(bench, job, PRIMARY, "1", value="4.2", part_temp_c="")
        row = job.inspections.get()
        assert (row.part_temp_c, row.verdict) == (None, "replace")

    def test_no_temperature_beside_a_point_that_is_no_winding(self, job, person):
        answer_point(job, point("rotor-resistance"), by=person, value=5.0, beside={"part_temp_c": 80.0})
        row = job.inspections.get()
        assert (row.value, row.part_temp_c, row.verdict) == (5.0, None, "good")

    def test_a_temperature_written_after_signing_is_a_later_change(self, job, bench):
        one(bench, job, PRIMARY, value="1.75")
        before = recorded_sha256(job)
        one(bench, job, PRIMARY, "1", value="1.75", part_temp_c="21")
        assert recorded_sha256(job) != before


class TestLeakDown:
    def leak(self, client, job, start="60", held="60", left="59", version="", **typed):
        return one(client, job, LEAK, version, start_kpa=start, held_s=held, left_kpa=left, **typed)

    def test_what_is_lost_in_a_minute_is_held_against_the_limit(self, job, bench):
        # p = p0 exp(-r t), a small leak into a closed volume: 60 to 54 in 30 s is 60 (1 - 0.9^2) in a minute.
        assert self.leak(bench, job, held="30", left="54").status_code == 200
        row = job.inspections.get()
        assert row.value == pytest.approx(11.4, abs=0.005)
        assert (row.start_kpa, row.held_s, row.left_kpa, row.verdict) == (60, 30, 54, "replace")

    def test_how_it_holds_is_said_where_it_is_read(self, job, bench):
        # Half-life of the same fall: 30 s ln 2 / -ln 0.9 = 197 s.
        said = "60 kPa at the start, 54 kPa after 30 s: half is gone in 3 minutes."
        assert said in words(self.leak(bench, job, held="30", left="54"))
        card = words(bench.get(reverse("card", args=[job.number])))
        assert said in card
        assert "at most 3 kPa in a minute" in card

    def test_a_tight_capsule_is_good(self, job, bench):
        assert "no loss to be seen" in words(self.leak(bench, job, held="60", left="60"))
        assert (job.inspections.get().value, job.inspections.get().verdict) == (0, "good")

    def test_a_torn_diaphragm_is_bad(self, job, bench):
        assert "nothing is left" in words(self.leak(bench, job, held="10", left="0"))
        assert (job.inspections.get().value, job.inspections.get().verdict) == (60, "replace")

    @pytest.mark.parametrize(
        ("readings", "said"),
        [
            ({"left": "61"}, "More is left than the 60 kPa at the start"),
            ({"start": "0", "left": "0"}, "Nothing can leak where there is no vacuum"),
            ({"held": "0"}, "0 is too low"),
            ({"held": "-30"}, "is too low"),
            ({"start": "500", "left": "495"}, "500.0 is too high"),  # read in mmHg
            ({"held": "600", "left": "0"}, "doesn't say how much went in a minute"),
            ({"left": ""}, "Not saved yet: type the vacuum left as well."),
            ({"held": ""}, "Not saved yet: type how long it was held as well."),
            ({"start": "", "held": ""}, "type the vacuum at the start and how long it was held as well."),
            ({"left": "most"}, "not a number"),
        ],
    )
    def test_readings_that_say_nothing_are_refused(self, job, bench, readings, said):
        answer = self.leak(bench, job, verdict="good", **readings)
        assert answer.status_code == 422
        assert said in words(answer)
        assert not job.inspections.exists()

    def test_inches_of_mercury_make_nothing_good_by_themselves(self, job, bench):
        # 20 to 19 inHg is 3.4 kPa of 67.7 (NIST SP 811: 3.386389 kPa), over the limit; as kPa it would pass.
        answer = self.leak(bench, job, start="20", left="19")
        assert answer.status_code == 422
        assert "that is 68 kPa" in words(answer)
        assert not job.inspections.exists()

    def test_held_too_short_to_tell_nothing_is_good_by_itself(self, job, bench):
        answer = self.leak(bench, job, held="5", left="60")
        assert answer.status_code == 422
        assert "hold it for longer" in words(answer)
        assert not job.inspections.exists()
        assert self.leak(bench, job, held="120", left="59").status_code == 200
        assert job.inspections.get().verdict == "good"

    def test_not_applicable_takes_no_readings(self, job, bench):
        assert "What was measured applies" in words(self.leak(bench, job, verdict="na"))
        assert not job.inspections.exists()

    def test_an_answer_of_the_value_alone_stays_until_it_is_read_anew(self, job, bench, person):
        Inspection.objects.create(job=job, point=point(LEAK), value=2.5, verdict="good", by=person)
        assert one(bench, job, LEAK, "1", value="2.5", note="hand pump").status_code == 200
        row = job.inspections.get()
        assert (row.value, row.note, row.start_kpa) == (2.5, "hand pump", None)
        assert self.leak(bench, job, version="2", left="50", value="2.5").status_code == 200
        row.refresh_from_db()
        assert (row.value, row.verdict) == (10, "replace")

    def test_taken_back_no_value_of_it_is_left(self, job, bench):
        self.leak(bench, job)
        one(bench, job, LEAK, "1", start_kpa="", held_s="", left_kpa="", verdict="worn")
        assert Measured.of(job.inspections.get()) == Measured()

    def test_sent_twice_it_is_written_once(self, job, bench):
        self.leak(bench, job)
        self.leak(bench, job)
        assert job.inspections.get().version == 1

    def test_no_caller_writes_what_can_not_be(self, job, person):
        readings = {"start_kpa": 50.0, "held_s": 60.0, "left_kpa": 55.0}
        with pytest.raises(ValidationError, match="More is left"):
            answer_point(job, point(LEAK), by=person, beside=readings, verdict="good")

    def test_the_whole_list_without_scripts_takes_it(self, job, bench):
        asked = point(LEAK)
        typed = {"start_kpa": "60", "held_s": "60", "left_kpa": "50"}
        address = reverse("answer_points", args=[job.number])
        sent = {f"p{asked.pk}-{name}": text for name, text in typed.items()}
        assert bench.post(address, sent).status_code == 302
        assert job.inspections.get().value == 10


class TestPoint:
    @pytest.mark.parametrize(("how", "unit"), [("winding", "mm"), ("leak", "inHg"), ("leak", "")])
    def test_what_is_read_so_has_its_unit(self, client_as, how, unit):
        values = {"label": "Module coil", "unit": unit, "measured_as": how, "order": "5", "version": "1"}
        answer = client_as("owner").post(reverse("points"), values)
        assert answer.status_code == 422
        assert "Measured so, it is read in" in words(answer)

    def test_a_shop_measures_a_winding_of_its_own(self, client_as, job):
        values = {
            "label": "Module coil",
            "unit": "ohm",
            "measured_as": "winding",
            "high": "800",
            "order": "5",
        }
        client_as("owner").post(reverse("points"), values | {"in_use": "on", "version": "1"})
        said = words(one(client_as("technician"), job, "module-coil", value="840", part_temp_c="40"))
        assert "840 ohm at 40 °C is 778.8 ohm at 20 °C." in said
        assert job.inspections.get().verdict == "good"

    def test_a_page_from_before_leaves_it_measured_as_it_is(self, client_as):
        row = point(PRIMARY)
        values = {
            "label": row.label,
            "unit": "ohm",
            "high": "4",
            "order": "5",
            "in_use": "on",
            "version": "1",
        }
        assert client_as("owner").post(reverse("point", args=[row.pk]), values).status_code == 302
        assert point(PRIMARY).measured_as == "winding"
