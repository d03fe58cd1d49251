"""The six stages of a card, in order, which moves there are, and which want a reason. Pure: no database."""

from collections.abc import Sequence

from django.db.models import TextChoices


class Stage(TextChoices):
    INTAKE = "intake", "Intake"
    TEARDOWN = "teardown", "Teardown"
    CLEANING = "cleaning", "Cleaning"
    SPRING_TRIALS = "spring_trials", "Spring trials"
    BENCH_CURVE = "bench_curve", "Bench curve"
    HAND_BACK = "hand_back", "Hand-back"


ORDER = list(Stage)


def place(stage: str) -> int:
    return ORDER.index(Stage(stage))


def following(stage: str) -> Stage | None:
    """The stage after this one, or None after the last."""
    index = place(stage) + 1
    return ORDER[index] if index < len(ORDER) else None


def preceding(stage: str) -> Stage | None:
    """The stage before this one, or None before the first."""
    index = place(stage) - 1
    return ORDER[index] if index >= 0 else None


def is_step(old: str, new: str) -> bool:
    """Whether a move goes exactly one stage on or back."""
    return abs(place(new) - place(old)) == 1


def wants_reason(old: str, new: str, missing: Sequence[str]) -> bool:
    """A move back, or one on without what the next stage needs, takes a reason."""
    return place(new) < place(old) or bool(missing)
