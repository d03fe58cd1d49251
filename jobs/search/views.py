"""The search page: the same answer as one types, by a link, and without JavaScript."""

from urllib.parse import urlencode

from django.urls import reverse
from django.views.decorators.http import require_GET
from django_htmx.http import replace_url

from curves.figures.sparkline import sparklines
from jobs.queries import standing
from jobs.rules.handed_back import handed_back_without
from jobs.search.forms import MAX_SHOWN, SearchForm
from jobs.search.hits import HITS, find
from shop.pages import page
from shop.rights import require


@require_GET
def search(request):
    require(request.user, "read")
    asked = {name: value for name, value in request.GET.items() if value.strip()}
    form = SearchForm(asked or None)
    answer = _answer(form) if form.is_bound and form.is_valid() else None
    context = {"form": form, "answer": answer, "more": answer and _more(asked, answer)}
    context["target_for"] = _target_for(request.user, form) if answer else None
    response = page(
        request, "jobs/search/search.html", context, fragment="jobs/search/_found.html", status=form.status
    )
    # The address keeps what was asked, without empty fields; going back doesn't walk through each letter.
    return replace_url(response, _address(asked)) if request.htmx else response


def _answer(form):
    data = form.cleaned_data
    answer = find(
        data["words"],
        form.wanted,
        closed=form.closed,
        besides=data["like"],
        limit=data["shown"] or HITS,
    )
    curves = sparklines([hit.job.build for hit in answer.hits])
    stand = standing([hit.job for hit in answer.hits])
    for hit in answer.hits:
        hit.job.spark = curves.get(hit.job.build_id)
        hit.job.standing = stand.get(hit.job.pk)
        hit.job.went_without = handed_back_without(hit.job).missing
    return answer


def _target_for(person, form):
    """The card that was looked for, if a hit's curve may become its target."""
    like = form.cleaned_data["like"]
    return like if like and person.may("edit_curve") and not like.is_closed else None


def _more(asked, answer):
    """Where more of the hits are shown, or None when these are all or as many as one page shows."""
    shown = len(answer.hits)
    if not answer.more or shown >= MAX_SHOWN:
        return None
    return _address(asked | {"shown": min(shown + HITS, MAX_SHOWN)})


def _address(asked):
    return f"{reverse('search')}?{urlencode(asked)}" if asked else reverse("search")
