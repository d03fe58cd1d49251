"""Reads readings from a CSV file or a paste, whole or not at all, and writes tables as CSV."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable
from dataclasses import dataclass

from curves.models import ADVANCE_DEG, SPEED_RPM
from curves.readings import cells
from curves.readings.cells import Number
from curves.readings.columns import Columns, CsvError, Question, find_columns
from shop.words import several

MAX_BYTES = 1_000_000
MAX_ROWS = 500
MIN_TOP_RPM = 50  # a file whose speeds all lie below this is not in rpm

LIMITS = {"speed": SPEED_RPM, "advance": ADVANCE_DEG}
UNITS = {"speed": "rpm", "advance": "degrees"}
DIRECTIONS = {
    **dict.fromkeys(("", "rising", "rise", "up", "r", "u", "↑"), False),
    **dict.fromkeys(("falling", "fall", "down", "f", "d", "↓"), True),
}
YES_NO = {
    **dict.fromkeys(("1", "yes", "y", "true", "x"), True),
    **dict.fromkeys(("0", "no", "n", "false"), False),
}


@dataclass(frozen=True)
class Row:
    """One reading, in the frame of its file."""

    speed_rpm: float
    advance_deg: float
    falling: bool


@dataclass(frozen=True)
class Table:
    """What a file said, and how it was understood, in words."""

    rows: tuple[Row, ...]
    frame: str | None  # None: neither the file nor anybody has said
    stated: tuple[str, ...]


def read(data: bytes | str, *, frame: str | None = None, decimal: str | None = None) -> Table:
    """The readings in a file or a paste, or a ``CsvError`` that names the row and column.

    ``frame`` and ``decimal`` are what a person has declared; what the file says must not go against them.
    Raises ``Question`` where two readings of the file are possible and only a person can tell.
    """
    text = decode(data) if isinstance(data, bytes) else _checked(data)
    lines, delimiter = split(text)
    columns, body = find_columns(lines, frame)
    if not body:
        raise CsvError("There is no reading in it: a reading is a speed and an advance on one line.")
    if len(body) > MAX_ROWS:
        raise CsvError(f"There are {len(body)} rows: at most {MAX_ROWS} go into one run.")
    numbers = [_taken_apart(cells_, number, columns) for number, cells_ in body]
    mark = decimal or _decimal(numbers)
    rows = tuple(
        _row(pair, mark, columns, cells_, number)
        for pair, (number, cells_) in zip(numbers, body, strict=True)
    )
    if max(row.speed_rpm for row in rows) < MIN_TOP_RPM:
        raise CsvError(
            f"All speeds lie below {MIN_TOP_RPM}: write them in rpm.", column=columns.names["speed"]
        )
    return Table(rows, columns.frame, _stated(columns, delimiter, mark, numbers, len(rows)))


def decode(data: bytes) -> str:
    """Bytes as text: UTF-8 with or without its mark, UTF-16, else Latin-1."""
    if len(data) > MAX_BYTES:
        raise CsvError("The file is larger than 1 MB: that is no list of readings.")
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            return _decoded(data, encoding)
    if data[1:2] == b"\0":
        return _decoded(data, "utf-16-le")
    if data[:1] == b"\0":
        return _decoded(data, "utf-16-be")
    try:
        return _checked(data.decode("utf-8"))
    except UnicodeDecodeError:
        return _checked(data.decode("latin-1"))


def split(text: str) -> tuple[list[tuple[int, list[str]]], str]:
    """The lines that hold something, each (number, cells), and the delimiter found."""
    lines = text.splitlines()
    filled = [line for line in lines if line.strip()]
    if not filled:
        raise CsvError("It is empty.")
    delimiter = next((mark for mark in "\t;," if any(mark in line for line in filled)), None)
    if delimiter is None:
        return [(n, line.split()) for n, line in enumerate(lines, 1) if line.strip()], " "
    try:
        rows = [
            (n, row)
            for n, line in enumerate(lines, 1)
            for row in csv.reader([line], delimiter=delimiter, strict=True)
            if any(cell.strip() for cell in row)
        ]
    except csv.Error as error:
        raise CsvError(f"A quotation mark is left open or stands inside a cell ({error}).") from None
    if not rows:
        raise CsvError("It is empty.")
    return rows, delimiter


def write(headers: Iterable[str], rows: Iterable[Iterable[float | str | None]]) -> str:
    """A table as CSV (RFC 4180). Text that a spreadsheet would run is disarmed; numbers are left alone."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([_cell(header) for header in headers])
    writer.writerows([_cell(cell) for cell in row] for row in rows)
    return out.getvalue()


