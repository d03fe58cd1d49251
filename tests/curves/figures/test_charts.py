"""The figure: what it says is what was read, its words never touch, and it holds in greyscale."""

import csv
import io
import json
import xml.etree.ElementTree as ET
from itertools import combinations, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curves.figures import charts, label_placement, svg
from curves.models import Frame, Run
from curves.readings import csvfile
from curves.rows import convert, queries
from tests import build

RECEIVED = [(250, 0.5), (400, 4), (600, 7.5), (800, 10), (1250, 12.5), (1600, 12.5)]
TRIAL = [(300, 0), (600, 3.5), (1000, 8.5), (1500, 11), (1800, 11), (1500, 11.5, True), (600, 4.5, True)]


@pytest.fixture
def made(db):
    row = build.build()
    build.target(row)
    build.run(row, RECEIVED, kind=Run.Kind.AS_RECEIVED)
    build.run(row, TRIAL)
    build.run(row, kind=Run.Kind.FINAL)
    return queries.build_for(row.pk)


def test_the_figure_is_in_crank_degrees_and_json_carries_it(made):
    figure = json.loads(json.dumps(charts.figure(made), allow_nan=False))
    final = next(trace for trace in figure["traces"] if trace["role"] == "final")
    assert [(p["crank_rpm"], p["crank_deg"]) for p in final["points"]] == [
        (2 * r, 2 * d) for r, d in build.RISING
    ]
    assert (figure["x"]["title"], figure["y"]["title"]) == ("crank rpm", "crank degrees")
    assert all(tick["at"] == 2 * tick["value"] for tick in figure["x2"]["ticks"] + figure["y2"]["ticks"])


def test_a_run_typed_at_the_crank_is_drawn_where_the_same_one_at_the_distributor_is(db):
    figures, typed_in = [], []
    for frame, factor in ((Frame.SHAFT, 1), (Frame.CRANK, 2)):
        row = build.build()
        build.run(row, [(r * factor, d * factor) for r, d in build.RISING], frame=frame)
        [trace] = charts.figure(queries.build_for(row.pk))["traces"]
        typed_in.append(trace.pop("frame"))
        figures.append(trace)
    assert figures[0] == figures[1]
    assert typed_in == ["shaft", "crank"]


def test_the_table_says_what_the_drawing_says(made):
    figure = charts.figure(made)
    drawn = [point["crank_deg"] for trace in figure["traces"] for point in trace["points"]]
    assert [row["crank_deg"] for row in charts.table_rows(figure)] == drawn
    marks = [node for node in svg_of(figure).iter() if "figure-mark" in node.get("class", "")]
    assert len(marks) == len(drawn)


def test_readings_out_of_the_band_get_another_mark_and_a_word(made):
    figure = charts.figure(made)
    trial = next(trace for trace in figure["traces"] if trace["role"] == "latest")
    out = [point for point in trial["points"] if point["outside_deg"]]
    assert out
    shapes = [n.tag.split("}")[1] for n in svg_of(figure).iter() if "figure-outside" in n.get("class", "")]
    assert shapes == ["polygon"] * len(out)
    [miss] = figure["misses"]
    # Falling, 600 distributor rpm: 4.5 there are 9 crank degrees at 1200, where the band ends at 6 + 1.
    assert (miss["text"], miss["end"]) == ("read 1.0 distributor deg over", [1200, 9])
    assert "read 1.0 distributor deg over" in "".join(svg_of(figure).itertext())


def test_rising_and_falling_marks_differ(made):
    marks = [node for node in svg_of(charts.figure(made)).iter() if "figure-mark" in node.get("class", "")]
    hollow = {node.tag.split("}")[1] for node in marks if "figure-hollow" in node.get("class")}
    solid = {
        node.tag.split("}")[1]
        for node in marks
        if "figure-" in node.get("class") and "hollow" not in node.get("class")
    }
    assert "circle" not in hollow
    assert "circle" in solid


def test_lines_differ_without_colour():
    seen = [(pen["width"], pen["dash"]) for pen in svg.PENS.values()]
    assert len(set(seen)) == len(seen)
    # As received is the thinnest of the runs, the final one the strongest.
    widths = {role: pen["width"] for role, pen in svg.PENS.items()}
    assert widths["as_received"] < widths["latest"] < widths["final"]


def test_colours_on_white_are_the_four_that_everyone_can_tell_apart():
    colours = {pen["stroke"] for role, pen in svg.PENS.items() if role not in ("as_received", "band")}
    assert colours | {svg.OUT_OF_BAND} == {"#000000", "#0072B2", "#D55E00", "#009E73"}


@pytest.mark.parametrize("width_mm", [None, 120, 175])
def test_the_svg_is_well_formed_named_and_within_its_frame(made, width_mm):
    figure = charts.figure(made)
    root = svg_of(figure, width_mm=width_mm)
    width, height = map(float, root.get("viewBox").split()[2:])
    texts = {node.tag.split("}")[1]: node for node in root}
    assert texts["title"].text == "Centrifugal advance"
    assert "final, run 3, up to 22 degrees at 3600 rpm" in texts["desc"].text
    assert root.get("aria-labelledby") == f"{texts['title'].get('id')} {texts['desc'].get('id')}"
    for node in root.iter("{http://www.w3.org/2000/svg}circle"):
        assert 0 < float(node.get("cx")) < width
        assert 0 < float(node.get("cy")) < height
    assert (root.get("width") == f"{width_mm}mm") is bool(width_mm)
    assert all(node.get("style") is None for node in root.iter())


