"""The spring tester in the shop's own unit, and fits that are not taken over unseen."""

import json

import pytest

from curves.models import LoadTest, Spring
from curves.springs import fit_doubts, load_tests
from jobs.models import AuditEntry
from shop.models import Shop
from tests import build
from tests.reading import markup

pytestmark = pytest.mark.django_db
# V. B. Bhandari, Design of Machine Elements, ch. 10: 6 mm wire, 36 mm mean coil, 10 turns, G = 81 370 N/mm2
# are 28.253472 N/mm. The same wire and coil with 100 turns are a tenth of it: 2.8253 N/mm.
WIRE = {"wire_mm": 6.0, "coil_mm": 36.0, "active_coils": 100.0, "rate_n_per_mm": 2.8, "source": "wire"}
RATE = 2.8253472
FREE_MM = 60.0
N_PER = {"N": 1.0, "gf": 9.80665e-3, "kgf": 9.80665, "lbf": 4.4482216152605}  # NIST SP 811, App. B.8


def pairs_in(unit, rate=RATE, steps=(2, 4, 6, 8)):
    loads = [(FREE_MM + step, float(f"{rate * step / N_PER[unit]:.6g}")) for step in steps]
    return [(FREE_MM, 0.0), *loads]


def sent(pairs, unit, **fields):
    rows = [{"length": f"{length:g}", "load": f"{load:g}"} for length, load in pairs]
    return {"json": json.dumps(rows), "unit": unit, "version": "1", **fields}


@pytest.fixture
def row():
    return build.spring("P 7", **WIRE)


@pytest.fixture
def client(client_as):
    return client_as("technician")


@pytest.mark.parametrize("unit", N_PER)
def test_a_spring_weighed_in_any_unit_has_the_same_rate(client, row, unit):
    pairs = pairs_in(unit)
    assert client.post(f"/springs/{row.pk}/loads/", sent(pairs, unit, use="1")).status_code == 302
    row.refresh_from_db()
    assert row.rate_n_per_mm == pytest.approx(RATE, rel=1e-3)
    assert [(one.length_mm, one.load, one.unit) for one in row.load_tests.all()] == [
        (*pair, unit) for pair in pairs
    ]
    page = client.get(f"/springs/{row.pk}/")
    assert page.context["load_form"].grid.rows[-1][1].text == f"{pairs[-1][1]:g}"  # as typed, not converted
    assert f"{pairs[-1][1]:g} {unit} at 68 mm" in page.content.decode()


def test_the_shop_remembers_the_unit(client, client_as, row):
    client.post(f"/springs/{row.pk}/loads/", sent(pairs_in("gf"), "gf"))
    assert Shop.current().tester_unit == "gf"
    other = build.spring("S 1")
    assert client.get(f"/springs/{other.pk}/").context["load_form"]["unit"].value() == "gf"
    client.post(f"/springs/{other.pk}/loads/", sent(pairs_in("lbf"), "lbf"))
    assert client.get(f"/springs/{row.pk}/").context["load_form"]["unit"].value() == "lbf"
    assert 'name="tester_unit"' in client_as("owner").get("/shop/").content.decode()


def test_a_new_weighing_begins_in_the_shops_unit_and_replaces_what_was_typed_in_another(client, row):
    client.post(f"/springs/{row.pk}/loads/", sent(pairs_in("N"), "N"))
    Shop.objects.update(tester_unit="gf")
    page = client.get(f"/springs/{row.pk}/")
    form, words = page.context["load_form"], markup(page)
    assert form["unit"].value() == "gf"
    assert not any(cell.text for line in form.grid.rows for cell in line)  # no newtons under another unit
    assert "this is a new weighing, in place of the 5 pairs that stand." in words
    assert "New pairs beside those that stand" not in words
    assert "The same weighing" not in words
    as_stood = client.get(f"/springs/{row.pk}/?stood=1").context["load_form"]
    assert (as_stood["unit"].value(), as_stood.grid.rows[-1][1].text) == ("N", "22.6028")
    one = sent([(62.0, 576.0)], "gf", version=str(Spring.objects.get().version), keep="1")
    answer = client.post(f"/springs/{row.pk}/loads/", one)
    assert answer.status_code == 422
    assert "One pair is no weighing: type the others." in markup(answer)
    assert set(row.load_tests.values_list("unit", flat=True)) == {"N"}
    several = sent(pairs_in("gf"), "gf", version=str(Spring.objects.get().version), keep="1")
    words = markup(client.post(f"/springs/{row.pk}/loads/", several, follow=True))
    assert "5 new pairs, in place of the 5 that stood" in words
    assert set(row.load_tests.values_list("unit", flat=True)) == {"gf"}


def test_loads_that_no_tester_shows_ask_for_the_unit(client, row):
    answer = client.post(f"/springs/{row.pk}/loads/", sent(pairs_in("gf"), "N", use="1"))
    assert answer.status_code == 422  # 576 N and more
    assert "Is the unit right?" in answer.content.decode()
    row.refresh_from_db()
    assert (row.rate_n_per_mm, row.source, row.version) == (2.8, "wire", 1)
    assert not LoadTest.objects.exists()
    assert not AuditEntry.objects.exists()


