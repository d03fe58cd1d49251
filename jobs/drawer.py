"""The drawer as it is read: what counts of each spring and where that comes from, and where it hangs now."""

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import Prefetch

from curves import convert
from curves.models import Run, Spring, SpringCorrection
from jobs.models import Job

PRIMARY, SECONDARY = Spring.Position.PRIMARY, Spring.Position.SECONDARY


@dataclass(frozen=True)
class Figures:
    """The figures of a spring from one source: what they are, when and by whom, and where they count."""

    said: str
    values: convert.Counts
    at: object
    by: object
    correction: SpringCorrection | None
    counts_as: tuple[str, ...]  # of the places that the spring fits

    @property
    def rate_percent(self):
        return None if self.values.rate_sd is None else self.values.rate_sd * 100

    @property
    def tension_percent(self):
        """How well the initial tension is known; None where there is none to know."""
        known = self.values.initial_tension_sd if self.values.initial_tension_n else None
        return None if known is None else known * 100


@dataclass(frozen=True)
class Row:
    """One kind of spring: its row, what counts for the next job, which correction says so, where it hangs."""

    spring: Spring
    counts: convert.Counts
    correction: SpringCorrection | None
    jobs: tuple[Job, ...]

    @property
    def source(self):
        return f"learned in job {self.correction.build.job.number}" if self.correction else self.said

    @property
    def said(self):
        return self.spring.get_source_display()

    @property
    def rate_percent(self):
        return None if self.counts.rate_sd is None else self.counts.rate_sd * 100

    @property
    def tension_percent(self):
        known = self.counts.initial_tension_sd if self.counts.initial_tension_n else None
        return None if known is None else known * 100

    @property
    def side_by_side(self):
        """Its own figures, and beside them what jobs taught of it last in each place."""
        spring, places = self.spring, places_of(self.spring)
        counting = {place: convert.correction_for(spring, place) for place in places}
        own = tuple(place for place in places if counting[place] is None)
        at, by = (spring.weighing_at, spring.weighed_by) if spring.weighing_at else (None, None)
        yield Figures(self.said, convert.spring_of(spring), at, by, None, own)
        for place in places:
            if one := convert.newest_correction(spring, place):
                counts_as = (place,) if counting[place] == one else ()
                said = f"learned as {one.get_position_display()}"
                yield Figures(said, convert.corrected_of(spring, one), one.learned_at, one.by, one, counts_as)


def drawer_rows():
    """Every kind of spring; four queries however many there are."""
    hanging = hanging_now()
    return [row_of(spring, hanging) for spring in Spring.objects.prefetch_related(_corrections())]


def spring_for(pk):
    """A spring with its corrections, its load test and who made them."""
    springs = Spring.everything.select_related("weighed_by", "chosen_by")
    return springs.prefetch_related(_corrections(), "load_tests__by").filter(pk=pk).first()


def places_of(spring):
    """The places in a head that a spring fits."""
    return [PRIMARY, SECONDARY] if spring.position == Spring.Position.EITHER else [spring.position]


def row_of(spring, hanging):
    found = [one for place in places_of(spring) if (one := convert.correction_for(spring, place))]
    correction = found[0] if found else None
    counts = convert.corrected_of(spring, correction) if correction else convert.spring_of(spring)
    return Row(spring, counts, correction, tuple(hanging.get(spring.pk, ())))


def hanging_now():
    """Which springs hang in the units in the shop now: {spring key: [job, ...]}, by each one's newest run."""
    newest = {}
    runs = Run.objects.filter(build__job__closed_at=None, removed=False, primary__isnull=False)
    for run in runs.select_related("build__job").order_by("number"):
        newest[run.build_id] = run
    hanging = defaultdict(list)
    for run in newest.values():
        for pk in (run.primary_id, run.secondary_id):
            if pk is not None:
                hanging[pk].append(run.build.job)
    return {pk: sorted(jobs, key=lambda job: job.number) for pk, jobs in hanging.items()}


def _corrections():
    return Prefetch("corrections", SpringCorrection.objects.select_related("build__job", "by"))
