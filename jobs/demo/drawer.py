"""The demo's drawer of springs: wire, coil and turns make the rate; what the tester says errs a little."""

import numpy as np

from curves.engine import spring_from_wire
from curves.models import Spring
from curves.practice.simulated import TrueSpring
from curves.rows import stock
from curves.springs import load_tests

# wire mm, mean coil mm, active coils, free length inside the loops mm, initial tension N
PRIMARIES = [
    (1.10, 7.75, 7.5, 23.4, 0.84),
    (1.15, 8.00, 9.0, 23.5, 0.86),
    (0.95, 6.75, 9.5, 22.2, 0.87),
    (1.00, 7.25, 10.5, 22.3, 0.96),
    (1.10, 7.75, 10.0, 22.1, 0.78),
    (1.00, 7.00, 10.5, 23.1, 0.68),
    (1.00, 7.00, 12.0, 23.2, 0.74),
    (1.00, 7.25, 9.5, 21.9, 0.48),
    (0.95, 6.75, 11.0, 22.0, 0.50),
    (1.10, 7.75, 10.0, 21.8, 0.54),
    (1.15, 8.00, 8.0, 20.3, 1.75),
    (1.00, 6.75, 8.5, 20.4, 1.56),
    (0.75, 5.25, 16.0, 19.4, 0.18),
    (0.65, 4.50, 16.0, 19.6, 0.22),
    (0.75, 5.25, 14.0, 19.3, 0.22),
    (1.10, 7.75, 8.0, 21.2, 1.20),
    (1.00, 7.00, 8.5, 21.4, 1.28),
    (1.00, 7.00, 7.5, 19.9, 1.45),
    (0.95, 6.50, 8.5, 19.9, 1.27),
    (1.05, 7.50, 6.5, 19.7, 1.38),
]
SECONDARIES = [
    (1.25, 8.00, 5.0, 19.7, 1.21),
    (1.15, 7.50, 5.0, 19.9, 1.29),
    (1.25, 7.75, 5.0, 19.6, 1.55),
    (1.25, 8.25, 8.0, 22.9, 0.20),
    (1.15, 8.00, 7.0, 23.1, 0.20),
    (1.20, 7.75, 5.0, 21.5, 0.69),
    (1.15, 7.75, 5.0, 21.6, 0.66),
    (1.25, 7.75, 5.0, 21.3, 0.59),
    (1.25, 8.00, 5.0, 20.5, 0.63),
    (1.10, 7.00, 5.0, 20.6, 0.64),
    (1.25, 7.75, 5.0, 21.6, 1.17),
    (1.20, 7.00, 6.5, 21.7, 1.33),
    (1.25, 7.00, 6.0, 21.4, 1.11),
    (1.00, 7.00, 9.5, 22.2, 0.23),
    (1.00, 6.75, 12.5, 22.3, 0.25),
    (1.25, 8.25, 5.5, 20.4, 0.43),
    (1.20, 8.50, 5.0, 20.5, 0.45),
    (1.15, 7.25, 5.0, 20.2, 0.38),
    (1.05, 7.25, 6.5, 17.3, 0.31),
    (0.95, 7.00, 5.5, 17.4, 0.27),
]
NOTES = {
    "P04": "Loops bent short, open them before fitting.",
    "P11": "Stiff: competition heads only.",
    "S05": "Last of the old batch.",
    "S14": "Tractor heads.",
}


def true_springs(letter, table):
    """What the springs of one side really are."""
    return {
        f"{letter}{place:02}": TrueSpring(
            f"{letter}{place:02}", spring_from_wire(wire, coil, coils).rate_n_per_mm, length, tension
        )
        for place, (wire, coil, coils, length, tension) in enumerate(table, start=1)
    }


TRUE = true_springs("P", PRIMARIES) | true_springs("S", SECONDARIES)


LENGTH_SD_MM, LOAD_SD_N = 0.1, 0.05  # of a caliper and a spring scale
TESTER_STEPS_MM = np.arange(0.0, 7.0)  # beyond the free length


def fill_drawer(seed, by):
    """Make the forty rows, as weighed, as labelled or as reckoned from the wire; {label: row}."""
    rng = np.random.default_rng([seed, 40])
    rows = [
        _row(f"{letter}{place:02}", position, figures, rng)
        for letter, position, table in (
            ("P", Spring.Position.PRIMARY, PRIMARIES),
            ("S", Spring.Position.SECONDARY, SECONDARIES),
        )
        for place, figures in enumerate(table, start=1)
    ]
    weighed = {row.label for row in rows if row.source == Spring.Source.WEIGHED}
    for row in rows:
        row.source = Spring.Source.LABEL if row.label in weighed else row.source
    counted = {row.label: row.quantity for row in rows}
    for row in rows:
        row.quantity = 0
    Spring.objects.bulk_create(rows)
    for spring in Spring.objects.all():
        stock.open_stock(spring, counted[spring.label], by=by)
    for place, spring in enumerate(Spring.objects.filter(label__in=weighed)):
        pairs = _pairs(TRUE[spring.label], np.random.default_rng([seed, 41, place]))
        load_tests.save_load_test(spring, pairs, by=by, version=spring.version, use=True)
    return {row.label: row for row in Spring.objects.all()}


# How a spring came to its figures: rate known to (share), length known to (mm).
SOURCES = {
    Spring.Source.WEIGHED: (0.02, 0.1),
    Spring.Source.WIRE: (0.06, 0.2),
    Spring.Source.LABEL: (0.10, 0.3),
}


def _pairs(true, rng):
    """What the spring tester shows of a spring: (length mm, load N), the first unloaded."""
    lengths = true.length + TESTER_STEPS_MM + LENGTH_SD_MM * rng.standard_normal(TESTER_STEPS_MM.size)
    loads = true.tension + true.rate * TESTER_STEPS_MM + LOAD_SD_N * rng.standard_normal(TESTER_STEPS_MM.size)
    loads = np.round(np.maximum(loads, 0.05) / 0.05) * 0.05 * (TESTER_STEPS_MM > 0)
    return list(zip(np.round(lengths, 1).tolist(), np.round(loads, 2).tolist(), strict=True))


def _row(label, position, figures, rng):
    wire, coil, coils, length, tension = figures
    source = rng.choice(list(SOURCES), p=[0.7, 0.2, 0.1])
    rate_sd, length_sd = SOURCES[source]
    rate = spring_from_wire(wire, coil, coils).rate_n_per_mm
    if source != Spring.Source.WIRE:
        rate *= 1 + rate_sd * np.clip(rng.standard_normal(), -1.5, 1.5)
    return Spring(
        label=label,
        position=position,
        rate_n_per_mm=round(rate, 2),
        free_length_mm=round(length + length_sd * float(np.clip(rng.standard_normal(), -1.5, 1.5)), 1),
        initial_tension_n=round(tension * float(rng.uniform(0.92, 1.08)), 2),
        rate_sd=rate_sd,
        free_length_sd_mm=length_sd,
        source=source,
        wire_mm=wire,
        coil_mm=coil,
        active_coils=coils,
        quantity=int(rng.choice([0, 1, 2, 3, 4, 6, 8, 10], p=[0.07, 0.1, 0.13, 0.15, 0.2, 0.15, 0.1, 0.1])),
        note=NOTES.get(label, ""),
    )
