"""Who reads, and how they are told numbers: in which frame, in which unit of load, by which names of runs."""

from dataclasses import dataclass, field

from curves import engine
from curves.models import Frame
from curves.rows import frames
from curves.rows.results import InBoth
from curves.words import english

_TERMS = ("position", "quantity", "corner")
_PLACES = {"deg": 1, "rpm": 0}
_PLACES_BESIDE = {"deg": {Frame.CRANK: 1, Frame.SHAFT: 2}, "rpm": {Frame.CRANK: 0, Frame.SHAFT: 0}}


@dataclass(frozen=True)
class Reader:
    """Tells what the engine found to one person.

    ``frame`` is the one they type in, the other stands beside; without it each number is told as it comes, in
    one frame alone. ``load_unit`` is the tester's; ``runs`` are in the order in which the engine got them.
    """

    frame: str | None = None
    drive: engine.Drive = field(default_factory=engine.Drive.four_stroke)
    load_unit: str = "N"
    runs: tuple = ()

    def words(self, warning):
        """The sentence for a warning of the engine."""
        told = {name: self._told(name, value) for name, value in warning.values.items()}
        return english.SENTENCES[warning.code].format(**told, load_unit=self.load_unit)

    def all_words(self, warnings):
        """The sentences for several."""
        return tuple(self.words(one) for one in warnings)

    def deg(self, shaft_deg, *, signed=False):
        return frames.shaft_angle(float(shaft_deg), self.frame, self.drive, signed=signed)

    def rpm(self, *shaft_rpm):
        return frames.speeds([InBoth.speed(rpm, self.drive) for rpm in shaft_rpm], self.frame)

    def span(self, low_rpm, high_rpm):
        return frames.span(*(InBoth.speed(rpm, self.drive) for rpm in (low_rpm, high_rpm)), self.frame)

    def _told(self, name, value):
        """A value as its sentence takes it, by its name: what it is, in which unit and frame."""
        if name == "run":
            return str(self.runs[value - 1]) if self.runs else english.run(value)
        if name == "cylinders":
            return english.cylinders(value)
        if name in _TERMS:
            return english.TERMS[value]
        frame, unit = name.split("_")[-2:] if "_" in name else ("", "")
        if frame in Frame.values:
            return self._turning(name, value, frame, unit)
        if unit == "chance":
            return english.in_percent(value)
        if name.endswith("_n"):
            return value / engine.to_newtons(1.0, self.load_unit)
        return value

    def _turning(self, name, value, frame, unit):
        """A speed or an angle, several, or the ends of a span, with its frame, the other beside."""
        numbers = value if isinstance(value, tuple) else (value,)
        between, sign = (
            " to " if name.startswith("span_") else ", ",
            "+" if name.startswith("offset_") else "",
        )

        def text(one, places):
            turned = (frames.number_in(number, frame, one, self.drive) for number in numbers)
            shape = ".5g" if name.startswith("typed_") else f"{sign}.{places}f"
            return between.join(f"{number:{shape}}" for number in turned).replace("-", "−")

        first = self.frame or frame
        bare = text(first, _PLACES[unit])
        told = f"{bare} {Frame(first).label} {english.UNITS[unit]}"
        if self.frame is not None:
            other = frames.other(first)
            told += f" ({text(other, _PLACES_BESIDE[unit][other])} {other.label})"
        return _Told(told, bare)


@dataclass(frozen=True)
class _Told:
    """A number with its unit and frame, of which a sentence may take the number alone."""

    words: str
    bare: str

    def __format__(self, spec):
        return self.bare if spec == "bare" else format(self.words, spec)
