"""What a run comes to: the one headline that card, bench, sheet and check page show, and what it still lacks.

A final run is proved by both sweeps, each read over the whole band and inside it, with nothing that was read
beside them out of its limits. What fails or was not read is said; "proved" is said of nothing else. It proves
the springs and posts that were read: once others hang in the unit, it proves the unit no longer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from curves.judging import checks, verdicts
from curves.models import Build, Run
from curves.rows import convert, queries

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
OVER_ALL = "a run read over the whole band"
A_FINAL, OF_WHAT_HANGS = "a final run", "of what hangs in it"


@dataclass(frozen=True)
class Proof:
    """A run's headline, what it rests on, and what it lacks; ``passed``: None while there is more to read."""

    run: Run
    headline: str
    passed: bool | None
    lacks: tuple[str, ...]
    checks: tuple[checks.Check, ...]

    @property
    def is_proved(self) -> bool:
        return self.passed is True and self.run.kind == Run.Kind.FINAL

    @property
    def failed(self) -> tuple[str, ...]:
        """What failed, each by its name; empty while nothing did."""
        kinds = [check.kind for check in self.checks if check.passed is False]
        return tuple(f"{kind} sweep" if kind in SWEEPS else BESIDE[kind] for kind in kinds)

    @property
    def is_out_of_band(self) -> bool:
        return any(check.passed is False for check in self.checks if check.kind in SWEEPS)

    @property
    def state(self) -> str:
        """The look of a headline: good, failed, or open while something is still to be read."""
        return {True: "good", False: "failed", None: "open"}[self.passed]


def proof_of(run: Run, build: Build, *, cylinders: int | None = None) -> Proof:
    """What a run of a build comes to, by all that was read in it."""
    found = checks.checks_of(run, build, cylinders=cylinders)
    by_kind = {check.kind: check.passed for check in found}
    sweeps = {kind: _sweep_state(run, kind, by_kind) for kind in _wanted(run)}
    has_band = convert.target_of(getattr(build, "target", None), convert.drive_of(build)) is not None
    beside = {kind: by_kind[kind] for kind in BESIDE if kind in by_kind}
    passed = _passed(has_band, sweeps, beside)
    said = [*(_sweep_words(sweeps) if has_band else ["no band to hold it against"]), *_beside_words(beside)]
    lacks = tuple(_lacks(has_band, sweeps, beside))
    is_final = run.kind == Run.Kind.FINAL
    instead = instead_of(run, build) if is_final else ""
    proved = f"{run} proved" if passed and is_final else str(run)
    if not instead:
        return Proof(run, f"{proved}: {', '.join(said)}", passed, lacks, found)
    headline = f"{proved} {_pair(run)}" if passed else f"{run}: {', '.join(said)}"
    lacks = (*(() if has_band else ("a target",)), f"{A_FINAL} {OF_WHAT_HANGS}")
    return Proof(run, f"{headline}; {instead}", None if passed else passed, lacks, found)


@dataclass(frozen=True)
class Springs:
    """Whether the springs are found: what hangs in the unit was read, rising at least, inside the band.

    ``in_band``: None while that is not to be told. ``said`` and ``lacks`` say it in words.
    """

    in_band: bool | None
    said: str
    lacks: tuple[str, ...]


def springs_of(build: Build) -> Springs:
    """Whether the springs of a build are found, by the newest trial or final run that was read."""
    return _springs([run for run in queries.live_runs(build) if run.kind != Run.Kind.AS_RECEIVED], build)


def trials_of(build: Build) -> Springs:
    """What the trial runs of a build came to, whatever a final run says since."""
    return _springs([run for run in queries.live_runs(build) if run.kind == Run.Kind.TRIAL], build)


