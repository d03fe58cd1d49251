"""One view, one context, two renderings: the page, or the fragment of it that htmx asked for."""

from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django_htmx.http import HttpResponseClientRedirect
from django_htmx.middleware import HtmxDetails


class HtmxRequest(HttpRequest):
    """A request as the middleware leaves it."""

    htmx: HtmxDetails


def page(
    request: HtmxRequest,
    template: str,
    context: dict[str, Any],
    *,
    fragment: str | None = None,
    status: int = 200,
) -> HttpResponse:
    """Render the fragment for htmx, the whole page for anyone else. A bad form answers with status 422."""
    wanted = fragment if fragment and request.htmx and not request.htmx.boosted else template
    answer = render(request, wanted, context, status=status)
    answer["Vary"] = "HX-Request"
    return answer


def sent(request: HtmxRequest) -> QueryDict | None:
    """What a form was sent with, even if that is nothing; None when it was only opened."""
    return request.POST if request.method == "POST" else None


def go(request: HtmxRequest, location: str) -> HttpResponse:
    """Lead to another page, with htmx or without."""
    return HttpResponseClientRedirect(location) if request.htmx else redirect(location)
