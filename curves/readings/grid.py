"""A grid of cells in a form: typed in place and sent as one JSON field, or typed or pasted as plain lines."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from curves.readings import cells
from shop.numbers import plainly

MAX_ROWS = 500


@dataclass(frozen=True)
class Column:
    """One column: its key and heading, what it holds, and its limits; a tick column holds yes or no."""

    key: str
    label: str
    unit: str = ""
    limits: tuple[float, float] = (0, 0)
    is_tick: bool = False
    follows: bool = False  # a new row begins with what the row above holds
    of: str = ""  # what the engine bounds: a speed, an angle
    way_out: str = ""  # said to a number beyond the limits
    decimals: int | None = None  # how many there can be; None: any number
    unit_chosen: bool = False  # in a field of the form, so the heading says none


@dataclass
class Cell:
    """One cell as typed, and what is wrong with it."""

    column: Column
    text: str
    error: str = ""

    @property
    def ticked(self) -> bool:
        return self.text == "1"


class Grid:
    """Rows of cells as typed, their values, and the errors beside them."""

    def __init__(self, columns: Sequence[Column], rows: Sequence[dict[str, str]]) -> None:
        self.columns = columns
        self.rows = [[Cell(column, row.get(column.key, "")) for column in columns] for row in rows]

    @classmethod
    def of_values(cls, columns: Sequence[Column], rows: Iterable[Sequence[Any]]) -> Grid:
        """A grid that shows values, each row in the order of the columns."""
        return cls(
            columns, [dict(zip((c.key for c in columns), map(as_typed, row), strict=True)) for row in rows]
        )

    @classmethod
    def of_json(cls, columns: Sequence[Column], text: str) -> Grid:
        """The grid that a browser sent. What is no grid at all raises ValueError: no person typed it."""
        try:
            rows = json.loads(text)
        except (ValueError, RecursionError):
            raise ValueError("The grid did not arrive whole: send it again.") from None
        if not isinstance(rows, list) or not all(_is_row(row) for row in rows):
            raise ValueError("The grid did not arrive whole: send it again.")
        filled = [row for row in rows if any(row.get(c.key, "").strip() for c in columns if not c.is_tick)]
        if len(filled) > MAX_ROWS:
            raise ValueError(f"There are {len(filled)} rows: at most {MAX_ROWS} go into one grid.")
        return cls(columns, filled)

    @property
    def errors(self) -> list[tuple[int, Column, str]]:
        """Each error with its place: (row number, column, message)."""
        return [
            (number, cell.column, cell.error)
            for number, row in enumerate(self.rows, 1)
            for cell in row
            if cell.error
        ]

    def values(self) -> list[tuple[Any, ...] | None]:
        """The rows as values, or None for a row that holds a bad cell; the cell then says what is wrong."""
        return [self._row_values(row) for row in self.rows]

    def typed(self) -> list[dict[str, str]]:
        """The rows as they were typed, by the keys of their columns."""
        return [{cell.column.key: cell.text for cell in row} for row in self.rows]

    def lines(self) -> str:
        """The grid as plain lines, for the box that stands in for it without JavaScript."""
        return "\n".join("\t".join(_plain(cell) for cell in row).rstrip() for row in self.rows)

    def _row_values(self, row: list[Cell]):
        values = []
        for cell in row:
            try:
                values.append(_value(cell))
            except cells.CellError as error:
                cell.error = str(error)
        return tuple(values) if len(values) == len(row) else None


def as_typed(value: float | bool) -> str:
    """A value as it would be typed into a cell."""
    if isinstance(value, bool):
        return "1" if value else ""
    return plainly(f"{value:.10g}")


def _value(cell: Cell):
    column = cell.column
    if column.is_tick:
        return cell.ticked
    if not cell.text.strip():
        raise cells.CellError(f"{column.label} is missing: fill it in, or clear the row.")
    try:
        return cells.read_number(
            cell.text, column.limits, column.label, column.unit, decimals=column.decimals
        )
    except cells.OutOfLimits as error:
        raise cells.CellError(f"{error} {column.way_out}".strip()) from None


def _plain(cell: Cell):
    return (cell.column.key if cell.ticked else "") if cell.column.is_tick else cell.text


def _is_row(row: Any):
    return isinstance(row, dict) and all(isinstance(text, str) and len(text) <= 60 for text in row.values())
