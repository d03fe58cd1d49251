"""The one thing to do next on a card that misses something, and where it is done."""

from dataclasses import dataclass

from django.urls import reverse

from jobs.guards import ANSWER, verdicts_of
from jobs.stages import Stage


@dataclass(frozen=True)
class NextStep:
    words: str
    address: str


def next_step(job, missing, may):
    """What would take this card on, if the reader's rights allow it; else None."""
    right, step = ("edit_intake", _answer) if missing == [ANSWER] else _STEPS[job.stage]
    return step(job) if may[right] else None


def _to(route, words, tail=""):
    return lambda job: NextStep(words, reverse(route, args=[job.number]) + tail)


def _trial(job):
    if getattr(job.build, "target", None) is None:
        return _to("target", "Set the target")(job)
    if any(not run.removed for run in job.build.runs.all()):
        return _to("trials", "Choose the next pair")(job)
    return _to("run_new", "Type a trial run", "?kind=trial")(job)


def _final(job):
    if verdicts_of(job).final_in_band:
        return _to("card", "Tick off the assembly", "#sec-assembly")(job)
    return _to("bench", "Read the final run")(job)


def _answer(job):
    return NextStep("Write the customer's answer", reverse("edit_section", args=[job.number, "answer"]))


_STEPS = {
    Stage.INTAKE: ("edit_intake", _to("card", "Complete the intake", "#stage-intake")),
    Stage.TEARDOWN: ("edit_work", _to("answer_points", "Fill in the inspection")),
    Stage.CLEANING: ("edit_work", _to("card", "Look for abrasive", "#sec-cleaning")),
    Stage.SPRING_TRIALS: ("edit_curve", _trial),
    Stage.BENCH_CURVE: ("edit_curve", _final),
    Stage.HAND_BACK: ("sign_sheet", _to("card", "Sign the curve sheet", "#sec-paper")),
}
