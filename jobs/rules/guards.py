"""What a card must have before it goes on, and whether it may be written on at all."""

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from django.core.exceptions import PermissionDenied

from curves.judging import outcome
from curves.judging.proof import A_FINAL
from curves.models import Build
from jobs import stages
from jobs.models import Ending, Job, Unit
from jobs.rules import abrasive
from jobs.rules.agreement import agreement_of
from jobs.rules.facts import facts_of
from jobs.rules.revisions import OUTDATED, is_outdated
from jobs.stages import Stage
from shop.models import Person
from shop.words import several


class Counted(str):
    """So many of something, in plain words; ``things`` is how many."""

    things: int

    @classmethod
    def of(cls, count: int, noun: str, to: str) -> "Counted":
        need = cls(f"{several(count, noun)} {to}")
        need.things = count
        return need


def how_many(missing: Iterable[str]) -> int:
    """How many things are missing: twenty points to answer are twenty."""
    return sum(getattr(need, "things", 1) for need in missing)


def digest_of(missing: Sequence[str]) -> str:
    """A short word for what is missing, the same as long as that is: a page sends what it showed."""
    return hashlib.sha256("\n".join(missing).encode()).hexdigest()[:16] if missing else ""


class Closed(PermissionDenied):
    """A closed card takes no more writing."""


def require_open(job: Job) -> None:
    if job.is_closed:
        raise Closed(f"{job} was closed: {job.ended_as.lower()}. Reopen it as a new job to go on.")


def lock_open_card(job: Job) -> Job:
    """The card as it now stands, kept from other writers until the transaction ends, if it may be written on.

    What a view fetched may have been closed meanwhile.
    """
    now = Job.objects.select_for_update(no_key=True).get(pk=job.pk)
    require_open(now)
    return now


def held_with_unit(job: Job) -> Job:
    """A card as it now stands, open or closed, its unit and it kept from other writers.

    No other card of the unit is opened or given away meanwhile.
    """
    Unit.objects.select_for_update(no_key=True).get(pk=job.unit_id)
    return Job.objects.select_for_update(no_key=True).get(pk=job.pk)


def lock_open_card_at_its_ratio(job: Job) -> Job:
    """The same for what was checked at the drive of the build as the view fetched it."""
    now = lock_open_card(job)
    if now.build.crank_per_shaft != job.build.crank_per_shaft:
        raise PermissionDenied("The head's ratio of crank to distributor was changed: load the page anew.")
    return now


def require_closed(job: Job) -> None:
    """What follows a hand-back waits for it."""
    if not job.is_closed:
        raise PermissionDenied(f"{job} was not handed back yet: do that first.")


def require_rebuilt(job: Job) -> None:
    """What was not rebuilt is given to nobody as rebuilt."""
    if job.ending:
        raise PermissionDenied(f"{job} was not rebuilt: {job.ended_as.lower()}.")


def require_practice(job: Job) -> None:
    if not job.is_practice:
        raise PermissionDenied(f"{job} is a real one: the practice bench does nothing to it.")


def refuse_practice(job: Job) -> None:
    """An invented unit is given to nobody, and comes back from no road."""
    if job.is_practice:
        raise PermissionDenied("This is a practice unit: it does not leave the bench. Open another to go on.")


TO_END: dict[str, str] = {
    Ending.RETURNED: "hand_back",
    Ending.KEPT: "write_off",
    Ending.SCRAPPED: "write_off",
}


def endings_for(job: Job, person: Person) -> list[Ending]:
    """The ways in which this person may close this card without the repair; none if closed or practice."""
    if job.is_closed or job.is_practice:
        return []
    mine = [ending for ending in Ending if person.may(TO_END[ending])]
    return [ending for ending in mine if not (job.is_stock and ending == Ending.RETURNED)]


def require_an_ending(job: Job, person: Person) -> None:
    """Whoever may end a card in no way is told why, before anything is written."""
    if not endings_for(job, person):
        raise PermissionDenied(
            f"{job} is shop stock: it goes back to nobody, and a {person.get_role_display().lower()}"
            " keeps no unit for parts and scraps none."
        )


