"""What is said when a page can't be given: the cause, and the way out."""

import errno
import sys

from django.core.exceptions import RequestDataTooBig
from django.db import DatabaseError
from django.http import HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string

from shop.rights import NotAllowed

_TEMPLATE = "shop/error.html"


def bad_request(request, exception):
    if isinstance(exception, RequestDataTooBig):
        return _say(
            request,
            413,
            "Too large to take",
            "What was sent is larger than this server takes.",
            "Send a smaller file, or fewer readings at once.",
        )
    return _say(
        request,
        400,
        "Not understood",
        "The request was not one that this server can read.",
        "Go back, load the page again and repeat it.",
    )


def forbidden(request, exception):
    if str(exception) and not isinstance(exception, NotAllowed):
        return _say(
            request,
            403,
            "Not as it stands now",
            str(exception),
            "Go back and copy what you typed, load the page again, and go on from what it says.",
        )
    return _say(
        request,
        403,
        "Not for this role",
        str(exception) or "This role may not do this.",
        "Ask the owner, or log in as someone who may.",
    )


def stale_form(request, reason=""):
    return _say(
        request,
        403,
        "This form is out of date",
        "It was opened before the last login, or the browser keeps no cookies.",
        "Go back and copy what you typed, load the page again, and send it once more.",
    )


def not_found(request, exception):
    return _say(
        request,
        404,
        "Nothing here",
        "No page has this address.",
        "Check the number, or look for the card by any word on it.",
    )


def server_error(request):
    """Rendered without the request: whatever failed may fail again while its context is gathered."""
    return HttpResponse(
        render_to_string(
            _TEMPLATE,
            {
                "status": 500,
                "title": "This went wrong here",
                "cause": _cause_of_failure(),
                "way_out": "Go back: what you typed is still in the form. If it happens again, "
                "tell whoever looks after the server; its log has the reason.",
            },
        ),
        status=500,
    )


def _cause_of_failure():
    error = sys.exc_info()[1]
    no_room = getattr(error, "errno", None) == errno.ENOSPC
    if no_room or (isinstance(error, DatabaseError) and "full" in str(error).lower()):
        return "The server's disk is full: nothing was saved. Reading still works."
    return "The server met something it did not expect: nothing was saved."


def _say(request, status, title, cause, way_out):
    context = {"status": status, "title": title, "cause": cause, "way_out": way_out}
    return render(request, _TEMPLATE, context, status=status)
