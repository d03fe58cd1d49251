"""The PDF itself: its size, its words, its QR, its bytes, and that it reaches for nothing."""

import contextlib
import gc
import logging
import re
import threading
import tracemalloc
from http.server import BaseHTTPRequestHandler, HTTPServer
from io import BytesIO
from itertools import pairwise

import pytest
import segno
from django.template.loader import render_to_string
from pypdf import PdfReader
from weasyprint.urls import FatalURLFetchingError

from curves.models import Run
from jobs.models import PartLine, Sheet, Step
from jobs.papers import pdf
from jobs.rules.points import new_steps
from jobs.rules.recorded import recorded_sha256
from shop.models import Shop
from shop.templatetags.numbers import fixed
from tests import build
from tests.jobs.papers.paperwork import draft, finished_job, reader, signed_sheet, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.slow, pytest.mark.any_database]

# ISO 216: A4 is 210 mm x 297 mm. ANSI/ASME Y14.1: size A (Letter) is 8.5 in x 11 in. A PDF point is 1/72 in.
PAPERS = {"A4": (210 / 25.4 * 72, 297 / 25.4 * 72), "Letter": (8.5 * 72, 11 * 72)}


@pytest.mark.parametrize("kind", Sheet.Kind.values)
@pytest.mark.parametrize("paper", PAPERS)
def test_every_page_has_the_size_asked_for(kind, paper):
    pages = reader(draft(finished_job(), kind, paper_size=paper)).pages
    for page in pages:
        size = (float(page.mediabox.width), float(page.mediabox.height))
        assert size == pytest.approx(PAPERS[paper], abs=0.5)


@pytest.mark.parametrize("paper", PAPERS)
def test_curve_sheet_is_one_leaf_with_the_setting_card_in_front(paper):
    sheet = signed_sheet(finished_job(), paper_size=paper)
    front, back = reader(sheet).pages
    assert "Setting card" in front.extract_text()
    assert "page 1 of 2" in front.extract_text()
    assert "page 2 of 2" in back.extract_text()
    assert sheet.data_sha256 in back.extract_text()


def test_signed_curve_sheet_says_what_the_card_says():
    job = finished_job(by=build.person("owner", full_name="Ingrid Halvard"))
    sheet = signed_sheet(job, by=job.opened_by)
    text = text_of(sheet)
    for said in (
        "SIGNED", "Revision 1", "Ingrid Halvard", f"Job {job.number}", "Marta Quill", str(job.unit),
        "Larkfield L4", "Final run 2 proved: sweeps in the band.",
        "Engine warm, vacuum line off and plugged.",
        "Reconnect the vacuum line", "Thin 0.6", "+0.15", "Oil-soaked bush", "supplied loose",
        "left off", "fits the car", "Weights sticking", "Shaft side play", "detonation",
        sheet.data_sha256, sheet.content["url"],
    ):  # fmt: skip
        assert said in text, said
    assert "Bench hours" not in text
    for row in sheet.content["curve"]["setting_card"]:
        assert f"{fixed(row['crank_deg'])}°" in text
    for run in job.build.runs.all():
        for one in run.readings.all():
            # The crank of a four-stroke makes two turns for one of the distributor.
            assert f"{one.advance_deg * 2:.1f}" in text


@pytest.mark.parametrize("paper", PAPERS)
def test_a_blank_job_sheet_fits_its_page(paper):
    Shop.current()
    Shop.objects.update(phone="01 555 0100", email="bench@shop.example", paper_note="Parts kept a month.")
    job = build.job(
        complaint="Idle hunts between 700 and 900, worse when warm.", came_with="Cap, rotor, clamp."
    )
    Step.objects.bulk_create(new_steps(job))
    [page] = reader(draft(job, Sheet.Kind.JOB_SHEET, paper_size=paper)).pages
    assert "Draft of" in page.extract_text()