def _cell(cell: float | str | None):
    if cell is None:
        return ""
    if isinstance(cell, str):
        return f"'{cell}" if cell[:1] in ("=", "+", "-", "@", "\t", "\r", "\n") and cell else cell
    return repr(round(cell, 6)) if isinstance(cell, float) else cell


def _decoded(data: bytes, encoding: str):
    try:
        return _checked(data.decode(encoding))
    except UnicodeDecodeError:
        raise CsvError("The file is cut off or is no text file: save it as CSV again.") from None


def _checked(text: str):
    if len(text) > MAX_BYTES:
        raise CsvError("It is longer than 1 MB: that is no list of readings.")
    text = text.removeprefix("\ufeff")
    if re.search(r"[\x00-\x08\x0e-\x1f]", text):
        raise CsvError("It is no text file: save the sheet as CSV, then take that.")
    return text


def _taken_apart(row: list[str], number: int, columns: Columns):
    """The two numbers of a row, with their marks still undecided."""
    if len(row) > columns.most:
        extra = [cell for cell in row[columns.most :] if cell.strip()]
        if extra:
            raise CsvError(
                "There are more cells than columns. A decimal comma in a comma-separated file does that: "
                "separate the columns with semicolons.",
                row=number,
                column=str(columns.most + 1),
            )
    pair = []
    for name in ("speed", "advance"):
        text = row[columns.at[name]] if columns.at[name] < len(row) else ""
        if not text.strip():
            raise CsvError(f"The {name} is missing.", row=number, column=columns.names[name])
        try:
            pair.append(cells.take_apart(text))
        except cells.CellError as error:
            raise CsvError(str(error), row=number, column=columns.names[name]) from None
    return pair


def _decimal(numbers: list[list[Number]]):
    """The decimal mark that the cells show; None where they show none and need none."""
    shown = {}
    for pair in numbers:
        for number, limits in zip(pair, LIMITS.values(), strict=True):
            if mark := number.decimal or cells.settled(number, limits):
                shown.setdefault(mark, number.text)
    if len(shown) > 1:
        point, comma = shown[cells.POINT], shown[cells.COMMA]
        raise CsvError(f"“{point}” has a decimal point and “{comma}” a decimal comma: write all alike.")
    if shown:
        return next(iter(shown))
    for pair in numbers:
        for number in pair:
            try:
                cells.value(number)
            except cells.Ambiguous as error:
                raise Question("decimal", f"{error} Or say which mark is the decimal one.") from None
    return None


def _row(pair: list[Number], mark: str | None, columns: Columns, row: list[str], number: int):
    values = []
    for (name, limits), part in zip(LIMITS.items(), pair, strict=True):
        if part.decimal and mark and part.decimal != mark:
            raise CsvError(
                f"“{part.text}” does not fit the decimal mark declared.", number, columns.names[name]
            )
        try:
            values.append(cells.within(cells.value(part, mark), limits, name.capitalize(), UNITS[name]))
        except cells.CellError as error:
            raise CsvError(str(error), row=number, column=columns.names[name]) from None
    speed, advance = values
    return Row(speed, advance, _direction(columns, row, number))


def _direction(columns: Columns, row: list[str], number: int):
    at = columns.at.get("direction")
    text = row[at].strip().lower() if at is not None and at < len(row) else ""
    known = {**DIRECTIONS, **YES_NO} if columns.yes_no else DIRECTIONS
    if text not in known:
        way_out = "write rising or falling" + (", yes or no" if columns.yes_no else "")
        raise CsvError(
            f"“{text[:40]}” is no direction: {way_out}.", row=number, column=columns.names["direction"]
        )
    return known[text]


def _stated(columns: Columns, delimiter: str, mark: str | None, numbers: list[list[Number]], count: int):
    """How the file was understood, so that a wrong reading of it is seen before it is saved."""
    names = {"\t": "tabs", ";": "semicolons", ",": "commas", " ": "spaces"}
    stated = [f"{several(count, 'reading')}, columns separated by {names[delimiter]}."]
    if mark:
        stated.append(f"The decimal mark is the {'point' if mark == cells.POINT else 'comma'}.")
    grouped = [n.text for pair in numbers for n in pair if n.ambiguous and mark and mark not in n.digits]
    if grouped:
        stated.append(f"“{grouped[0]}” is read as {re.sub('[.,]', '', grouped[0])}.")
    if columns.said:
        stated.append(columns.said)
    return tuple(stated)
