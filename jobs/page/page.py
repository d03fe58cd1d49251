"""A card as pages show it: every list fetched once, when it is first asked for."""

from dataclasses import dataclass
from functools import cached_property
from typing import cast

from django.urls import reverse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from jobs import stages
from jobs.intake.returned import carried_over, newer_card, others_of_unit, warranty_of
from jobs.models import PartLine, Sheet, Step
from jobs.page.next_step import next_step
from jobs.page.results import needs_of, result_of
from jobs.papers import signing
from jobs.queries import days_in_stage, inspection_of
from jobs.rules import abrasive, guards
from jobs.rules.agreement import agreement_of
from jobs.rules.handed_back import handed_back_without
from jobs.rules.notices import notices
from jobs.rules.points import CAUTIONS, applies
from jobs.stages import ORDER, Stage
from shop.amounts import FRAME
from shop.models import Shop
from shop.rights import RIGHTS
from shop.words import days


@dataclass(frozen=True)
class StagePart:
    """One stage of a card: past, now or coming, and the line that stands for it when it is folded."""

    stage: Stage
    state: str
    line: str
    is_open: bool
    caution: str
    template: str
    address: str


class Card:
    """A job with its lists, for one reader; ``also_open`` names folded stages that the reader unfolded."""

    def __init__(self, job, person, also_open=()):
        self.job = job
        self.person = person
        self.shop = cast(Shop, SimpleLazyObject(Shop.current))  # read once for all that asks on this page
        self._also_open = set(also_open)

    @cached_property
    def may(self):
        """What this reader may do to this card, by right; nothing is written on a closed one."""
        return {right: allowed and not self.job.is_closed for right, allowed in self.reader.items()}

    @cached_property
    def reader(self):
        """What this reader's role allows, whether the card is closed or not."""
        return {right: self.person.may(right) for right in RIGHTS}

    @cached_property
    def endings(self):
        """The ways in which this reader may close the card without the repair."""
        return guards.endings_for(self.job, self.person)

    @cached_property
    def missing(self):
        return guards.missing(self.job)

    @property
    def lacked(self):
        """What the forms of a move send along, so that a reason covers what was shown and no more."""
        return guards.digest_of(self.missing)

    @property
    def missing_count(self):
        return guards.how_many(self.missing)

    @cached_property
    def notices(self):
        return notices(self.job, self.shop)

    @cached_property
    def agreement(self):
        return agreement_of(self.job)

    @property
    def money_frame(self):
        """What every amount on the card is, beside its currency."""
        return FRAME

    @property
    def answer_address(self):
        """Where the customer's answer to an estimate stands."""
        return self.address(Stage.TEARDOWN, "answer")

    @cached_property
    def days(self):
        return days_in_stage(self.job)

    @property
    def how_long(self):
        return days(self.days)

    @property
    def days_late(self):
        job = self.job
        if job.promised_on is None or job.is_closed:
            return 0
        return max((timezone.localdate() - job.promised_on).days, 0)

    @cached_property
    def awaited_sheets(self):
        """The sheets that wait to be signed since the unit went to a new owner, in words."""
        return (
            [Sheet.Kind(kind).label.lower() for kind in signing.awaited(self.job)]
            if self.job.is_closed
            else []
        )

    @cached_property
    def carried(self):
        """What stands here as it came from the unit's earlier card."""
        return carried_over(self.job)

    @property
    def warranty(self):
        return warranty_of(self.job, lambda: self._others)

    @property
    def following(self):
        return stages.following(self.job.stage)

    @property
    def preceding(self):
        return stages.preceding(self.job.stage)

    @property
    def next_step(self):
        """Where to go for what is missing, as words and address; None when nothing is, or for other roles."""
        return next_step(self.job, self.missing, self.may) if self.missing else None

    @cached_property
    def stages(self):
        return [self._part(stage) for stage in ORDER]

    def stage(self, stage):
        return self.stages[stages.place(stage)]

    def _part(self, stage):
        distance = stages.place(stage) - stages.place(self.job.stage)
        state = self._state(distance)
        line = needs_of(stage) if state == "coming" else result_of(self.job, stage)
        is_open = state == "now" or stage in self._also_open
        template = f"jobs/page/stages/_{stage.value}.html"
        return StagePart(stage, state, line, is_open, CAUTIONS.get(stage, ""), template, self.address(stage))

    def _state(self, distance):
        """How a stage stands, so many from the present one: past, now or coming; or, where the unit was not
        rebuilt, the one in which its card ended, or skipped."""
        if self.job.ending and distance >= 0:
            return "skipped" if distance else "ended"
        if self.job.is_closed or distance < 0:
            return "past"
        return "coming" if distance else "now"

    @cached_property
    def inspection(self):
        return inspection_of(self.job)

    @property
    def unanswered(self):
        return [one for one in self.inspection if one.answer is None]

    @property
    def rest_unmeasured(self):
        """What may be answered as good in one tap."""
        return [one for one in self.inspection if one.may_be_good_unmeasured]

    @property
    def travel_offer(self):
        """The travel measured at the inspection, where the head has none or another."""
        return next((one.travel_offer for one in self.inspection if one.travel_offer), None)

    @property
    def head_address(self):
        """Where the head stands on the card."""
        stage = Stage.TEARDOWN if self.head_is_measured_here else Stage.SPRING_TRIALS
        return self.address(stage, "head")

    @property
    def head_is_measured_here(self):
        """Whether the head stands in the teardown: from the spring trials on it stands there."""
        return stages.place(self.job.stage) < stages.place(Stage.SPRING_TRIALS)

    @cached_property
    def findings(self):
        return list(self.job.findings.select_related("by"))

    @cached_property
    def parts(self):
        return list(self.job.parts.select_related("by"))

    @property
    def went_without(self):
        return handed_back_without(self.job)

    @cached_property
    def left_off(self):
        return [line for line in self.parts if line.state == PartLine.State.LEFT_OFF]

    @property
    def parts_without_price(self):
        """How many lines the total leaves out because nobody wrote what they cost."""
        return sum(line.price is None and line.state != PartLine.State.LEFT_OFF for line in self.parts)

    @cached_property
    def photos(self):
        return list(self.job.photos.filter(removed=False).select_related("by"))

    @cached_property
    def road_reports(self):
        return list(self.job.road_reports.select_related("by"))

    @cached_property
    def later(self):
        """The cards that were opened when this unit came back."""
        return [one for one in self._others if one.number > self.job.number]

    @cached_property
    def newer(self):
        """The card that says how this unit stands now, if it is not this one."""
        return newer_card(self.job, self._others)

    @cached_property
    def _others(self):
        return others_of_unit(self.job)

    @property
    def parts_are_handed_over(self):
        """Whether parts stand in the last stage by now, as fitted, loose or left off."""
        return self.job.is_closed or self.job.stage == Stage.HAND_BACK

    @cached_property
    def _steps(self):
        steps = self.job.steps.select_related("by")
        return [step for step in steps if step.at or applies(step, self.job.unit)]

    @property
    def was_blasted(self):
        return abrasive.was_blasted(self.job)

    @property
    def is_signed_free(self):
        return abrasive.is_signed_free(self.job)

    @property
    def cleaning_steps(self):
        return [step for step in self._steps if step.list == Step.List.CLEANING]

    @property
    def assembly_steps(self):
        return [step for step in self._steps if step.list == Step.List.ASSEMBLY]

    def address(self, stage, section=""):
        """Where a section stands, with its stage unfolded when it is not the present one."""
        unfolded = "" if stage == self.job.stage else f"?open={stage}"
        anchor = f"#sec-{section}" if section else f"#stage-{stage}"
        return reverse("card", args=[self.job.number]) + unfolded + anchor
