"""The door: logging in and out, the throttle, the password, light or dark."""

from datetime import timedelta

import pytest
from axes.models import AccessAttempt
from django.urls import reverse
from django.utils import timezone

from shop.account_forms import PasswordForm
from shop.models import Person
from tests import build
from tests.build import PASSWORD

pytestmark = pytest.mark.django_db
LOGIN = "/login/"
NEW = "anvil-and-tongs-9"


def log_in(client, username="technician", password=PASSWORD, **extra):
    return client.post(LOGIN, {"username": username, "password": password, **extra})


def test_the_right_password_opens_the_door(client, technician):
    answer = log_in(client, next="/customers/")
    assert answer.headers["Location"] == "/customers/"
    assert client.get("/customers/").status_code == 200


def test_another_site_is_no_place_to_go_on_to(client, technician):
    for elsewhere in ("https://elsewhere.example/", "//elsewhere.example", "javascript:alert(1)"):
        answer = log_in(client, next=elsewhere)
        assert "elsewhere" not in answer.headers["Location"]
        assert "javascript" not in answer.headers["Location"]
        client.logout()


@pytest.mark.parametrize(("username", "password"), [("technician", "wrong"), ("nobody", PASSWORD), ("", "")])
def test_a_wrong_one_keeps_the_name_and_says_how_to_go_on(client, technician, username, password):
    answer = log_in(client, username, password)
    assert answer.status_code == 422
    assert f'value="{username}"' in answer.text or not username
    assert password == "" or password not in answer.text
    assert "Check both" in answer.text or "Needed" in answer.text


def test_wrong_name_and_wrong_password_read_the_same(client, technician):
    known = log_in(client, "technician", "wrong").text
    unknown = log_in(client, "nobody", "wrong").text
    assert "go together" in known
    assert known.count("go together") == unknown.count("go together")


def test_someone_switched_off_stays_outside(client, technician):
    client.force_login(technician)
    Person.objects.update(is_active=False)
    assert client.get("/customers/").status_code == 302
    assert log_in(client).status_code == 422


def test_logging_out_closes_the_door(client_as):
    client = client_as("counter")
    assert client.post("/logout/").headers["Location"] == reverse("login")
    assert client.get("/customers/").status_code == 302


class TestThrottle:
    def lock(self, client):
        for _ in range(8):
            answer = log_in(client, password="wrong")
        return answer

    def test_eight_wrong_ones_close_it_for_that_name_there(self, client, technician):
        answer = self.lock(client)
        assert answer.status_code == 429
        assert "Wait a quarter of an hour" in answer.text
        assert log_in(client).status_code == 429  # even with the right one

    def test_other_names_and_other_places_stay_open(self, client, technician, counter):
        self.lock(client)
        assert log_in(client, "counter").status_code == 302
        client.logout()
        assert (
            client.post(
                LOGIN, {"username": "technician", "password": PASSWORD}, REMOTE_ADDR="198.51.100.7"
            ).status_code
            == 302
        )

    def test_it_opens_again_by_itself(self, client, technician):
        self.lock(client)
        AccessAttempt.objects.update(attempt_time=timezone.now() - timedelta(minutes=16))
        assert log_in(client).status_code == 302

    def test_a_right_one_forgets_the_wrong_ones_before(self, client, technician):
        for _ in range(7):
            log_in(client, password="wrong")
        assert log_in(client).status_code == 302
        client.logout()
        assert log_in(client, password="wrong").status_code == 422


class TestPassword:
    def send(self, client, old=PASSWORD, new=NEW, again=NEW):
        return client.post("/password/", {"old_password": old, "new_password1": new, "new_password2": again})

    def test_it_changes_and_the_session_goes_on(self, client_as):
        client = client_as("technician")
        assert self.send(client).status_code == 302
        assert Person.objects.get().check_password(NEW)
        assert client.get("/customers/").status_code == 200

    def test_other_sessions_end(self, client_as, technician):
        here, elsewhere = client_as(technician), client_as(technician)
        self.send(here)
        assert elsewhere.get("/customers/").status_code == 302

    @pytest.mark.parametrize(
        ("sent", "words"),
        [
            ({"old": "wrong"}, "Not your present password"),
            ({"again": "other-than-new-1"}, "The two differ"),
            ({"new": "short1", "again": "short1"}, "too short"),
            ({"new": "password", "again": "password"}, "too common"),
            ({"new": "73920184", "again": "73920184"}, "entirely numeric"),
            ({"new": "technician1", "again": "technician1"}, "too similar"),
        ],
    )
    def test_a_bad_one_is_refused_beside_its_field(self, client_as, sent, words):
        answer = self.send(client_as("technician"), **sent)
        assert answer.status_code == 422
        assert words in answer.text
        assert Person.objects.get().check_password(PASSWORD)

    def test_the_rules_said_are_the_rules_kept(self, technician):
        """Each rule in the hint refuses something, and what keeps them all is taken."""
        rules = str(PasswordForm(technician)["new_password1"].help_text)
        for rule, broken in {
            "8 characters": "aB3-xyz",
            "only digits": "73920184",
            "common": "password",
            "like the name": "technician1",
        }.items():
            assert rule in rules
            sent = {"old_password": PASSWORD, "new_password1": broken, "new_password2": broken}
            assert not PasswordForm(technician, sent).is_valid(), rule


def test_a_background_send_without_a_session_loses_nothing(client):
    """htmx would put the login form where the work was; instead it gets words to show beside it."""
    answer = client.get(LOGIN, headers={"HX-Request": "true"})
    assert answer.status_code == 401
    assert "data-cause" in answer.text
    assert "<form" not in answer.text


class TestTheme:
    def test_the_choice_is_kept_and_used(self, client):
        answer = client.post("/theme/", {"theme": "dark", "next": "/login/"})
        assert answer.headers["Location"] == "/login/"
        assert 'data-theme="dark"' in client.get(LOGIN).text

    def test_the_footer_calls_it_the_theme(self, client, client_as):
        for page in (client.get(LOGIN), client_as("counter").get("/")):
            chooser = page.text.split("data-theme-choice>")[1].split("</form>")[0]
            assert "<legend>Theme</legend>" in chooser
            assert "paper" not in chooser.lower()

    def test_as_the_device_forgets_it(self, client):
        client.post("/theme/", {"theme": "light"})
        client.post("/theme/", {"theme": ""})
        assert "data-theme=" not in client.get(LOGIN).text

    @pytest.mark.parametrize("theme", ["neon", '"><script>', "dark light"])
    def test_an_unknown_one_changes_nothing(self, client, theme):
        client.post("/theme/", {"theme": theme})
        client.cookies["theme"] = "neon"
        assert "data-theme=" not in client.get(LOGIN).text

    def test_it_leads_nowhere_else(self, client):
        answer = client.post("/theme/", {"theme": "dark", "next": "https://elsewhere.example/"})
        assert answer.headers["Location"] == "/"


def test_a_second_person_with_the_same_name_is_told(client_as):
    build.person("counter", username="mila")
    client = client_as("owner")
    sent = {
        "full_name": "Mila Two",
        "username": "MILA",
        "role": "counter",
        "password1": NEW,
        "password2": NEW,
    }
    answer = client.post("/people/new/", sent)
    assert answer.status_code == 422
    assert "Taken already: choose another." in answer.text
