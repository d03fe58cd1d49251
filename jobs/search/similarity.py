"""How near two engines are for a curve's sake: one distance, in SQL for ranking and in words for people.

Ranking a hundred thousand engines for thirty hits is the database's work: ``curves.engine.nearest_engines``
measures the same distance over arrays, but would have to be given every row. Plain SQL serves both databases.
"""

from dataclasses import dataclass

from django.db.models import Case, F, FloatField, Value, When
from django.db.models.expressions import Combinable
from django.db.models.functions import Cast, Coalesce

from jobs.models import Engine

# What counts as one step away (common practice, no source): an eighth of the displacement, three quarters
# of a compression ratio, one cylinder, another use. What isn't written down counts as a step and a half.
DISPLACEMENT_SHARE = 0.125
COMPRESSION_STEP = 0.75
CYLINDER_STEP = 1.0
OTHER_USE_SQUARED = 1.0
UNKNOWN_SQUARED = 2.25


@dataclass(frozen=True)
class Wanted:
    """The engine that neighbours are sought for; None or blank where it doesn't matter."""

    displacement_cc: float | None = None
    compression: float | None = None
    cylinders: int | None = None
    use: str = ""

    def __bool__(self):
        return any((self.displacement_cc, self.compression, self.cylinders, self.use))

    @classmethod
    def like(cls, engine: Engine) -> "Wanted":
        return cls(engine.displacement_cc, engine.compression, engine.cylinders, engine.use)

    def or_else(self, other: "Wanted") -> "Wanted":
        """These wishes, and the other's where this says nothing."""
        return Wanted(
            self.displacement_cc or other.displacement_cc,
            self.compression or other.compression,
            self.cylinders or other.cylinders,
            self.use or other.use,
        )


def squared_distance(wanted: Wanted, prefix: str = "engine__") -> Combinable:
    """An expression: the squared distance of a row's engine from the wanted one, in steps."""
    terms: list[Combinable] = []
    if wanted.displacement_cc:
        step = wanted.displacement_cc * DISPLACEMENT_SHARE
        terms.append(_squared_steps(f"{prefix}displacement_cc", wanted.displacement_cc, step))
    if wanted.compression:
        terms.append(_squared_steps(f"{prefix}compression", wanted.compression, COMPRESSION_STEP))
    if wanted.cylinders:
        terms.append(_squared_steps(f"{prefix}cylinders", wanted.cylinders, CYLINDER_STEP))
    if wanted.use:
        terms.append(_use_term(f"{prefix}use", wanted.use))
    return sum(terms[1:], terms[0])


def _squared_steps(field: str, value: float, step: float) -> Coalesce:
    steps = (Cast(F(field), FloatField()) - Value(float(value))) / Value(float(step))
    return Coalesce(steps * steps, Value(UNKNOWN_SQUARED), output_field=FloatField())


def _use_term(field: str, use: str) -> Case:
    return Case(
        When(**{field: use}, then=Value(0.0)),
        When(**{field: ""}, then=Value(UNKNOWN_SQUARED)),
        default=Value(OTHER_USE_SQUARED),
        output_field=FloatField(),
    )


def reasons(wanted: Wanted, engine: Engine) -> list[str]:
    """Why an engine came up, in words: ``1998 cc, 60 cc off``, ``compression equal``, ``4 cylinders``."""
    said = []
    if wanted.displacement_cc:
        said.append(_displacement(wanted.displacement_cc, engine.displacement_cc))
    if wanted.compression:
        said.append(_compression(wanted.compression, engine.compression))
    if wanted.cylinders:
        said.append(_cylinders(wanted.cylinders, engine.cylinders))
    if wanted.use:
        said.append(_use(wanted.use, engine))
    return said


def _displacement(wanted: float, cc: int | None) -> str:
    if cc is None:
        return "displacement not written"
    off = abs(cc - wanted)
    return f"{cc} cc, {off:.0f} cc off" if off >= 0.5 else f"{cc} cc, equal"


def _compression(wanted: float, ratio: float | None) -> str:
    if ratio is None:
        return "compression not written"
    off = abs(ratio - wanted)
    return f"compression {ratio:g}, {off:.1f} off" if off >= 0.05 else "compression equal"


def _cylinders(wanted: int, cylinders: int | None) -> str:
    if cylinders is None:
        return "cylinders not written"
    named = "1 cylinder" if cylinders == 1 else f"{cylinders} cylinders"
    return named if cylinders == wanted else f"{named}, not {wanted}"


def _use(wanted: str, engine: Engine) -> str:
    if not engine.use:
        return "use not written"
    named = f"{engine.get_use_display().lower()} use"
    return named if engine.use == wanted else f"{named}, not {Engine.Use(wanted).label.lower()}"
