"""Numbers as people type them, and what each means: one table for forms, grids and the pad.

The marks are common practice, no source: 1.800,5 as on the continent, 1,800.5 as in Britain.
"""

SPEED = (0, 20000)  # rpm
ANGLE = (-20, 90)  # degrees

# What is typed, the decimals that there can be, from where to where it goes, and what it means.
MEANT = [
    ("4.800", 0, SPEED, 4800),
    ("1,800", 0, SPEED, 1800),
    ("1.800", 1, SPEED, 1800),
    ("1.900", 2, (0, 999999), 1900),
    ("1,234", 2, (0, 999999), 1234),
    ("1.800,5", None, SPEED, 1800.5),
    ("2,108.5", None, SPEED, 2108.5),
    ("1.234.567,25", None, (0, 9e6), 1234567.25),
    ("1.800.000", None, (0, 9e6), 1800000),
    ("12,345,678", 0, (0, 9e7), 12345678),
    ("1 800", None, SPEED, 1800),
    ("1\u202f800,5", None, SPEED, 1800.5),
    ("7.125", None, ANGLE, 7.125),
    ("7,125", None, ANGLE, 7.125),
    ("−7,125", None, ANGLE, -7.125),
    ("1.800", None, (20, 30000), 1800),
    ("812.3750", 1, SPEED, 812.375),
    ("0,125", None, SPEED, 0.125),
    ("7,5", None, ANGLE, 7.5),
    ("−2.5", None, ANGLE, -2.5),
    (",5", None, ANGLE, 0.5),
    ("5.", None, ANGLE, 5),
    ("−5,", None, ANGLE, -5),
    ("1,800.", None, SPEED, 1800),
]

# What is typed as a speed with so many decimals, and the two ways that are offered: both can be, or neither
# is likely.
TWO_WAYS = [
    ("1,200", None, "1200 or 1.2"),
    ("1.200", None, "1200 or 1.2"),
    ("1.125", None, "1125 or 1.1250"),
    ("12,500", None, "12500 or 12.5"),
    ("30,000", 1, "30000 or 30"),
    ("812.375", 1, "812375 or 812.3750"),
]

NO_NUMBER = [
    "1.2.3",
    "1,2,3",
    "18,00,000",
    "1.80,5.2",
    "1,800.5,2",
    "1800,000.5",
    "12 00",
    "1e3",
    "--1",
    ".",
    "5..",
    "1.800.",
    "12a",
]
