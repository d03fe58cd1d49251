"""What the spring tester said of a spring: its pairs, the line through them, and the drawing of both."""

from dataclasses import dataclass

from django.db import transaction
from django.template.loader import render_to_string
from django.utils.safestring import mark_safe

from curves import engine
from curves.axes import axis
from curves.models import LoadTest, Spring
from curves.paper import Plot
from shop.rights import require
from shop.versions import save_versioned

MARGIN = 0.05  # of the range of lengths, beside the first and the last
LEAST_SD = {"rate_sd": 0.001, "free_length_sd_mm": 0.01}  # what a row can hold


@dataclass(frozen=True, eq=False)
class Fitted:
    """A spring's load test: its pairs (mm, N), and what they say, or why they say nothing."""

    pairs: tuple
    test: object = None  # the engine's SpringTest
    refused: str = ""

    @property
    def rate_percent(self):
        return self.test.rate_se / self.test.rate_n_per_mm * 100


def fitted(pairs):
    """What pairs (length mm, load N) say of a spring, or None for no pairs."""
    pairs = tuple(pairs)
    if not pairs:
        return None
    lengths, loads = zip(*pairs, strict=True)
    try:
        return Fitted(pairs, engine.spring_from_loads(lengths, loads))
    except ValueError as error:
        return Fitted(pairs, refused=_plainly(str(error)))


def pairs_of(spring):
    """The pairs of a spring's load test, the shortest first."""
    return [(row.length_mm, row.load_n) for row in spring.load_tests.all()]


@transaction.atomic
def save_load_test(spring, pairs, *, by, version, use):
    """Write a spring's load test anew; pairs that stood there keep who weighed them and when.

    With ``use`` the fit becomes the spring's own figures, weighed here.
    """
    require(by, "edit_drawer")
    names = []
    if use:
        found = fitted(pairs)
        if found is None or found.test is None:
            raise ValueError("These pairs give no figures that could be used.")
        for name, value in _figures(found.test).items():
            setattr(spring, name, value)
            names.append(name)
    save_versioned(spring, version, names)
    wanted = list(pairs)
    for row in spring.load_tests.all():
        if (row.length_mm, row.load_n) in wanted:
            wanted.remove((row.length_mm, row.load_n))
        else:
            row.delete()
    LoadTest.objects.bulk_create(
        LoadTest(spring=spring, length_mm=length, load_n=load, by=by) for length, load in wanted
    )


def _figures(test):
    spring = test.spring("weighed")
    return {
        "rate_n_per_mm": spring.rate_n_per_mm,
        "rate_sd": max(spring.rate_sd, LEAST_SD["rate_sd"]),
        "free_length_mm": spring.free_length_mm,
        "free_length_sd_mm": max(spring.free_length_sd_mm, LEAST_SD["free_length_sd_mm"]),
        "initial_tension_n": spring.initial_tension_n,
        "source": Spring.Source.WEIGHED,
    }


def _plainly(error):
    """The engine's refusal without the names of its arguments."""
    if "two different lengths" in error:
        return "It takes loads at two different lengths, or one and the free length (a load of 0)."
    if "rise with" in error:
        return "The load does not rise with the length: look for pairs that were mixed up."
    return f"These pairs can't be fitted: {error}."


def svg(found):
    """The pairs as marks and the line through them: load over length."""
    spring = found.test.spring("weighed")
    longest = max(length for length, _ in found.pairs)
    shortest = min([spring.free_length_mm, *(length for length, _ in found.pairs)])
    beside = MARGIN * (longest - shortest)
    x = axis(shortest - beside, longest + beside, most=6)
    y = axis(0.0, max(load for _, load in found.pairs) * 1.08, most=5)
    plot = Plot(480, 300, 13.0, x, y)
    # The coils stay shut until the initial tension is overcome: the line goes up before it goes on.
    ends = [(spring.free_length_mm, 0.0), (spring.free_length_mm, spring.initial_tension_n)]
    ends.append((longest, spring.force_n(longest)))
    context = {
        "plot": plot,
        "grid": "".join(
            [f"M{plot.at_x(tick):g},{plot.top:g}V{plot.bottom:g}" for tick in x["ticks"]]
            + [f"M{plot.left:g},{plot.at_y(tick):g}H{plot.right:g}" for tick in y["ticks"]]
        ),
        "width": plot.right - plot.left,
        "height": plot.bottom - plot.top,
        "x_ticks": [{"at": plot.at_x(tick), "text": f"{tick:g}"} for tick in x["ticks"]],
        "y_ticks": [{"at": plot.at_y(tick), "text": f"{tick:g}"} for tick in y["ticks"]],
        "marks": [_mark(plot, length, load) for length, load in found.pairs],
        "line": plot.path(*zip(*ends, strict=True)),
        "said": f"{spring.rate_n_per_mm:.3f} N/mm",
        "said_x": plot.at_x(longest) - 6,
        "said_y": plot.at_y(spring.force_n(longest) / 3),
    }
    return mark_safe(render_to_string("curves/_load_test.svg", context))  # a template's output, escaped there


def _mark(plot, length, load):
    return {"x": plot.at_x(length), "y": plot.at_y(load), "title": f"{load:g} N at {length:g} mm"}
