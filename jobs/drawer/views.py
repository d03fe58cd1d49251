"""The drawer: the shop's kinds of spring, how each is known, weighed, corrected and changed."""

from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from curves.models import Spring, SpringCorrection
from curves.rows import actions, convert
from curves.springs import fit_doubts, load_tests
from curves.springs.spring_forms import ChosenForm, LoadTestForm, NewSpringForm, SpringForm, StockForm
from jobs.curvework import trial_actions
from jobs.drawer import actions as drawer_actions
from jobs.drawer.queries import PRIMARY, SECONDARY, drawer_rows, hanging_now, moves_of, row_of, spring_for
from shop import idempotency, notes
from shop.models import Shop
from shop.pages import go, page
from shop.rights import require
from shop.versions import Conflict

LOADS_ID, STOCK_ID = "loads_%s", "stock_%s"  # several forms stand on one page
DOUBTED = "This fit is doubted: put right what is wrong, or say below the pairs that you checked it."


@require_GET
def drawer(request):
    require(request.user, "read")
    context = {"rows": drawer_rows(), "may_edit": request.user.may("edit_drawer")}
    return page(request, "curves/springs/drawer.html", context)


@require_http_methods(["GET", "POST"])
def spring_new(request):
    require(request.user, "edit_drawer")
    before = idempotency.taken(request)
    if before:  # a repeated send would find its own label taken
        return go(request, before)
    form = NewSpringForm(request.POST or None)
    if form.is_bound and form.is_valid():
        return go(request, idempotency.take(request, lambda: _made(request, form)))
    context = {"form": form, "action": reverse("spring_new")}
    fragment = "curves/springs/_spring_form.html"
    return page(request, "curves/springs/spring_new.html", context, fragment=fragment, status=form.status)


def _made(request, form):
    spring = Spring()
    actions.save_spring(spring, form.spring_values, by=request.user)
    notes.leave(request, f"{spring} is in the drawer.")
    return reverse("drawer")


@require_http_methods(["GET", "POST"])
def spring(request, pk):
    """All that is known of one spring; a POST changes its own figures."""
    require(request.user, "read" if request.method == "GET" else "edit_drawer")
    row = get_object_or_404(Spring, pk=pk)
    form = SpringForm(request.POST or None, instance=row, initial={"version": row.version})
    if form.is_bound and form.is_valid():
        version = form.cleaned_data["version"]
        try:
            actions.save_spring(row, form.spring_values, by=request.user, version=version)
        except Conflict as conflict:
            form.show_conflict(conflict.current)
        else:
            notes.leave(request, f"{row} is changed.")
            return go(request, reverse("spring", args=[pk]))
    return _show(request, pk, form=form)


@require_POST
def load_test(request, pk):
    """Write the pairs of the spring tester; with ``use`` their fit becomes the spring's own figures.

    Where something speaks against the fit, nothing is written before ``consent`` names this very fit.
    """
    require(request.user, "edit_drawer")
    row = get_object_or_404(Spring, pk=pk)
    form = LoadTestForm(request.POST, auto_id=LOADS_ID, stood=load_tests.typed_of(row))
    use = "use" in request.POST or "consent" in request.POST
    doubts = ()
    if form.is_valid():
        found = load_tests.fitted(form.rows, form.cleaned_data["unit"])
        if use and (found is None or found.test is None):
            form.add_error(None, found.refused if found else form.nothing)
        elif use and (doubts := _unanswered(request, found, row)):
            form.add_error(None, DOUBTED)
        elif _kept(request, row, form, use):
            return go(request, reverse("spring", args=[pk]) + "#sec-loads")
    return _show(request, pk, load_form=form, doubts=doubts)


def _unanswered(request, found, row):
    """What speaks against a fit, unless the person has said to have checked this very one."""
    return () if request.POST.get("consent") == found.seal else fit_doubts.doubts_of(found, row)


def _kept(request, row, form, use):
    """Save the pairs; False when someone else was first, and the form then says so."""
    try:
        drawer_actions.save_load_test(
            row,
            form.rows,
            by=request.user,
            version=form.cleaned_data["version"],
            use=use,
            unit=form.cleaned_data["unit"],
            consent=request.POST.get("consent", ""),
            anew=form.replaced > 0,
        )
    except Conflict as conflict:
        form.show_conflict(conflict.current)
        return False
    words = "what they say is the spring's own figures now" if use else "the spring's own figures stay"
    notes.leave(request, f"The load test of {row} is saved: {form.said}; {words}.")
    return True


