"""The paper of a practice unit: its mark shows through, and one initial timing is said as one."""

import subprocess

import numpy as np
import pytest
from PIL import Image

from jobs.models import Job
from jobs.papers import pdf
from tests.jobs.papers.paperwork import draft, finished_job, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.slow, pytest.mark.any_database]
MARK_GREY = 0xBB  # static/css/print.css, .practice


def greys_on_the_front(tmp_path, data):
    """How many dots of the first page have the grey of the mark, at 50 dots an inch."""
    paper = tmp_path / "sheet.pdf"
    paper.write_bytes(pdf.print_sheet(data, data_sha256="0" * 64))
    subprocess.run(["pdftoppm", "-r", "50", "-gray", "-singlefile", paper, tmp_path / "front"], check=True)
    return int((np.abs(np.asarray(Image.open(tmp_path / "front.pgm")).astype(int) - MARK_GREY) < 3).sum())


def test_the_mark_of_a_practice_sheet_is_not_covered_by_its_chart(tmp_path):
    data = draft(finished_job(), built=False).content
    bare = data | {"curve": data["curve"] | {"svg": ""}}
    marked, plain = ({**one, "practice": True} for one in (data, bare))
    there = greys_on_the_front(tmp_path, marked) - greys_on_the_front(tmp_path, data)
    whole = greys_on_the_front(tmp_path, plain) - greys_on_the_front(tmp_path, bare)
    assert whole > 500
    assert there > 0.6 * whole  # lines and words of the chart stand on it


@pytest.mark.parametrize(
    ("high", "said", "unsaid"),
    [(8, "Agreed 8.0° crank.", "8.0 to 8.0"), (12, "Range agreed 8.0 to 12.0° crank.", "Agreed 8")],
)
def test_one_initial_timing_is_not_said_to_be_a_range(high, said, unsaid):
    job = finished_job()
    fields = {"initial_low_crank_deg": 8, "initial_high_crank_deg": high, "initial_crank_deg": 8}
    type(job.build.target).objects.filter(pk=job.build.target.pk).update(**fields)
    text = text_of(draft(Job.objects.get(pk=job.pk)))
    assert said in text
    assert unsaid not in text
