"""One unit's visit to the demo shop, told as dated steps; each step is a real action."""

from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from functools import cached_property, partial

import numpy as np
from django.core.exceptions import ValidationError
from django.utils import timezone

from curves.models import Build
from jobs.demo import condition, faults, pictures
from jobs.demo.curvework import CurveWork
from jobs.demo.engines import Kind
from jobs.demo.faults import Fault
from jobs.demo.suiting import absent, drawn, suits
from jobs.intake import actions as intake
from jobs.intake import opening
from jobs.models import Engine, EstimateAnswer, InspectionPoint, Job, PartLine, Sheet, Step, Unit
from jobs.money import answers
from jobs.moves import actions as moving
from jobs.papers import signing
from jobs.rules import points as inspection
from jobs.rules.agreement import agreement_of
from jobs.rules.measured import Measured
from jobs.rules.recorded import recorded_sha256
from jobs.stages import Stage
from jobs.teardown import actions as teardown
from jobs.teardown import photos, steps
from jobs.teardown.pictures import clean_photo
from shop.models import Customer, Person, Shop

HOUR_RATE = Decimal("48.00")
HALF = 12  # points of the inspection list that are answered in one go


@dataclass
class Visit(CurveWork):
    """A planned visit: whose unit, what is wrong with it, when it came in, and who works on it."""

    index: int
    seed: int
    kind: Kind
    fault: Fault
    customer: Customer | None
    opened: float  # working days from today
    days: dict  # working days from opening to each stage in order, and last, under None, to the hand-back
    bench_person: Person
    counter: Person
    drawer: dict  # springs by label
    head_types: dict  # by the key of the head
    promised_after: int = 15
    waits_for_answer: bool = False
    with_photos: bool = False
    job_pk: int = field(default=0, init=False)
    came_with: str = field(default="", init=False)

    @cached_property
    def rng(self):
        return np.random.default_rng([self.seed, self.index])

    @property
    def blind_trials(self):
        """How many pairs are tried before the one that suits."""
        return 2 + self.index % 2

    @property
    def blasted(self):
        return self.index % 2 == 0

    @property
    def job(self):
        return Job.objects.get(pk=self.job_pk)

    def events(self):
        """What happens on this visit: (working days from today, action), in order."""
        told = (
            (Stage.INTAKE, self._intake),
            (Stage.TEARDOWN, self._teardown),
            (Stage.CLEANING, self._cleaning),
            (Stage.SPRING_TRIALS, self._trials),
            (Stage.BENCH_CURVE, self._bench),
            (Stage.HAND_BACK, self._hand_back),
        )
        ends = list(self.days.values())[1:]
        for (stage, tell), end in zip(told, ends, strict=True):
            begin = self.days[stage]
            for share, action in tell():
                yield self.opened + begin + share * (end - begin), action
        yield self.opened + self.days[None], self.hand_back

    # What happens in each stage: (share of its time gone, action).

    def _intake(self):
        yield 0.0, self.open
        if self.with_photos:
            yield 0.02, partial(self.photograph, 0)

    def _teardown(self):
        yield 0.0, partial(self.move, Stage.TEARDOWN)
        if self.fault.key != "seized":
            yield 0.15, self.run_as_received
            if self.customer and self.index % 3 == 0:
                yield 0.2, self.sweep_the_engine
        yield 0.3, self.write_findings
        yield 0.35, partial(self.answer_inspection, slice(HALF))
        yield 0.5, self.want_parts
        if self.with_photos:
            yield 0.5, partial(self.photograph, 1)
        if self.waits_for_answer or self.index % 4 == 0:
            yield 0.5, self.revise_estimate
        yield 0.7, partial(self.answer_inspection, slice(HALF, None))
        if not self.waits_for_answer and self.index % 4 == 0:
            yield 0.9, self.take_answer

    def _cleaning(self):
        yield 0.0, partial(self.move, Stage.CLEANING)
        yield 0.2, partial(self.tick, Step.List.CLEANING, 2)
        if not self.blasted:
            yield 0.3, self.put_blasting_aside
        yield 0.5, partial(self.tick, Step.List.CLEANING, None)
        if self.blasted:
            yield 0.8, self.sign_abrasive_free

    def _trials(self):
        yield 0.0, partial(self.move, Stage.SPRING_TRIALS)
        yield 0.05, self.mend
        yield 0.1, self.measure_head
        yield 0.2, self.set_target
        if self.customer and self.index % 5 == 0:
            yield 0.25, self.ask_the_engine
        for place in range(self.blind_trials):
            yield 0.35 + 0.15 * place, partial(self.try_springs, place)
        yield 0.8, self.try_the_chosen

    def _bench(self):
        yield 0.0, partial(self.move, Stage.BENCH_CURVE)
        yield 0.3, partial(self.tick, Step.List.ASSEMBLY, 4)
        yield 0.5, partial(self.tick, Step.List.ASSEMBLY, None)
        yield 0.7, self.run_final
        yield 0.8, self.fit_parts
        yield 0.9, self.agree_to_more

    def _hand_back(self):
        yield 0.0, partial(self.move, Stage.HAND_BACK)
        yield 0.3, self.write_setting
        yield 0.5, self.sign

    # Intake

    def open(self):
        job = opening.open_job(
            by=self.counter,
            customer=self.customer,
            engine=self._engine(),
            unit=self._unit_row(),
            build=Build(travel_stamped_deg=self.unit_drawn.travel_deg),
            complaint=self._said(self.fault.complaints if self.customer else faults.STOCK_COMPLAINTS),
            came_with=self._said(faults.CAME_WITH),
            tray=f"{'ABCDEF'[self.index % 6]}{self.index % 14 + 1}",
            promised_on=timezone.localdate() + timedelta(days=self.promised_after) if self.customer else None,
            **self._estimated(),
        )
        self.job_pk, self.came_with = job.pk, job.came_with

    def _said(self, texts):
        return drawn(texts, [int(self.rng.choice(len(texts)))], self._suits)[0]

    def _suits(self, text):
        return suits(text, self.kind, self.came_with)

    def _estimated(self):
        """Nobody is told an estimate above the limit they set a minute before."""
        if not self.customer:
            return {}
        estimate, limit = (Decimal(int(self.rng.integers(*most)) * 10) for most in ((14, 34), (30, 42)))
        return {"estimate": estimate, "agreed_limit": max(estimate, limit)}

    def _engine(self):
        """An engine of this kind; some are bored out, and none is quite as the book says."""
        kind, rng = self.kind, self.rng
        bored = int(rng.choice([0, 0, 0, 14, 22, 37, 60]))
        return Engine(
            vehicle=kind.vehicle,
            make=kind.make,
            model=kind.model,
            year=int(rng.integers(kind.years[0], kind.years[1] + 1)),
            cylinders=kind.cylinders,
            displacement_cc=kind.displacement_cc + bored,
            compression=round(kind.compression + float(rng.choice([0, 0, 0.1, 0.2, 0.4])), 1),
            camshaft=kind.camshaft,
            induction=kind.induction,
            fuel_octane=kind.fuel_octane,
            use=kind.use,
            idle_crank_rpm=kind.idle_crank_rpm,
            top_crank_rpm=kind.top_crank_rpm,
        )

    def _unit_row(self):
        kind = self.kind
        return Unit(
            maker=kind.unit_maker,
            number=kind.unit_number,
            date_code=f"{self.rng.integers(1, 53)} {kind.years[0] % 100 + int(self.rng.integers(0, 5))}",
            rotation=kind.rotation,
            cylinders=kind.cylinders,
            trigger=kind.trigger,
            connector_pins=None if kind.trigger == "points" else int(self.rng.choice([3, 4, 6])),
            capsule=kind.capsule,
        )

    def photograph(self, place):
        captions = faults.CAPTIONS
        caption = captions[(self.index + place) % len(captions)]
        picture = clean_photo(pictures.picture([self.seed, self.index, place]))
        photos.add_photo(self.job, picture, by=self.bench_person, caption=caption)

    # Teardown

    def findings(self):
        general = faults.GENERAL_FINDINGS
        if self.kind.trigger != "points":
            general += faults.ELECTRONIC_FINDINGS
        return [*self._some(self.fault.findings, 1, 2), *self._some(general, 1, 3)]

    def _some(self, texts, fewest, most):
        many = int(self.rng.integers(fewest, most + 1))
        return drawn(texts, self.rng.choice(len(texts), many, replace=False), self._suits)

    def write_findings(self):
        for text in self.findings():
            teardown.add_finding(self.job, text=text, by=self.bench_person)

    def answers(self, job):
        points = InspectionPoint.objects.filter(in_use=True)
        asked = [point for point in points if inspection.applies(point, job.unit)]
        seed = [self.seed, self.index, 3]
        travel = (self.travel_found_deg, self.unit_drawn.travel_deg)
        missing = absent(self.came_with)
        return [
            (point, Measured(), "na", "") if missing & set(point.key.split("-")) else (point, *answer)
            for point, *answer in condition.answers(asked, job.unit, self.fault, *travel, seed)
        ]

    def answer_inspection(self, part):
        job = self.job
        for point, measured, verdict, text in self.answers(job)[part]:
            value, *rest = measured
            beside = dict(zip(measured._fields[1:], rest, strict=True))
            said = {"value": value, "beside": beside, "verdict": verdict, "note_text": text}
            teardown.answer_point(job, point, by=self.bench_person, **said)

    def parts_wanted(self):
        kinds = faults.POINTS_PARTS if self.kind.trigger == "points" else faults.ELECTRONIC_PARTS
        picked = self.rng.choice(len(faults.GENERAL_PARTS), 2, replace=False)
        return [
            _line(text, PartLine.State.WANTED, price=Decimal(price))
            for text, price in [
                *filter(self._may_fit, self.fault.parts),
                *list(filter(self._may_fit, kinds))[:2],
                *drawn(faults.GENERAL_PARTS, picked, self._may_fit),
            ]
        ]

    def _may_fit(self, part):
        return self._suits(part[0]) and part[0] not in [text for text, _ in self.left_off()]

    def want_parts(self):
        for line in self.parts_wanted():
            teardown.add_part(self.job, line, by=self.bench_person)

    def revise_estimate(self):
        if self.customer:
            job = self.job
            revised = (job.agreed_limit or Decimal(300)) + 10 * int(self.rng.integers(2, 9))
            intake.change_card(job, {"revised_estimate": revised}, by=self.bench_person, version=job.version)

    def take_answer(self):
        if self.customer:
            how, share, said = faults.ANSWERS[int(self.rng.choice(len(faults.ANSWERS)))]
            asked = self.job.revised_estimate
            self._answer(asked, round(asked * Decimal(share)), how, said)

    def agree_to_more(self):
        """The counter calls again when parts and hours have come to more than was agreed."""
        job = self.job
        if agreement_of(job).over_by:
            asked = (agreement_of(job).spent // 10 + 1) * 10
            self._answer(asked, asked, "telephone", "Told what it came to; go on.")

    def _answer(self, asked, amount, how, said):
        job, kinds = self.job, EstimateAnswer.Said
        data = {
            "said": kinds.ACCEPTED if amount == asked else kinds.IN_PART,
            "asked": asked,
            "amount": amount,
            "said_by": job.customer.name,
            "how": how,
            "given_at": timezone.now(),
            "note": said,
        }
        answers.take_answer(job, data, by=self.counter, version=job.version)

    # Cleaning and assembly

    def put_blasting_aside(self):
        """Nobody ticks off the cabinet for a unit that was only washed."""
        for step in self.job.steps.filter(abrasive=True):
            steps.put_aside(step, by=self.bench_person, why="Washed only")

    def tick(self, name, count):
        for step in self.to_do(name)[:count]:
            steps.do_step(step, by=self.bench_person)

    def to_do(self, name):
        """The open steps of a list that are asked of this unit."""
        job = self.job
        return [step for step in job.steps.filter(list=name, at=None) if inspection.applies(step, job.unit)]

    def sign_abrasive_free(self):
        steps.sign_abrasive_free(self.job, by=self.bench_person)

    # The end

    def lines_at_the_end(self):
        """What was left off and why, what goes along loose, and the hours."""
        for text, why in self.left_off():
            yield _line(text, PartLine.State.LEFT_OFF, why=why)
        if self.index % 3 == 1:
            place = self.index % len(faults.LOOSE)
            text, why = drawn(faults.LOOSE, [place], lambda part: self._suits(part[0]))[0]
            yield _line(text, PartLine.State.LOOSE, why=why)
        hours = Decimal(int(self.rng.integers(5, 13))) / 2
        yield _line(
            "Strip, clean, rebuild and run on the bench",
            PartLine.State.LABOUR,
            price=HOUR_RATE,
            quantity=hours,
        )

    def left_off(self):
        """What the owner will have none of, and why; known from the first, so it is never fitted either."""
        text, why = faults.LEFT_OFF[self.index % len(faults.LEFT_OFF)]
        return [(text, why)] if self._suits(text) else []

    def price_springs(self):
        """What was wanted from the drawer is charged for; what was tried on the way is not."""
        prices = {text.split()[0].lower(): price for text, price in self.fault.parts}
        for line in PartLine.objects.filter(job=self.job_pk, spring__isnull=False).select_related("job"):
            if price := prices.get(line.text.rpartition(" ")[2]):
                data = {"price": Decimal(price)}
                teardown.change_part(line, data, by=self.bench_person, version=line.version)

    def mend(self):
        """What the fault takes is done before the head is measured: a worn stop is no stop to measure at."""
        own = [text for text, _ in self.fault.parts if not text.endswith(faults.FROM_THE_DRAWER)]
        self._fit(PartLine.objects.filter(job=self.job_pk, state=PartLine.State.WANTED, text__in=own))

    def _fit(self, wanted):
        for line in wanted.select_related("job"):
            teardown.change_part(
                line, {"state": PartLine.State.FITTED}, by=self.bench_person, version=line.version
            )

    def fit_parts(self):
        wanted = PartLine.objects.filter(job=self.job_pk, state=PartLine.State.WANTED)
        for line in wanted.filter(text__endswith=faults.FROM_THE_DRAWER).select_related("job"):
            teardown.remove_part(line, by=self.bench_person)  # they stand there as fitted by now
        self.price_springs()
        self._fit(wanted)
        for line in self.lines_at_the_end():
            teardown.add_part(self.job, line, by=self.bench_person)

    def write_setting(self):
        job = self.job
        note = self._said(faults.SETTING_NOTES).format(initial=sum(self.kind.initial_crank_deg) // 2)
        intake.change_card(
            job, {"setting_note": note}, by=self.bench_person, version=job.version, right="edit_work"
        )

    def sign(self):
        job = self.job
        signing.sign(
            job,
            Sheet.Kind.CURVE_SHEET,
            paper_size=Shop.current().paper,
            by=self.bench_person,
            seen=recorded_sha256(job),
        )

    def hand_back(self):
        to = self.customer.name if self.customer else "the shelf"
        until = timezone.localdate() + timedelta(days=365) if self.customer else None
        moving.hand_back(self.job, by=self.counter, handed_to=to, warranty_until=until)

    def move(self, to):
        move = partial(moving.move_stage, self.job, to=to, by=self.bench_person)
        try:
            move()
        except ValidationError:
            move(reason=faults.WHY_ON)


def _line(text, state, *, why="", price=None, quantity=Decimal(1)):
    return {"text": text, "state": state, "why": why, "price": price, "quantity": quantity}
