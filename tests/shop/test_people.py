"""People and the profile: who may log in, as what, and that the shop always keeps an owner."""

import pytest
from django.core.exceptions import PermissionDenied

from shop import actions
from shop.models import Person, Shop, new_key
from shop.people_forms import PersonForm
from shop.rights import RIGHTS, allows
from tests import build
from tests.build import PASSWORD
from tests.reading import markup

pytestmark = pytest.mark.django_db
NEW = "anvil-and-tongs-9"


@pytest.fixture
def boss(client_as):
    return client_as("owner")


def added(**fields):
    return {
        "full_name": "Mila Sund",
        "username": "mila",
        "role": "counter",
        "password1": NEW,
        "password2": NEW,
        "once": new_key(),
    } | fields


def edited(person, **fields):
    names = ("full_name", "username", "role", "version")
    return {name: getattr(person, name) for name in names} | fields


class TestAdding:
    def test_someone_added_can_log_in_with_that_role(self, boss, client):
        assert boss.post("/people/new/", added()).status_code == 302
        mila = Person.objects.get(username="mila")
        assert (mila.role, mila.is_staff, mila.is_superuser) == ("counter", False, False)
        answer = client.post("/login/", {"username": "mila", "password": NEW, "next": "/customers/"})
        assert answer.headers["Location"] == "/customers/"

    def test_a_repeated_send_adds_one_and_answers_the_same(self, boss):
        sent = added()
        assert [boss.post("/people/new/", sent).status_code for _ in range(3)] == [302, 302, 302]
        assert Person.objects.filter(username="mila").count() == 1

    @pytest.mark.parametrize(
        ("fields", "words"),
        [
            ({"full_name": ""}, "Needed: fill it in."),
            ({"username": "mila sund"}, "valid username"),
            ({"role": "king"}, "Not on the list"),
            ({"password2": "other"}, "The two differ"),
            ({"password1": "password", "password2": "password"}, "too common"),
        ],
    )
    def test_a_bad_form_adds_nobody_and_shows_no_password(self, boss, fields, words):
        answer = boss.post("/people/new/", added(**fields))
        assert answer.status_code == 422
        assert words in answer.text
        assert NEW not in answer.text
        assert Person.objects.count() == 1


class TestEditing:
    def test_a_role_counts_from_the_next_request(self, boss, client_as, technician):
        at_bench = client_as(technician)
        assert at_bench.get("/people/").status_code == 403
        assert boss.post(f"/people/{technician.pk}/", edited(technician, role="owner")).status_code == 302
        assert at_bench.get("/people/").status_code == 200

    def test_the_second_of_two_owners_sees_both(self, boss, technician):
        boss.post(f"/people/{technician.pk}/", edited(technician, full_name="Tom One"))
        answer = boss.post(f"/people/{technician.pk}/", edited(technician, full_name="Tom Two"))
        assert answer.status_code == 409
        assert 'value="Tom Two"' in answer.text
        assert "Now stands: <b>Tom One</b>" in answer.text
        assert Person.objects.get(pk=technician.pk).full_name == "Tom One"

    def test_what_the_form_does_not_name_can_not_be_sent(self, boss, technician):
        boss.post(
            f"/people/{technician.pk}/", edited(technician, is_superuser="1", password="x", is_active="0")
        )
        technician.refresh_from_db()
        assert technician.is_active
        assert not technician.is_superuser
        assert technician.check_password(PASSWORD)


