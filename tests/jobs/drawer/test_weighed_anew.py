"""A spring weighed again: whether the new pairs replace those that stood or join them is chosen, and said."""

import json

import pytest

from jobs.models import AuditEntry
from tests import build

pytestmark = pytest.mark.django_db
# By hand from F = T0 + k (L - L0), 20 mm unloaded: first 1 N/mm and 3 N, stretched since
# 0.8 N/mm and 2 N.
OLD = [(20.0, 0.0), (22.0, 5.0), (24.0, 7.0), (26.0, 9.0)]
NEW = [(20.0, 0.0), (22.5, 4.0), (25.0, 6.0), (27.5, 8.0)]


def row_of(pairs):
    return json.dumps([{"length": f"{length:g}", "load": f"{load:g}"} for length, load in pairs])


def lines_of(pairs):
    return "\n".join(f"{length:g}\t{load:g}" for length, load in pairs)


@pytest.fixture
def row(technician):
    spring = build.spring("P 7", rate_n_per_mm=1.0, free_length_mm=20.0, source="label")
    for length, load in OLD:
        spring.load_tests.create(length_mm=length, load=load, by=technician)
    return spring


@pytest.fixture
def send(client_as, row):
    client = client_as("technician")

    def post(**fields):
        values = {"unit": "N", "version": row.version, "use": "1"} | fields
        answer = client.post(f"/springs/{row.pk}/loads/", values)
        row.refresh_from_db()
        return answer

    post.client = client
    return post


def pairs_of(row):
    return [(one.length_mm, one.load) for one in row.load_tests.all()]


# As a browser with a grid sends it when lines are pasted, cells are pasted below, and without JavaScript.
WAYS = {
    "pasted as lines": {"json": row_of(OLD), "lines": lines_of(NEW)},
    "pasted into the grid": {"json": row_of(OLD + NEW), "lines": ""},
    "written below, without a grid": {"json": "", "lines": lines_of(OLD + NEW)},
}


@pytest.mark.parametrize("chosen", [{}, {"new_pairs": "replace"}], ids=["as offered", "chosen"])
@pytest.mark.parametrize("way", WAYS)
def test_a_new_weighing_replaces_the_old_and_says_so(send, row, way, chosen):
    assert send(**WAYS[way], **chosen).status_code == 302
    assert pairs_of(row) == NEW
    assert (row.rate_n_per_mm, row.initial_tension_n) == pytest.approx((0.8, 2.0))
    page = send.client.get(f"/springs/{row.pk}/").content.decode()
    assert "4 new pairs, in place of the 4 that stood" in page
    kept = AuditEntry.objects.get(verb="used the fit of a load test").detail["gone"]
    assert [one.split(" (")[0] for one in kept] == [f"{load:g} N at {length:g} mm" for length, load in OLD]


@pytest.mark.parametrize("way", WAYS)
def test_pairs_of_the_same_weighing_join_those_that_stood(send, row, way):
    more = [(28.0, 11.0), (30.0, 13.0)]
    sent = {
        name: text.replace(row_of(NEW)[1:-1], row_of(more)[1:-1]).replace(lines_of(NEW), lines_of(more))
        for name, text in WAYS[way].items()
    }
    assert send(**sent, new_pairs="add").status_code == 302
    assert pairs_of(row) == OLD + more
    assert (
        "2 new with the 4 that stood, 6 pairs in all"
        in send.client.get(f"/springs/{row.pk}/").content.decode()
    )


def test_a_single_new_pair_replaces_no_weighing(send, row):
    answer = send(json=row_of([*OLD, (28.0, 11.0)]), keep="1")
    assert answer.status_code == 422
    assert "One pair is no weighing" in answer.content.decode()
    assert "28" in [line[0].text for line in answer.context["load_form"].grid.rows]
    assert pairs_of(row) == OLD
    assert send(json=row_of([*OLD, (28.0, 11.0)]), new_pairs="add").status_code == 302
    assert pairs_of(row) == [*OLD, (28.0, 11.0)]


def test_pairs_in_another_unit_never_join_under_it(send, row):
    answer = send(json=row_of(OLD + NEW), unit="lbf", new_pairs="add")
    assert answer.status_code == 422
    assert "Those that stand were read in N" in answer.content.decode()
    assert pairs_of(row) == OLD


def test_a_pair_that_is_changed_is_no_new_weighing(send, row):
    changed = [*OLD[:3], (26.0, 9.2)]
    assert send(json=row_of(changed)).status_code == 302
    assert pairs_of(row) == changed


def test_the_choice_is_offered_only_where_pairs_stand(send, row):
    page = send.client.get(f"/springs/{row.pk}/").content.decode()
    assert "they replace the 4 that stand" in page
    other = build.spring("P 8")
    assert "new_pairs" not in send.client.get(f"/springs/{other.pk}/").content.decode()


def test_a_doubted_replacement_is_consented_to_as_it_was_shown(send, row):
    twice = [(length, load * 2) for length, load in NEW]
    answer = send(json=row_of(OLD), lines=lines_of(twice))
    assert answer.status_code == 422
    seal = answer.context["test"].seal
    assert answer.context["test"].test.rate_n_per_mm == pytest.approx(1.6)
    assert send(json=row_of(OLD), lines=lines_of(twice), consent=seal, new_pairs="add").status_code == 422
    assert pairs_of(row) == OLD
    assert send(json=row_of(OLD), lines=lines_of(twice), consent=seal).status_code == 302
    assert pairs_of(row) == twice
