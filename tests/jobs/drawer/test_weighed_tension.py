"""An initial tension is said where the tester told it, with one error everywhere, and is else not known."""

import json
import re
from importlib import import_module

import pytest
from django.apps import apps

from curves.models import Spring
from curves.rows import convert
from tests import build
from tests.reading import markup

pytestmark = pytest.mark.django_db
migration = import_module("curves.migrations.0007_error_of_the_weighed_tension")
# F = T0 + k (L - L0) by hand: 1 N/mm, 3 N of initial tension, 20 mm unloaded.
LOADED = [(22.0, 5.0), (24.0, 7.0), (26.0, 9.0)]
UNLOADED = (20.0, 0.0)


@pytest.fixture
def row():
    return build.spring("P 7", rate_n_per_mm=1.0, free_length_mm=20.0, source="label")


def weigh(client, row, pairs, **fields):
    rows = [{"length": f"{length:g}", "load": f"{load:g}"} for length, load in pairs]
    sent = {"json": json.dumps(rows), "unit": "N", "version": row.version, "use": "1", **fields}
    assert client.post(f"/springs/{row.pk}/loads/", sent).status_code == 302
    row.refresh_from_db()


def text(client, address):
    return markup(client.get(address))


@pytest.mark.parametrize("pairs", [LOADED, [UNLOADED, (26.0, 6.0)]], ids=["no free length", "one load"])
def test_a_tension_that_the_tester_did_not_tell_is_not_known(client_as, row, pairs):
    client = client_as("technician")
    weigh(client, row, pairs)
    assert not row.tension_is_known
    page = text(client, f"/springs/{row.pk}/")
    assert "<dt>Initial tension</dt><dd>not known</dd>" in page
    assert not re.search(r"\b0\.00\b", page)
    for words in (page, text(client, "/springs/")):
        assert "<b>not known</b> <small>weigh it at two lengths and unloaded</small>" in words


def test_its_error_is_the_weighed_one_wherever_it_stands_and_counts_so(client_as, row):
    client = client_as("technician")
    weigh(client, row, [UNLOADED, *LOADED])
    page, drawer = text(client, f"/springs/{row.pk}/"), text(client, "/springs/")
    error = client.get(f"/springs/{row.pk}/").context["test"].test.initial_tension_se_n
    assert f'3.00 <span class="unit">N ±{error:.2f}</span>' in page
    for words in (page, drawer):
        assert f'<b>3.00</b> <span class="unit">±{error:.2f}</span>' in words
        assert "±15 %" not in words
    assert convert.spring_of(row).initial_tension_sd == pytest.approx(error / 3.0)


def test_a_tension_of_nothing_that_was_told_is_known(client_as, row):
    client = client_as("technician")
    weigh(client, row, [UNLOADED, *((length, load - 3.0) for length, load in LOADED)])
    assert row.tension_is_known
    assert "not known" not in text(client, "/springs/")


def test_typing_another_tension_forgets_the_weighed_error(client_as, row):
    client = client_as("technician")
    weigh(client, row, [UNLOADED, *LOADED])
    form = client.get(f"/springs/{row.pk}/").context["form"]
    sent = {field.html_name: field.value() if field.value() is not None else "" for field in form}
    sent |= {"initial_tension_n": "2", "source": "typed"}
    assert client.post(f"/springs/{row.pk}/", sent).status_code == 302
    row.refresh_from_db()
    assert (row.initial_tension_n, row.initial_tension_sd_n) == (2.0, None)


@pytest.mark.parametrize("unit", ["N", "gf"])
def test_what_was_weighed_before_gets_its_error_from_its_pairs(client_as, row, unit):
    client = client_as("technician")
    weigh(
        client,
        row,
        [UNLOADED, *((length, load / migration.N_PER[unit]) for length, load in LOADED)],
        unit=unit,
    )
    told = row.initial_tension_sd_n
    Spring.objects.update(initial_tension_sd_n=None)
    migration.take_from_the_pairs(apps, None)
    row.refresh_from_db()
    assert row.initial_tension_sd_n == pytest.approx(told)
    Spring.objects.update(initial_tension_sd_n=None, initial_tension_n=2.0)
    migration.take_from_the_pairs(apps, None)  # the pairs say another tension than stands
    row.refresh_from_db()
    assert row.initial_tension_sd_n is None
    assert migration.tension_of(LOADED) is None
