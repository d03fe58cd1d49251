"""The forms of the practice bench: which unit to invent, and where to set its stop."""

from jobs.practice.actions import MAX_SEED
from shop.forms import Form, NumberField, WholeField
from shop.idempotency import OnceField


class InventForm(Form):
    """A new unit, or the one that somebody else had."""

    once = OnceField()
    seed = WholeField(
        label="Unit number",
        required=False,
        min_value=0,
        max_value=MAX_SEED,
        help_text="Left empty, a new one is invented. The same number gives the same unit.",
    )


class StopForm(Form):
    """Where the stop goes."""

    travel = NumberField(label="Travel to set (distributor deg)", min_value=1, max_value=30)


class NeedleForm(Form):
    """At which speed the needle is looked at, as the bench screen asks; in the run's frame."""

    speed = NumberField(min_value=0, max_value=20000)
    falling = WholeField(min_value=0, max_value=1)
