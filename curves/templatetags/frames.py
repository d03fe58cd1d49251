"""Template filters that show a number in the frame of who reads it, and the other beside."""

from django import template
from django.utils.html import format_html

from curves.models import Frame
from curves.rows import frames
from shop.templatetags.numbers import fixed

register = template.Library()
PLACES = {Frame.CRANK: 1, Frame.SHAFT: 2}


@register.filter
def of_frame(both, frame):
    """A number that is known in both frames, in the one asked for."""
    return frames.of(both, frame)


@register.filter
def of_other_frame(both, frame):
    """The same in the other frame."""
    return frames.of(both, frames.other(frame))


@register.filter
def frame_name(frame):
    return Frame(frame).label


@register.filter
def other_frame_name(frame):
    return frames.other(frame).label


@register.filter
def degrees_in(both, frame):
    """An angle in both frames, the reader's first: 4.0 crank deg (2.00 distributor)."""
    return _told(both, frame, "deg", 1, PLACES[frames.other(frame)])


@register.filter
def rpm_in(both, frame):
    """A speed in both frames, the reader's first."""
    return _told(both, frame, "rpm", 0, 0)


def _told(both, frame, unit, places, places_beside):
    other = frames.other(frame)
    first, beside = fixed(frames.of(both, frame), places), fixed(frames.of(both, other), places_beside)
    words = f"{Frame(frame).label} {unit} ({beside} {other.label})"
    return format_html('{} <span class="unit">{}</span>', first, words)
