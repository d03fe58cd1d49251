"""Moving a card on and back, handing it back, and what may still happen to it afterwards."""

from django.core.exceptions import ValidationError
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from jobs.curvework import trial_actions
from jobs.intake import opening
from jobs.intake.forms import EngineForm, OwnerForm
from jobs.intake.returned import NotNewest, require_newest
from jobs.intake.starts import Starts, filled, fills_in, under
from jobs.moves import actions
from jobs.moves.actions import warranty_end
from jobs.moves.hand_back_forms import AllocateForm, HandBackForm, MoveForm, RoadReportForm
from jobs.page.showing import load, show_card, show_section
from jobs.papers import signing
from jobs.rules.agreed_for import earlier_engine_words
from jobs.rules.guards import require_closed, require_rebuilt
from jobs.stages import Stage
from shop import notes
from shop.idempotency import take
from shop.rights import require
from shop.several_forms import Several
from shop.versions import Conflict

MISSING_CHANGED = (
    "What is missing changed since this page was shown: look at it again, then send your reason."
)


@require_POST
def move(request, number):
    require(request.user, "move_stage")
    return _moved(request, number, MoveForm(request.POST), "move_form", actions.move_stage)


@require_POST
def hand_back(request, number):
    require(request.user, "hand_back")
    return _moved(request, number, HandBackForm(request.POST), "hand_back_form", actions.hand_back)


def _moved(request, number, form, name, action):
    shown = load(request, number)
    if form.is_valid():
        data = form.cleaned_data
        seen = data.pop("stage")
        try:
            action(shown.job, by=request.user, seen=seen, **data)
            if seen in (Stage.SPRING_TRIALS, Stage.BENCH_CURVE) and request.user.may("edit_curve"):
                trial_actions.learn_soon(shown.job, by=request.user)
            return redirect("card", number)
        except ValidationError as error:
            form.add_error(None, error)
        except actions.OtherMissing:
            form.add_error("reason", MISSING_CHANGED)
            return show_card(request, load(request, number), status=409, **{name: form})
        except Conflict as conflict:
            stands = conflict.current.get_stage_display()
            form.add_error(None, f"Someone else moved this card meanwhile: it stands at {stands} now.")
            return show_card(request, load(request, number), status=409, **{name: form})
    return show_card(request, shown, status=422, **{name: form})


@require_POST
def road_report(request, number):
    """What the unit did on the road; with ``reopen`` the unit is back and gets a new card."""
    shown = load(request, number)
    form = RoadReportForm(request.POST)
    if not form.is_valid():
        return show_card(request, shown, status=422, road_form=form)
    data, by = form.cleaned_data, request.user

    def write():
        if data["reopen"]:
            number = opening.reopen(shown.job, by=by, road_report=data["text"]).number
            return reverse("card", args=[number])
        opening.report_from_road(shown.job, text=data["text"], by=by)
        return shown.address(shown.job.stage, "returned")

    try:
        return redirect(take(request, write))
    except NotNewest as refusal:
        form.add_error(None, str(refusal))
        return show_card(request, load(request, number), status=422, road_form=form)


@require_http_methods(["GET", "POST"])
def allocate(request, number):
    """Give a unit from the shop's shelf to a customer."""
    shown = load(request, number)
    require(request.user, "hand_back")
    require_closed(shown.job)
    require_rebuilt(shown.job)
    require_newest(shown.job)
    starts = _engine_starts(request)
    form = Given(None if starts else request.POST or None, shown, request.user, starts)
    saves = request.method == "POST" and not starts
    if saves and form.is_valid() and form.is_theirs(request):
        try:
            given = actions.allocate(shown.job, by=request.user, **form.said)
            if said := earlier_engine_words(given):
                notes.leave(request, f"The unit went to {given.customer}. {said}")
            return redirect("card", number)
        except ValidationError as error:
            form.refuse(error)
    starts = starts or Starts(request.POST.dict())
    answer = show_section(
        request, shown, "returned", editing="returned", form=form, starts=starts, status=form.status
    )
    if request.htmx:
        answer["HX-Reselect"] = f"#{request.htmx.target or 'sec-returned'}"
    return answer


def _engine_starts(request):
    """What is filled in or asked for as one types; None while the form is opened or sent."""
    if request.method == "GET":
        return Starts(request.GET.dict()) if request.GET else None
    return filled(request.POST.dict()) if fills_in(request.POST) else None


class Given(Several):
    """Whose the unit becomes, when and with what warranty, and the engine it goes on; ``starts`` fills in."""

    def __init__(self, data, card, person, starts=None):
        today = timezone.localdate()
        ends = warranty_end(today, card.shop.warranty_months)
        typed = starts.typed if starts else {}
        self.owner = OwnerForm(data, initial=typed)
        self.handing = AllocateForm(data, initial={"on": today, "warranty_until": ends} | typed)
        self.engine = EngineForm(data, prefix="engine", empty_permitted=True, initial=under("engine-", typed))
        del self.owner.fields["stock"]
        if not (person.may("sign_sheet") and signing.has_final_run(card.job)):
            del self.handing.fields["password"]
        super().__init__(self.owner, self.handing, self.engine)

    def is_theirs(self, request):
        """Whether no password was given, or the right one."""
        password = self.handing.cleaned_data.get("password")
        if password and not signing.is_own_password(request, password):
            self.handing.add_error(
                "password", "Not your password: write it again. Nothing was given or signed."
            )
        return not self.handing.errors

    @property
    def said(self):
        said = dict(self.handing.cleaned_data)
        said["sign"] = bool(said.pop("password", ""))
        engine = self.engine.instance if self.engine.has_changed() else None
        return said | {"engine": engine, "customer": self.owner.cleaned_data["owner"]}

    def refuse(self, error):
        (self.handing if hasattr(error, "error_dict") else self.owner).add_error(None, error)
