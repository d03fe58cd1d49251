"""Everything that is written on a card, piece by piece, and how its words are folded to be found."""

import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from curves.models import Build
from curves.rows.queries import live_runs
from jobs.models import Job, PartLine
from jobs.rules.card_lines import Lines

# Letters that Unicode does not take apart into a plain letter and a mark.
PLAIN = str.maketrans(
    {"ø": "o", "ð": "d", "đ": "d", "ł": "l", "þ": "th", "æ": "ae", "œ": "oe", "ħ": "h", "ı": "i"}
)
WORD = re.compile(r"[^\W_]+")


@dataclass(frozen=True)
class Piece:
    """One thing written on a card. A code is a number or mark that people space as they like."""

    label: str
    text: str
    is_code: bool = False


def fold(text: str) -> str:
    """Lower case without accents: what ``Škoda``, ``SKODA`` and ``skoda`` have in common."""
    apart = unicodedata.normalize("NFKD", text.casefold().translate(PLAIN))
    return "".join(mark for mark in apart if not unicodedata.combining(mark))


def words_of(text: str) -> list[str]:
    """The folded words of a text, in order."""
    return WORD.findall(fold(text))


def joined(text: str) -> list[str]:
    """A code's words run together from each of them on: ``0 231-17`` gives 023117, 23117 and 17."""
    groups = words_of(text)
    return ["".join(groups[start:]) for start in range(len(groups))]


def indexed(pieces: Iterable[Piece]) -> str:
    """The text that a search looks in: each word once, a space before and after each."""
    words = []
    for piece in pieces:
        words += words_of(piece.text)
        if piece.is_code:
            words += joined(piece.text)
    return f" {' '.join(dict.fromkeys(words))} "


def pieces(job: Job, lines: Lines) -> list[Piece]:
    """What is written on a card, most telling first, empty pieces left out; ``lines`` by ``cardlines``.

    The steps are not among them: they are the shop's list, and nearly the same on every card.
    """
    return [piece for piece in _all_pieces(job, lines) if piece.text]


def _all_pieces(job: Job, lines: Lines) -> Iterator[Piece]:
    yield Piece("Job", str(job.number))
    yield from _people(job)
    yield from _things(job)
    yield Piece("Tray", job.tray, is_code=True)
    yield Piece("Complaint", job.complaint)
    yield from _lines(lines)
    yield Piece("Came with", job.came_with)
    yield from _answers(job, lines)
    yield Piece("Setting", job.setting_note)
    yield from _curve(job.build)


def _answers(job: Job, lines: Lines) -> Iterator[Piece]:
    for answer in lines["answers"]:
        yield Piece("Answer to the estimate", f"{answer.text} {answer.note}".strip())
    if job.ending:
        yield Piece("Ended", job.ended_as)
        yield Piece("Collected by", job.closing.collected_by)
        yield Piece("Consent given by", job.closing.consent_by)
        yield Piece("Why it was not rebuilt", job.closing.reason)


def _people(job: Job) -> Iterator[Piece]:
    customer = job.customer
    if customer is None:
        yield Piece("For", "shop stock")
    else:
        yield Piece("Customer", customer.name)
        yield Piece("Company", customer.company)
        yield Piece("Phone", _dialled(customer.phone), is_code=True)
        yield Piece("Email", customer.email)
    yield Piece("Handed to", job.handed_to)


def _dialled(phone: str) -> str:
    """A phone number, with the zero that is dialled at home after the one with the country's code."""
    country, _, rest = phone.partition(" ")
    return f"{phone} / 0{rest}" if country.startswith("+") and rest else phone


def _things(job: Job) -> Iterator[Piece]:
    engine, unit = job.engine, job.unit
    if engine:
        yield Piece("Vehicle", engine.vehicle)
        figures = [engine.make, engine.model, engine.year, engine.camshaft]
        yield Piece("Engine", " ".join(str(figure) for figure in figures if figure))
        yield Piece("Engine", f"{engine.displacement_cc} cc" if engine.displacement_cc else "")
    yield Piece("Unit maker", unit.maker)
    yield Piece("Unit number", unit.number, is_code=True)
    yield Piece("Date code", unit.date_code, is_code=True)
    yield Piece("Vacuum capsule", unit.capsule, is_code=True)


def _lines(lines: Lines) -> Iterator[Piece]:
    for finding in lines["findings"]:
        yield Piece("Finding", finding.text)
    for answer in lines["inspections"]:
        yield Piece(answer.text, answer.note)
    for line in lines["parts"]:
        state = PartLine.State(line.state).label
        yield Piece(state, f"{line.text}: {line.note}" if line.note else line.text)
    for photo in lines["photos"]:
        yield Piece("Photo", photo.text)
    for report in lines["reports"]:
        yield Piece("Road report", report.text)


def _curve(build: Build) -> Iterator[Piece]:
    for run in live_runs(build):
        yield Piece(f"Run {run.number}", run.note)
        for spring in (run.primary, run.secondary):
            if spring:
                yield Piece("Spring", spring.label, is_code=True)
    target = getattr(build, "target", None)
    yield Piece("Target", target.note if target else "")
