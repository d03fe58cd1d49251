"""Moving a card on and back, handing it back, and what may still happen to it afterwards."""

from django.core.exceptions import ValidationError
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from jobs import signing
from jobs.actions import moving, opening, trials
from jobs.actions.moving import warranty_end
from jobs.forms.handing import AllocateForm, HandBackForm, MoveForm, RoadReportForm
from jobs.forms.intake import EngineForm, OwnerForm
from jobs.forms.several import Several
from jobs.guards import require_closed, require_rebuilt
from jobs.stages import Stage
from jobs.views.showing import load, show_card, show_section
from shop.once import take
from shop.rights import require
from shop.versions import Conflict


@require_POST
def move(request, number):
    require(request.user, "move_stage")
    return _moved(request, number, MoveForm(request.POST), "move_form", moving.move_stage)


@require_POST
def hand_back(request, number):
    require(request.user, "hand_back")
    return _moved(request, number, HandBackForm(request.POST), "hand_back_form", moving.hand_back)


def _moved(request, number, form, name, action):
    shown = load(request, number)
    if form.is_valid():
        data = form.cleaned_data
        seen = data.pop("stage")
        try:
            action(shown.job, by=request.user, seen=seen, **data)
            if seen in (Stage.SPRING_TRIALS, Stage.BENCH_CURVE) and request.user.may("edit_curve"):
                trials.learn_soon(shown.job, by=request.user)
            return redirect("card", number)
        except ValidationError as error:
            form.add_error(None, error)
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

    return redirect(take(request, write))


@require_http_methods(["GET", "POST"])
def allocate(request, number):
    """Give a unit from the shop's shelf to a customer."""
    shown = load(request, number)
    require(request.user, "hand_back")
    require_closed(shown.job)
    require_rebuilt(shown.job)
    today = timezone.localdate()
    ends = warranty_end(today, shown.shop.warranty_months)
    owner = OwnerForm(request.POST or None)
    engine = EngineForm(request.POST or None, prefix="engine", empty_permitted=True)
    handing = AllocateForm(request.POST or None, initial={"on": today, "warranty_until": ends})
    del owner.fields["stock"]
    if not (request.user.may("sign_sheet") and signing.has_final_run(shown.job)):
        del handing.fields["password"]
    form = Several(owner, handing, engine)
    if request.method == "POST" and form.is_valid() and _is_theirs(request, handing):
        said = handing.cleaned_data
        said["sign"] = bool(said.pop("password", ""))
        said["engine"] = engine.instance if engine.has_changed() else None
        try:
            moving.allocate(shown.job, customer=owner.cleaned_data["owner"], by=request.user, **said)
            return redirect("card", number)
        except ValidationError as error:
            (handing if hasattr(error, "error_dict") else owner).add_error(None, error)
    return show_section(request, shown, "returned", editing="returned", form=form, status=form.status)


def _is_theirs(request, form):
    """Whether no password was given, or the right one."""
    password = form.cleaned_data.get("password")
    if password and not signing.is_own_password(request, password):
        form.add_error("password", "Not your password: write it again. Nothing was given or signed.")
    return not form.errors
