"""What is said of chances beside their figures: what trimming adds, how near the middle."""

from dataclasses import replace

import pytest
from django.template.loader import render_to_string

from curves.models import Run, Spring
from curves.rows.results import InBoth
from curves.trials import loop, offers
from tests import build
from tests.curves.trials.loop import simulated_bench

pytestmark = pytest.mark.django_db


@pytest.fixture
def state():
    bench = simulated_bench()
    bench.read(*(spring.key for spring in bench.unit.received), kind=Run.Kind.AS_RECEIVED)
    bench.read(*(Spring.objects.get(label=label) for label in ("P1", "S1")), number=1)
    return loop.trial_state(bench.fresh())


def with_chances(state, *pairs):
    """The state with these chances and prospects, in this order."""
    made = [
        replace(offer, proposal=replace(offer.proposal, chance=chance, prospect=prospect))
        for offer, (chance, prospect) in zip(state.offers, pairs, strict=False)
    ]
    return replace(state, offers=tuple(made))


def page_of(state):
    return " ".join(
        render_to_string(
            "curves/trials/_offers.html",
            {"state": state, "shown": None, "job": build.job(), "form": {"query": ""}},
        ).split()
    )


def test_trimming_is_named_only_where_it_adds_something(state):
    found = page_of(with_chances(state, (0.42, 0.42), (0.401, 0.404), (0.3, 0.61)))
    assert found.count("with its posts trimmed after its run") == 1
    assert "61 % with its posts trimmed after its run" in found


@pytest.mark.parametrize("frame", ["shaft", "crank"])
@pytest.mark.parametrize(
    ("off_deg", "words"), [(0.04, "in the middle of the band"), (-0.06, "0.1"), (0.3, "0.3")]
)
def test_nearly_the_middle_is_said_to_be_the_middle(state, frame, off_deg, words):
    offer, band = state.offers[0], state.band
    middle = offers.engine.Curve(band.speed_rpm, band.advance_deg)
    rpm = float(band.speed_rpm[1])
    flat = replace(offer.predicted, mean_deg=offer.predicted.mean_deg * 0 + float(middle.at(rpm)) + off_deg)
    near = replace(offer, predicted=flat, proposal=replace(offer.proposal, initial_deg=0.0))
    found = offers._beside(near, band, InBoth.speed(rpm, state.drive).shaft, state.drive, frame)
    assert "0.0 " not in found
    assert words in found
