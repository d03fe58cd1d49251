"""A line that says what has just been done, with its undo: left by one request, shown by the next page."""

from functools import partial
from typing import Any

from django.http import HttpRequest
from django.utils.functional import SimpleLazyObject

_KEY = "notes"


def leave(
    request: HttpRequest, text: str, *, undo: str | None = None, values: dict[str, Any] | None = None
) -> None:
    """Leave a line for the next page; ``undo`` is where a POST of ``values`` takes it back."""
    request.session[_KEY] = [
        *request.session.get(_KEY, []),
        {"text": text, "undo": undo, "values": values or {}},
    ]


def pending(request: HttpRequest) -> SimpleLazyObject:
    """The lines left so far, taken when a template first looks at them."""
    return SimpleLazyObject(partial(_take, request))


def _take(request: HttpRequest) -> list[dict[str, Any]]:
    session = getattr(request, "session", None)
    return session.pop(_KEY, []) if session is not None and _KEY in session else []
