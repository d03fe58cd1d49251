"""What hung in a run, as a name and within a sentence: no space before what follows it."""

import pytest
from django.template import engines

from tests import build

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]

PAGE = "{% load springs %}{{ run|pair }}: {{ run|springs_in }}."


@pytest.mark.parametrize(
    ("second", "bends_mm", "said"),
    [
        (False, (0, 0), "P<1>: P<1>."),
        (True, (0, 0), "P<1> + S2: P<1> + S2."),
        (
            True,
            (0.15, -0.1),
            "P<1> (post +0.15 mm) + S2 (post −0.10 mm): P<1>, post bent +0.15 mm + S2, post bent −0.10 mm.",
        ),
    ],
)
def test_a_pair_is_named_with_its_bends(second, bends_mm, said):
    run = build.run(
        build.job().build,
        primary=build.spring("P<1>"),
        secondary=build.spring("S2") if second else None,
        primary_bend_mm=bends_mm[0],
        secondary_bend_mm=bends_mm[1],
    )
    assert _page(run) == said.replace("<", "&lt;").replace(">", "&gt;")


def test_where_nothing_was_written_down_the_units_own_hung():
    assert _page(build.run(build.job().build)) == "own springs: ."


def _page(run):
    return engines["django"].from_string(PAGE).render({"run": run})
