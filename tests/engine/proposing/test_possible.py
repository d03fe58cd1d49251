"""What no pair of springs can do, against curves that the balance of weights and springs does give."""

import numpy as np
import pytest

from curves.engine import Target, can_follow
from curves.engine.governor.equilibrium import Balance, advance_at

SPEEDS = np.array([300.0, 500, 700, 900, 1100, 1400, 1700, 2000, 2500])


def heads(count, seed):
    """Heads of every kind with two springs, some loose at rest, some with initial tension, snaps included."""
    draw = np.random.default_rng(seed)
    for _ in range(count):
        gap = draw.uniform(18, 22, 2)
        yield Balance(
            draw.uniform(0.05, 0.5),
            draw.uniform(-0.03, 0.05),
            0.0,
            draw.uniform(5, 16),
            gap,
            draw.uniform(0.15, 0.35, 2),
            draw.uniform(0.5, 12, 2),
            gap + draw.uniform(-1.5, 2.5, 2),
            draw.uniform(0, 4, 2) * draw.integers(0, 2, 2),
        )


def test_what_a_head_does_is_never_called_impossible():
    checked = 0
    for head in heads(400, 7):
        advance = advance_at(head, SPEEDS)
        if np.ptp(advance) > 1:
            checked += 1
            assert can_follow(Target(SPEEDS, advance, 0.25), travel_deg=head.travel_deg).possible, head
    assert checked > 100


@pytest.mark.parametrize(
    ("speed", "advance", "travel", "reason", "at"),
    [
        ([500, 1000, 1500], [0, 10, 6], None, "retards", 1500),  # 9.5 at least, 6.5 at most: it must retard
        ([500, 1000, 1500], [0, 6, 12], 11, "travel", 1500),  # 12 - 0.5 is more than 11
        ([500, 1000], [-2, 6], None, "negative", 500),  # weights don't go in below rest
        # Over w^2 in units of 500^2: 1, 4, 9, 16, 25 and 0, 2, 3, 4, 14: after a rise of 0.2 a unit or less,
        # 9 of 16 to 25 units is 1.0 and more: no spring goes weaker as it stretches.
        ([500, 1000, 1500, 2000, 2500], [0, 2, 3, 4, 14], None, "steeper", 2000),
    ],
)
def test_what_no_head_can_do_is_named(speed, advance, travel, reason, at):
    found = can_follow(Target(speed, advance, 0.5), travel_deg=travel)
    assert (found.possible, found.reasons) == (False, (reason,))
    assert found.at_rpm == at


def test_a_wide_tolerance_is_used():
    assert can_follow(Target([500, 1000, 1500], [0, 10, 9], 0.5)).possible
    assert can_follow(Target([500, 1000, 1500], [0, 6, 12], 1.0), travel_deg=11).needed_deg == 11


def test_bad_arguments_are_named():
    with pytest.raises(ValueError, match="target must be a Target"):
        can_follow(([500], [0]))
    with pytest.raises(ValueError, match="travel_deg"):
        can_follow(Target([500], [0], 1), travel_deg=0)
