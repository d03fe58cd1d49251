"""The drawer as it is read: what counts of each spring and where that comes from, and where it hangs now."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Prefetch, QuerySet

from curves.models import Spring, SpringCorrection, SpringMove
from curves.rows import convert, stock
from jobs.models import Job
from shop.models import Person

MAX_MOVES = 30  # on one page
PRIMARY, SECONDARY = Spring.Position.PRIMARY, Spring.Position.SECONDARY


@dataclass(frozen=True)
class Figures:
    """The figures of a spring from one source: what they are, when and by whom, and where they count."""

    said: str
    values: convert.Counts
    tension_sd_n: float | None  # None: nobody said
    at: datetime | None = None
    by: Person | None = None
    correction: SpringCorrection | None = None
    counts_as: tuple[str, ...] = ()  # of the places that the spring fits
    tension_is_known: bool = True

    @classmethod
    def own(cls, spring: Spring, counts_as: tuple[str, ...] = ()) -> "Figures":
        """Its own: weighed, from its label, or typed in."""
        values, told = convert.spring_of(spring), spring.initial_tension_sd_n
        return cls(
            spring.get_source_display(),
            values,
            _tension_sd_n(values) if told is None else told,
            *((spring.weighing_at, spring.weighed_by) if spring.weighing_at else (None, None)),
            counts_as=counts_as,
            tension_is_known=spring.tension_is_known,
        )

    @classmethod
    def learned(
        cls, spring: Spring, correction: SpringCorrection, counts_as: tuple[str, ...] = ()
    ) -> "Figures":
        """What a job taught of it."""
        values = convert.corrected_of(spring, correction)
        said = f"learned as {correction.get_position_display()}"
        at, by = correction.learned_at, correction.by
        return cls(said, values, _tension_sd_n(values), at, by, correction, counts_as)

    @property
    def rate_percent(self) -> float | None:
        return None if self.values.rate_sd is None else self.values.rate_sd * 100


def _tension_sd_n(values: convert.Counts) -> float | None:
    """How well an initial tension is taken to be known [N]; None where there is none to know."""
    known, tension = values.initial_tension_sd, values.initial_tension_n
    return known * tension if known and tension else None


@dataclass(frozen=True)
class Away:
    """Springs of a kind that are in the unit of an open card."""

    job: Job
    kind: str
    count: int

    @property
    def words(self) -> str:
        """Out at a job, or fitted in it, and how many where there are several."""
        how = "fitted in" if self.kind == SpringMove.Kind.FITTED else "out at"
        return f"{self.count} {how}" if self.count > 1 else how


@dataclass(frozen=True)
class Row:
    """One kind of spring: its row, the figures that count for the next job, and where it hangs."""

    spring: Spring
    counting: Figures
    away: tuple[Away, ...]

    @property
    def source(self) -> str:
        taught = self.counting.correction
        if taught is None:
            return self.counting.said
        job = taught.build.job  # pyrefly: ignore [missing-attribute]  # curves may not know the card
        return f"learned in job {job.number}"

    @property
    def side_by_side(self) -> Iterator[Figures]:
        """Its own figures, and beside them what jobs taught of it last in each place."""
        spring, places = self.spring, places_of(self.spring)
        counting = {place: convert.correction_for(spring, place) for place in places}
        yield Figures.own(spring, tuple(place for place in places if counting[place] is None))
        for place in places:
            if one := convert.newest_correction(spring, place):
                yield Figures.learned(spring, one, (place,) if counting[place] == one else ())


def drawer_rows() -> list[Row]:
    """Every kind of spring; five queries however many springs and closed cards there are."""
    hanging = hanging_now()
    return [row_of(spring, hanging) for spring in Spring.objects.prefetch_related(_corrections())]


def spring_for(pk: int) -> Spring | None:
    """A spring with its corrections, its load test and who made them."""
    springs = Spring.everything.select_related("weighed_by", "chosen_by")
    return springs.prefetch_related(_corrections(), "load_tests__by").filter(pk=pk).first()


def places_of(spring: Spring) -> list[str]:
    """The places in a head that a spring fits."""
    return [PRIMARY, SECONDARY] if spring.position == Spring.Position.EITHER else [spring.position]


def row_of(spring: Spring, hanging: Mapping[int, list[Away]]) -> Row:
    found = [one for place in places_of(spring) if (one := convert.correction_for(spring, place))]
    counting = Figures.learned(spring, found[0]) if found else Figures.own(spring)
    return Row(spring, counting, tuple(hanging.get(spring.pk, ())))


def hanging_now() -> dict[int, list[Away]]:
    """Where springs of the drawer are now: {spring key: [Away, ...]}, from the open cards and their moves."""
    jobs = {job.build_id: job for job in open_cards()}
    away = defaultdict(list)
    for (spring, build), held in stock.held_in(list(jobs)).items():
        away[spring].append(Away(jobs[build], held.kind, held.count))
    return {spring: sorted(them, key=lambda one: one.job.number) for spring, them in away.items()}


def open_cards() -> QuerySet[Job]:
    """The cards whose units are in the shop, in the order of the index that holds no others."""
    return Job.objects.filter(closed_at=None).only("number", "build_id").order_by("stage", "number")


def moves_of(spring: Spring) -> list[SpringMove]:
    """The newest moves of a spring, the newest first, each with its card and who made it."""
    return list(spring.moves.select_related("build__job", "by").order_by("-pk")[:MAX_MOVES])


def _corrections() -> Prefetch:
    return Prefetch("corrections", SpringCorrection.objects.select_related("build__job", "by"))
