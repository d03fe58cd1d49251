"""The practice bench: an invented unit behind a simulated bench, its true values kept back until the end.

What is shown here errs as hands, calipers and scales do. The errors follow from the unit's seed and from
which run and reading it is: the same look shows the same, a second look shows another.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from curves.engine import Drive
from curves.engine.springs.loads import LENGTH_SD_MM, LOAD_SD_N
from curves.models import Build, Frame, Run, Spring
from curves.practice import simulated
from curves.practice.simulated import TrueSpring, Unit
from curves.rows import convert

SPRINGS_A_SIDE = 14
MARK = "◊"  # before the label of a practice spring, wherever it is shown
STOP_SD_DEG = 0.1
TESTER_STEPS_MM = (0.0, 1.0, 2.0, 3.0, 4.0, 5.0)  # beyond the free length
TESTER_SCALE_N = 0.05
TOLERANCE_CRANK_DEG = 2.5  # readings scatter, and the falling sweep lags by the friction
WORTH_IT = 1.3  # times the tolerance
MAX_WEAR = 40  # tries to wear a unit's springs out of the band
INITIAL_CRANK_DEG = 8.0
_KIND, _DRAWER, _UNIT, _CALIPER, _TACHOMETER, _READING, _BEND, _STOP, _TESTER = range(9)


@dataclass(frozen=True)
class Invented:
    """An invented unit, and what the springs of its drawer really are, by key."""

    unit: Unit
    springs: dict[str, TrueSpring]


@dataclass(frozen=True)
class Truth:
    """One thing of a unit: what was taken for true, and what it is."""

    what: str
    unit: str
    taken: float | None
    true: float

    @property
    def off(self) -> float | None:
        """How far what was taken lies above it."""
        return None if self.taken is None else self.taken - self.true


@lru_cache(maxsize=32)
def invented(seed: int) -> Invented:
    """The unit of a seed and its drawer."""
    kind = simulated.make_kind((seed, _KIND))
    drawer = simulated.make_drawer(kind, (seed, _DRAWER), count=SPRINGS_A_SIDE)
    unit = next(
        unit
        for again in range(MAX_WEAR)
        if is_off(unit := simulated.make_unit(kind, (seed, _UNIT, again))) or again == MAX_WEAR - 1
    )
    return Invented(unit, {spring.key: spring for spring in (*drawer.primaries, *drawer.secondaries)})


def is_off(unit: Unit) -> bool:
    """Whether a unit comes in clearly outside the band it is to reach: else there is nothing to learn."""
    speeds, wanted = unit.target()
    worst = np.abs(unit.advance(*unit.received, speeds) - wanted).max()
    return Drive.four_stroke().to_crank_deg(worst) > WORTH_IT * TOLERANCE_CRANK_DEG


def springs_for(build: Build) -> list[Spring]:
    """The unit's drawer as rows, not saved: their figures are what their labels say."""
    errors = simulated.MEASURED
    return [
        Spring(
            label=f"{MARK}{key}/{build.pk}",
            position=Spring.Position.PRIMARY if key.startswith("P") else Spring.Position.SECONDARY,
            rate_n_per_mm=round(label.rate, 3),
            free_length_mm=round(label.length, 2),
            initial_tension_n=round(label.tension, 2),
            rate_sd=errors.rate,
            free_length_sd_mm=errors.length,
            source=Spring.Source.LABEL,
            quantity=2,
            practice=build,
        )
        for key, true in invented(_seed(build)).springs.items()
        if (label := true.label)
    ]


def band_for(build: Build) -> tuple[dict[str, float], list[tuple[float, float, float]]]:
    """The band that is ordered with the unit: fields of the target, and its points at the crank."""
    drive = convert.drive_of(build)
    speeds, wanted = invented(_seed(build)).unit.target()
    points = [
        (drive.to_crank_rpm(rpm), drive.to_crank_deg(deg), TOLERANCE_CRANK_DEG)
        for rpm, deg in zip(speeds.tolist(), wanted.tolist(), strict=True)
    ]
    initial = dict.fromkeys(
        ("initial_low_crank_deg", "initial_high_crank_deg", "initial_crank_deg"), INITIAL_CRANK_DEG
    )
    return initial, points


def read_at(build: Build, run: Run, speed_rpm: float, falling: bool) -> float:
    """What the needle shows at a speed on the tachometer, both in the run's frame.

    It scatters, is read to the scale's division, and lags by the friction of the weights; the tachometer is
    off by a share that stays through the run. One query: which reading of the run it is.
    """
    drive = convert.drive_of(build)
    shown_rpm = convert.shaft_speed(speed_rpm, run.frame, drive)
    off = 1.0 + simulated.ERRORS.tachometer * _errors(build, _TACHOMETER, run.number).standard_normal()
    look = (run.number, run.readings.count(), round(shown_rpm * 100), int(falling))
    errors = _errors(build, _READING, *look)
    true_rpm = shown_rpm * off + simulated.ERRORS.jitter_rpm * errors.standard_normal()
    bends = _true_bends(build, run)
    advance = _as_set(build).advance(*_hung(build, run), true_rpm, falling=falling, true_bend_mm=bends)
    seen = advance.item() + simulated.ERRORS.scatter_deg * errors.standard_normal()
    shown_deg = round(seen / build.scale_deg) * build.scale_deg
    return drive.to_crank_deg(shown_deg) if run.frame == Frame.CRANK else shown_deg


