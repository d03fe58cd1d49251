"""Answering the inspection list of a card, all at once or line by line, and the shop's own list."""

from django.core.exceptions import PermissionDenied, ValidationError
from django.shortcuts import get_object_or_404, redirect
from django.utils.text import slugify
from django.views.decorators.http import require_http_methods, require_POST

from jobs.models import InspectionPoint
from jobs.page.showing import answered, load, saved
from jobs.queries import inspection_of
from jobs.rules.guards import require_open
from jobs.rules.measured import beside
from jobs.rules.points import limit_of, triggers_of
from jobs.stages import Stage
from jobs.teardown import actions, travel
from jobs.teardown.forms import AnswerPointForm, PointForm
from shop import notes
from shop.pages import page
from shop.rights import NotAllowed, require
from shop.versions import Conflict
from shop.words import several

LIST = "jobs/teardown/_inspection.html"


@require_http_methods(["GET", "POST"])
def answer_points(request, number):
    """The whole list; only the lines that were changed are written."""
    shown = _writable(request, number)
    if request.method != "POST":
        return _show(request, shown)
    if refused := _write_touched(request, shown):
        return _show(request, _writable(request, number), refused)
    return saved(request, number, "inspection")


def _write_touched(request, shown):
    """Write every line that was written on; the forms of those that were refused."""
    touched = [form for _, form in _lines(shown, request.POST) if form.is_touched()]
    for form in touched:
        answer = _write(form, shown.job, request.user)
        if answer and answer.taken_over:
            notes.leave(request, answer.taken_over)
    return [form for form in touched if form.errors or form.current]


def _show(request, shown, refused=(), *, rest_waits=False):
    """The list to fill in: what could be saved is, and counts; what was refused stands as it was typed."""
    kept = {form.point.pk: form for form in refused}
    lines = [(asked, kept.get(asked.point.pk, form)) for asked, form in _lines(shown)]
    context = {"card": shown, "job": shown.job, "lines": lines, "back": _back(shown)}
    context |= {"refused": refused, "rest_waits": rest_waits}
    status = max((form.status for form in refused), default=200)
    return page(request, "jobs/teardown/inspection.html", context, fragment=LIST, status=status)


@require_POST
def answer_one(request, number, pk):
    """One line, written as soon as it changes; the answer is the line's state, so that typing goes on."""
    shown = _writable(request, number)
    one = next((one for one in inspection_of(shown.job) if one.point.pk == pk), None)
    if one is None:
        raise PermissionDenied("This point isn't asked of this unit.")
    form = AnswerPointForm(request.POST, point=one.point, answer=one.answer, **_unit_of(shown.job))
    answer = _write(form, shown.job, request.user)
    line = {"form": form, "answer": answer or one.answer, "just_saved": answer is not None}
    state = "jobs/page/sections/_inspection_state.html"
    return answered(request, number, state, within=LIST, status=form.status, lines=_lines, **line)


@require_POST
def answer_rest(request, number):
    """Everything that a look can answer as good, in one tap; with ``back`` such answers are taken back.

    The lines come along, as a point may hold something typed: that is written first, and as long as some
    of it is refused nothing is said of the others.
    """
    shown = _writable(request, number)
    if "back" in request.POST:
        keys = [int(key) for key in request.POST["back"].split(",") if key.isdecimal() and len(key) < 19]
        count = actions.take_back_rest(shown.job, keys, by=request.user)
        notes.leave(request, f"{several(count, 'answer')} taken back.")
        return redirect("answer_points", number)
    refused = _write_touched(request, shown)
    shown = _writable(request, number)
    if refused:
        return _show(request, shown, refused, rest_waits=bool(shown.rest_unmeasured))
    made = actions.answer_rest(shown.job, [one.point for one in shown.rest_unmeasured], by=request.user)
    is_left = any(not one.may_be_good_unmeasured for one in shown.unanswered)
    rest = " What is left wants a measured value." if is_left else ""  # no count: it stands while they are
    undo = {"back": ",".join(str(answer.pk) for answer in made)}
    said = f"{several(len(made), 'point')} answered as good.{rest}"
    notes.leave(request, said, undo=request.path if made else None, values=undo)
    return redirect("answer_points", number)


@require_POST
def take_travel(request, number):
    """Put the travel measured at the inspection in place of the head's."""
    shown = _writable(request, number)
    version = request.POST.get("version", "")
    seen = {
        "seen": request.POST.get("seen", ""),
        "version": int(version) if version.isdecimal() and len(version) < 10 else 0,
    }
    try:
        said = travel.taken_words(travel.take_travel(shown.job, by=request.user, **seen))
    except ValidationError as error:
        said = str(error.message)
    notes.leave(request, said)
    return redirect(shown.head_address)


def _lines(card, data=None):
    """The points asked of a card, each with its form."""
    return [
        (one, AnswerPointForm(data, point=one.point, answer=one.answer, **_unit_of(card.job)))
        for one in card.inspection
    ]


def _back(card):
    return card.address(Stage.TEARDOWN, "inspection")


def _unit_of(job):
    """What a value is held against beside its point's limit."""
    return {"build": job.build, "cylinders": job.cylinders}


def _writable(request, number):
    shown = load(request, number)
    require_open(shown.job)
    if not shown.may["edit_work"]:
        raise NotAllowed("Your role doesn't write in this section.")
    return shown


def _write(form, job, person):
    """Save one line; its answer, or None when the form then says what is wrong or what stands."""
    if not form.is_valid():
        return None
    data = form.cleaned_data
    try:
        form.answer = actions.answer_point(
            job,
            form.point,
            by=person,
            value=data.get("value"),
            beside={name: data.get(name) for name in beside(form.point)},
            verdict=data["verdict"],
            note_text=data["note"],
            version=data["version"],
        )
        return form.answer
    except ValidationError as error:
        form.add_error(None, error)
    except Conflict as conflict:
        form.show_conflict(conflict.current)
    return None


@require_http_methods(["GET", "POST"])
def points(request):
    """The shop's inspection list, and a new line for it."""
    require(request.user, "edit_shop")
    form = PointForm(request.POST or None, initial={"version": 1, "order": _next_order()})
    if request.method == "POST" and form.is_valid():
        form.instance.key = _free_key(form.cleaned_data["label"])
        form.save()
        return redirect("points")
    lines = [(row, limit_of(row), triggers_of(row)) for row in InspectionPoint.objects.all()]
    context = {"lines": lines, "form": form}
    return page(request, "jobs/teardown/points.html", context, status=form.status)


@require_http_methods(["GET", "POST"])
def point(request, pk):
    """One line of the shop's inspection list; it can be switched off and never deleted."""
    require(request.user, "edit_shop")
    row = get_object_or_404(InspectionPoint, pk=pk)
    form = PointForm(request.POST or None, instance=row, initial={"version": row.version})
    if request.method == "POST" and form.is_valid() and form.store():
        return redirect("points")
    return page(request, "jobs/teardown/point.html", {"point": row, "form": form}, status=form.status)


def _next_order():
    last = InspectionPoint.objects.order_by("-order").first()
    return last.order + 10 if last else 10


def _free_key(label):
    """A key of a line's own, made from its label."""
    plain = slugify(label)[:30] or "point"
    taken = set(InspectionPoint.objects.filter(key__startswith=plain).values_list("key", flat=True))
    names = [plain, *(f"{plain}-{number}" for number in range(2, len(taken) + 2))]
    return next(name for name in names if name not in taken)
