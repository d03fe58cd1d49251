"""A paper looks the same however its template is broken into lines."""

import re
from io import BytesIO

import pytest
from pypdf import PdfReader

from jobs.models import Sheet
from jobs.papers import pdf
from tests.jobs.papers.paperwork import draft, finished_job

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]


def test_how_its_template_is_broken_into_lines_does_not_move_a_column():
    html = pdf.write_html(draft(finished_job(), Sheet.Kind.JOB_SHEET).content, data_sha256="0" * 64)
    broken = re.sub(r"(<t[dh]\b[^>]*>)(.*?)(</t[dh]>)", r"\1\n      \2\n    \3", html, flags=re.DOTALL)
    plain = re.sub(r"(<t[dh]\b[^>]*>)\s*(.*?)\s*(</t[dh]>)", r"\1\2\3", html, flags=re.DOTALL)
    assert broken != plain
    assert laid_out(broken) == laid_out(plain)


def laid_out(html):
    pages = PdfReader(BytesIO(pdf.print_html(html))).pages
    return [page.extract_text(extraction_mode="layout") for page in pages]
