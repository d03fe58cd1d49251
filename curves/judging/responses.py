"""What a response sweep says: the best advance at one speed with its interval, or that nobody can tell."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

from curves import engine, models
from curves.engine.timing.response import Response
from curves.models import Build
from curves.words.reader import Reader

FINDINGS = {
    "best inside": "Best advance found",
    "best beyond the readings": "The best lies beyond what was tried",
    "more is still better": "More is still better at the most tried",
    "less is still better": "Less is still better at the least tried",
    "cannot tell": "The readings cannot tell",
}


@dataclass(frozen=True)
class ResponseResult:
    """One response sweep and what the engine makes of it; angles are the whole timing at the crank."""

    response: models.Response
    tries: tuple[tuple[float, float], ...]
    fit: Response | None

    @property
    def finding(self) -> str:
        return FINDINGS[self.fit.finding] if self.fit else "No try written down yet"

    @property
    def warnings(self) -> tuple[str, ...]:
        return Reader().all_words(self.fit.warnings) if self.fit else ()

    @property
    def low_crank_deg(self) -> float | None:
        return self._end("low_deg")

    @property
    def high_crank_deg(self) -> float | None:
        return self._end("high_deg")

    @property
    def best_crank_deg(self) -> float | None:
        """The best advance, or None while the readings do not settle it."""
        return self.fit.best_deg if self.fit and self.fit.converged else None

    def _end(self, name: str):
        value = getattr(self.fit, name) if self.fit else None
        return value if value is not None and isfinite(value) else None


def responses_of(build: Build) -> list[models.Response]:
    """The response sweeps that count, with their tries, in two queries."""
    return list(build.responses.filter(removed=False).select_related("by").prefetch_related("readings"))


def result_of(response: models.Response) -> ResponseResult:
    tries = tuple((row.crank_deg, row.value) for row in response.readings.all())
    if not tries:
        return ResponseResult(response, (), None)
    degrees, values = zip(*tries, strict=True)
    return ResponseResult(response, tries, engine.fit_response(degrees, values, best=response.best))
