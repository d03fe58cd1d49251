"""One view, one context, two renderings: the page, or the fragment of it that htmx asked for."""

from django.shortcuts import redirect, render
from django_htmx.http import HttpResponseClientRedirect


def page(request, template, context, *, fragment=None, status=200):
    """Render the fragment for htmx, the whole page for anyone else. A bad form answers with status 422."""
    wanted = fragment if fragment and request.htmx and not request.htmx.boosted else template
    answer = render(request, wanted, context, status=status)
    answer["Vary"] = "HX-Request"
    return answer


def sent(request):
    """What a form was sent with, even if that is nothing; None when it was only opened."""
    return request.POST if request.method == "POST" else None


def go(request, location):
    """Lead to another page, with htmx or without."""
    return HttpResponseClientRedirect(location) if request.htmx else redirect(location)
