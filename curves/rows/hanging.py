"""What hangs in a unit by its runs, and whose it is: the unit's own, or put in out of the drawer.

The rule, which ``curves.rows.stock`` writes down as moves:

- What a unit came with is its own: what its newest as-received run names, and what the ledger knows to have
  come back in it. It takes nothing off the drawer and is no part of the job, in whatever run it is named.
- Only what a run names beyond that is the drawer's: out while it is tried, fitted once a final run has it.
- An empty place in a run reads "as it came": what came there is still there.
- No run puts the unit's own into the drawer. While others are tried they lie beside it, and leave with it;
  what is to lie in the drawer is received there, by hand. Only what the shop once put in and what came back
  goes home, when a final run names as many others as the unit came with.

So of a unit that came in with A and B: a trial with C and D has C and D out; a final run with A and B again
brings them home and fits nothing; one with A and C fits C, and B is its owner's; closed unrepaired, all that
was put in comes home, and A and B leave with the unit.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from curves.models import Run, SpringMove

Kind = SpringMove.Kind


@dataclass(frozen=True)
class Held:
    """Springs of a kind that one unit has of the ledger: ``came`` back in it, and ``put_in`` as ``kind``."""

    kind: str
    put_in: int = 0
    came: int = 0

    @property
    def count(self) -> int:
        return self.put_in + self.came


@dataclass(frozen=True)
class Account:
    """What the moves of a spring say of one unit: what it has, and how many it was opened with."""

    held: Held
    brought: int


def account(moves: Iterable[tuple[str, int]]) -> Account:
    """The Account of one spring in one unit from its moves, (kind, quantity) in order.

    The moves that a unit was opened with come before any other. Its own are the last to leave it.
    """
    brought = count = 0
    kind, is_first = Kind.CAME_BACK, True
    for one, quantity in moves:
        is_first = is_first and one == Kind.CAME_BACK
        brought -= quantity if is_first else 0
        kind = one if one in (Kind.OUT, Kind.FITTED) else kind
        count -= quantity
    came = min(count, brought)
    return Account(Held(kind if count > came else Kind.CAME_BACK, count - came, came), brought)


class Hanging:
    """One unit: from its runs that count, (kind, primary, secondary) in order, and what it came back with.

    Springs are keys, and several of them {key: count}.
    """

    def __init__(
        self, runs: Iterable[tuple[str, int | None, int | None]], brought: Mapping[int, int]
    ) -> None:
        self.brought = Counter(brought)
        pairs = [(kind, Counter(key for key in pair if key)) for kind, *pair in runs]
        received = [pair for kind, pair in pairs if kind == Run.Kind.AS_RECEIVED and pair]
        tried = [pair for kind, pair in pairs if kind != Run.Kind.AS_RECEIVED]
        finals = [pair for kind, pair in pairs if kind == Run.Kind.FINAL]
        said = received[-1] if received else Counter()
        self.own = said if said.total() > 1 else said | self.brought
        self.named = tried[-1] if tried else Counter()
        self.kind = Kind.FITTED if self.named in finals else Kind.OUT
        self.final = finals[-1] if finals else None

    def wanted(self, key: int) -> Held:
        """What the unit is to have of a spring of the ledger, as Held."""
        put_in = max(self.named[key] - self.own[key], 0)
        return Held(self.kind, put_in, came=self.brought[key] - self._taken_out(key))

    def left_with(self) -> Counter[int]:
        """What hung in the unit as it left, rebuilt or not: {spring key: count}."""
        if self.final is None:
            return self.own
        return self.final if self._is_whole else self.final | self.own

    @property
    def _is_whole(self) -> bool:
        """Whether the final run says all that hangs: as many springs as the unit came with."""
        return self.final is not None and self.final.total() >= min(self.own.total(), 2)

    def _taken_out(self, key: int):
        if self.final is None or not self._is_whole:
            return 0
        return max(min(self.brought[key], self.own[key]) - max(self.final[key], self.named[key]), 0)
