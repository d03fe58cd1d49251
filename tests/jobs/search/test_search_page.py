"""The search page: live as one types, by a link, without JavaScript; its states look different."""

import pytest
from django.urls import reverse
from django.utils import timezone

from curves.models import Run
from jobs.models import Finding
from jobs.moves import actions as moving
from jobs.search import hits
from jobs.stages import ORDER, Stage
from shop.models import Shop
from tests import build
from tests.reading import markup

pytestmark = pytest.mark.django_db
LIVE = {"HX-Request": "true"}


@pytest.fixture
def look(client_as):
    """``look(words="…")``: the answer of the search page to a technician."""
    client = client_as("technician")

    def ask(headers=None, **asked):
        return client.get(reverse("search"), asked, headers=headers)

    return ask


@pytest.fixture
def card():
    made = build.job(number=41, customer=build.customer("Ottoline Brandreth"), complaint="Hunts at idle")
    hits.reindex(made)
    return made


def text_of(response):
    return markup(response)


def test_page_without_a_question_says_how_to_ask(look):
    response = look()
    assert response.status_code == 200
    assert 'data-state="empty"' in text_of(response)
    assert "<html" in text_of(response)


def test_hit_leads_to_its_card_and_says_where_the_word_stands(look, card):
    page = text_of(look(words="hunt"))
    assert 'data-state="found"' in page
    assert f'href="{reverse("card", args=[41])}"' in page
    assert "<dt>Complaint</dt><dd><mark>Hunts</mark> at idle</dd>" in page


def test_hit_says_what_a_card_was_handed_back_without(look, person):
    job = build.job(stage="hand_back", worked=True, complaint="hunts at idle")
    moving.hand_back(job, by=person, handed_to="Marta", reason="she takes the train")
    assert "handed back without a signed curve sheet" in text_of(look(words="hunts"))
    build.job(complaint="pinks", closed_at=timezone.now())
    hits.reindex_all()
    assert "without" not in text_of(look(words="pinks")).split("<main")[1]


def test_no_match_is_said_with_a_way_out(look, card):
    response = look(words="carburettor")
    assert response.status_code == 200
    assert 'data-state="none"' in text_of(response)
    assert "No card matches." in text_of(response)


def test_what_cannot_be_read_is_said_beside_its_field_and_kept(look, card):
    response = look(words="hunt", displacement="big", like="999")
    page = text_of(response)
    assert response.status_code == 422
    assert 'data-state="failed"' in page
    assert 'value="big"' in page
    assert 'value="hunt"' in page
    assert "There is no job 999" in page
    assert 'id="search-displacement_error"' in page


@pytest.mark.parametrize("typed", ["nan", "inf", "-5", "1e999", "99999999"])
def test_impossible_figure_is_refused(look, typed):
    assert look(displacement=typed).status_code == 422


def test_live_answer_is_the_found_part_alone_and_the_same(look, card):
    whole, part = look(words="hunt"), look(LIVE, words="hunt")
    assert "<html" not in text_of(part)
    assert text_of(part) in text_of(whole)
    assert "HX-Request" in part["Vary"]


def test_address_keeps_what_was_asked_and_nothing_empty(look, card):
    part = look(LIVE, words="hunt at", displacement="", use="road", like="")
    assert part["HX-Replace-Url"] == reverse("search") + "?words=hunt+at&use=road"
    assert look(LIVE, words="")["HX-Replace-Url"] == reverse("search")


def test_engine_is_found_by_its_figures_and_says_why(look):
    build.job(number=7, engine=build.engine(displacement_cc=1938, compression=9.0))
    page = text_of(look(displacement="1998", compression="9,0", cylinders="4"))
    assert "<li>1938 cc, 60 cc off</li><li>compression equal</li><li>4 cylinders</li>" in page
    assert "nearest engine first" in page


def test_like_a_job_finds_its_neighbours_and_not_itself(look, card):
    build.job(number=42, engine=build.engine(displacement_cc=1610))
    page = text_of(look(like="41"))
    assert reverse("card", args=[42]) in page
    assert f'href="{reverse("card", args=[41])}"' not in page
    assert "1610 cc, 10 cc off" in page


def test_job_without_an_engine_is_no_model_for_others(look):
    build.job(number=5, engine=None)
    response = look(like="5")
    assert response.status_code == 422
    assert "No engine is written on job 5" in text_of(response)


def test_final_curve_is_drawn_beside_the_hit(look, card):
    assert "<polyline" not in text_of(look(words="hunt"))
    build.run(card.build, kind=Run.Kind.FINAL)
    page = text_of(look(words="hunt"))
    assert "<polyline" in page
    assert "22 crank degrees at 3600 crank rpm" in page


def test_words_of_a_card_never_become_markup(look):
    made = build.job(complaint="<script>alert('hunts')</script>", customer=build.customer("<b>Mallory</b>"))
    hits.reindex(made)
    page = text_of(look(words="alert"))
    assert "<script>alert" not in page
    assert "&lt;script&gt;<mark>alert</mark>" in page
    assert "<b>Mallory" not in page
    assert 'value="&quot;&gt;&lt;i&gt;"' in text_of(look(words='"><i>'))


def test_more_hits_are_a_link_away(look):
    for _ in range(hits.HITS + 2):
        hits.reindex(build.job(complaint="hunts"))
    page = text_of(look(words="hunts", use=""))
    assert f"The first {hits.HITS}; more match" in page
    assert "words=hunts&amp;shown=60" in page
    assert "32 cards" in text_of(look(words="hunts", shown="60"))


@pytest.mark.parametrize("role", ["owner", "technician", "counter"])
def test_everyone_in_the_shop_may_search(client_as, card, role):
    assert "Ottoline" in text_of(client_as(role).get(reverse("search"), {"words": "hunts"}))


def test_stranger_is_sent_to_the_login(client, card):
    response = client.get(reverse("search"), {"words": "hunts"})
    assert response.status_code == 302
    assert response["Location"].startswith(reverse("login"))


def test_search_takes_no_post(client_as):
    assert client_as("owner").post(reverse("search")).status_code == 405


@pytest.mark.parametrize("count", [10, 200])
def test_page_takes_the_same_few_queries_for_any_number_of_jobs(
    look, count, django_assert_max_num_queries, person
):
    """Person, session, shop and the card to be like; four for the hits, four for how they stand."""
    for place in range(count):
        made = build.job(complaint="hunts at idle", stage=ORDER[place % len(ORDER)])
        build.target(made.build)
        Finding.objects.create(job=made, text="post bent", stage=Stage.INTAKE, by=person)
        build.run(made.build, kind=Run.Kind.FINAL, by=person)
    hits.reindex_all()
    like = build.job()
    Shop.current()
    with django_assert_max_num_queries(12):
        assert look(words="hunts", like=str(like.number)).status_code == 200
