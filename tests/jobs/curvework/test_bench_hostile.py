"""Whatever is sent as a reading, the answer is a refusal with its cause or a reading that was kept."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from curves.models import Reading
from tests import build

pytestmark = [pytest.mark.django_db, pytest.mark.slow, pytest.mark.any_database]
KEY = "0b5e1f0e-3f6b-4c57-9d0a-0a1b2c3d4e5f"


@pytest.fixture
def job():
    row = build.job(stage="spring_trials")
    build.run(row.build, [])
    return row


def post(client, job, body):
    where = f"/jobs/{job.number}/runs/1/readings/{KEY}/"
    return client.post(where, body, content_type="application/json")


ANY = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=40),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=12), inner, max_size=4),
    max_leaves=8,
)
NUMBERS = st.text("0123456789.,-−+e ", max_size=24) | ANY
NAMES = ("speed_rpm", "advance_deg", "falling", "cylinder", "offset_deg", "dwell_deg", "vacuum_kpa", "unit")
VALUES = st.dictionaries(st.sampled_from(NAMES), NUMBERS | st.booleans(), max_size=8) | ANY
KINDS = st.sampled_from(["reading", "spark", "dwell", "vacuum"]) | ANY


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(kind=KINDS, values=VALUES, version=st.integers(-2, 3) | ANY, gone=ANY)
def test_no_payload_breaks_it(client_as, job, kind, values, version, gone):
    client = client_as("technician")
    sent = {"person": client.person.pk, "kind": kind, "values": values, "version": version, "gone": gone}
    answer = post(client, job, json.dumps(sent))
    assert answer.status_code in (200, 409, 422)
    if answer.status_code != 200:
        assert answer.json()["why"]
    json.dumps(client.get(f"/jobs/{job.number}/runs/1/readings/").json(), allow_nan=False)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(body=st.binary(max_size=200) | ANY.map(json.dumps).map(str.encode))
def test_no_body_breaks_it(client_as, job, body):
    client = client_as("technician")
    assert post(client, job, body).status_code in (401, 422)
    assert not Reading.objects.filter(run__build=job.build).exists()


@pytest.mark.parametrize(
    "body", ["[" * 100_000, "{}" + " " * 5000, '{"version": 1' + "0" * 3000 + "}", "\ufeff{}"]
)
def test_what_is_no_reading_is_refused(client_as, job, body):
    assert post(client_as("technician"), job, body).status_code in (401, 422)