class TestKeepingAnOwner:
    def test_the_only_owner_can_not_step_down(self, boss):
        answer = boss.post(f"/people/{boss.person.pk}/", edited(boss.person, role="counter"))
        assert answer.status_code == 422
        assert "make someone else an owner first" in answer.text
        boss.person.refresh_from_db()
        assert (boss.person.role, boss.person.version) == ("owner", 1)

    def test_nor_be_switched_off(self, boss):
        answer = boss.post(f"/people/{boss.person.pk}/active/", {"active": "0", "version": 1})
        assert answer.status_code == 409
        assert "make someone else an owner first" in answer.text
        assert Person.objects.get().is_active

    def test_an_owner_who_may_not_log_in_does_not_count(self, boss):
        build.person("owner", username="retired", is_active=False)
        boss.post(f"/people/{boss.person.pk}/active/", {"active": "0", "version": 1})
        assert Person.objects.get(pk=boss.person.pk).is_active

    def test_with_a_second_owner_the_first_may_go(self, boss):
        build.person("owner", username="second")
        boss.post(f"/people/{boss.person.pk}/", edited(boss.person, role="technician"))
        assert Person.objects.get(pk=boss.person.pk).role == "technician"


class TestSwitchingOff:
    def switch(self, boss, person, active, version):
        return boss.post(f"/people/{person.pk}/active/", {"active": active, "version": version}, follow=True)

    def test_it_carries_its_undo(self, boss, technician):
        page = self.switch(boss, technician, 0, 1)
        assert f"{technician} may no longer log in." in page.text
        assert f'action="/people/{technician.pk}/active/"' in page.text
        assert not Person.objects.get(pk=technician.pk).is_active
        undo = dict(page.context["notes"][0]["values"])
        self.switch(boss, technician, **undo)
        assert Person.objects.get(pk=technician.pk).is_active

    def test_the_line_is_shown_once(self, boss, technician):
        self.switch(boss, technician, 0, 1)
        assert "may no longer log in." not in markup(boss.get("/customers/"))

    def test_an_old_page_switches_nobody(self, boss, technician):
        self.switch(boss, technician, 0, 1)
        page = self.switch(boss, technician, 1, 1)
        assert page.status_code == 409
        assert "Someone else changed this person meanwhile" in page.text
        assert not Person.objects.get(pk=technician.pk).is_active


def test_who_may_not_edit_people_learns_nothing_of_who_is_there(client_as, technician):
    desk = client_as("counter")
    addresses = ["/people/{}/", "/people/{}/active/", "/people/{}/password/"]
    for address in addresses:
        there, nowhere = (desk.post(address.format(pk)).status_code for pk in (technician.pk, 999_999))
        assert (there, nowhere) == (403, 403), address


class TestGivenPassword:
    def give(self, boss, person, new=NEW):
        return boss.post(f"/people/{person.pk}/password/", {"new_password1": new, "new_password2": new})

    def test_it_replaces_the_old_one_and_ends_their_sessions(self, boss, client_as, technician):
        at_bench = client_as(technician)
        assert self.give(boss, technician).status_code == 302
        assert Person.objects.get(pk=technician.pk).check_password(NEW)
        assert at_bench.get("/customers/").status_code == 302

    def test_an_owner_giving_their_own_stays_in(self, boss):
        self.give(boss, boss.person)
        assert boss.get("/people/").status_code == 200

    def test_a_poor_one_is_refused(self, boss, technician):
        assert self.give(boss, technician, "12345678").status_code == 422
        assert Person.objects.get(pk=technician.pk).check_password(PASSWORD)


