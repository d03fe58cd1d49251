"""Turns a sheet's frozen data into PDF bytes: same data, same bytes, and nothing fetched from outside."""

import logging
import re
import threading
from collections.abc import Generator, Mapping
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any, cast

import segno
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.utils.safestring import mark_safe
from PIL import ImageFile
from weasyprint import CSS, HTML
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import FatalURLFetchingError, URLFetcherResponse

from curves.models.targets import AgreedTiming

FONT = "Liberation Sans, DejaVu Sans, sans-serif"
LARGEST = 5 * 1024 * 1024

# WeasyPrint switches this on for the whole process; with it a cut or broken photo would pass for a good one.
ImageFile.LOAD_TRUNCATED_IMAGES = False

Things = Mapping[str, tuple[bytes, str]]  # by id: what it holds, and of which type


class Unprintable(Exception):
    """The paper can't be made; the message says why."""


class Handed:
    """The only things a paper may fetch: those handed to it by id (``sheet:<id>``), up to a size."""

    def __init__(self, things: Things | None = None) -> None:
        self._things = {f"sheet:{name}": thing for name, thing in (things or {}).items()}

    def __call__(self, url: str) -> URLFetcherResponse:
        if url not in self._things:
            raise FatalURLFetchingError(f"a paper may not fetch {url[:100]}")
        body, content_type = self._things[url]
        if len(body) > LARGEST:
            raise FatalURLFetchingError(f"{url} is larger than {LARGEST} bytes")
        return URLFetcherResponse(url, body, {"Content-Type": content_type})


# White space at a cell's edge is not printed, but the typesetter counts it when it shares out a width; and it
# takes a title as it stands.
_EDGE = re.compile(r"(<(?:t[dh]|title)\b[^>]*>)\s+|\s+(?=</(?:t[dh]|title)>)")


def print_sheet(data: dict[str, Any], *, data_sha256: str) -> bytes:
    """The PDF of a sheet's data (PDF/UA-1)."""
    return print_html(write_html(data, data_sha256=data_sha256))


def write_html(data: dict[str, Any], *, data_sha256: str) -> str:
    """The page that is printed."""
    curve = data.get("curve") or {}
    return render_to_string(
        f"sheets/{data['kind']}.html",
        {
            "sheet": data,
            "data_sha256": data_sha256,
            "qr": draw_qr(data["url"]),
            "chart": draw_chart(curve["svg"]) if curve.get("svg") else "",
            "agreed": AgreedTiming.of((data.get("recorded") or {}).get("target")),
        },
    )


def print_html(html: str, things: Things | None = None) -> bytes:
    """PDF bytes of a page; raises Unprintable when it reaches for anything it was not handed."""
    fonts, style = _press()
    page = HTML(string=_EDGE.sub(r"\1", html), url_fetcher=Handed(things))
    with _complaints() as heard:
        try:
            body = page.write_pdf(stylesheets=[style], font_config=fonts, pdf_variant="pdf/ua-1")
        except FatalURLFetchingError as error:
            raise Unprintable(str(error)) from error
    if heard:
        raise Unprintable(heard[0])
    return cast(bytes, body)  # it is None only where a file is written


def draw_chart(svg: str) -> str:
    """The chart as it was drawn when the data was frozen; a drawing inherits no font, so name one.

    The paper is white without it, and a white ground would cover the mark of a practice sheet.
    """
    svg = re.sub(r'(<rect class="figure-paper"[^>]*) fill="#ffffff"', r'\1 fill="none"', svg)
    return mark_safe(svg.replace('font-family="inherit"', f'font-family="{FONT}"'))


def draw_qr(url: str) -> str:
    """A QR of an address as inline SVG, sized by the stylesheet."""
    drawn = segno.make(url, error="m", micro=False).svg_inline(
        omitsize=True, border=2, svgclass="qr", lineclass=None
    )
    return mark_safe(re.sub(r"^<svg ", '<svg role="img" aria-label="QR code" ', drawn))


class _Ear(logging.Handler):
    """Hears the errors of this thread's printing."""

    def __init__(self, heard: list[str]) -> None:
        super().__init__(logging.ERROR)
        self._heard = heard
        self._thread = threading.get_ident()

    def emit(self, record: logging.LogRecord) -> None:
        if record.thread == self._thread:
            self._heard.append(record.getMessage())


@contextmanager
def _complaints() -> Generator[list[str]]:
    """The errors WeasyPrint only logs: it leaves out a drawing that it can't make, and goes on."""
    heard = []
    ear = _Ear(heard)
    logger = logging.getLogger("weasyprint")
    logger.addHandler(ear)
    try:
        yield heard
    finally:
        logger.removeHandler(ear)


@cache
def _press() -> tuple[FontConfiguration, CSS]:
    """One font configuration and one parsed stylesheet for all papers: made anew each time they leak."""
    fonts = FontConfiguration()
    text = Path(cast(str, finders.find("css/print.css"))).read_text(encoding="utf-8")
    return fonts, CSS(string=text, font_config=fonts, url_fetcher=Handed())
