"""Template filters that write numbers one way everywhere: the same on screen and on paper."""

from django import template

register = template.Library()


@register.filter
def fixed(value, places=1):
    """A number with a fixed count of decimals and a true minus sign; an en dash for none."""
    if value is None or value == "":
        return "–"
    text = f"{float(value):.{int(places)}f}"
    return text.replace("-", "−") if float(text) else text.lstrip("-")


@register.filter
def signed(value, places=1):
    """As ``fixed``, with a plus sign where it is positive."""
    text = fixed(value, places)
    return f"+{text}" if value and text[0].isdigit() and float(text) else text


@register.filter
def magnitude(value, places=1):
    """As ``fixed``, without a sign: for where the words beside it say which side."""
    return fixed(abs(value), places)


@register.filter
def plain(value):
    """A number as it was measured: no tail of zeros, a true minus sign; an en dash for none."""
    return "–" if value is None or value == "" else f"{float(value):.10g}".replace("-", "−")
