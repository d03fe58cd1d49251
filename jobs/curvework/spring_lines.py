"""Springs that the drawer's ledger has as fitted in a unit stand among its card's parts, each kind once."""

from collections.abc import Iterable

from curves.models import Build, Spring, SpringMove
from curves.rows import queries, stock
from jobs.models import Job, PartLine, SpringTerms
from shop.models import Person

PLACES = ("primary", "secondary")


def settle_lines(job: Job, *, by: Person) -> None:
    """Write, change and take away the lines of fitted springs, as the ledger has them.

    Prices and reasons stay, also those of a spring that comes out and is fitted again.
    """
    held = stock.in_unit(job.build)
    fitted = {key: one.put_in for key, one in held.items() if one.kind == SpringMove.Kind.FITTED}
    lines = PartLine.objects.filter(job=job, spring__isnull=False)
    _take_away(lines.exclude(spring__in=fitted))
    stand = {line.spring_id: line for line in lines}
    for spring in queries.drawer().filter(pk__in=fitted):
        values = {"text": _text(spring, fitted[spring.pk], job.build), "quantity": fitted[spring.pk]}
        line = stand.get(spring.pk)
        if line is None:
            values |= SpringTerms.objects.filter(job=job, spring=spring).values("why", "price").first() or {}
            PartLine.objects.create(job=job, spring=spring, state=PartLine.State.FITTED, by=by, **values)
        elif any(getattr(line, name) != value for name, value in values.items()):
            PartLine.objects.filter(pk=line.pk).update(version=line.version + 1, **values)


def _take_away(lines: Iterable[PartLine]) -> None:
    for line in lines:
        said = {"why": line.why, "price": line.price}
        SpringTerms.objects.update_or_create(job=line.job, spring_id=line.spring_id, defaults=said)
        line.delete()


def give_back(job: Job, *, by: Person) -> None:
    """Bring springs home that were put into a unit, and take their lines off: its card ends unfinished."""
    stock.give_back(job.build, by=by)
    settle_lines(job, by=by)


def where_words(refusal: stock.NotInDrawer) -> str:
    """Why a spring can't hang in a unit, and the way out, in a sentence or two."""
    lies = refusal.spring.quantity
    numbers = sorted(Job.objects.filter(build__in=refusal.builds).values_list("number", flat=True))
    said = f"{refusal.wanted} are wanted and {lies} left in the drawer" if lies else "none is left"
    if not numbers:
        return f"{refusal.spring}: {said}. Choose another, or count the drawer if one lies there."
    named = ", ".join(map(str, numbers[:-1]))
    jobs = f"jobs {named} and {numbers[-1]}" if named else f"job {numbers[0]}"
    hangs = "the only one hangs" if len(numbers) == 1 and not lies else "others hang"
    return (
        f"{refusal.spring}: {said}; {hangs} in {jobs}. Try other springs there, or take its run off, and it "
        "comes back; or count the drawer if one lies there."
    )


def _text(spring: Spring, count: int, build: Build) -> str:
    """The line's words; without the places where some of its kind there are the unit's own."""
    runs = [run for run in queries.build_for(build.pk).runs.all() if run.kind == run.Kind.FINAL]
    places = [place for place in PLACES if runs and getattr(runs[-1], f"{place}_id") == spring.pk]
    return f"Spring {spring}, {' and '.join(places)}" if len(places) == count else f"Spring {spring}"
