"""Where the initial timing may move, a chance holds at one timing only: said with it, and held to it."""

import pytest

from curves.models import Run, Spring
from curves.rows import convert
from curves.trials import loop, promises
from tests import build
from tests.curves.trials.loop import simulated_bench

pytestmark = pytest.mark.django_db
MOVES = loop.Choices(initial_moves=True)


@pytest.fixture
def bench():
    bench = simulated_bench()
    bench.read(*(spring.key for spring in bench.unit.received), kind=Run.Kind.AS_RECEIVED)
    return bench


def read_off_by(bench, crank_deg, **promised):
    """A run along the middle of the band, so many crank degrees too high."""
    state = loop.trial_state(bench.fresh(), MOVES)
    middle = convert.target_of(bench.fresh().target, state.drive)
    angles = (middle.advance_deg + state.drive.to_shaft_deg(crank_deg)).tolist()
    up = [(rpm, deg, False) for rpm, deg in zip(middle.speed_rpm.tolist(), angles, strict=True)]
    rows = [*up, *((rpm, deg, True) for rpm, deg, _ in reversed(up))]
    springs = {"primary": Spring.objects.get(label="P1"), "secondary": Spring.objects.get(label="S1")}
    kept = {"chance": 0.84, "band": promises.columns_of(state.band), **promised}
    return build.run(bench.build, rows, promised=kept, **springs)


def test_an_offer_says_at_which_initial_timing_alone_its_chance_holds(bench):
    for offer in loop.trial_state(bench.fresh(), MOVES).offers:
        at = f"the initial timing at {offer.initial_crank_deg:.1f} crank degrees"
        assert offer.only_at == at
        assert offer.chance_of.endswith(f"in the band with {at}")
    assert not any(offer.only_at for offer in loop.trial_state(bench.fresh()).offers)


def test_the_initial_timing_is_sealed_with_the_chance(bench):
    for choices in (loop.Choices(), MOVES):
        offer = loop.trial_state(bench.fresh(), choices).offers[0]
        kept = promises.opened(offer.seal, bench.build, offer.keys, offer.proposal.post_bend_mm)
        assert promises.initial_of(kept) == (offer.initial_crank_deg if choices.initial_moves else None)


@pytest.mark.parametrize(("said_at", "kept"), [(8, False), (6, True)])
def test_a_chance_is_held_to_the_initial_timing_it_was_said_of(bench, said_at, kept):
    read_off_by(bench, 2, initial_crank_deg=said_at)  # the band is 1.5 either way
    for choices in (loop.Choices(), MOVES):
        said = loop.trial_state(bench.fresh(), choices).log[-1].promise
        came = "it came true" if kept else "it did not come true"
        at = f"84 % with the initial timing at {said_at}.0 crank degrees"
        assert said.words == f"A chance of {at} was shown when it was chosen, and {came}."


def test_what_was_kept_before_the_timing_was_is_held_to_the_best_of_the_range(bench):
    read_off_by(bench, 2)
    assert loop.trial_state(bench.fresh()).log[-1].promise.kept is True


def test_a_run_that_lies_in_the_band_only_moved_is_said_to(bench):
    read_off_by(bench, 2)
    state = loop.trial_state(bench.fresh(), MOVES)
    moved = f"lay in the band with the initial timing at {state.last.initial_crank_deg:.1f} crank degrees; "
    assert all(f"Trial run 2 {moved}" in offer.why for offer in state.offers)
    assert " lay in the band;" not in " ".join(offer.why for offer in loop.trial_state(bench.fresh()).offers)


def test_what_hangs_as_it_was_found_good_is_not_offered_once_more(bench, monkeypatch):
    run = read_off_by(bench, 0)
    offers = loop.trial_state(bench.fresh()).offers
    again = offers[0].keys, offers[0].proposal.post_bend_mm
    run.primary_id, run.secondary_id = again[0]
    run.primary_bend_mm, run.secondary_bend_mm = again[1]
    run.save()
    state = loop.trial_state(bench.fresh())
    assert state.done
    assert [one.place for one in state.others] == list(range(1, len(state.offers) + 1))
    assert state.others
    assert not any(one.is_fitted_in(run) for one in state.others)
    monkeypatch.setattr(loop, "_hangs_so", lambda *_: False)
    assert any(one.is_fitted_in(run) for one in loop.trial_state(bench.fresh()).offers)