class TestProfile:
    def sent(self, **fields):
        return {
            "name": "Kettle Lane Ignition",
            "paper": "Letter",
            "currency": "usd",
            "tester_unit": "gf",
            "warranty_months": "24",
            "idle_margin_crank_rpm": "200",
            "bench_speeds": "300 500,800",
            "version": Shop.current().version,
        } | fields

    def test_it_is_saved_and_shown_everywhere(self, boss):
        assert boss.post("/shop/", self.sent()).status_code == 302
        shop = Shop.current()
        assert (shop.paper, shop.currency, shop.idle_margin_crank_rpm) == ("Letter", "USD", 200)
        assert "Kettle Lane Ignition" in boss.get("/customers/").text
        assert (shop.bench_speeds, shop.bench_speeds_rpm) == ("300, 500, 800", [300, 500, 800])

    @pytest.mark.parametrize(
        ("fields", "words"),
        [
            ({"currency": "e1r"}, "three letters, as EUR"),
            ({"warranty_months": "121"}, "121 is too high: write 120 or less."),
            ({"warranty_months": "twelve"}, "“twelve” is not a number"),
            ({"idle_margin_crank_rpm": "-5"}, "too low"),
            ({"idle_margin_crank_rpm": "NaN"}, "“NaN” is not a number"),
            ({"paper": "A3"}, "Not on the list"),
            ({"bench_speeds": ""}, "Needed: fill it in."),
            ({"bench_speeds": " , "}, "No speed yet"),
            ({"bench_speeds": "300, 4oo"}, "“4oo” is no whole speed"),
            ({"bench_speeds": "300, ²"}, "“²” is no whole speed"),
            ({"bench_speeds": "300, 1500, 400"}, "400 stands after 1500"),
            ({"bench_speeds": "300, 300"}, "300 stands after 300"),
            ({"bench_speeds": "40, 300"}, "40 distributor rpm is no bench speed"),
            ({"bench_speeds": "300, 99999999999999999999"}, "999999999 distributor rpm is no bench speed"),
            ({"bench_speeds": ", ".join(map(str, range(300, 2800, 100)))}, "leave 24 at most"),
        ],
    )
    def test_what_can_not_be_is_refused(self, boss, fields, words):
        answer = boss.post("/shop/", self.sent(**fields))
        assert answer.status_code == 422
        assert words in answer.text
        assert Shop.current().version == 1

    def test_refused_speeds_stay_as_they_were_typed(self, boss):
        answer = boss.post("/shop/", self.sent(bench_speeds="300, 1500, 400"))
        assert 'value="300, 1500, 400"' in answer.text
        assert Shop.current().bench_speeds_rpm[0] == 300

    def test_two_owners_see_both(self, boss):
        boss.post("/shop/", self.sent(name="One"))
        answer = boss.post("/shop/", self.sent(name="Two", version=1))
        assert answer.status_code == 409
        assert "Now stands: <b>One</b>" in answer.text


@pytest.mark.parametrize("role", ["technician", "counter"])
def test_an_action_asks_for_the_right_itself(role, technician):
    """Whoever calls it: a view that forgot to ask changes nothing."""
    by = build.person(role, username="asker")
    form = PersonForm(edited(technician, role="owner"), instance=technician)
    assert form.is_valid()
    for refused in (
        lambda: actions.edit_person(form, by=by),
        lambda: actions.set_active(technician, active=False, version=1, by=by),
        lambda: actions.add_person(form, by=by),
        lambda: actions.give_password(form, by=by),
        lambda: actions.edit_shop(form, by=by),
    ):
        with pytest.raises(PermissionDenied, match="may not do this"):
            refused()
    assert Person.objects.get(pk=technician.pk).role == "technician"


# As the roles are described to the owner in templates/shop/_roles.html; common practice, no source.
@pytest.mark.parametrize(
    ("right", "who"),
    [
        ("read", {"owner", "technician", "counter"}),
        ("open_job", {"owner", "technician", "counter"}),
        ("edit_intake", {"owner", "technician", "counter"}),
        ("edit_work", {"owner", "technician"}),
        ("edit_curve", {"owner", "technician"}),
        ("move_stage", {"owner", "technician"}),
        ("hand_back", {"owner", "technician", "counter"}),
        ("sign_sheet", {"owner", "technician"}),
        ("build_sheet", {"owner", "technician", "counter"}),
        ("edit_customer", {"owner", "technician", "counter"}),
        ("edit_drawer", {"owner", "technician"}),
        ("edit_shop", {"owner"}),
        ("edit_people", {"owner"}),
    ],
)
def test_each_right_belongs_to_its_roles(right, who):
    assert {role for role in ("owner", "technician", "counter", "", "nobody") if allows(role, right)} == who


def test_an_unknown_right_is_a_mistake_and_someone_switched_off_has_none(technician):
    with pytest.raises(KeyError):
        technician.may("fly")
    technician.is_active = False
    assert not any(technician.may(right) for right in RIGHTS)
