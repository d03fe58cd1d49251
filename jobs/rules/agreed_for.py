"""Which engine target, timing and setting were agreed for: a unit from the shelf may go on another."""

from dataclasses import replace

from curves.judging import outcome
from curves.models import Build
from curves.rows.results import CurveSummary, CurveWarning
from jobs.models import Engine, Job

UNKNOWN = "an engine that nobody wrote down"


def engine_agreed_for(job: Job, engine: Engine | None) -> str:
    """What the card keeps as its owner's ``engine`` takes the place of the one it was rebuilt for.

    An empty text where the engine is the same, or where nothing was agreed for the earlier one.
    """
    if engine is None or _figures(engine) == _figures(job.engine):
        return job.agreed_for
    if not (hasattr(job.build, "target") or job.setting_note):
        return ""
    return job.agreed_for or (job.engine.in_full if job.engine else UNKNOWN)


def earlier_engine_words(job: Job) -> str:
    """That target and timing are another engine's, in words; empty where they are this one's."""
    if not job.agreed_for or job.engine is None:
        return ""
    idle = " Only its idle row is of the engine as it is now." if job.engine.idle_crank_rpm else ""
    now = job.engine.in_full
    goes_on = "that engine as it is written here" if now == job.agreed_for else now
    return (
        f"Target, initial timing and setting instructions were agreed for {job.agreed_for}; the unit goes on "
        f"{goes_on} now. The setting card is the earlier engine's.{idle} Look the timing up and "
        "agree it anew before the engine is run."
    )


def summary_of(job: Job, build: Build, margin_crank_rpm: float) -> CurveSummary:
    """What a card's runs come to on its engine, with what is said where they were made for another."""
    engine = job.engine
    found = outcome.summary(
        build,
        idle_crank_rpm=engine.idle_crank_rpm if engine else None,
        top_crank_rpm=engine.top_crank_rpm if engine else None,
        margin_crank_rpm=margin_crank_rpm,
    )
    said = earlier_engine_words(job)
    return replace(found, warnings=(CurveWarning("engine", said), *found.warnings)) if said else found


def _figures(engine: Engine | None) -> tuple:
    """All that an engine says of itself; nothing for none."""
    if engine is None:
        return ()
    return tuple(
        field.value_from_object(engine) for field in engine._meta.concrete_fields if not field.primary_key
    )
