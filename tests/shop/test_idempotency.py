"""A form is taken once, also when the same send arrives on several threads at the same moment."""

from concurrent.futures import ThreadPoolExecutor
from functools import partial
from threading import Barrier

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import OperationalError, connection
from django.test import Client, RequestFactory

from shop import idempotency
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


def sending(person, key, *, as_name="once", **fields):
    """A request that sends a form with this one-time key."""
    request = RequestFactory().post("/", {as_name: key, **fields})
    request.user = person
    return request


def letter(content, name="letter.txt"):
    return SimpleUploadedFile(name, content)


@pytest.mark.django_db
class TestTaking:
    def make(self, name="Marta Quill"):
        return lambda: f"/customers/{build.customer(name).pk}/"

    @pytest.mark.parametrize("as_name", ["once", "draft-once"])
    def test_the_second_take_answers_as_the_first_and_works_no_more(self, person, as_name):
        key = new_key()
        first, second = (sending(person, key, as_name=as_name, name="Marta") for _ in range(2))
        assert idempotency.taken(first) is None
        location = idempotency.take(first, self.make())
        assert idempotency.taken(second) == idempotency.take(second, self.make()) == location
        assert Customer.objects.count() == 1

    def test_other_keys_and_none_are_other_forms(self, person):
        for key in (new_key(), new_key(), "", ""):
            idempotency.take(sending(person, key), self.make())
        assert Customer.objects.count() == 4

    def test_a_new_token_alone_makes_no_other_send(self, person):
        """The token against forgery is masked anew each time that it is rendered."""
        key = new_key()
        for token in ("first", "second"):
            idempotency.take(sending(person, key, csrfmiddlewaretoken=token), self.make())
        assert Customer.objects.count() == 1

    @pytest.mark.parametrize(
        ("before", "after"),
        [
            ({"name": "Marta"}, {"name": "Per"}),
            ({"name": "Marta"}, {"name": "Marta", "note": ""}),
            ({"a": ["1", "2"]}, {"a": ["2", "1"]}),
            ({"a": "b", "c": ""}, {"a": "", "c": "b"}),
        ],
    )
    def test_the_same_key_with_other_content_is_a_send_of_its_own(self, person, before, after):
        key = new_key()
        for fields in (before, after, before, after):
            idempotency.take(sending(person, key, **fields), self.make())
        assert Customer.objects.count() == 2

    def test_files_count_by_what_is_in_them_and_are_read_whole_afterwards(self, person):
        key, read = new_key(), []

        def work(request):
            read.append(request.FILES["file"].read())
            return self.make()()

        for content in (b"one", b"two", b"one"):
            request = sending(person, key, file=letter(content))
            idempotency.take(request, partial(work, request))
        assert read == [b"one", b"two"]

    def test_nothing_that_was_sent_can_be_read_from_what_is_kept(self, person, settings):
        """A digest made without a secret could be tried out against every likely password."""
        request = sending(person, "a-key", password="anvil-and-tongs-9")
        idempotency.take(request, self.make())
        settings.SECRET_KEY = "another" * 8
        assert idempotency.taken(request) is None

    def test_work_that_failed_was_not_taken(self, person):
        request = sending(person, new_key())

        def fail():
            build.customer()
            raise OperationalError("database or disk is full")

        with pytest.raises(OperationalError):
            idempotency.take(request, fail)
        assert idempotency.taken(request) is None
        assert not Customer.objects.exists()
        idempotency.take(request, self.make())
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
