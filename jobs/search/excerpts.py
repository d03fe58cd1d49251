"""Where the words of a search stand on a card: short excerpts with the words marked."""

import unicodedata
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from django.utils.html import escape
from django.utils.safestring import mark_safe

from jobs.search.search_text import WORD, Piece, fold, joined, words_of

MOST = 3
CONTEXT = 50  # characters kept on each side of what matched


@dataclass(frozen=True)
class Snippet:
    """A piece of the card in which words were found; ``text`` is safe HTML with the words marked."""

    label: str
    text: str


def snippets(pieces: Collection[Piece], words: Sequence[str]) -> list[Snippet]:
    """For each word the first piece of the card that has it, at most ``MOST`` of them."""
    found = [next((piece for piece in pieces if _has(piece, word)), None) for word in words]
    if words and not all(found):
        together = "".join(words)
        found = [next((piece for piece in pieces if _has(piece, together)), None)]
    chosen = dict.fromkeys(piece for piece in found if piece)
    return [Snippet(piece.label, _marked(piece, words)) for piece in list(chosen)[:MOST]]


def _has(piece: Piece, word: str) -> bool:
    there = words_of(piece.text) + (joined(piece.text) if piece.is_code else [])
    return any(candidate.startswith(word) for candidate in there)


def _marked(piece: Piece, words: Sequence[str]) -> str:
    """The text around what matched, escaped, with each matching word in ``<mark>``."""
    text = unicodedata.normalize("NFC", piece.text)
    spans = [m.span() for m in WORD.finditer(text) if fold(m.group()).startswith(tuple(words))]
    if not spans:  # a code that only matched run together
        spans = [(0, len(text))]
    start, end = _window(text, spans[0])
    out, at = ["…" if start else ""], start
    for left, right in spans:
        if right <= end:
            out += [escape(text[at:left]), "<mark>", escape(text[left:right]), "</mark>"]
            at = right
    out += [escape(text[at:end]), "…" if end < len(text) else ""]
    return mark_safe("".join(out))


def _window(text: str, span: tuple[int, int]) -> tuple[int, int]:
    """Where to cut, at spaces, about ``CONTEXT`` characters from the first match."""
    start = text.rfind(" ", 0, max(0, span[0] - CONTEXT)) + 1
    cut = text.find(" ", span[1] + CONTEXT)
    return start, len(text) if cut < 0 else cut
