"""A form is taken once, also when the same send arrives on several threads at the same moment."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import OperationalError, connection
from django.test import Client

from shop import once
from shop.models import Customer, TakenForm, new_key
from tests import build

SENDS = 20


def on_threads(work):
    """Run ``work(n)`` on twenty threads at once, each with a database connection of its own."""
    together = Barrier(SENDS)

    def one(n):
        together.wait()
        try:
            return work(n)
        finally:
            connection.close()

    with ThreadPoolExecutor(SENDS) as pool:
        return list(pool.map(one, range(SENDS)))


@pytest.mark.django_db
class TestTaking:
    def make(self, name="Marta Quill"):
        return lambda: f"/customers/{build.customer(name).pk}/"

    def test_the_second_take_answers_as_the_first_and_works_no_more(self, person):
        key = new_key()
        first = once.take(key, person, self.make())
        assert once.take(key, person, self.make()) == first
        assert once.taken(key) == first
        assert Customer.objects.count() == 1

    def test_other_keys_are_other_forms(self, person):
        for key in (new_key(), new_key(), "", None, ""):
            once.take(key, person, self.make())
        assert Customer.objects.count() == 5

    def test_work_that_failed_was_not_taken(self, person):
        key = new_key()

        def fail():
            build.customer()
            raise OperationalError("database or disk is full")

        with pytest.raises(OperationalError):
            once.take(key, person, fail)
        assert once.taken(key) is None
        assert not Customer.objects.exists()
        once.take(key, person, self.make())
        assert Customer.objects.count() == 1

    def test_keys_are_not_guessed(self):
        keys = {new_key() for _ in range(1000)}
        assert len(keys) == 1000
        assert min(map(len, keys)) >= 22  # 128 bits in URL-safe base64


@pytest.mark.django_db(transaction=True)
def test_twenty_equal_sends_at_once_make_one_row_and_one_answer():
    """House rule, design bar: 20 parallel identical posts, one row, the same answer."""
    clients = [Client() for _ in range(SENDS)]
    person = build.person("counter")
    for client in clients:
        client.force_login(person)
    sent = {"name": "Marta Quill", "once": new_key()}
    answers = on_threads(lambda n: clients[n].post("/customers/new/", sent))
    assert {answer.status_code for answer in answers} == {302}
    assert len({answer.headers["Location"] for answer in answers}) == 1
    assert Customer.objects.count() == 1
    assert TakenForm.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_twenty_savers_of_one_row_leave_one_winner():
    """Each sends its own name with the version all of them saw: one is saved, nineteen are shown both."""
    clients = [Client() for _ in range(SENDS)]
    person, customer = build.person("counter"), build.customer()
    for client in clients:
        client.force_login(person)
    answers = on_threads(
        lambda n: clients[n].post(f"/customers/{customer.pk}/edit/", {"name": f"Saver {n}", "version": 1})
    )
    statuses = [answer.status_code for answer in answers]
    assert sorted(statuses) == [302] + [409] * (SENDS - 1)
    winner = Customer.objects.get()
    assert winner.name == f"Saver {statuses.index(302)}"
    assert winner.version == 2
    for n, answer in enumerate(answers):
        if answer.status_code == 409:
            assert f'value="Saver {n}"' in answer.text
            assert f"Now stands: <b>{winner.name}</b>" in answer.text


@pytest.mark.django_db(transaction=True)
def test_two_owners_stepping_down_at_once_leave_one():
    owners = [build.person("owner", username=f"owner{n}", full_name=f"Owner {n}") for n in range(2)]
    clients = [Client(), Client()]
    for client, owner in zip(clients, owners, strict=True):
        client.force_login(owner)

    def step_down(n):
        if n > 1:
            return None
        row = owners[n]
        names = {"full_name": row.full_name, "username": row.username, "role": "counter", "version": 1}
        return clients[n].post(f"/people/{row.pk}/", names).status_code

    assert sorted(on_threads(step_down)[:2]) == [302, 422]
    assert sum(type(owner).objects.get(pk=owner.pk).role == "owner" for owner in owners) == 1
