"""Each hit says why it matched: the words on the card, the engine beside the wanted one."""

import numpy as np
import pytest
from sklearn.neighbors import NearestNeighbors

from curves.engine import nearest_engines
from jobs.search import excerpts, hits, similarity
from jobs.search.search_text import Piece
from jobs.search.similarity import Wanted
from tests import build

pytestmark = pytest.mark.django_db


def test_snippet_marks_the_word_in_its_own_spelling():
    found = excerpts.snippets([Piece("Finding", "Škoda pivot pin worn")], ["skod", "pin"])
    assert [(s.label, s.text) for s in found] == [
        ("Finding", "<mark>Škoda</mark> pivot <mark>pin</mark> worn")
    ]


def test_snippet_is_escaped():
    found = excerpts.snippets([Piece("Finding", "<script>alert('pin')</script> & pin")], ["script", "pin"])
    assert "<script>" not in found[0].text
    assert found[0].text.startswith("&lt;<mark>script</mark>&gt;")
    assert "&amp; <mark>pin</mark>" in found[0].text


def test_long_text_is_cut_around_the_word():
    text = " ".join(["before"] * 40 + ["needle"] + ["after"] * 40)
    found = excerpts.snippets([Piece("Complaint", text)], ["needle"])
    assert found[0].text.startswith("…before")
    assert found[0].text.endswith("after…")
    assert "<mark>needle</mark>" in found[0].text
    assert len(found[0].text) < 160


def test_code_spaced_otherwise_is_shown_whole():
    found = excerpts.snippets([Piece("Unit number", "TD 44/6-B", is_code=True)], ["44", "6b"])
    assert found[0].text == "TD <mark>44</mark>/6-B"
    found = excerpts.snippets([Piece("Unit number", "TD 44/6-B", is_code=True)], ["td4", "46"])
    assert found[0].text == "<mark>TD 44/6-B</mark>"


def test_each_word_brings_its_own_snippet_once():
    pieces = [Piece("Customer", "Ada Venn"), Piece("Finding", "pin worn"), Piece("Finding", "pin bent")]
    found = excerpts.snippets(pieces, ["ada", "venn", "pin"])
    assert [s.label for s in found] == ["Customer", "Finding"]


ENGINES = [  # displacement cc, compression, cylinders; invented
    (1598, 8.5, 4), (1938, 9.0, 4), (1998, 9.0, 4), (2060, 9.5, 4), (2495, 8.8, 6), (2980, 9.2, 6),
    (4200, 8.0, 8), (850, 7.2, 2), (1275, 8.8, 4), (1116, 7.8, 3), (5010, 8.6, 8), (398, 6.0, 1),
]  # fmt: skip


def by_engine(wanted, text="", **options):
    return [hit.job.engine for hit in hits.find(text, wanted, **options).hits]


@pytest.mark.parametrize("asked", [(2000, 9.0, 4), (1200, 8.2, 4), (4500, 8.3, 8), (700, 7.0, 2)])
def test_engines_are_ranked_as_a_neighbour_search_ranks_them(asked):
    for cc, compression, cylinders in ENGINES:
        build.job(
            engine=build.engine(displacement_cc=cc, compression=compression, cylinders=cylinders, use="")
        )
    # scikit-learn's brute-force neighbours on the same figures, each over what counts as one step
    steps = np.array(
        [asked[0] * similarity.DISPLACEMENT_SHARE, similarity.COMPRESSION_STEP, similarity.CYLINDER_STEP]
    )
    peer = NearestNeighbors(n_neighbors=len(ENGINES), algorithm="brute").fit(np.array(ENGINES) / steps)
    expected = peer.kneighbors([np.array(asked) / steps], return_distance=False)[0]
    found = by_engine(Wanted(*asked))
    assert [engine.displacement_cc for engine in found] == [ENGINES[index][0] for index in expected]
    ours = nearest_engines(asked, ENGINES, len(ENGINES), spread=steps)
    assert ours.index.tolist() == expected.tolist()


def test_distance_is_the_sum_of_squared_steps():
    build.job(engine=build.engine(displacement_cc=1125, compression=9.5, cylinders=6, use="marine"))
    job = hits.find("", Wanted(1000, 8.0, 4, "road")).hits[0].job
    assert job.distance == pytest.approx(1.0 + 4.0 + 4.0 + 1.0)


def test_unwritten_figures_rank_behind_near_ones_and_before_far_ones():
    near = build.job(engine=build.engine(compression=9.5)).engine
    unwritten = build.job(engine=build.engine(compression=None)).engine
    far = build.job(engine=build.engine(compression=6.0)).engine
    assert by_engine(Wanted(compression=9.0)) == [near, unwritten, far]


def test_same_use_ranks_first():
    other = build.job(engine=build.engine(use="tractor")).engine
    blank = build.job(engine=build.engine(use="")).engine
    same = build.job(engine=build.engine(use="marine")).engine
    assert by_engine(Wanted(use="marine")) == [same, other, blank]


def test_words_narrow_and_the_engine_ranks():
    far = build.job(engine=build.engine(displacement_cc=3000), complaint="hunts").engine
    build.job(engine=build.engine(displacement_cc=2000), complaint="pinks")
    near = build.job(engine=build.engine(displacement_cc=1900), complaint="hunts").engine
    hits.reindex_all()
    assert by_engine(Wanted(2000), "hunt") == [near, far]


def test_card_without_an_engine_is_no_neighbour():
    build.job(engine=None)
    assert by_engine(Wanted(2000)) == []


def test_reasons_say_how_far_off():
    engine = build.engine(displacement_cc=1938, compression=9.0, cylinders=4, use="road")
    assert similarity.reasons(Wanted(1998, 9.0, 4, "road"), engine) == [
        "1938 cc, 60 cc off", "compression equal", "4 cylinders", "road use",
    ]  # fmt: skip
    assert similarity.reasons(Wanted(1938, 8.5, 6, "marine"), engine) == [
        "1938 cc, equal", "compression 9, 0.5 off", "4 cylinders, not 6", "road use, not marine",
    ]  # fmt: skip
    blank = build.engine(displacement_cc=None, compression=None, cylinders=None, use="")
    assert all(
        reason.endswith("not written") for reason in similarity.reasons(Wanted(1, 1, 1, "road"), blank)
    )


def test_own_wishes_go_before_those_of_the_job_named():
    engine = build.engine(displacement_cc=1938, compression=9.0, cylinders=4, use="road")
    assert Wanted(cylinders=6).or_else(Wanted.like(engine)) == Wanted(1938, 9.0, 6, "road")
