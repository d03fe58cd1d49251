"""A simulated test bench: invented distributors with more physics than the engine's model, to try things on.

It knows nothing of the engine and shares no code with it. Weights are rigid bodies on pivots, spring posts
move on circles so that lines of pull turn, coils open gradually, part of the friction grows with the load,
the hand that bends a post and the eye that reads a scale err.

>>> kind = make_kind(7)
>>> unit = make_unit(kind, 1)
>>> drawer = make_drawer(kind, 2, count=14)
>>> sweep = unit.run(drawer.primaries[0], drawer.secondaries[0], [500, 1000, 1500], seed=3)
>>> sweep.advance_deg.shape
(3,)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import pi, radians

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.floating]
Seed = int | Sequence[int] | np.random.Generator

COIL_OPENING_MM = 0.04
TARGET_SHARES = (0.12, 0.4, 0.68, 0.95)  # of the travel
MAX_FRICTION = 400.0  # [N mm/rad]
_GRID_POINTS = 1201


@dataclass(frozen=True)
class Errors:
    """What eye, tachometer and hand are off by, one standard deviation, and what a scale is divided into."""

    scatter_deg: float = 0.25
    scale_deg: float = 0.5
    tachometer: float = 0.003  # relative, one for a whole run
    jitter_rpm: float = 3.0
    bend_mm: float = 0.05  # of a post, beside where it should be


ERRORS = Errors()


@dataclass(frozen=True)
class TrueSpring:
    """What a spring really is [N/mm, mm, N]; its label, as the shop knows it, stands in `label`."""

    key: str
    rate: float
    length: float
    tension: float
    label: Label | None = None


@dataclass(frozen=True)
class Label:
    """What is written on a spring's bag, or what a spring tester said [N/mm, mm, N]."""

    rate: float
    length: float
    tension: float


@dataclass(frozen=True)
class LabelErrors:
    """How far labels are off: relative, mm, relative."""

    rate: float
    length: float
    tension: float


MEASURED = LabelErrors(0.04, 0.15, 0.15)
ROUGH = LabelErrors(0.12, 0.4, 0.3)


@dataclass(frozen=True)
class Posts:
    """The two posts of one spring: a fixed one, and one that moves with the cam on a circle [mm, rad]."""

    fixed_radius: float
    moving_radius: float
    angle: float

    def gap(self, turn: float | Floats) -> Floats:
        """Give the distance between the posts [mm] when the cam has turned [rad]."""
        fixed, moving = self.fixed_radius, self.moving_radius
        return np.sqrt(fixed**2 + moving**2 - 2.0 * fixed * moving * np.cos(self.angle + turn))

    def arm(self, turn: float | Floats) -> Floats:
        """Give how fast the gap opens [mm/rad]: the arm of the line of pull about the shaft."""
        return self.fixed_radius * self.moving_radius * np.sin(self.angle + turn) / self.gap(turn)


@dataclass(frozen=True)
class Weights:
    """Two equal rigid weights, each on a pivot of the shaft's plate [kg, mm, rad]."""

    mass: float
    pivot_radius: float
    arm: float
    angle: float
    swing: float
    swing_growth: float

    def half_inertia_slope(self, turn: Floats) -> Floats:
        """Give half of dI/dt [kg mm2/rad] when the cam has turned [rad]."""
        swung = self.swing * (turn + self.swing_growth * turn**2)
        rate = self.swing * (1.0 + 2.0 * self.swing_growth * turn)
        return 2.0 * self.mass * self.pivot_radius * self.arm * np.sin(self.angle - swung) * rate


@dataclass(frozen=True)
class Sweep:
    """One run read on the bench: speeds shown, advance read, and the bends that were asked for."""

    speed_rpm: Floats
    advance_deg: Floats
    falling: NDArray[np.bool_]
    bend_mm: tuple[float, float]
    true_bend_mm: tuple[float, float]