@require_POST
def spring_stock(request, pk):
    """Count, receive or scrap springs of a kind: each a move of the ledger."""
    require(request.user, "edit_drawer")
    row = get_object_or_404(Spring.objects, pk=pk)
    form = StockForm(request.POST, auto_id=STOCK_ID)
    if form.is_valid():
        try:
            return go(request, idempotency.take(request, lambda: _moved(request, row, form.cleaned_data)))
        except Conflict as conflict:
            lie = conflict.current.quantity
            form.add_error("number", f"One went or came meanwhile: {lie} should lie there now. Count again.")
            form.data = form.data.copy()
            form.data["seen"] = lie
        except ValidationError as refusal:
            form.add_error("number", refusal)
    return _show(request, pk, stock_form=form)


def _moved(request, row, said):
    drawer_actions.move_stock(
        row, said["happened"], said["number"], seen=said["seen"], by=request.user, note=said["note"]
    )
    row.refresh_from_db()
    notes.leave(request, f"Written down: the drawer holds {row.quantity} of {row} now.")
    return reverse("spring", args=[row.pk]) + "#sec-stock"


@require_POST
def spring_counts(request, pk):
    """Choose which figures count: its own, what jobs taught, or, with an empty choice, what is newer."""
    require(request.user, "edit_drawer")
    row = get_object_or_404(Spring, pk=pk)
    form = ChosenForm(request.POST)
    if form.is_valid() and form.cleaned_data["chosen"] != row.chosen:
        before = row.chosen
        try:
            drawer_actions.choose_figures(
                row, form.cleaned_data["chosen"], by=request.user, version=form.cleaned_data["version"]
            )
        except Conflict:
            notes.leave(request, "Someone else changed this spring just now: look again, then choose.")
        else:
            undo = {"undo": request.path, "values": {"chosen": before, "version": row.version}}
            notes.leave(request, f"For the next job counts {form.words}.", **undo)
    return go(request, reverse("spring", args=[pk]) + "#sec-figures")


@require_POST
def correction(request, pk, correction):
    """Let what a job taught of a spring count, or no longer."""
    require(request.user, "edit_drawer")
    row = get_object_or_404(SpringCorrection, pk=correction, spring=pk)
    in_use = request.POST.get("in_use") == "1"
    if row.in_use != in_use:
        try:
            trial_actions.use_correction(row, in_use, by=request.user)
        except Conflict:
            notes.leave(request, "Someone else switched it just now: look again.")
            return go(request, reverse("spring", args=[pk]) + "#sec-learned")
        except PermissionDenied as refusal:
            notes.leave(request, str(refusal))
            return go(request, reverse("spring", args=[pk]) + "#sec-learned")
        words = "counts again" if in_use else "does not count any more"
        undo = reverse("correction", args=[pk, correction])
        notes.leave(
            request, f"What was learned {words}.", undo=undo, values={"in_use": "" if in_use else "1"}
        )
    return go(request, reverse("spring", args=[pk]) + "#sec-learned")


def _show(request, pk, *, form=None, load_form=None, stock_form=None, doubts=()):
    row = spring_for(pk)
    if row is None:
        raise Http404("There is no such spring.")
    stood = load_tests.typed_of(row)
    if load_form is not None and load_form.rows:
        found = load_tests.fitted(load_form.rows, load_form.read_as)
    else:
        found = load_tests.fitted(stood[1], stood[0])
    bound = load_form or form or stock_form
    status = bound.status if bound else 200
    if stock_form is None:
        stock_form = StockForm(auto_id=STOCK_ID, initial={"seen": row.quantity})
    if form is None:
        form = SpringForm(instance=row, initial={"version": row.version})
    if load_form is None:
        load_form = LoadTestForm(
            unit=Shop.current().tester_unit,
            auto_id=LOADS_ID,
            initial={"version": row.version},
            stood=stood,
            as_stood="stood" in request.GET,
        )
    newest = [one for place in (PRIMARY, SECONDARY) if (one := convert.correction_for(row, place))]
    shown = row_of(row, hanging_now())
    context = {
        "spring": row,
        "row": shown,
        "figures": list(shown.side_by_side),
        "form": form,
        "load_form": load_form,
        "stock_form": stock_form,
        "moves": moves_of(row),
        "test": found,
        "doubts": doubts,
        "consent": fit_doubts.CONSENT,
        "plot": load_tests.svg(found) if found and found.test else "",
        "corrections": [(one, one in newest) for one in row.corrections.all()],
        "action": reverse("spring", args=[pk]),
        "may_edit": request.user.may("edit_drawer"),
    }
    return page(request, "curves/springs/spring.html", context, status=status)
