"""A visit of long ago, told in short: the real actions open, sign and hand back; the work between is rows.

Step by step, sixty visits would take the demo half a minute. Told so, they leave the same rows, with one
entry in the history for each piece of work instead of one for each line.
"""

from django.db.models import F
from django.utils import timezone

from jobs.demo import faults
from jobs.demo.visit import Visit
from jobs.models import Finding, Inspection, Job, PartLine, StageMove
from jobs.record.noting import note


class Bygone(Visit):
    """As Visit, but what takes many lines is written at once."""

    @property
    def blind_trials(self):
        return self.index % 3

    def write_findings(self):
        job = self.job
        rows = [
            Finding(job=job, text=text, stage=job.stage, by=self.bench_person) for text in self.findings()
        ]
        Finding.objects.bulk_create(_dated(rows))
        note("wrote the findings", job, self.bench_person, lines=len(rows))

    def answer_inspection(self, part):
        job = self.job
        rows = [
            Inspection(
                job=job, point=point, verdict=verdict, note=text, by=self.bench_person, **measured._asdict()
            )
            for point, measured, verdict, text in self.answers(job)[part]
        ]
        Inspection.objects.bulk_create(rows)
        note("answered the inspection list", job, self.bench_person, points=len(rows))

    def want_parts(self):
        """Wanted and fitted later: a card of long ago only shows the end."""

    def mend(self):
        """Told with the rest of the parts."""

    def fit_parts(self):
        job = self.job
        self.price_springs()
        wanted = [line for line in self.parts_wanted() if not line["text"].endswith(faults.FROM_THE_DRAWER)]
        lines = [*wanted, *self.lines_at_the_end()]
        rows = [PartLine(job=job, by=self.bench_person, **line) for line in lines]
        for row in rows:
            if row.state == PartLine.State.WANTED:
                row.state = PartLine.State.FITTED
        PartLine.objects.bulk_create(_dated(rows))
        note("wrote the parts and labour", job, self.bench_person, lines=len(rows))

    def tick(self, name, count):
        if count is None:
            job = self.job
            mine = job.steps.filter(pk__in=[step.pk for step in self.to_do(name)])
            done = mine.update(by=self.bench_person, at=timezone.now())
            note("did the steps", job, self.bench_person, list=name, steps=done)

    def move(self, to):
        job = self.job
        StageMove.objects.create(job=job, from_stage=job.stage, to_stage=to, by=self.bench_person)
        Job.objects.filter(pk=job.pk).update(stage=to, stage_since=timezone.now(), version=F("version") + 1)
        note("moved the card on", job, self.bench_person, to=to.label)


def _dated(rows):
    """Rows with the time that a single save would have given them."""
    for row in rows:
        row.at = timezone.now()
    return rows
