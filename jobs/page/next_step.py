"""The one thing to do next on a card that misses something, and where it is done."""

from dataclasses import dataclass

from django.urls import reverse

from curves.judging.proof import instead_of
from curves.models import Run
from curves.rows.queries import hangs_in, live_runs
from jobs.rules import guards
from jobs.rules.agreement import CONSENT, OF_THE_CUSTOMER
from jobs.rules.guards import has_band, verdicts_of
from jobs.stages import Stage


@dataclass(frozen=True)
class NextStep:
    words: str
    address: str


def next_step(job, missing, may):
    """What would take this card on, if the reader's rights allow it; else None."""
    right, step = _step(job, missing)
    return step(job) if may[right] else None


def _step(job, missing):
    """The sheet is signed last; else the first that is missing comes first."""
    if of_customer := _of_the_customer(missing):
        return of_customer
    wanted = [lack.need for lack in missing if lack not in OF_THE_CUSTOMER]
    return _STEPS[next((need for need in wanted if need != guards.SHEET), guards.SHEET)]


def _within(stage, words, tail):
    """A place on the card in a stage that is unfolded for it, unless the card stands there."""

    def step(job):
        opened = "" if job.stage == stage else f"?open={stage}"
        return NextStep(words, f"{reverse('card', args=[job.number])}{opened}{tail}")

    return step


def _of_the_customer(missing):
    """What to do where only the customer's word is missing, or where it was no: then nothing else matters."""
    if CONSENT in missing:
        return "hand_back", _to("close_card", "Close without the repair")
    if set(missing) <= set(OF_THE_CUSTOMER):
        return "take_answer", _to("answers", "Write the customer's answer", "#sec-answer")
    return None


def _to(route, words, tail=""):
    return lambda job: NextStep(words, reverse(route, args=[job.number]) + tail)


def _trial(job):
    if not has_band(job.build):
        return _set_target(job)
    if not live_runs(job.build):
        return _to("run_new", "Type a trial run", "?kind=trial")(job)
    hung = hangs_in(job.build)
    if hung and _is_to_be_read(hung, job):
        return _to("bench", f"Read {str(hung).lower()}", f"?run={hung.number}")(job)
    return _to("trials", "Choose the next pair")(job)


def _is_to_be_read(run, job):
    """Whether its pair hangs in the unit and nothing, or not the whole band, was read of it yet."""
    return not run.readings.all() or verdicts_of(job).latest_in_band is None


def _final(job):
    if not has_band(job.build):
        return _set_target(job)
    finals = [run for run in live_runs(job.build) if run.kind == Run.Kind.FINAL]
    if finals and (failed := _failed(finals[-1], job)):
        return _mend(failed, job)
    # What was read before a signature stays as it was signed: the next reading begins another run.
    is_signed = job.stage == Stage.HAND_BACK and job.sheets_that_hold
    is_anew = finals and (instead_of(finals[-1], job.build) or (is_signed and finals[-1].readings.all()))
    return _to("bench", "Read the final run", "?new=1&kind=final" if is_anew else "")(job)


def _failed(newest, job):
    """What the newest final run comes to, where it failed and hangs in the unit still; else None."""
    final = verdicts_of(job).final
    if final is None or final.run != newest or instead_of(newest, job.build):
        return None
    return final if final.failed else None


def _mend(final, job):
    """Another pair where a sweep is out of the band; else the checks, and beside them the next final run."""
    words = f"Mend what failed: {', '.join(final.failed)}"
    if final.is_out_of_band:
        return _to("trials", words)(job)
    return _within(Stage.BENCH_CURVE, words, "#sec-final")(job)


def _set_target(job):
    return _to("target", "Set the target")(job)


_STEPS = {
    guards.UNIT: ("edit_intake", _to("card", "Complete the intake", "#stage-intake")),
    guards.POINTS: ("edit_work", _to("answer_points", "Fill in the inspection")),
    guards.CLEANING: ("edit_work", _within(Stage.CLEANING, "Tick off the cleaning", "#sec-cleaning")),
    guards.NO_ABRASIVE: ("edit_work", _within(Stage.CLEANING, "Look for abrasive", "#sec-cleaning")),
    guards.SPRINGS: ("edit_curve", _trial),
    guards.PROVED: ("edit_curve", _final),
    guards.ASSEMBLY: ("edit_work", _within(Stage.BENCH_CURVE, "Tick off the assembly", "#sec-assembly")),
    guards.SHEET: ("sign_sheet", _to("card", "Sign the curve sheet", "#sec-paper")),
}