def _springs(runs: Sequence[Run], build: Build):
    """What the newest of these runs that was read comes to, the newest of all hanging in the unit."""
    drive = convert.drive_of(build)
    band = convert.target_of(getattr(build, "target", None), drive)
    hung = runs[-1] if runs else None
    read = next((run for run in reversed(runs) if run.readings.all()), None)
    readings = convert.run_readings(read, drive) if read else None
    needs = [] if band is not None else ["a target"]
    if read is None or readings is None:
        needs = needs or [OVER_ALL] if hung else [*needs, "a run"]
        return Springs(None, "nothing read" if hung else "", tuple(needs))
    if instead := _instead(read, hung):
        return Springs(None, f"{instead}, not read", (*needs, f"a run {OF_WHAT_HANGS}"))
    if band is None:
        return Springs(None, "no band to hold it against", tuple(needs))
    inside = verdicts.verdict(readings, band, drive)[0]
    if inside is None and not _is_read(read, "rising"):
        return Springs(None, "rising sweep not read", ("a run read rising",))
    return {
        True: Springs(True, "inside the band", ()),
        False: Springs(False, "outside the band", ("a run inside the band",)),
        None: Springs(None, PARTLY, (OVER_ALL,)),
    }[inside]


def instead_of(run: Run, build: Build) -> str:
    """What hangs in the unit instead of a run's springs at its bends, in words; empty while they do."""
    return _instead(run, queries.hangs_in(build))


def _instead(run: Run, hung: Run | None):
    if hung is None or queries.pair_and_bends(hung) == queries.pair_and_bends(run):
        return ""
    names = _names(hung)
    if not names:
        return f"{str(hung).lower()} names no springs"
    if (hung.primary_id, hung.secondary_id) == (run.primary_id, run.secondary_id):
        return "its posts were bent since"
    return f"{_pair(hung)} {'hang' if len(names) > 1 else 'hangs'} in it"


def _names(run: Run):
    return [str(spring) for spring in (run.primary, run.secondary) if spring]


def _pair(run: Run):
    names = _names(run)
    if not names:
        return "its springs"
    return " and ".join(names) if len(set(names)) == len(names) else f"two {names[0]}"


def _wanted(run: Run):
    """The sweeps that a run is judged by: a final run by both, another by the rising one at least."""
    if run.kind == Run.Kind.FINAL:
        return SWEEPS
    return [kind for kind in SWEEPS if run.readings.all() and (kind == "rising" or _is_read(run, kind))]


def final_of(build: Build, *, cylinders: int | None = None) -> Proof | None:
    """The newest final run in which anything was read, or None."""
    finals = [run for run in queries.live_runs(build) if run.kind == Run.Kind.FINAL]
    read = [run for run in finals if run.readings.all() or _beside(run)]
    return proof_of(read[-1], build, cylinders=cylinders) if read else None


def _beside(run: Run):
    return any((run.sparks.all(), run.dwells.all(), run.vacuums.all()))


def _is_read(run: Run, kind: str):
    return any(row.falling == (kind == "falling") for row in run.readings.all())


def _sweep_state(run: Run, kind: str, by_kind: dict[str, bool | None]):
    if not _is_read(run, kind):
        return UNREAD
    return {True: "in the band", False: OUTSIDE, None: PARTLY}[by_kind.get(kind)]


def _passed(has_band: bool, sweeps: dict[str, str], beside: dict[str, bool | None]):
    states = set(sweeps.values())
    if OUTSIDE in states or False in beside.values():
        return False
    if not has_band or not sweeps or states & {UNREAD, PARTLY} or None in beside.values():
        return None
    return True


def _sweep_words(sweeps: dict[str, str]):
    """What failed first, then what was not read; one phrase where both sweeps came to the same."""
    if not sweeps:
        return ["no sweep read"]
    states = list(sweeps.values())
    if len(states) == 2 and states[0] == states[1]:
        return ["no sweep read" if states[0] == UNREAD else f"sweeps {states[0]}"]
    order = [OUTSIDE, UNREAD, PARTLY]
    worst_first = sorted(sweeps, key=lambda kind: order.index(sweeps[kind]) if sweeps[kind] in order else 9)
    return [f"{kind} sweep {sweeps[kind]}" for kind in worst_first]


def _beside_words(beside: dict[str, bool | None]):
    unread = "not read to the end"
    for passed, one, more in ((False, "fails", "fail"), (None, unread, unread), (True, "passes", "pass")):
        names = [BESIDE[kind] for kind, said in beside.items() if said is passed]
        if names:
            *first, last = names
            listed = f"{', '.join(first)} and {last}" if first else last
            yield f"{listed} {more if first else one}"


def _lacks(has_band: bool, sweeps: dict[str, str], beside: dict[str, bool | None]):
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