@pytest.mark.parametrize(
    ("typed", "really", "named"),
    [
        ("gf", "N", "newtons (N)"),
        ("kgf", "N", "newtons (N)"),
        ("N", "kgf", "kilograms-force (kgf)"),
        ("N", "lbf", "pounds-force (lbf)"),
    ],
)
def test_the_usual_cause_is_said_with_it(client, row, typed, really, named):
    pairs = pairs_in(really)
    answer = client.post(f"/springs/{row.pk}/loads/", sent(pairs, typed, use="1"))
    words = answer.content.decode()
    assert answer.status_code == 422
    assert f"In {named} it would fit" in words
    assert fit_doubts.CONSENT in words
    form = answer.context["load_form"]
    assert [row[1].text for row in form.grid.rows] == [f"{load:g}" for _, load in pairs]  # nothing is lost
    assert form["unit"].value() == typed
    row.refresh_from_db()
    assert (row.rate_n_per_mm, row.version) == (2.8, 1)
    assert not LoadTest.objects.exists()


def doubted(client, row, pairs, unit, **fields):
    answer = client.post(f"/springs/{row.pk}/loads/", sent(pairs, unit, use="1", **fields))
    assert answer.status_code == 422
    assert '<p class="warning"><b>Doubted.</b>' in answer.content.decode()  # the sign on the line of its word
    return answer.context["test"].seal


def test_a_second_consent_takes_it_over_and_is_kept_with_who(client, row):
    pairs = pairs_in("N", rate=6.0)
    seal = doubted(client, row, pairs, "N")
    assert client.post(f"/springs/{row.pk}/loads/", sent(pairs, "N", consent=seal)).status_code == 302
    row.refresh_from_db()
    assert row.rate_n_per_mm == pytest.approx(6.0)
    entry = AuditEntry.objects.get(verb="used the fit of a load test")
    assert (entry.by, entry.detail["consent"], entry.detail["spring"]) == (
        client.person,
        "I checked wire, coil and turns: use this rate all the same",
        "P 7",
    )
    assert "2.12 times more" in entry.detail["doubts"][0]


def test_a_consent_to_another_fit_is_none(client, row):
    seal = doubted(client, row, pairs_in("N", rate=6.0), "N")
    doubted(client, row, pairs_in("N", rate=7.0), "N", consent=seal)
    doubted(client, row, pairs_in("N", rate=6.0), "N", consent="1")
    assert not LoadTest.objects.exists()


def test_no_caller_gets_round_the_consent(row):
    with pytest.raises(load_tests.DoubtedFit):
        load_tests.save_load_test(
            row, pairs_in("N", rate=6.0), by=build.person(role="technician"), version=1, use=True
        )
    assert not LoadTest.objects.exists()


def test_a_rate_hardly_known_takes_it_too(client, row):
    # Two lengths 0.6 mm apart, each known to 0.1 mm: the rate can't be known to better than some 24 %.
    pairs = [(FREE_MM, 0.0), (62.0, 5.65), (62.6, 7.35)]
    answer = client.post(f"/springs/{row.pk}/loads/", sent(pairs, "N", use="1"))
    assert answer.status_code == 422
    assert "% only, and 15 % are the most" in answer.content.decode()
    assert not LoadTest.objects.exists()


def test_pairs_are_kept_without_consent_as_long_as_they_are_not_used(client, row):
    assert client.post(f"/springs/{row.pk}/loads/", sent(pairs_in("N", rate=6.0), "N")).status_code == 302
    row.refresh_from_db()
    assert (row.rate_n_per_mm, row.load_tests.count()) == (2.8, 5)


def test_without_wire_the_figure_that_stands_is_the_measure(client):
    row = build.spring("S 1", rate_n_per_mm=1.0, source="label")
    doubted(client, row, pairs_in("N", rate=1.6), "N")
    assert (
        client.post(f"/springs/{row.pk}/loads/", sent(pairs_in("N", rate=1.45), "N", use="1")).status_code
        == 302
    )
    loose = build.spring("S 2", rate_n_per_mm=None, source="unknown")
    assert client.post(f"/springs/{loose.pk}/loads/", sent(pairs_in("N"), "N", use="1")).status_code == 302


def test_the_limit_is_a_factor_of_one_and_a_half_either_way(client, row):
    for rate, fits in ((RATE * 1.49, True), (RATE / 1.49, True), (RATE * 1.52, False), (RATE / 1.52, False)):
        found = load_tests.fitted(pairs_in("N", rate=rate))
        assert (fit_doubts.doubts_of(found, row) == ()) is fits
    assert fit_doubts.expected_rate(row)[0] == pytest.approx(RATE)


def test_a_load_is_doubted_as_it_was_typed():
    pairs = [(60.0, 0.0), (62.0, 200.0), (64.0, 400.0), (66.0, 950.0), (68.0, 800.0), (70.0, 1000.0)]
    words = " ".join(load_tests.fitted(pairs, "gf").warnings)
    assert "The load of 950 gf at 66 mm does not fit the others" in words


@pytest.mark.parametrize("unit", ["", "oz", "N\x00"])
def test_a_unit_that_is_none_is_refused(client, row, unit):
    assert client.post(f"/springs/{row.pk}/loads/", sent(pairs_in("N"), unit, use="1")).status_code in (
        400,
        422,
    )
    assert not LoadTest.objects.exists()
    assert Spring.objects.get().rate_n_per_mm == 2.8
