"""How a card is answered: the whole page, one stage of it, or the one section that htmx asked for."""

from urllib.parse import urlsplit

from django.db.models import Max
from django.http import Http404
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject
from django_htmx.http import replace_url, trigger_client_event

from jobs.curvework.curve import curve_context
from jobs.models import AuditEntry
from jobs.moves.actions import warranty_end
from jobs.moves.hand_back_forms import HandBackForm, RoadReportForm
from jobs.page.page import Card
from jobs.page.sections import SECTIONS, stage_of
from jobs.queries import card_for
from jobs.stages import ORDER, Stage
from jobs.teardown.forms import FindingForm, NewPartForm, StepForm
from jobs.teardown.photo_forms import PhotoForm
from shop import live, notes
from shop.pages import go, page

OK = 200
CARD = "jobs/page/_card.html"
WRITTEN = "written"  # heard by what is loaded into a card by itself: its papers, sweeps, history


def load(request, number, also_open=()):
    return Card(card_for(request.user, number), request.user, also_open)


def show_card(request, card, *, status=200, **extra):
    """The whole card; ``extra`` may hold an open form and the section it stands in."""
    return page(request, "jobs/page/card.html", context_of(card, **extra), status=status)


def show_section(request, card, section, *, status=200, **extra):
    """One section: alone for htmx, in its card with its stage unfolded for anyone else.

    A refusal brings along what else of the page changed, as a write does: someone else may have changed it.
    """
    known_section(section)
    fragment = f"jobs/page/sections/_{section}.html"
    if request.htmx and status != OK:
        live_name = f"sec-{section}"
        return answered(request, card.job.number, fragment, besides=[live_name], status=status, **extra)
    if not request.htmx:
        stage = stage_of(section, card.job)
        return show_card(request, load(request, card.job.number, {stage}), status=status, **extra)
    return page(request, "jobs/page/card.html", context_of(card, **extra), fragment=fragment)


def saved(request, number, section):
    """After a write: the section as it now stands with what else of the page changed, or the way to it."""
    if request.htmx:
        fragment = f"jobs/page/sections/_{section}.html"
        answer = answered(request, number, fragment, besides=[f"sec-{section}"])
        return _at_the_card(request, answer, number, section)
    card = load(request, number)
    return redirect(card.address(stage_of(section, card.job), section))


def _at_the_card(request, answer, number, section):
    """The same; a page that was opened to edit a section has the card's own address from now on."""
    shown_at = urlsplit(request.htmx.current_url_abs_path or "").path
    if shown_at in ("", reverse("card", args=[number])):
        return answer
    card = load(request, number)
    return replace_url(answer, card.address(stage_of(section, card.job), section))


def answered(request, number, fragment, *, within=CARD, besides=(), status=200, **extra):
    """After a write with htmx, done or refused: the fragment it replaces, and every live part of ``within``
    that changed since the page was shown.

    ``besides`` names the live parts that the fragment holds itself. What is on the page and asks for itself
    is told by the event "written".
    """
    as_of = AuditEntry.objects.filter(job__number=number).aggregate(last=Max("pk"))["last"]
    card = load(request, number, ORDER)  # whichever stages are unfolded there
    extra = {name: made(card) if callable(made) else made for name, made in extra.items()}
    context = context_of(card, fragment=fragment, is_card=within == CARD, **extra)
    context["changed_parts"] = live.changed_parts(request, within, context, besides=besides)
    answer = render(request, "jobs/page/_saved.html", context, status=status)
    answer["As-Of"] = as_of or 0  # an answer that comes in late never replaces a newer one
    return trigger_client_event(answer, WRITTEN, after="settle")


def struck(request, card, section, said, *, undo, values):
    """After a line was struck out: the card again, with what was done and its undo on top."""
    notes.leave(request, said, undo=undo, values=values)
    return go(request, card.address(stage_of(section, card.job), section))


def known_section(section):
    if section not in SECTIONS:
        raise Http404(f"There is no section {section}.")


def known_stage(stage):
    if stage not in Stage.values:
        raise Http404(f"There is no stage {stage}.")
    return Stage(stage)


def context_of(card, **extra):
    """What the card's templates know: the card itself, and an empty form for each line that can be added."""
    shop = card.shop
    return {
        "shop": shop,
        "card": card,
        "job": card.job,
        "may": card.may,
        "curve": SimpleLazyObject(lambda: curve_context(card.job, shop)["curve"]),
        "finding_form": FindingForm(),
        "part_form": NewPartForm(),
        "cleaning_form": StepForm(),
        "assembly_form": StepForm(),
        "photo_form": PhotoForm(),
        "move_form": None,
        "hand_back_form": SimpleLazyObject(lambda: _hand_back_form(card.job, shop)),
        "road_form": RoadReportForm(),
    } | extra


def _hand_back_form(job, shop):
    return HandBackForm(
        initial={
            "stage": job.stage,
            "handed_to": "the shelf" if job.is_stock else job.customer.name,
            "warranty_until": warranty_end(timezone.localdate(), shop.warranty_months),
        }
    )
