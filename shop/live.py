"""Parts of a page that follow every write on it: what a write changed elsewhere comes along with its answer.

A template wraps such a part in ``{% live "name" %}…{% endlive %}`` and is done. The page tells with each
request which parts it shows and how they stand (static/js/live.js); ``changed_parts`` renders the page's
template again and gives those that came out otherwise, for htmx to put in their places.
"""

import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.safestring import mark_safe

HEADER = "Live-Parts"
COLLECTOR = "live_parts"  # the name in a template's context
# What is new in each rendering though nothing changed: the token against forgery, and one-time keys.
_VOLATILE = re.compile(r'<input\s+type="hidden"\s+name="(?:csrfmiddlewaretoken|(?:[\w-]+-)?once)"[^>]*>')


@dataclass
class Part:
    """A part as it was rendered; ``stands`` is another word when it says something else.

    ``within`` names the part that it is in, if any.
    """

    name: str
    stands: str
    html: str
    within: str | None


@dataclass
class Collector:
    """The parts that a rendering met, by name, outer ones before those within them."""

    parts: dict = field(default_factory=dict)
    _open: list = field(default_factory=list)

    def enter(self, name: str) -> None:
        self.parts[name] = Part(name, "", "", self._open[-1] if self._open else None)
        self._open.append(name)

    def leave(self, stands: str, html: str) -> None:
        part = self.parts[self._open.pop()]
        part.stands, part.html = stands, html


def standing(html: str) -> str:
    """A short word that is the same as long as a part says the same."""
    return hashlib.blake2b(_VOLATILE.sub("", html).encode(), digest_size=6).hexdigest()


def shown_parts(request: HttpRequest) -> dict[str, str]:
    """The parts that the asking page shows, name by word; empty when it told none."""
    pairs = (told.partition("=") for told in request.headers.get(HEADER, "").split())
    return {name: stands for name, _, stands in pairs}


def changed_parts(
    request: HttpRequest, template: str, context: dict[str, Any], *, besides: Iterable[str] = ()
) -> str:
    """The parts of ``template`` that the asking page shows and that say something else by now, as HTML.

    ``besides`` names parts that are in the answer already, with all that is within them.
    """
    shown = shown_parts(request)
    if not shown:
        return ""
    met = Collector()
    render_to_string(template, context | {COLLECTOR: met}, request)
    covered, sent = set(besides), []
    for part in met.parts.values():
        if part.within in covered:
            covered.add(part.name)
        elif part.name not in covered and shown.get(part.name, part.stands) != part.stands:
            covered.add(part.name)
            sent.append(part.html.replace(f'id="{part.name}"', f'id="{part.name}" hx-swap-oob="true"', 1))
    return mark_safe("\n".join(sent))
