"""Rows by name, for tests: each function makes one valid row; what a test is about it passes itself."""

from itertools import count

from django.db.models import Max
from django.utils import timezone

from curves.models import Build, Reading, Run, Spring, Target, TargetPoint
from jobs.models import Engine, EstimateAnswer, Inspection, InspectionPoint, Job, Unit
from shop.models import Customer, Person

PASSWORD = "lathe-and-arbor-7"
_serial = count(1)

# A two-slope curve in the shaft frame, (distributor rpm, distributor deg), invented.
RISING = [
    (300, 0.0),
    (400, 0.5),
    (600, 3.0),
    (800, 5.5),
    (1000, 7.5),
    (1250, 9.5),
    (1500, 10.5),
    (1800, 11.0),
]
# The same coming down, a little above as weights do, and both sweeps: what a final run is proved by.
FALLING = [(rpm, deg + 0.1, True) for rpm, deg in reversed(RISING[:-1])]
SWEPT = RISING + FALLING
# The band to go with it, (crank rpm, crank deg, tolerance in crank deg), invented.
BAND = [(600, 0.0, 1.0), (1200, 6.0, 1.0), (2000, 15.0, 1.5), (3000, 21.0, 1.5), (3600, 22.0, 1.0)]


def person(role="technician", **fields):
    """Someone with this role, by default one for each role; the password is ``PASSWORD``."""
    username = fields.pop("username", role)
    found = Person.objects.filter(username=username).first()
    if found:
        return found
    fields.setdefault("full_name", f"Robin {role.title()}")
    password = fields.pop("password", PASSWORD)
    return Person.objects.create_user(username, password=password, role=role, **fields)


def customer(name="Marta Quill", **fields):
    return Customer.objects.create(name=name, **fields)


def engine(**fields):
    """A four-cylinder road engine of an invented make."""
    values = {
        "vehicle": "Larkfield saloon",
        "make": "Larkfield",
        "model": "L4",
        "year": 1962,
        "cylinders": 4,
        "displacement_cc": 1600,
        "compression": 8.5,
        "induction": Engine.Induction.ONE_CARBURETTOR,
        "fuel_octane": 95,
        "use": Engine.Use.ROAD,
        "idle_crank_rpm": 750,
        "top_crank_rpm": 5500,
    }
    return Engine.objects.create(**values | fields)


def unit(**fields):
    """A four-cylinder unit with points, of an invented maker."""
    values = {
        "maker": "Ember & Stroud",
        "number": f"ES {next(_serial):04}",
        "date_code": "3 62",
        "rotation": Unit.Rotation.CLOCKWISE,
        "cylinders": 4,
        "trigger": Unit.Trigger.POINTS,
    }
    return Unit.objects.create(**values | fields)


def spring(label=None, **fields):
    """A kind of spring in the drawer, weighed."""
    values = {"rate_n_per_mm": 1.5, "free_length_mm": 16.0, "quantity": 4}
    row = Spring.objects.create(label=label or f"S{next(_serial)}", **values | fields)
    if row.quantity and row.practice_id is None:
        row.moves.create(kind="counted", quantity=row.quantity)
    return row


def build(**fields):
    """A unit's curve work, with its head measured."""
    values = {
        "travel_stamped_deg": 11.0,
        "travel_measured_deg": 11.0,
        "primary_gap_mm": 17.0,
        "secondary_gap_mm": 18.0,
        "primary_stretch_mm_per_deg": 0.25,
        "secondary_stretch_mm_per_deg": 0.25,
    }
    return Build.objects.create(**values | fields)


def job(**fields):
    """A card with a customer, an engine, a unit and its curve work; ``stage`` sets where it stands.

    ``worked``: every point of the inspection is answered, and a cleaning step done, as later stages ask it.
    """
    values = dict(fields)
    is_worked = values.pop("worked", False)
    for name, make in {"unit": unit, "engine": engine, "build": build, "customer": customer}.items():
        if name not in values:
            values[name] = make()
    if values.get("agreed_limit") is not None:
        values.setdefault("limit_agreed_with", values["customer"])
    values.setdefault("number", (Job.objects.aggregate(last=Max("number"))["last"] or 0) + 1)
    values.setdefault("opened_by", values.pop("by", None) or person())
    values.setdefault("stage_since", timezone.now())
    made = Job.objects.create(**values)
    return worked(made) if is_worked else made


def worked(job):
    """The card with every open point answered, as not applicable, and a cleaning step done."""
    by = job.opened_by
    points = InspectionPoint.objects.exclude(answers__job=job)
    Inspection.objects.bulk_create(Inspection(job=job, point=point, verdict="na", by=by) for point in points)
    job.steps.create(list="cleaning", text="Degrease", by=by, at=timezone.now())
    return job


def answer(job, said="accepted", **fields):
    """The customer's answer to what is asked on the card now; accepted, the whole of it is agreed."""
    asked = fields.pop("asked", job.estimate if job.revised_estimate is None else job.revised_estimate)
    values = {
        "asked": asked,
        "amount": (250 if asked is None else asked) if said == "accepted" else None,
        "said_by": str(job.customer),
        "how": EstimateAnswer.How.TELEPHONE,
        "given_at": timezone.now(),
        "by": fields.pop("by", None) or person("counter"),
        "customer": job.customer,
    }
    return EstimateAnswer.objects.create(job=job, said=said, **values | fields)


def run(build, readings=RISING, **fields):
    """A run with its readings: (rpm, deg) or (rpm, deg, falling), in the run's frame."""
    last = build.runs.aggregate(last=Max("number"))["last"] or 0
    values = {"number": last + 1, "kind": Run.Kind.TRIAL, "by": fields.pop("by", None) or person()}
    made = Run.objects.create(build=build, **values | fields)
    Reading.objects.bulk_create(
        Reading(
            run=made,
            position=position,
            speed_rpm=reading[0],
            advance_deg=reading[1],
            falling=len(reading) > 2 and reading[2],
        )
        for position, reading in enumerate(readings)
    )
    return made


def target(build, points=BAND, **fields):
    """The band: (crank rpm, crank deg) or (crank rpm, crank deg, tolerance)."""
    made = Target.objects.create(build=build, **fields)
    TargetPoint.objects.bulk_create(
        TargetPoint(
            target=made,
            crank_rpm=point[0],
            crank_deg=point[1],
            tolerance_crank_deg=point[2] if len(point) > 2 else 1.0,
        )
        for point in points
    )
    return made
