"""The words of a page as a person reads them, and its markup without the line breaks of its source."""

import re
from html import unescape

# What begins a line, or stands in a cell of its own; beside it white space is not seen.
_BLOCKS = (
    "address|article|aside|blockquote|body|br|button|caption|dd|details|div|dl|dt|fieldset|figcaption|figure|"
    "footer|form|h[1-6]|head|header|hr|html|legend|li|main|nav|noscript|ol|optgroup|option|p|section|select|"
    "summary|svg|table|tbody|td|tfoot|th|thead|title|tr|ul"
)
_BLOCK = re.compile(rf" ?(</?(?:{_BLOCKS})\b[^>]*>) ?")
_UNSEEN = re.compile(r"<!--.*?-->|<(script|style|template)\b.*?</\1>", re.DOTALL)


def words(page):
    """What is read on a page, in one line: ``page`` is an answer of the client, or HTML."""
    lines = _BLOCK.sub(" ", markup(_UNSEEN.sub("", _source(page))))
    return " ".join(unescape(re.sub(r"<[^>]+>", "", lines)).split())


def markup(page):
    """Its HTML in one line, with the white space that is seen, and no other."""
    line = re.sub(r" (/?>)", r"\1", " ".join(_source(page).split()))
    return _BLOCK.sub(r"\1", line)


def _source(page):
    return page if isinstance(page, str) else page.content.decode()