def test_nothing_typed_breaks_out_of_the_svg(db):
    row = build.build()
    build.run(row, kind=Run.Kind.FINAL)
    figure = charts.figure(queries.build_for(row.pk), model=("<b>&", [0, 1000], [0, 5]))
    assert "<b>&" in "".join(svg_of(figure).itertext())


def test_an_empty_build_is_an_empty_figure(db):
    figure = charts.figure(queries.build_for(build.build().pk))
    assert figure["empty"]
    assert not figure["labels"]
    svg_of(figure)


def test_a_run_being_changed_is_drawn_once(made):
    draft = convert.typed_readings([(500, 2.0, False), (900, 6.0, False)], "shaft", convert.drive_of(made))
    latest = queries.newest_runs(made)["latest"]
    roles = [trace["role"] for trace in charts.figure(made, draft=draft, in_place_of=latest)["traces"]]
    assert roles == ["as_received", "final", "draft"]


def test_csv_says_every_reading_in_both_frames_as_the_screen_does(made):
    headings, rows = charts.csv_table(made)
    read = list(csv.DictReader(io.StringIO(csvfile.write(headings, rows))))
    assert len(read) == len(RECEIVED) + len(TRIAL) + len(build.RISING)
    assert read[0]["distributor rpm"] == "250.0"
    assert read[0]["crank deg"] == "1.0"
    back = csvfile.read(csvfile.write(headings, rows).encode(), frame="shaft")
    typed = [(r[0], r[1]) for r in [*RECEIVED, *TRIAL, *build.RISING]]
    assert [(row.speed_rpm, row.advance_deg) for row in back.rows] == typed


axis = {"min": 0.0, "max": 6000.0}, {"min": 0.0, "max": 40.0}
ends = st.lists(
    st.tuples(st.floats(500, 4800), st.floats(0, 40), st.sampled_from(label_placement.STRENGTH)),
    min_size=1,
    max_size=5,
)


@settings(max_examples=300, deadline=None)
@given(ends)
def test_words_at_line_ends_never_touch(found):
    words = [{"role": role, "text": role.replace("_", " "), "end": [x, y]} for x, y, role in found]
    lines = [[(0, 0), tuple(word["end"])] for word in words]
    placed, _ = label_placement.place_words(words, [], lines, *axis)
    column = [word for word in placed if word["leader"] or word["anchor"] == "start"]
    assert len(placed) == len(found)
    for one, other in combinations(column, 2):
        if one["x"] == other["x"]:
            assert abs(one["y"] - other["y"]) >= 40 * label_placement.LINE * 0.999


def test_words_of_real_runs_never_touch(made):
    figure = charts.figure(made)
    boxes = [word["box"] for word in figure["labels"] + figure["misses"]]
    assert len(boxes) == 5
    assert not any(label_placement.overlap(a, b) for a, b in combinations(boxes, 2))


@given(st.lists(st.floats(0, 1), min_size=1, max_size=8).map(sorted))
def test_spread_keeps_order_gap_and_bounds(wanted):
    places = label_placement.spread(wanted, 0.1, 0.05, 0.95)
    assert all(b - a >= 0.1 - 1e-9 for a, b in pairwise(places))
    assert places[0] >= 0.05 - 1e-9
    assert places[-1] <= 0.95 + 1e-9


def test_spread_leaves_alone_what_is_far_enough_apart():
    assert label_placement.spread([0.1, 0.5, 0.9], 0.1, 0.05, 0.95) == [0.1, 0.5, 0.9]


def svg_of(figure, **options):
    return ET.fromstring(svg.svg(figure, **options))


@pytest.mark.parametrize("top", [900, 2200, 3300])
def test_the_range_follows_what_is_drawn(db, top):
    """Readings, band and model in sight from rest on, words beside their ends, and round ticks."""
    row = build.build()
    build.target(row, [(600, 0), (2 * top, 14)])
    build.run(row, [(300, 0), (top, 7)])
    made = queries.build_for(row.pk)
    model = ("expected, Primary with a long label + Secondary with a long one", [0, 2.2 * top], [0, 14])
    figure = charts.figure(made, model=model)
    x, y = figure["x"], figure["y"]
    assert x["min"] == 0
    assert 2.2 * top <= x["max"] <= 2.2 * top / 0.7
    assert 15 <= y["max"] <= 20
    for axis in (x, y):
        steps = {round(b - a, 6) for a, b in pairwise(axis["ticks"])}
        assert len(steps) == 1
        assert f"{steps.pop():e}"[0] in "125"
    assert [label["text"] for label in figure["labels"] if label["role"] == "model"] == ["expected"]


def test_paper_leaves_no_room_for_trials_that_it_does_not_draw(made):
    run = build.run(made, [(300, 0), (4000, 11)])
    figure = charts.figure(queries.build_for(made.pk), with_trials=False)
    assert [trace["role"] for trace in figure["traces"]] == ["as_received", "final"]
    assert figure["x"]["max"] < 2 * run.readings.last().speed_rpm
