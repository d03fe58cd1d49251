"""What the spring tester said of a spring: its pairs, the line through them, and the drawing of both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.db import transaction
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe

from curves import engine
from curves.engine.codes import Refused
from curves.engine.springs.loads import SpringTest
from curves.figures.axes import axis
from curves.figures.svg import Plot
from curves.models import LoadTest, Spring
from curves.springs.fit_doubts import doubts_of
from curves.words.reader import Reader
from shop.models import LoadUnit, Person, Shop
from shop.rights import require
from shop.versions import save_versioned

MARGIN = 0.05  # of the range of lengths, beside the first and the last
MIN_SD = {"rate_sd": 0.001, "free_length_sd_mm": 0.01}  # what a row can hold


class DoubtedFit(ValueError):
    """A fit that something speaks against, taken over without the consent that it takes."""


@dataclass(frozen=True, eq=False)
class Fitted:
    """A spring's load test: its pairs (mm, load as typed in its unit), and what they say, or why nothing."""

    pairs: tuple[tuple[float, float], ...]
    unit: str
    test: SpringTest | None = None  # in newtons
    refused: str = ""

    @property
    def rate_percent(self) -> float | None:
        return None if self.test is None else self.test.rate_se / self.test.rate_n_per_mm * 100

    @cached_property
    def newtons(self) -> tuple[tuple[float, float], ...]:
        """The pairs with their loads in newtons."""
        return tuple((length, engine.to_newtons(load, self.unit)) for length, load in self.pairs)

    @property
    def warnings(self) -> tuple[str, ...]:
        """The engine's warnings in words, loads in the unit that was typed."""
        return Reader(load_unit=self.unit).all_words(self.test.warnings) if self.test else ()

    @property
    def seal(self) -> str:
        """What a consent to this very fit carries: of other pairs it is none."""
        return f"{self.unit} {self.test.rate_n_per_mm:.6g} {self.test.rate_se:.3g}" if self.test else ""


def fitted(pairs: Sequence[tuple[float, float]], unit: str = LoadUnit.NEWTON) -> Fitted | None:
    """What pairs (length mm, load in its unit) say of a spring, or None for no pairs."""
    pairs = tuple(pairs)
    if not pairs:
        return None
    found = Fitted(pairs, unit)
    try:
        return Fitted(pairs, unit, engine.spring_from_loads(*zip(*found.newtons, strict=True)))
    except Refused as refusal:
        return Fitted(pairs, unit, refused=Reader(load_unit=unit).words(refusal.warning))


def typed_of(spring: Spring) -> tuple[str | None, list[tuple[float, float]]]:
    """A spring's load test as typed: its unit and its pairs, the shortest first; (None, []) without one.

    Pairs typed in more than one unit are told in newtons.
    """
    rows = list(spring.load_tests.all())
    units = {row.unit for row in rows}
    if len(units) > 1:
        pairs = [(row.length_mm, engine.to_newtons(row.load, row.unit)) for row in rows]
        return LoadUnit.NEWTON, pairs
    return next(iter(units), None), [(row.length_mm, row.load) for row in rows]


@transaction.atomic
def save_load_test(
    spring: Spring,
    pairs: Sequence[tuple[float, float]],
    *,
    by: Person,
    version: int,
    use: bool,
    unit: str = LoadUnit.NEWTON,
    consent: str = "",
    anew: bool = False,
) -> tuple[str, ...]:
    """Write a spring's load test anew; pairs that stood there keep who weighed them and when,
    unless it was weighed ``anew``.

    With ``use`` the fit becomes the spring's own figures, weighed here, and is returned with what speaks
    against it; where something does, ``consent`` is the fit's seal, or DoubtedFit is raised. The shop
    remembers the unit.
    """
    require(by, "edit_drawer")
    names, doubts = [], ()
    if use:
        found = fitted(pairs, unit)
        if found is None or found.test is None:
            raise ValueError("These pairs give no figures that could be used.")
        doubts = doubts_of(found, spring)
        if doubts and consent != found.seal:
            raise DoubtedFit(" ".join(doubts))
        for name, value in (figures_of(found.test) | weighed_now(by)).items():
            setattr(spring, name, value)
            names.append(name)
    save_versioned(spring, version, names)
    wanted = list(pairs)
    for row in spring.load_tests.all():
        if not anew and row.unit == unit and (row.length_mm, row.load) in wanted:
            wanted.remove((row.length_mm, row.load))
        else:
            row.delete()
    LoadTest.objects.bulk_create(
        LoadTest(spring=spring, length_mm=length, load=load, unit=unit, by=by) for length, load in wanted
    )
    Shop.current()
    Shop.objects.filter(pk=1).exclude(tester_unit=unit).update(tester_unit=unit)
    return doubts


def weighed_now(by: Person) -> dict[str, Any]:
    """The fields of a spring that say its figures were weighed just now; an earlier choice is over."""
    return {
        "source": Spring.Source.WEIGHED,
        "weighed_at": timezone.now(),
        "weighed_by": by,
        "chosen": "",
        "chosen_by": None,
        "chosen_at": None,
    }


def figures_of(test: SpringTest) -> dict[str, Any]:
    """The fields of a spring as a fit gives them."""
    spring = test.spring("weighed")
    return {
        "rate_n_per_mm": spring.rate_n_per_mm,
        "rate_sd": max(spring.rate_sd or 0.0, MIN_SD["rate_sd"]),
        "free_length_mm": spring.free_length_mm,
        "free_length_sd_mm": max(spring.free_length_sd_mm or 0.0, MIN_SD["free_length_sd_mm"]),
        "initial_tension_n": spring.initial_tension_n,
        "initial_tension_sd_n": test.initial_tension_se_n if test.tension_is_known else None,
    }


def svg(found: Fitted) -> SafeString:
    """The pairs as marks and the line through them: load over length."""
    if found.test is None:
        raise ValueError(found.refused)
    spring = found.test.spring("weighed")
    test, longest = found.test, max(length for length, _ in found.newtons)
    shortest = min([test.free_length_mm, *(length for length, _ in found.newtons)])
    beside = MARGIN * (longest - shortest)
    x = axis(shortest - beside, longest + beside, most=6)
    y = axis(0.0, max(load for _, load in found.newtons) * 1.08, most=5)
    plot = Plot(480, 300, 13.0, x, y)
    # The coils stay shut until the initial tension is overcome: the line goes up before it goes on.
    ends = [(test.free_length_mm, 0.0), (test.free_length_mm, test.initial_tension_n)]
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
        "marks": _marks(plot, found),
        "line": plot.path(*zip(*ends, strict=True)),
        "said": f"{test.rate_n_per_mm:.3f} N/mm",
        "said_x": plot.at_x(longest) - 6,
        "said_y": plot.at_y(spring.force_n(longest) / 3),
    }
    return mark_safe(
        render_to_string("curves/figures/_load_test.svg", context)
    )  # a template's output, escaped there


def _marks(plot: Plot, found: Fitted):
    """The pairs where they lie in newtons, each titled as it was typed."""
    return [
        {"x": plot.at_x(length), "y": plot.at_y(load_n), "title": f"{load:g} {found.unit} at {length:g} mm"}
        for (length, load), (_, load_n) in zip(found.pairs, found.newtons, strict=True)
    ]
