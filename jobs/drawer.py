"""The drawer as it is read: what counts of each spring and where that comes from, and where it hangs now."""

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import Prefetch

from curves import convert, stock
from curves.models import Spring, SpringCorrection, SpringMove
from jobs.models import Job

MOST_MOVES = 30  # on one page
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
class Away:
    """Springs of a kind that are in the unit of an open card."""

    job: Job
    kind: str
    count: int

    @property
    def words(self):
        """Out at a job, or fitted in it, and how many where there are several."""
        how = "fitted in" if self.kind == SpringMove.Kind.FITTED else "out at"
        return f"{self.count} {how}" if self.count > 1 else how


@dataclass(frozen=True)
class Row:
    """One kind of spring: its row, what counts for the next job, which correction says so, where it hangs."""

    spring: Spring
    counts: convert.Counts
    correction: SpringCorrection | None
    away: tuple[Away, ...]

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
    """Every kind of spring; five queries however many springs and closed cards there are."""
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
    """Where springs of the drawer are now: {spring key: [Away, ...]}, from the open cards and their moves."""
    jobs = {job.build_id: job for job in open_cards()}
    away = defaultdict(list)
    for (spring, build), held in stock.held_in(list(jobs)).items():
        away[spring].append(Away(jobs[build], held.kind, held.count))
    return {spring: sorted(them, key=lambda one: one.job.number) for spring, them in away.items()}


def open_cards():
    """The cards whose units are in the shop, in the order of the index that holds no others."""
    return Job.objects.filter(closed_at=None).only("number", "build_id").order_by("stage", "number")


def moves_of(spring):
    """The newest moves of a spring, the newest first, each with its card and who made it."""
    return list(spring.moves.select_related("build__job", "by").order_by("-pk")[:MOST_MOVES])


def _corrections():
    return Prefetch("corrections", SpringCorrection.objects.select_related("build__job", "by"))