def test_parts_wanted_stand_on_the_paper_as_they_are_in_the_sum():
    job = finished_job()
    before = recorded_sha256(job)
    PartLine.objects.create(job=job, text="Condenser of 0.22 uF", state="wanted", price=9, by=job.opened_by)
    assert "wanted, not fitted yet Condenser of 0.22 uF" in text_of(draft(job, Sheet.Kind.JOB_SHEET))
    assert recorded_sha256(job) != before


def test_limits_on_paper_carry_their_unit():
    assert "up to 0.1 mm" in text_of(draft(finished_job(), Sheet.Kind.JOB_SHEET))


def test_what_is_allowed_on_the_setting_card_is_the_band_with_the_initial_timing():
    # The band of 600, 1200, 2000, 3000, 3600: 0, 6, 15, 21, 22, a degree either way, 1.5 at the fast end.
    job = finished_job()
    sheet = signed_sheet(job)
    text, target = text_of(sheet), job.build.target
    rows = [row for row in sheet.content["curve"]["setting_card"] if row["low_crank_deg"] is not None]
    assert len(rows) == 4
    for row in rows:
        low, high = band_at(target, row["crank_rpm"])
        assert (row["low_crank_deg"], row["high_crank_deg"]) == (
            pytest.approx(low + 10), pytest.approx(high + 10)
        )  # 10 is the initial timing  # fmt: skip
        assert f"{fixed(row['low_crank_deg'])} to {fixed(row['high_crank_deg'])}°" in text


def band_at(target, rpm):
    """The band between its points, by hand."""
    points = [(p.crank_rpm, p.crank_deg, p.tolerance_crank_deg) for p in target.points.all()]
    for (x0, y0, t0), (x1, y1, t1) in pairwise(points):
        if x0 <= rpm <= x1:
            share = (rpm - x0) / (x1 - x0)
            middle, width = y0 + share * (y1 - y0), t0 + share * (t1 - t0)
            return middle - width, middle + width
    raise AssertionError(f"no band at {rpm}")


def test_a_signed_sheet_of_before_still_prints():
    """Data frozen when the setting card said a degree either way and parts wanted were left out."""
    job = finished_job()
    content = draft(job).content
    for row in content["curve"]["setting_card"]:
        del row["outside"]
    html = render_to_string("sheets/curve_sheet.html", {"sheet": content, "data_sha256": "0" * 64})
    assert "within, crank degrees" in html


def test_job_sheet_holds_the_whole_record():
    text = text_of(draft(finished_job(), Sheet.Kind.JOB_SHEET))
    for said in (
        "DRAFT",
        "not signed",
        "Idle hunts",
        "clamp plate",
        "Degrease",
        "common practice",
        "Setting card",
    ):
        assert said in text, said


def test_curve_outside_the_band_says_where_and_how_far():
    job = build.job()
    # 1.5 distributor degrees are 3 crank degrees over 6, of which 1 is allowed: 2.0 over at 1200.
    build.run(job.build, [(300, 0.0), (600, 4.5), (1000, 7.5), (1800, 11.0)], kind=Run.Kind.FINAL)
    build.target(job.build)
    text = text_of(signed_sheet(job))
    assert "Final run 1: rising sweep out of the band, falling sweep not read." in text
    assert "prove" not in text
    assert "by 1.0 distributor degrees (2.0 crank) over, at 600 distributor rpm (1200 crank)" in text
    assert "▲ over" in text


def test_long_tables_repeat_their_head():
    job = finished_job()
    job.build.runs.all()
    build.run(
        job.build,
        [(100 + 10 * i, min(11.0, 0.05 * i)) for i in range(150)],
        kind=Run.Kind.FINAL,
    )
    pages = [page.extract_text() for page in reader(draft(job)).pages]
    holding = [page for page in pages if re.search(r"^\d{3,4} \d{3,4} ", page, re.MULTILINE)]
    assert len(holding) > 2
    assert all("band, crank degrees" in page for page in holding)


