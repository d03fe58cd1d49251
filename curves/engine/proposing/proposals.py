"""What `propose` answers with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import overload

from ..codes import EngineWarning
from ..springs.spring import Spring
from .forecasts import Forecast
from .helpful import Measurement, Sticking


@dataclass(frozen=True)
class Proposal:
    """What to hang in next, and what to expect of it.

    Attributes
    ----------
    primary : Spring
    secondary : Spring or None
    chance : float
        Without `sweeps`, that the true rising curve lies in the band at every target point. With them, that
        the run, once it is read so, will be judged to lie in the band: every reading of both sweeps, and
        the lines between them.
    worst_miss_deg : float
        Greatest distance from the target at its points, expected [shaft degree].
    initial_deg : float
        Initial timing to set [shaft degree].
    post_bend_mm : tuple (float, float)
        Where to bend the posts to, from where they were measured [mm]; positive opens the gap.
    travel_deg : float
        Travel [shaft degree], as it is or one of the smaller ones offered.
    prospect : float
        Chance that the pair can be bent into the band once it was run.

    Examples
    --------
    >>> Proposal(Spring("P1", 3.0, 19.7), None, 0.4, 0.6, 0.0, (0.1, 0.0), 12.0, 0.8).post_bend_mm
    (0.1, 0.0)
    """

    primary: Spring
    secondary: Spring | None
    chance: float
    worst_miss_deg: float
    initial_deg: float
    post_bend_mm: tuple[float, float]
    travel_deg: float
    prospect: float


@dataclass(frozen=True)
class Proposals(Sequence[Proposal]):
    """Proposals, best first, and what to do if none is good.

    Attributes
    ----------
    ranked : tuple of Proposal
        The proposals; the sequence itself gives them too.
    fair : bool
        Whether the greatest chance of any pair is fair, at least 0.1 of what there is to have.
    warnings : tuple of EngineWarning
        Why, when it is not.
    measurement : Measurement or None
        The measurement that would raise the best chance most, if one would.
    greatest_chance : float
        What a curve in the very middle of the band would have: less than 1 where readings scatter about as
        far as the band is wide. 1 without `sweeps`.
    corners_cut_rpm : tuple of float
        Speeds of the target at which the line between two readings, even of a curve in the middle of the
        band, would leave it [shaft rpm]: to be read too.
    forecasts : tuple of Forecast
        What the model had the newest runs come to, and whether they did; none without `sweeps`.
    belief : float
        Share of the chances that was left to them for it, 0.5 to 1.
    sticking : Sticking or None
        What it would bring to free the weights, where that is worth it; None without `sweeps`.

    Examples
    --------
    >>> one = Proposal(Spring("P1", 3.0, 19.7), None, 0.4, 0.6, 0.0, (0.1, 0.0), 12.0, 0.8)
    >>> proposals = Proposals((one,), True, ())
    >>> len(proposals), proposals[0].chance
    (1, 0.4)
    """

    ranked: tuple[Proposal, ...]
    fair: bool
    warnings: tuple[EngineWarning, ...]
    measurement: Measurement | None = field(default=None)
    greatest_chance: float = 1.0
    corners_cut_rpm: tuple[float, ...] = ()
    forecasts: tuple[Forecast, ...] = ()
    belief: float = 1.0
    sticking: Sticking | None = None

    def __len__(self) -> int:
        return len(self.ranked)

    @overload
    def __getitem__(self, index: int) -> Proposal: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[Proposal, ...]: ...
    def __getitem__(self, index: int | slice) -> Proposal | tuple[Proposal, ...]:
        return self.ranked[index]
