"""A card is found by any word written on it: folded, by its beginning, in any order."""

from datetime import UTC, datetime

import pytest
from django.urls import reverse

from jobs.models import Finding, Inspection, InspectionPoint, PartLine, Photo, RoadReport
from jobs.search import hits, search_text
from jobs.stages import Stage
from tests import build

pytestmark = pytest.mark.django_db


def indexed(**fields):
    made = build.job(**fields)
    hits.reindex(made)
    made.refresh_from_db()
    return made


def numbers(text, **options):
    return [hit.job.number for hit in hits.find(text, **options).hits]


@pytest.mark.parametrize(
    ("written", "typed"),
    [
        ("Škoda", "skoda"),
        ("Ångström", "ANGSTROM"),
        ("Weiß", "weiss"),
        ("Sørensen", "sorensen"),
        ("Łukasz", "lukasz"),
        ("Cafe\u0301", "café"),  # one letter typed as two marks
    ],
)
def test_accents_and_case_do_not_matter(written, typed):
    assert search_text.fold(written) == search_text.fold(typed)


def test_every_word_in_any_order_is_found_by_its_beginning():
    card = indexed(customer=build.customer("Ottoline Brandreth"), complaint="Pinks on the long hill")
    indexed(customer=build.customer("Ottoline Marsh"), complaint="Won't start")
    assert numbers("hill otto") == [card.number]
    assert numbers("brand pink") == [card.number]


def test_word_is_not_found_by_its_middle():
    indexed(customer=build.customer("Ottoline Brandreth"))
    assert numbers("reth") == []


def test_one_missing_word_is_no_match():
    indexed(customer=build.customer("Ottoline Brandreth"))
    assert numbers("brandreth carburettor") == []


def test_everything_written_on_the_card_is_found(person):
    first, second = build.spring("GX-14"), build.spring("HY/22")
    card = build.job(
        customer=build.customer("Ada Venn", company="Venn Haulage", phone="+44 1632 960123"),
        engine=build.engine(vehicle="Tern coupé", make="Halvorsen", model="H6"),
        unit=build.unit(maker="Tolliver", number="TD 44/6-B", date_code="17 71", capsule="VC 9"),
        complaint="hesitates",
        came_with="cap and clip",
        tray="K12",
        setting_note="strobe at crank pulley",
        handed_to="her brother Piet",
    )
    build.answer(card, note="go ahead, said by telephone")
    stage = Stage.TEARDOWN
    Finding.objects.create(job=card, text="pivot seized with varnish", stage=stage, by=person)
    PartLine.objects.create(
        job=card, text="condenser", state=PartLine.State.LEFT_OFF, why="owner fits own", by=person
    )
    point = InspectionPoint.objects.create(key="end-float", label="End float")
    Inspection.objects.create(job=card, point=point, verdict="worn", note="shim needed", by=person)
    Photo.objects.create(
        job=card, image="x.jpg", width=1, height=1, caption="broken tang", stage=stage, by=person
    )
    build.run(card.build, primary=first, secondary=second, note="machine warmed up", by=person)
    build.target(card.build, note="regular petrol")
    RoadReport.objects.create(job=card, text="lazy below the ton", by=person)
    hits.reindex(card)
    for typed in [
        str(card.number), "ada", "haulage", "01632 960123", "960123", "+44 1632", "441632960123",
        "tern coupe", "halvorsen h6", "1600", "tolliver", "TD44", "td 44 6", "446b", "17/71", "vc9",
        "hesitates", "clip", "k12", "telephone", "pulley", "piet", "varnish", "condenser", "owner fits",
        "shim", "tang", "gx14", "hy 22", "warmed", "petrol", "lazy ton",
    ]:  # fmt: skip
        assert numbers(typed) == [card.number], typed


def test_code_is_found_however_it_is_spaced():
    card = indexed(unit=build.unit(number="0 231-170.034"))
    for typed in ("0231170034", "0231 170 034", "231.170", "23 11 70"):
        assert numbers(typed) == [card.number], typed


def test_shop_stock_is_found_as_such():
    card = indexed(customer=None)
    indexed()
    assert numbers("stock") == [card.number]


def test_typed_number_comes_first_and_the_rest_newest_first():
    old = indexed(number=7, complaint="nothing")
    middle = indexed(number=70, complaint="seven of 7 leads")
    new = indexed(number=71, complaint="another")
    assert numbers("7") == [old.number, new.number, middle.number]
    assert numbers("") == [71, 70, 7]


def test_open_and_handed_back_cards_are_told_apart():
    now_open = indexed()
    back = indexed(closed_at=datetime(2024, 5, 2, tzinfo=UTC))
    assert numbers("", closed=True) == [back.number]
    assert numbers("", closed=False) == [now_open.number]


@pytest.mark.parametrize("typed", ["%", "_", "\\", "'", '"', "--", "%%%", "\x00", "🔧", "9" * 400])
def test_marks_and_nonsense_are_harmless(typed):
    indexed()
    assert numbers(f"zzz{typed}") == []
    hits.find(typed)


def test_card_is_found_under_the_customers_new_name(client_as):
    card = indexed(customer=build.customer("Ottoline Brandreth"))
    fields = {"name": "Ottoline Marchbanks", "version": card.customer.version}
    address = reverse("edit_customer", args=[card.customer.pk])
    assert client_as("counter").post(address, fields).status_code == 302
    assert numbers("marchbanks") == [card.number]
    assert numbers("brandreth") == []


def test_all_visits_of_a_unit_are_found_by_its_new_number():
    unit = build.unit(number="TD 44")
    first, second = indexed(unit=unit), indexed(unit=unit)
    unit.number = "TD 45"
    unit.save()
    hits.reindex(second)
    assert numbers("td45") == [second.number, first.number]


def test_reindex_all_rewrites_only_what_changed(django_assert_max_num_queries):
    cards = [build.job() for _ in range(3)]
    assert hits.reindex_all() == 3
    Finding.objects.create(job=cards[1], text="mouse nest", stage=Stage.INTAKE, by=build.person())
    with django_assert_max_num_queries(10):
        assert hits.reindex_all() == 1
    assert numbers("mouse") == [cards[1].number]


def test_more_is_said_when_there_are_more():
    for _ in range(3):
        indexed()
    assert hits.find("", limit=2).more
    assert not hits.find("", limit=3).more


@pytest.mark.parametrize("count", [10, 200])
def test_count_of_queries_does_not_grow(count, django_assert_num_queries, person):
    for number in range(count):
        card = build.job(complaint="hunts at idle")
        Finding.objects.create(job=card, text=f"finding {number}", stage=Stage.INTAKE, by=person)
        build.run(card.build, primary=None, note="first", by=person)
    hits.reindex_all()
    with django_assert_num_queries(3):
        assert len(hits.find("hunts").hits) == min(count, hits.HITS)
