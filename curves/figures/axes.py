"""Round numbers for the axes of a figure: the lines of graph paper and what stands beside them."""

from math import ceil, floor, log10

STEPS = (1.0, 2.0, 5.0, 10.0)
PARTS = {1.0: 5, 2.0: 4, 5.0: 5, 10.0: 5}  # fine squares in one step, each a round number itself


def round_step(span, most):
    """The smallest round step that divides a span into at most so many."""
    raw = span / most
    power = 10.0 ** floor(log10(raw))
    lead = next(lead for lead in STEPS if raw <= lead * power * (1 + 1e-9))
    return lead * power, PARTS[lead]


def axis(low, high, *, most):
    """Ends, ticks and fine lines of an axis; it ends on a fine line, not far above what it has to hold."""
    step, parts = round_step(high - low, most)
    fine = step / parts
    first, last = floor(low / fine + 1e-9), ceil(high / fine - 1e-9)
    return {
        "min": _tidy(first * fine),
        "max": _tidy(last * fine),
        "ticks": _ticks(first * fine, last * fine, step),
        "fine": [_tidy(i * fine) for i in range(first, last + 1)],
    }


def other_frame(first, to_shaft, to_crank):
    """Ticks of the other frame: each its place on the first axis and the number to write there."""
    low, high = to_shaft(first["min"]), to_shaft(first["max"])
    step, _ = round_step(high - low, 6)
    return [{"at": _tidy(to_crank(value)), "value": value} for value in _ticks(low, high, step)]


def _ticks(low, high, step):
    return [_tidy(i * step) for i in range(ceil(low / step - 1e-9), floor(high / step + 1e-9) + 1)]


def _tidy(value):
    return round(value, 6) + 0.0