@dataclass(frozen=True)
class Unit:
    """One invented distributor.

    Parameters
    ----------
    weights : Weights
    posts : tuple of Posts
        Primary and secondary.
    travel_deg : float
        Where the stop is [shaft degree].
    friction : float
        Constant friction [N mm/rad].
    load_friction : float
        Friction as a share of the weights' torque [-].
    received : tuple of TrueSpring
        The tired pair it came in with.
    wanted : tuple of TrueSpring
        The pair that makes the curve of its maker.
    uneven : float
        Weights that stick do so unevenly: up to this share of the friction is shaken loose at a reading.
    """

    weights: Weights
    posts: tuple[Posts, Posts]
    travel_deg: float
    friction: float
    load_friction: float
    received: tuple[TrueSpring, TrueSpring]
    wanted: tuple[TrueSpring, TrueSpring]
    uneven: float = 0.0

    @property
    def true_gap_mm(self) -> tuple[float, float]:
        """Give the gaps at rest [mm] that a perfect caliper would find."""
        first, second = (float(posts.gap(0.0)) for posts in self.posts)
        return first, second

    @property
    def true_stretch(self) -> tuple[float, float]:
        """Give the mean opening of the gaps [mm/degree] over the travel."""
        full = radians(self.travel_deg)
        first, second = (float(posts.gap(full) - posts.gap(0.0)) / self.travel_deg for posts in self.posts)
        return first, second

    def caliper(
        self, seed: Seed, gap_sd_mm: float = 0.2, stretch_sd: float = 0.08, travel_sd_deg: float = 0.25
    ) -> tuple[tuple[float, float], tuple[float, float], float]:
        """Measure gaps [mm], stretches [mm/degree] and travel [degree] by hand, with its errors."""
        rng = np.random.default_rng(seed)
        first, second = (gap + gap_sd_mm * rng.standard_normal() for gap in self.true_gap_mm)
        opens = (a * float(np.exp(stretch_sd * rng.standard_normal())) for a in self.true_stretch)
        opens_first, opens_second = opens
        return (
            (first, second),
            (opens_first, opens_second),
            self.travel_deg + travel_sd_deg * rng.standard_normal(),
        )

    def advance(
        self,
        primary: TrueSpring,
        secondary: TrueSpring | None,
        speed_rpm: ArrayLike,
        *,
        falling: ArrayLike = False,
        true_bend_mm: Sequence[float] = (0.0, 0.0),
    ) -> Floats:
        """Give the true advance [shaft degree] at true speeds [rpm]; `secondary` may be None."""
        turn = np.linspace(0.0, radians(self.travel_deg), _GRID_POINTS)
        torque = np.zeros_like(turn)
        for spring, posts, bend in zip((primary, secondary), self.posts, true_bend_mm, strict=True):
            if spring is not None:
                extension = np.maximum(posts.gap(turn) + bend - spring.length, 0.0)
                pull = spring.tension * -np.expm1(-extension / COIL_OPENING_MM) + spring.rate * extension
                torque += pull * posts.arm(turn)
        load = self.weights.half_inertia_slope(turn) * 1e-3
        rising = np.sqrt(np.maximum(torque + self.friction, 0.0) / (load * (1.0 - self.load_friction)))
        sinking = np.sqrt(np.maximum(torque - self.friction, 0.0) / (load * (1.0 + self.load_friction)))
        speed = np.atleast_1d(np.asarray(speed_rpm, dtype=float)) * pi / 30.0
        angle = np.degrees(turn)
        up = np.interp(speed, np.maximum.accumulate(rising), angle)
        down = np.interp(speed, np.minimum.accumulate(sinking[::-1])[::-1], angle)
        return np.where(falling, down, up)

    def run(
        self,
        primary: TrueSpring,
        secondary: TrueSpring | None,
        speed_rpm: ArrayLike,
        *,
        seed: Seed,
        falling: ArrayLike = False,
        bend_mm: tuple[float, float] = (0.0, 0.0),
        before: Sweep | None = None,
        errors: Errors = ERRORS,
    ) -> Sweep:
        """Read a curve on the bench at the speeds shown by the tachometer, as a person would.

        Parameters
        ----------
        primary, secondary : TrueSpring
            What hangs in the head; `secondary` may be None.
        speed_rpm : array_like, shape (n,)
            Speeds to stop at [rpm].
        seed : int or sequence of int
            The same seed gives the same errors.
        falling : bool or array_like
            True where the speed comes from above.
        bend_mm : tuple (float, float)
            Where the posts are to be.
        before : Sweep, optional
            The run before on this unit: a post that is to stay where it was is left alone.
        errors : Errors
            What the person and the bench are off by.

        Returns
        -------
        Sweep
        """
        rng = np.random.default_rng(seed)
        shown = np.asarray(speed_rpm, dtype=float)
        falling = np.broadcast_to(falling, shown.shape)
        true_bend = [bend + errors.bend_mm * rng.standard_normal() * (bend != 0) for bend in bend_mm]
        if before is not None:
            stays = [asked == bend for asked, bend in zip(before.bend_mm, bend_mm, strict=True)]
            true_bend = np.where(stays, before.true_bend_mm, true_bend).tolist()
        tachometer = 1.0 + errors.tachometer * rng.standard_normal()
        true_speed = shown * tachometer + errors.jitter_rpm * rng.standard_normal(shown.shape)
        advance = self.advance(primary, secondary, true_speed, falling=falling, true_bend_mm=true_bend)
        if self.uneven:
            other = self.advance(primary, secondary, true_speed, falling=~falling, true_bend_mm=true_bend)
            loose = self.uneven * rng.random(shown.shape)
            advance = advance + loose * (other - advance) / 2.0
        seen = advance + errors.scatter_deg * rng.standard_normal(shown.shape)
        read = np.round(seen / errors.scale_deg) * errors.scale_deg
        return Sweep(shown, read, falling, bend_mm, (true_bend[0], true_bend[1]))

    def sweeps_apart(self) -> float:
        """Give how far the falling curve of the wanted pair lies above the rising one at most [degree]."""
        grid = np.arange(200.0, 3000.0, 25.0)
        return float(
            (self.advance(*self.wanted, grid, falling=True) - self.advance(*self.wanted, grid)).max()
        )

    def target(self, step_deg: float = 0.1) -> tuple[Floats, Floats]:
        """Give four speeds [rpm] and the advance its maker wants there [shaft degree], in such steps."""
        grid = np.arange(200.0, 3000.0, 50.0)
        curve = self.advance(*self.wanted, grid)
        speeds = np.unique([grid[np.argmax(curve >= share * self.travel_deg)] for share in TARGET_SHARES])
        return speeds, np.round(self.advance(*self.wanted, speeds) / step_deg) * step_deg

    def sweep_speeds(self, count: int = 12) -> Floats:
        """Give the speeds [rpm] at which a person would read this unit."""
        end = self.target()[0][-1] + 250.0
        return np.round(np.linspace(250.0, end, count) / 10.0) * 10.0