def test_pdf_names_its_title_language_author_and_date():
    sheet = signed_sheet(finished_job(by=build.person("owner")), by=build.person("owner"))
    book = reader(sheet)
    assert book.metadata.title == f"Curve sheet, job {sheet.job.number}, revision 1"
    assert book.metadata.author == "Robin Owner"
    assert book.metadata.creation_date == sheet.signed_at.replace(microsecond=0)
    assert book.trailer["/Root"]["/Lang"] == "en-GB"
    assert book.trailer["/Root"]["/MarkInfo"]["/Marked"]
    # PDF/UA-1 (ISO 14289-1) is claimed by pdfuaid:part in the metadata.
    assert b'pdfuaid:part="1"' in book.trailer["/Root"]["/Metadata"].get_data()


def test_same_data_gives_the_same_bytes():
    sheet = signed_sheet(finished_job())
    with sheet.pdf.open("rb") as file:
        assert file.read() == pdf.print_sheet(sheet.content, data_sha256=sheet.data_sha256)


def test_chart_is_rebuilt_from_what_was_frozen():
    job = finished_job()
    sheet = signed_sheet(job)
    job.build.runs.update(removed=True)
    again = pdf.print_sheet(sheet.content, data_sha256=sheet.data_sha256)
    with sheet.pdf.open("rb") as file:
        assert file.read() == again


def test_fonts_are_embedded_as_subsets():
    fonts = set()
    for page in reader(draft(finished_job())).pages:
        for font in page["/Resources"]["/Font"].values():
            fonts.add(font.get_object()["/BaseFont"])
    # ISO 32000-1, 9.6.4: a subset's name begins with six capitals and a plus sign.
    assert fonts
    assert all(re.match(r"/[A-Z]{6}\+", name) for name in fonts)


def test_printing_complains_about_nothing(caplog):
    sheet = draft(finished_job(), Sheet.Kind.JOB_SHEET, built=False)
    with caplog.at_level(logging.DEBUG, logger="weasyprint"):
        pdf.print_sheet(sheet.content, data_sha256=sheet.data_sha256)
    assert [record.message for record in caplog.records if record.levelno >= logging.WARNING] == []


def test_words_from_outside_are_text_and_never_markup():
    trap = '<img src="file:///etc/hostname"><script>1</script>'
    job = finished_job()
    job.complaint = trap
    job.save(update_fields=["complaint"])
    shop = Shop.current()
    shop.name = '"><link rel=stylesheet href=http://198.51.100.7/x.css>'
    shop.save()
    assert trap.replace(" ", "") in text_of(draft(job, Sheet.Kind.JOB_SHEET)).replace(" ", "")


@pytest.mark.parametrize(
    "reach",
    [
        '<img src="file:///etc/hostname">',
        '<img src="http://198.51.100.7/x.png">',
        '<img src="data:image/png;base64,iVBORw0KGgo=">',
        '<link rel="stylesheet" href="https://198.51.100.7/x.css">',
        '<link rel="attachment" href="file:///etc/passwd">',
        '<style>@import "http://198.51.100.7/x.css";</style>',
        "<style>@font-face { font-family: x; src: url(file:///etc/hostname) }</style>",
        '<p style="background: url(http://198.51.100.7/x.png)">x</p>',
        '<svg viewBox="0 0 9 9"><image href="file:///etc/hostname" width="9" height="9"/></svg>',
        '<img src="sheet:photo-2">',
    ],
)
def test_paper_that_reaches_for_anything_is_not_printed(reach):
    with pytest.raises(pdf.Unprintable, match=r"may not fetch|Failed to render SVG"):
        pdf.print_html(f"<html lang=en><title>x</title><p>x</p>{reach}", {"photo-1": (b"", "image/png")})


