"""The modules of static/js that know no browser, tested without one, and beside the rules in Python."""

from pathlib import Path

import pytest

from shop.numbers import plain_number
from tests.js.node import call, run_tests
from tests.typed import MEANT, NO_NUMBER, SPEED, TWO_WAYS

pytestmark = pytest.mark.any_database
FILES = sorted(Path(__file__).parent.glob("*.test.js"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_file_of_tests_passes(path):
    said, passed = run_tests(path)
    assert passed, said
    assert "# pass 0" not in said


def test_the_pads_rule_of_marks_is_that_of_the_forms():
    asked = [[typed, {"limits": limits, "decimals": decimals}] for typed, decimals, limits, _ in MEANT]
    said = call("numbers.js", "understood", asked)
    assert said == [{"number": number} for *_, number in MEANT]
    for (typed, decimals, limits, number), _ in zip(MEANT, said, strict=True):
        assert float(plain_number(typed, decimals=decimals, limits=limits)) == number

    asked = [[typed, {"limits": SPEED, "decimals": decimals}] for typed, decimals, _ in TWO_WAYS]
    ways = [f"“{typed}” can be read two ways: write {ways}." for typed, _, ways in TWO_WAYS]
    assert [one["why"] for one in call("numbers.js", "understood", asked)] == ways

    said = call("numbers.js", "understood", [[typed] for typed in NO_NUMBER])
    assert all("is not a number" in one["why"] for one in said)