@dataclass(frozen=True)
class Drawer:
    """Springs at hand, primaries and secondaries."""

    primaries: tuple[TrueSpring, ...]
    secondaries: tuple[TrueSpring, ...]


def make_kind(seed: Seed) -> Unit:
    """Invent a type of distributor.

    Parameters
    ----------
    seed : int or sequence of int
        The same seed gives the same type.

    Returns
    -------
    Unit
        The type as its maker drew it; `make_unit` makes one with its own tolerances.
    """
    rng = np.random.default_rng(seed)
    first, second = (
        Posts(rng.uniform(20.0, 26.0), rng.uniform(13.0, 17.0), radians(rng.uniform(50.0, 75.0)))
        for _ in range(2)
    )
    posts = (first, second)
    weights = Weights(
        mass=rng.uniform(0.016, 0.030),
        pivot_radius=rng.uniform(17.0, 22.0),
        arm=rng.uniform(8.0, 12.0),
        angle=radians(rng.uniform(95.0, 130.0)),
        swing=rng.uniform(1.6, 2.4),
        swing_growth=rng.uniform(-0.15, 0.15),
    )
    travel = rng.uniform(10.0, 15.0)
    knee = travel * rng.uniform(0.3, 0.55)
    begin, at_knee = rng.uniform(350.0, 550.0), rng.uniform(680.0, 950.0)
    end = at_knee * rng.uniform(1.6, 2.2)
    friction = rng.uniform(1.0, 5.0)
    load_friction = rng.uniform(0.0, 0.02)
    wanted = _springs_for(weights, posts, (begin, at_knee, end), (0.0, knee, travel), rng)
    return Unit(weights, posts, travel, friction, load_friction, wanted, wanted)


