"""What a run comes to: the one headline that card, bench, sheet and check page show, and what it still lacks.

A final run is proved by both sweeps, each read over the whole band and inside it, with nothing that was read
beside them out of its limits. What fails or was not read is said; "proved" is said of nothing else.
"""

from dataclasses import dataclass

from curves import checks, convert, queries
from curves.models import Run

SWEEPS = ("rising", "falling")
BESIDE = {"spark": "scatter", "dwell": "dwell", "vacuum": "vacuum"}
# What a final run needs where a check fails, and where it was begun and not ended.
_FAILED = {
    "spark": "spark scatter within its limit",
    "dwell": "dwell within its limit",
    "vacuum": "a vacuum capsule that moves",
}
_BEGUN = {
    "spark": "spark scatter read to the end",
    "dwell": "dwell read to the end",
    "vacuum": "vacuum read to the end",
}
OUTSIDE, UNREAD, PARTLY = "out of the band", "not read", "not read over the whole band"


@dataclass(frozen=True)
class Proof:
    """A run's headline, what it rests on, and what it lacks; ``passed``: None while there is more to read."""

    run: Run
    headline: str
    passed: bool | None
    lacks: tuple[str, ...]
    checks: tuple[checks.Check, ...]

    @property
    def is_proved(self):
        return self.passed is True and self.run.kind == Run.Kind.FINAL

    @property
    def state(self):
        """The look of a headline: good, failed, or open while something is still to be read."""
        return {True: "good", False: "failed", None: "open"}[self.passed]


def proof_of(run, build, *, cylinders=None):
    """What a run of a build comes to, by all that was read in it."""
    found = checks.checks_of(run, build, cylinders=cylinders)
    by_kind = {check.kind: check.passed for check in found}
    wanted = SWEEPS if run.kind == Run.Kind.FINAL else [kind for kind in SWEEPS if _is_read(run, kind)]
    sweeps = {kind: _sweep_state(run, kind, by_kind) for kind in wanted}
    has_band = convert.target_of(getattr(build, "target", None), convert.drive_of(build)) is not None
    beside = {kind: by_kind[kind] for kind in BESIDE if kind in by_kind}
    passed = _passed(has_band, sweeps, beside)
    said = [*(_sweep_words(sweeps) if has_band else ["no band to hold it against"]), *_beside_words(beside)]
    name = f"{run} proved" if passed and run.kind == Run.Kind.FINAL else str(run)
    lacks = _lacks(has_band, sweeps, beside)
    return Proof(run, f"{name}: {', '.join(said)}", passed, tuple(lacks), found)


def final_of(build, *, cylinders=None):
    """The newest final run in which anything was read, or None."""
    finals = [run for run in queries.live_runs(build) if run.kind == Run.Kind.FINAL]
    read = [run for run in finals if run.readings.all() or _beside(run)]
    return proof_of(read[-1], build, cylinders=cylinders) if read else None


def _beside(run):
    return any((run.sparks.all(), run.dwells.all(), run.vacuums.all()))


def _is_read(run, kind):
    return any(row.falling == (kind == "falling") for row in run.readings.all())


def _sweep_state(run, kind, by_kind):
    if not _is_read(run, kind):
        return UNREAD
    return {True: "in the band", False: OUTSIDE, None: PARTLY}[by_kind.get(kind)]


def _passed(has_band, sweeps, beside):
    states = set(sweeps.values())
    if OUTSIDE in states or False in beside.values():
        return False
    if not has_band or not sweeps or states & {UNREAD, PARTLY} or None in beside.values():
        return None
    return True


def _sweep_words(sweeps):
    """What failed first, then what was not read; one phrase where both sweeps came to the same."""
    if not sweeps:
        return ["no sweep read"]
    states = list(sweeps.values())
    if len(states) == 2 and states[0] == states[1]:
        return ["no sweep read" if states[0] == UNREAD else f"sweeps {states[0]}"]
    order = [OUTSIDE, UNREAD, PARTLY]
    worst_first = sorted(sweeps, key=lambda kind: order.index(sweeps[kind]) if sweeps[kind] in order else 9)
    return [f"{kind} sweep {sweeps[kind]}" for kind in worst_first]


def _beside_words(beside):
    unread = "not read to the end"
    for passed, one, more in ((False, "fails", "fail"), (None, unread, unread), (True, "passes", "pass")):
        names = [BESIDE[kind] for kind, said in beside.items() if said is passed]
        if names:
            *first, last = names
            listed = f"{', '.join(first)} and {last}" if first else last
            yield f"{listed} {more if first else one}"


def _lacks(has_band, sweeps, beside):
    if not has_band:
        yield "a target"
    elif OUTSIDE in sweeps.values():
        yield "a final run inside the band"
    elif not sweeps or set(sweeps.values()) == {UNREAD}:
        yield "a final run"
    else:
        yield from (f"the {kind} sweep of the final run" for kind, said in sweeps.items() if said == UNREAD)
        if PARTLY in sweeps.values():
            yield "a final run read over the whole band"
    for kind, passed in beside.items():
        if not passed:
            yield (_FAILED if passed is False else _BEGUN)[kind]
