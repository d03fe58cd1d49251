"""Travel off its stamping: said once, in the same words, wherever it is typed."""

import pytest
from django.urls import reverse

from curves import engine
from curves.judging import travel
from jobs.models import InspectionPoint
from jobs.rules.measured import Measured
from jobs.rules.points import proposed_verdict, seed_points
from jobs.teardown.actions import answer_point
from tests import build
from tests.jobs.papers.paperwork import signed_sheet, text_of

pytestmark = pytest.mark.django_db
CRANK = "Did you type crank degrees?"


@pytest.mark.parametrize(
    ("stamped", "measured", "ratio", "said", "asked"),
    [
        (11, 13.9, 2, False, False),
        (11, 14, 2, True, False),  # 3 degrees off are said
        (11.1, 14.1, 2, True, False),  # also where the subtraction leaves dust
        (11, 8, 2, True, False),
        # Datsun roadster: 17.5 distributor degrees are 35 of the crank.
        (17.5, 35, 2, True, True),
        (11, 22, 2, True, True),
        (11, 20.5, 2, True, True),
        (11, 22, 1, True, False),  # a magneto at crank speed: there is no half
        (11, 16.5, 1.5, True, True),
        (22, 11, 2, True, False),
        (None, 22, 2, False, False),
        (11, None, 2, False, False),
    ],
)
def test_from_three_degrees_on_it_is_said(stamped, measured, ratio, said, asked):
    words = travel.apart(stamped, measured, engine.Drive(ratio))
    assert (bool(words), CRANK in words) == (said, asked)


@pytest.mark.parametrize(
    ("measured", "turned"), [(20.5, "10.25"), (22, "11"), (21, "10.5"), (22.25, "11.12")]
)
def test_half_of_what_was_read_at_the_crank_is_said_whole(measured, turned):
    words = travel.apart(11, measured, engine.Drive(2))
    assert f"{measured:g} at the crank are {turned} at the distributor." in words


@pytest.fixture
def job():
    return build.job(stage="teardown", build=build.build(travel_stamped_deg=11, travel_measured_deg=None))


def test_it_is_said_as_it_is_typed_and_saves_nothing(client_as, job):
    client = client_as("technician")
    typed = {"travel_stamped_deg": "11", "travel_measured_deg": "22,0", "crank_per_shaft": "2"}
    said = client.get(f"/jobs/{job.number}/head/travel/", typed).content.decode()
    assert "11 more than the 11 stamped" in said
    assert CRANK in said
    for half_typed in ("", "2", "2x", "1e999", "400"):
        answer = client.get(f"/jobs/{job.number}/head/travel/", typed | {"travel_measured_deg": half_typed})
        assert (answer.status_code, CRANK in answer.content.decode()) == (200, False)
    assert (
        CRANK
        not in client.get(
            f"/jobs/{job.number}/head/travel/", typed | {"crank_per_shaft": "0"}
        ).content.decode()
    )
    job.build.refresh_from_db()
    assert job.build.travel_measured_deg is None
    assert client_as("reader").get(f"/jobs/{job.number}/head/travel/", typed).status_code == 403


def test_after_saving_it_stands_on_head_page_and_card_once(client_as, job):
    client = client_as("technician")
    sent = {"version": 1, "scale_deg": "0.5", "crank_per_shaft": "2"}
    sent |= {"travel_stamped_deg": "11", "travel_measured_deg": "22"}
    answer = client.post(f"/jobs/{job.number}/head/", sent, follow=True)
    said = travel.apart(11, 22, engine.Drive(2))
    page = answer.content.decode()
    assert f"saved. {said}" in page
    card = client.get(f"/jobs/{job.number}/").content.decode()
    assert card.count(said) == 1
    assert said in client.get(f"/jobs/{job.number}/head/").content.decode()


def test_it_is_said_at_the_inspections_travel_point_too(client_as, job):
    seed_points()
    client, point = client_as("technician"), InspectionPoint.objects.get(key="travel")
    where, name = f"/jobs/{job.number}/inspection/{point.pk}/", f"p{point.pk}"
    said = travel.apart(11, 22, engine.Drive(2))
    answer = client.post(where, {f"{name}-value": "22", f"{name}-verdict": "good", f"{name}-version": ""})
    assert answer.status_code == 200
    assert said in answer.content.decode()
    assert said in client.get(f"/jobs/{job.number}/").content.decode()
    version = job.inspections.get().version
    answer = client.post(
        where, {f"{name}-value": "11", f"{name}-verdict": "good", f"{name}-version": version}
    )
    assert "stamped" not in answer.content.decode()


def test_good_is_never_proposed_for_it_nor_left_standing_from_another_value(client_as, job):
    seed_points()
    point = InspectionPoint.objects.get(key="travel")
    point.low, point.high = 5, 30
    assert proposed_verdict(point, Measured(11), job.build) == "good"
    assert proposed_verdict(point, Measured(22), job.build) is None
    assert proposed_verdict(point, Measured(40), job.build) == "replace"
    client, name = client_as("technician"), f"p{point.pk}"

    def answer(value, verdict, note=""):
        now = job.inspections.first()
        sent = {"value": value, "verdict": verdict, "note": note, "version": now.version if now else ""}
        where = f"/jobs/{job.number}/inspection/{point.pk}/"
        return client.post(where, {f"{name}-{field}": text for field, text in sent.items()})

    answer("", "good")
    for _ in range(2):  # sent again it is refused again
        refused = answer("22", "good")
        assert refused.status_code == 422
        assert "Good was not said of this value" in refused.content.decode()
        assert job.inspections.get().value is None
    assert answer("22", "").status_code == 422
    assert answer("22", "good", "Stop filed at the maker's").status_code == 200
    assert (job.inspections.get().value, job.inspections.get().verdict) == (22, "good")
    assert answer("23", "worn").status_code == 200
    assert answer("11", "good").status_code == 200


def test_it_stands_on_the_sheet_and_on_the_strangers_page(client, job):
    seed_points()
    point = InspectionPoint.objects.get(key="travel")
    answer_point(job, point, value=22, verdict="good", by=build.person())
    build.run(job.build, build.SWEPT, kind="final")
    sheet = signed_sheet(job)
    said = travel.apart(11, 22, engine.Drive(2))
    assert said in " ".join(text_of(sheet).split())
    assert said in client.get(reverse("check", args=[sheet.token])).content.decode()


@pytest.mark.parametrize(
    ("head_deg", "said"),
    [
        (None, "It counts once the advance head has it."),
        (12, "The advance head says 12, and that counts."),
        (22, "The measured one counts."),
    ],
)
def test_the_sheet_says_which_travel_counts_as_it_was_signed(job, head_deg, said):
    seed_points()
    answer_point(job, InspectionPoint.objects.get(key="travel"), value=22, verdict="good", by=build.person())
    type(job.build).objects.filter(pk=job.build_id).update(travel_measured_deg=head_deg)
    build.run(job.build, build.SWEPT, kind="final")
    sheet = signed_sheet(type(job).objects.get(pk=job.pk), built=False)
    (words,) = (one["unusual"] for one in sheet.content["inspections"] if one["unusual"])
    assert words.endswith(said)