@pytest.fixture
def canary():
    """A server that nobody should call; gives its address and the list of calls."""
    calls = []

    class Canary(BaseHTTPRequestHandler):
        def do_GET(self):
            calls.append(self.path)
            self.send_response(404)
            self.end_headers()

        def log_message(self, *args):
            pass

    with HTTPServer(("127.0.0.1", 0), Canary) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}", calls
        server.shutdown()
        thread.join()


@pytest.mark.parametrize(
    "reach",
    [
        '<img src="{}/a.png">',
        '<img src="{}/a.svg">',
        '<link rel="stylesheet" href="{}/a.css">',
        '<link rel="attachment" href="{}/a">',
        '<style>@import "{}/a.css"; p {{ list-style: url({}/b.png) }}</style>',
        "<style>@font-face {{ font-family: x; src: url({}/a.woff) }} p {{ font-family: x }}</style>",
        '<svg viewBox="0 0 9 9"><use href="{}/a.svg#x"/><image href="{}/b.png" width="9" height="9"/></svg>',
        '<base href="{}/"><img src="a.png">',
        '<object data="{}/a.svg"></object><embed src="{}/b.svg">',
    ],
)
def test_printer_calls_nobody(canary, reach):
    address, calls = canary
    with contextlib.suppress(pdf.Unprintable):
        pdf.print_html(f"<html lang=en><title>x</title><p>x</p>{reach.format(*[address] * 2)}")
    assert calls == []


def test_chart_that_cannot_be_drawn_stops_the_print():
    sheet = draft(finished_job(), built=False)
    data = sheet.content
    data["curve"]["svg"] = data["curve"]["svg"].replace(
        'stroke-width="', 'transform="rotate(oops)" stroke-width="'
    )
    with pytest.raises(pdf.Unprintable, match="SVG"):
        pdf.print_sheet(data, data_sha256=sheet.data_sha256)


def test_paper_gets_what_it_was_handed_and_no_more_than_fits():
    handed = pdf.Handed({"a": (b"abc", "text/css"), "b": (b"x" * (pdf.LARGEST + 1), "text/css")})
    assert handed("sheet:a").read() == b"abc"
    with pytest.raises(FatalURLFetchingError, match="larger"):
        handed("sheet:b")


def _squares(svg):
    """The dark squares of a QR drawn as one path of level strokes: (row, column) without the border."""
    row = column = 0.0
    dark = set()
    for command, numbers in re.findall(r"([MmhH])([^MmhHz]*)", re.search(r' d="([^"]+)"', svg)[1]):
        values = [float(number) for number in re.findall(r"-?\d*\.?\d+", numbers)]
        if command == "M":
            column, row = values
        elif command == "m":
            column, row = column + values[0], row + values[1]
        else:
            dark |= {(int(row) - 2, int(column) - 2 + i) for i in range(int(values[0]))}
            column += values[0]
    return dark


def test_qr_on_the_sheet_is_the_address_of_its_page():
    url = signed_sheet(finished_job(), built=False).content["url"]
    matrix = segno.make(url, error="m", micro=False).matrix
    dark = {(y, x) for y, line in enumerate(matrix) for x, bit in enumerate(line) if bit}
    assert _squares(pdf.draw_qr(url)) == dark


def test_papers_do_not_grow_the_memory():
    sheet = draft(finished_job(), Sheet.Kind.TRAY_TAG, built=False)
    data = sheet.content
    for _ in range(3):  # fonts, caches and compiled patterns fill on the first ones
        pdf.print_sheet(data, data_sha256=sheet.data_sha256)
    tracemalloc.start()
    try:
        pdf.print_sheet(data, data_sha256=sheet.data_sha256)
        gc.collect()
        before, _ = tracemalloc.get_traced_memory()
        for _ in range(8):
            pdf.print_sheet(data, data_sha256=sheet.data_sha256)
        gc.collect()
        after, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    # A stylesheet parsed anew each time would leave about 0.24 MB a paper, 1.9 MB in all.
    assert after - before < 600_000