def missing(job: Job) -> list[str]:
    """What the next stage, or closing, needs and this card hasn't got, in plain words."""
    if job.is_closed:
        return []
    job = facts_of(job)
    lacks = [Lack.of(said, need) for need in asked_at(job.stage) for said in need.lacks(job)]
    return lacks + agreement_of(job).needs


def verdicts_of(job: Job) -> outcome.Verdicts:
    """Whether the springs are found, and what the final run is; worked out once for each fetched card."""
    kept = vars(job)
    if "verdicts" not in kept:
        kept["verdicts"] = outcome.verdicts(job.build, cylinders=job.cylinders)
    return kept["verdicts"]


@dataclass(frozen=True)
class Need:
    """One thing that a stage needs before the card goes on: in words, and what of it a card lacks.

    What was undone since is asked for again wherever the card stands by then, up to the stage ``until``.
    """

    words: str
    lacks: Callable
    until: Stage = Stage.HAND_BACK


class Lack(str):
    """Something missing, in plain words; ``things`` is how many things it is, ``need`` what asks for it."""

    things = 1
    need = None

    @classmethod
    def of(cls, said: str, need: "Need") -> "Lack":
        lack = cls(said)
        lack.things, lack.need = getattr(said, "things", 1), need
        return lack


def _unit(job: Job) -> list[str]:
    # The unit and its owner are asked for when a card is opened; only the engine may still be open.
    return [] if job.unit_id else ["a unit"]


def _points(job: Job) -> list[str]:
    return [Counted.of(job.points_open, "inspection point", "to answer")] if job.points_open else []


def _cleaning(job: Job) -> list[str]:
    if job.cleaning_open:
        return [Counted.of(job.cleaning_open, "cleaning step", "to do")]
    return [] if job.cleaning_done or job.cleaning_aside else ["a cleaning step done or put aside"]


def _abrasive(job: Job) -> list[str]:
    return [abrasive.SIGN_OFF] if abrasive.is_left_open(job) else []


def _trial(job: Job) -> list[str]:
    return list(verdicts_of(job).springs.lacks)


def _final(job: Job) -> list[str]:
    final = verdicts_of(job).final
    if final is not None:
        return list(final.lacks)
    return [*([] if has_band(job.build) else ["a target"]), A_FINAL]


def _assembly(job: Job) -> list[str]:
    return [Counted.of(job.assembly_open, "assembly step", "to do")] if job.assembly_open else []


def _sheet(job: Job) -> list[str]:
    if not job.sheets_that_hold:
        return ["a signed curve sheet"]
    # What the card says by now is read only where the record has a later entry.
    return [OUTDATED] if job.touched_since_signed and is_outdated(job) else []


UNIT = Need("a unit", _unit)
POINTS = Need("every inspection point answered or marked not applicable", _points)
CLEANING = Need("every cleaning step done or put aside", _cleaning)
NO_ABRASIVE = Need("after blasting, a sign-off that no abrasive is left", _abrasive)
# A final run of other springs says more than any trial.
SPRINGS = Need("a run inside the band", _trial, until=Stage.SPRING_TRIALS)
PROVED = Need(
    "a final run with both sweeps inside the band, and what was read beside them within its limits", _final
)
ASSEMBLY = Need("every assembly step done or put aside", _assembly)
SHEET = Need("a signed curve sheet", _sheet)
NEEDS: dict[str, tuple[Need, ...]] = {
    Stage.INTAKE: (UNIT,),
    Stage.TEARDOWN: (POINTS,),
    Stage.CLEANING: (CLEANING, NO_ABRASIVE),
    Stage.SPRING_TRIALS: (SPRINGS,),
    Stage.BENCH_CURVE: (PROVED, ASSEMBLY),
    Stage.HAND_BACK: (SHEET,),
}


def asked_at(stage: str) -> list[Need]:
    """The needs that are asked for at a stage: its own, then those of the stages before, latest first."""
    reached = stages.ORDER[: stages.place(stage) + 1]
    needs = [need for past in reversed(reached) for need in NEEDS[past]]
    return [need for need in needs if stages.place(need.until) >= stages.place(stage)]


def has_band(build: Build) -> bool:
    target = getattr(build, "target", None)
    return target is not None and bool(target.points.all())