def _springs_for(
    weights: Weights,
    posts: tuple[Posts, Posts],
    speeds_rpm: tuple[float, float, float],
    angles_deg: tuple[float, float, float],
    rng: np.random.Generator,
):
    """Give the pair that begins, bends and stops at these speeds and angles."""
    turn = np.radians(angles_deg)
    torque = 1e-3 * weights.half_inertia_slope(turn) * (np.asarray(speeds_rpm) * pi / 30.0) ** 2
    gaps = [both.gap(turn) for both in posts]
    arms = [both.arm(turn) for both in posts]
    pull = torque / arms[0]
    rate = (pull[1] - pull[0]) / (gaps[0][1] - gaps[0][0])
    tension = pull[0] * rng.uniform(0.2, 0.6)
    primary = TrueSpring("made-primary", rate, gaps[0][0] - (pull[0] - tension) / rate, tension)
    last = tension + rate * (gaps[0][2] - primary.length)
    left = (torque[2] - last * arms[0][2]) / arms[1][2]
    tension = abs(left) * rng.uniform(0.0, 0.1)
    rate = max(left - tension, 0.3 * primary.rate) / (gaps[1][2] - gaps[1][1])
    return primary, TrueSpring("made-secondary", rate, gaps[1][1], tension)


def make_unit(kind: Unit, seed: Seed) -> Unit:
    """Make one unit of a type, with the tolerances of its making and the wear of its springs.

    Parameters
    ----------
    kind : Unit
        From `make_kind`.
    seed : int or sequence of int

    Returns
    -------
    Unit
    """
    rng = np.random.default_rng(seed)

    def about(value: float, relative: float) -> float:
        return value * (1.0 + relative * rng.standard_normal())

    first, second = (
        Posts(about(p.fixed_radius, 0.004), about(p.moving_radius, 0.004), about(p.angle, 0.004))
        for p in kind.posts
    )
    weights = replace(kind.weights, mass=about(kind.weights.mass, 0.01), arm=about(kind.weights.arm, 0.01))
    primary, secondary = (
        TrueSpring(
            f"received-{place}",
            spring.rate * rng.uniform(0.75, 1.2),
            spring.length + rng.uniform(-0.3, 0.6),
            spring.tension * rng.uniform(0.5, 1.1),
        )
        for place, spring in zip(("primary", "secondary"), kind.wanted, strict=True)
    )
    return replace(
        kind,
        weights=weights,
        posts=(first, second),
        travel_deg=kind.travel_deg + 0.15 * rng.standard_normal(),
        friction=kind.friction * float(np.exp(0.3 * rng.standard_normal())),
        received=(primary, secondary),
    )


def sticking(unit: Unit, apart_deg: float, uneven: float = 0.0) -> Unit:
    """Give a unit whose weights stick: friction keeps its sweeps so far apart [degree].

    Parameters
    ----------
    unit : Unit
    apart_deg : float
        Greatest distance between the rising and the falling curve of the wanted pair.
    uneven : float, default 0
        Share of the friction, up to which it is shaken loose at a reading, 0 to 1.

    Returns
    -------
    Unit
    """
    low, high = 0.0, MAX_FRICTION
    for _ in range(40):
        middle = (low + high) / 2.0
        reached = replace(unit, friction=middle).sweeps_apart() >= apart_deg
        low, high = (low, middle) if reached else (middle, high)
    return replace(unit, friction=high, uneven=uneven)


def make_drawer(kind: Unit, seed: Seed, *, count: int = 14, errors: LabelErrors = MEASURED) -> Drawer:
    """Fill a drawer with springs about right for a type, and write their labels.

    Parameters
    ----------
    kind : Unit
        The type they are for.
    seed : int or sequence of int
    count : int, default 14
        Springs a side.
    errors : LabelErrors, default MEASURED
        How far the labels are off; `ROUGH` for bags from the shelf.

    Returns
    -------
    Drawer
    """
    rng = np.random.default_rng(seed)

    def one(place: str, number: int, spring: TrueSpring) -> TrueSpring:
        rate = spring.rate * float(np.exp(rng.uniform(-0.5, 0.5)))
        length = spring.length + rng.uniform(-0.6, 0.6)
        tension = spring.tension * rng.uniform(0.6, 1.4)
        label = Label(
            rate * float(np.exp(errors.rate * rng.standard_normal())),
            length + errors.length * rng.standard_normal(),
            tension * float(np.exp(errors.tension * rng.standard_normal())),
        )
        return TrueSpring(f"{place}{number + 1}", rate, length, tension, label)

    primaries = tuple(one("P", number, kind.wanted[0]) for number in range(count))
    return Drawer(primaries, tuple(one("S", number, kind.wanted[1]) for number in range(count)))
