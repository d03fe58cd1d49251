"""Customers: found as one types, written down once, changed without overwriting anyone."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.models import Customer, new_key
from shop.queries import customers_matching
from tests import build

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


def typed(**fields):
    return {
        "name": "Marta Quill",
        "company": "",
        "phone": "0555 0104",
        "email": "",
        "address": "",
        "note": "",
    } | fields


class TestSearch:
    @pytest.fixture(autouse=True)
    def three(self, db):
        build.customer("Marta Quill", company="Tarnside Boats", phone="0555 0104")
        build.customer("Per Lindgren", company="Tarnside Boats", email="per@example.org")
        build.customer("Odile Farrow", address="Kettle Lane 4\nFerndale")

    @pytest.mark.parametrize(
        ("text", "names"),
        [
            ("", ["Marta Quill", "Odile Farrow", "Per Lindgren"]),
            ("tarnside", ["Marta Quill", "Per Lindgren"]),
            ("tarnside per", ["Per Lindgren"]),
            ("0104", ["Marta Quill"]),
            ("PER@", ["Per Lindgren"]),
            ("ferndale", ["Odile Farrow"]),
            ("nobody", []),
            ("%", []),
            ("_", []),
        ],
    )
    def test_every_word_has_to_stand_somewhere(self, text, names):
        assert [customer.name for customer in customers_matching(text)] == names

    def test_typing_gets_the_list_alone_and_a_link_gets_the_page(self, client_as):
        client = client_as("counter")
        part = client.get("/customers/", {"q": "per"}, headers=HTMX)
        whole = client.get("/customers/", {"q": "per"})
        assert "<html" not in part.text
        assert "<html" in whole.text
        assert 'value="per"' in whole.text
        for answer in (part, whole):
            assert "Per Lindgren" in answer.text
            assert "Odile Farrow" not in answer.text

    def test_no_match_and_no_customers_read_differently(self, client_as):
        client = client_as("counter")
        assert "No customer with “zz”" in client.get("/customers/", {"q": "zz"}).text
        Customer.objects.all().delete()
        assert "No customers yet" in client.get("/customers/").text

    def test_what_is_looked_for_is_never_markup(self, client_as):
        answer = client_as("counter").get("/customers/", {"q": '"><script>x</script>'})
        assert "<script>x" not in answer.text

    @pytest.mark.parametrize("asked", [{"q": "x" * 5000}, {"page": "nan"}, {"page": "-3"}])
    def test_odd_questions_get_an_answer(self, client_as, asked):
        assert client_as("counter").get("/customers/", asked).status_code == 200


def test_a_long_list_comes_in_pages_of_the_same_few_queries(client_as):
    client = client_as("counter")
    Customer.objects.bulk_create(Customer(name=f"Customer {n:03}") for n in range(120))
    with CaptureQueriesContext(connection) as few:
        first = client.get("/customers/")
    assert first.text.count("Customer 0") == 50
    assert "page 1 of 3" in first.text
    assert "Customer 119" in client.get("/customers/", {"page": 3}).text
    assert len(few) <= 6


def test_the_page_of_one_shows_their_jobs_in_few_queries(client_as):
    client = client_as("technician")
    customer = build.customer()
    jobs = [build.job(customer=customer) for _ in range(3)]
    client.get(f"/customers/{customer.pk}/")  # the first page of all makes the shop's row
    with CaptureQueriesContext(connection) as three:
        page = client.get(f"/customers/{customer.pk}/")
    for job in jobs:
        assert f'href="/jobs/{job.number}/"' in page.text
    build.job(customer=customer)
    with CaptureQueriesContext(connection) as four:
        client.get(f"/customers/{customer.pk}/")
    assert len(four) == len(three)


class TestNew:
    def test_a_customer_is_written_down(self, client_as):
        answer = client_as("counter").post("/customers/new/", typed(once=new_key()))
        customer = Customer.objects.get()
        assert answer.headers["Location"] == f"/customers/{customer.pk}/"
        assert (customer.name, customer.phone) == ("Marta Quill", "0555 0104")

    def test_a_repeated_send_makes_one_and_answers_the_same(self, client_as):
        client, key = client_as("counter"), new_key()
        answers = {client.post("/customers/new/", typed(once=key)).headers["Location"] for _ in range(3)}
        assert len(answers) == 1
        assert Customer.objects.count() == 1

    def test_two_forms_make_two(self, client_as):
        client = client_as("counter")
        for _ in range(2):
            client.post("/customers/new/", typed(once=new_key()))
        assert Customer.objects.count() == 2

    def test_a_bad_form_keeps_what_was_typed(self, client_as):
        answer = client_as("counter").post(
            "/customers/new/", typed(name="", email="not an email", note="rings <b>")
        )
        assert answer.status_code == 422
        assert 'value="not an email"' in answer.text
        assert "rings &lt;b&gt;" in answer.text
        assert "Not an email address" in answer.text
        assert not Customer.objects.exists()


class TestEdit:
    def edit(self, client, customer, **fields):
        headers = fields.pop("headers", {})
        sent = typed(version=customer.version) | fields
        return client.post(f"/customers/{customer.pk}/edit/", sent, headers=headers)

    def test_it_is_changed_and_counted(self, client_as):
        customer = build.customer()
        answer = self.edit(client_as("counter"), customer, phone="0555 9999")
        assert answer.headers["Location"] == f"/customers/{customer.pk}/"
        customer.refresh_from_db()
        assert (customer.phone, customer.version) == ("0555 9999", 2)

    def test_in_place_the_answer_is_the_section(self, client_as):
        answer = self.edit(client_as("counter"), build.customer(), note="calls back", headers=HTMX)
        assert answer.status_code == 200
        assert answer.text.strip().startswith('<section class="sec" id="sec-customer"')
        assert "calls back" in answer.text
        assert "Saved" in answer.text

    @pytest.mark.parametrize("headers", [{}, HTMX])
    def test_the_second_of_two_sees_both_and_keeps_theirs(self, client_as, headers):
        client, customer = client_as("counter"), build.customer()
        self.edit(client, customer, phone="0555 1111")
        answer = self.edit(client, customer, phone="0555 2222", headers=headers)
        assert answer.status_code == 409
        assert 'value="0555 2222"' in answer.text
        assert "Now stands: <b>0555 1111</b>" in answer.text
        assert 'name="version" value="2"' in answer.text
        assert Customer.objects.get().phone == "0555 1111"

    @pytest.mark.parametrize("version", ["", "x", "-1", "0", "9" * 30])
    def test_a_made_up_version_overwrites_nothing(self, client_as, version):
        answer = self.edit(client_as("counter"), build.customer(), phone="0555 2222", version=version)
        assert answer.status_code in (409, 422)
        assert Customer.objects.get().phone == ""

    def test_the_form_opens_without_javascript_on_its_own_page(self, client_as):
        client, customer = client_as("counter"), build.customer(note="calls back")
        whole = client.get(f"/customers/{customer.pk}/edit/")
        part = client.get(f"/customers/{customer.pk}/edit/", headers=HTMX)
        assert "<html" in whole.text
        assert "<html" not in part.text
        for answer in (whole, part):
            assert f'action="/customers/{customer.pk}/edit/"' in answer.text
            assert "calls back" in answer.text