def measure_head(build: Build) -> dict[str, float]:
    """What calipers say of the head: the fields of the build that hold it."""
    gaps, stretches, travel = _as_set(build).caliper(_errors(build, _CALIPER, build.version))
    return {
        "travel_measured_deg": round(float(travel), 1),
        "primary_gap_mm": round(float(gaps[0]), 1),
        "secondary_gap_mm": round(float(gaps[1]), 1),
        "primary_stretch_mm_per_deg": round(float(stretches[0]), 3),
        "secondary_stretch_mm_per_deg": round(float(stretches[1]), 3),
    }


def stop_after(build: Build, wanted_deg: float) -> float:
    """Where the stop comes to stand when set to a travel [distributor deg]; ValueError beyond the slot."""
    if wanted_deg > invented(_seed(build)).unit.travel_deg:
        raise ValueError("The slot ends before that: the stop can only take travel away.")
    return wanted_deg + STOP_SD_DEG * _errors(build, _STOP, round(wanted_deg * 100)).standard_normal()


def weigh(build: Build, spring: Spring, times: int) -> list[tuple[float, float]]:
    """What the spring tester says: pairs of length [mm] and load [N]; the first is the spring unloaded."""
    true = _true_spring(build, spring)
    errors = _errors(build, _TESTER, *_key(spring).encode(), times)
    extension = np.array(TESTER_STEPS_MM)
    shown_mm = true.length + extension + LENGTH_SD_MM * errors.standard_normal(extension.size)
    pull = true.tension * -np.expm1(-extension / simulated.COIL_OPENING_MM) + true.rate * extension
    seen_n = pull + LOAD_SD_N * errors.standard_normal(extension.size)
    shown_n = np.round(np.maximum(seen_n, 0.0) / TESTER_SCALE_N) * TESTER_SCALE_N * (extension > 0)
    return list(zip(np.round(shown_mm, 1).tolist(), shown_n.tolist(), strict=True))


def inside(build: Build, runs: Iterable[Run]) -> Iterator[Truth]:
    """What was inside: the head, and every spring that hung in it."""
    unit = _as_set(build)
    yield Truth("Travel", "distributor deg", build.travel_measured_deg, unit.travel_deg)
    for side, gap, stretch in zip(("primary", "secondary"), unit.true_gap_mm, unit.true_stretch, strict=True):
        yield Truth(f"Post gap, {side}", "mm", getattr(build, f"{side}_gap_mm"), gap)
        measured = getattr(build, f"{side}_stretch_mm_per_deg")
        yield Truth(f"Opens by, {side}", "mm per distributor deg", measured, stretch)
    hung = {spring.pk: spring for run in runs for spring in (run.primary, run.secondary) if spring}
    for spring in hung.values():
        true = _true_spring(build, spring)
        yield Truth(f"{spring}, rate", "N/mm", spring.rate_n_per_mm, true.rate)
        yield Truth(f"{spring}, free length", "mm", spring.free_length_mm, true.length)
        yield Truth(f"{spring}, initial tension", "N", spring.initial_tension_n, true.tension)


def _seed(build: Build) -> int:
    """The seed of a practice unit; no other is asked for one."""
    if build.practice_seed is None:
        raise ValueError(f"{build} is no practice unit.")
    return build.practice_seed


def _errors(build: Build, *which: int):
    """Random errors that belong to this unit and this act."""
    return np.random.default_rng((_seed(build), *which))


def _as_set(build: Build):
    """The unit with its stop where it was set."""
    unit = invented(_seed(build)).unit
    stop = build.practice_stop_deg
    return unit if stop is None else replace(unit, travel_deg=stop)


def _hung(build: Build, run: Run):
    """What really hangs in the unit in this run: the pair it came with, where none was named."""
    if run.primary is None:
        return invented(_seed(build)).unit.received
    secondary = run.secondary and _true_spring(build, run.secondary)
    return _true_spring(build, run.primary), secondary or None


def _true_spring(build: Build, spring: Spring):
    if spring.practice_id != build.pk:
        raise ValueError(f"{spring} is not on this practice bench.")
    return invented(_seed(build)).springs[_key(spring)]


def _key(spring: Spring):
    """Which spring of its unit's drawer it is: the same in whatever database the unit was invented."""
    return spring.label.removeprefix(MARK).partition("/")[0]


def _true_bends(build: Build, run: Run):
    """Where the posts really are: a hand bends to 0.05 mm, a post bent to the same place stays there."""
    asked = (run.primary_bend_mm, run.secondary_bend_mm)
    return tuple(
        bend and bend + simulated.ERRORS.bend_mm * _errors(build, _BEND, side, _whole(bend)).standard_normal()
        for side, bend in enumerate(asked)
    )


def _whole(bend_mm: float):
    """A bend as a whole number above 0, as seeds want it [thousandth of a mm]."""
    return round(bend_mm * 1000) + 100_000
