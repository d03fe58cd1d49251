"""Refuses the NUL character for every view: nobody types it, and PostgreSQL takes no text that holds it."""

from contextlib import suppress
from itertools import chain

from django.core.exceptions import BadRequest
from django.http import UnreadablePostError

NUL = "\0"


class NoNul:
    """Answers 400 where the address, its query, a cookie or a form that was sent holds a NUL."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        if any(NUL in text for text in _sent(request)):
            raise BadRequest("A NUL character was sent.")
        return self.get_response(request)


def _sent(request):
    """Every text of a request that a view may look up or write; what is no form is the view's own to read."""
    yield request.path
    yield from request.COOKIES.values()
    yield from _texts(request.GET)
    with suppress(UnreadablePostError):  # the sender has gone: whoever needs the form will say so
        yield from _texts(request.POST)


def _texts(fields):
    return chain(fields, chain.from_iterable(values for _, values in fields.lists()))
