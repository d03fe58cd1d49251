"""Template filters that say what hung in a run."""

from django import template

from shop.templatetags.numbers import signed

register = template.Library()


@register.filter
def pair(run):
    """A run's pair as a name: ``P3 (post +0.10 mm) + S2``; ``own springs`` where none was written down."""
    return _joined(run, " (post {} mm)") or "own springs"


@register.filter
def springs_in(run):
    """The same within a sentence: ``P3, post bent +0.10 mm + S2``; empty where none was written down."""
    return _joined(run, ", post bent {} mm")


def _joined(run, bent):
    hung = [(run.primary, run.primary_bend_mm), (run.secondary, run.secondary_bend_mm)]
    named = [_named(spring, bend_mm, bent) for spring, bend_mm in hung if spring]
    return " + ".join(named) if run.primary else ""


def _named(spring, bend_mm, bent):
    return f"{spring}{bent.format(signed(bend_mm, 2))}" if bend_mm else str(spring)