ROW = re.compile(r"^\d{3,4} \d{3,4} ", re.MULTILINE)


def rows_by_page(data, lines):
    """How many rows of readings each page holds, from the heading on, under a setting note of some lines."""
    data["recorded"]["setting_note"] = "\n".join(["Set it."] * lines)
    body = pdf.print_sheet(data, data_sha256="0" * 64)
    found = []
    for page in PdfReader(BytesIO(body)).pages:
        text = page.extract_text()
        _, heading, after = text.rpartition("Readings on the bench")
        found.append((bool(heading), len(ROW.findall(after))))
    return found


@pytest.mark.parametrize(("paper", "first"), [("A4", 28), ("Letter", 22)])
def test_readings_leave_no_lone_rows_at_a_foot_or_a_head(paper, first):
    """The table is pushed down line by line, over the foot of the page and onto the next."""
    data = draft(finished_job(), paper_size=paper, built=False).content
    data["curve"]["svg"] = re.sub(r"(<svg\b[^>]*>).*(</svg>)", r"\1\2", data["curve"]["svg"], flags=re.DOTALL)
    splits, pages = 0, set()
    for lines in range(first, first + 20):
        rows = rows_by_page(data, lines)
        held = [count for _, count in rows if count]
        [(page, (_, under_heading))] = [(at, one) for at, one in enumerate(rows) if one[0]]
        assert sum(held) == 13
        assert min(held) >= 3, (lines, rows)
        assert under_heading == held[0], (lines, rows)
        splits += len(held) > 1
        pages.add(page)
    assert splits > 3
    assert len(pages) == 2  # at the foot of one, at the head of the next


def test_columns_name_runs_by_their_names_and_no_keys():
    job = build.job()
    build.run(job.build, kind=Run.Kind.AS_RECEIVED)
    build.run(job.build)
    build.target(job.build)
    text = text_of(draft(job))
    assert "trial run 2 lies" in text
    assert not re.search(r"latest|as_received", text)


@pytest.mark.parametrize("is_read", [True, False])
@pytest.mark.parametrize(("set_to", "off"), [(14, "▲ 14.0° is 2 crank degrees over the range"), (10, "")])
def test_the_paper_says_the_range_beside_what_is_set_and_whether_it_lies_outside(is_read, set_to, off):
    job = build.job()
    agreed = {"initial_low_crank_deg": 8, "initial_high_crank_deg": 12}
    build.target(job.build, initial_crank_deg=set_to, **agreed)
    if is_read:
        build.run(job.build, kind="final")
    text = text_of(draft(job))
    assert f"{set_to}.0°" in text
    assert "Range agreed 8.0 to 12.0° crank" in text
    assert ("over the range agreed" in text) is bool(off)
    assert off in text


@pytest.mark.parametrize(
    ("agreed", "says"),
    [
        ({}, "No initial timing is agreed."),
        ({"initial_crank_deg": 0}, "Initial timing 0.0° crank agreed; a run says what the light must read."),
        (
            {"initial_low_crank_deg": 8, "initial_high_crank_deg": 12},
            "Initial timing 8.0 to 12.0° crank agreed; a run over the band says which.",
        ),
    ],
)
def test_what_is_agreed_of_the_initial_timing_is_said_before_any_run(agreed, says):
    job = build.job()
    build.target(job.build, **agreed)
    sheet = draft(job)
    assert says in text_of(sheet)
    assert (says in text_of(draft(job, Sheet.Kind.JOB_SHEET))) is bool(agreed)
    frozen = sheet.content
    frozen["recorded"]["target"].pop(
        "initial_crank_deg" if agreed.get("initial_crank_deg") is None else "note"
    )
    html = pdf.write_html(frozen, data_sha256="0" * 64)
    assert says in " ".join(re.sub(r"<[^>]+>", " ", html).split())
