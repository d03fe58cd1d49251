"""What a form with a grid does: takes it as JSON, as lines, or previews a file; keeps all that was typed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Self

from django import forms
from django.forms import BoundField
from django.http import HttpRequest

from curves import engine
from curves.models import Frame
from curves.readings import csvfile, input_limits
from curves.readings.csvfile import CsvError, Question
from curves.readings.grid import Column, Grid


class HiddenText(forms.Textarea):
    """Carries the grid: a text area, because what is kept through a reload are the fields one can type in."""

    def __init__(self) -> None:
        super().__init__(
            attrs={"hidden": True, "data-grid-json": True, "aria-hidden": "true", "tabindex": "-1"}
        )


class GridForm(forms.Form):
    """Mixed into a form: its grid, its rows of values, and the two ways in."""

    columns: tuple[Column, ...] = ()
    nothing = ""
    grid: Grid  # what the page shows
    rows: Sequence[tuple[Any, ...]] = ()  # what is saved
    stated: tuple[str, ...] = ()  # how a file was understood
    asked: str | None = None  # of a file: what only a person can tell
    refused: CsvError | None = None  # why a file or a paste was not taken

    json = forms.CharField(required=False, strip=False, widget=HiddenText)
    lines = forms.CharField(
        required=False, strip=False, widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"})
    )

    def __init__(
        self,
        *args: Any,
        drive: engine.Drive | None = None,
        shown: Iterable[Sequence[float | bool]] = (),
        **options: Any,
    ) -> None:
        """``drive`` bounds a grid that holds speeds or angles; ``shown``: rows of values to begin with."""
        super().__init__(*args, **options)
        self.columns = input_limits.columns_for(self.columns, self.read_in, drive)
        self.grid = Grid.of_values(self.columns, shown)
        if not self.is_bound:
            self.initial.setdefault("lines", self.grid.lines())

    @property
    def read_in(self) -> str:
        """The frame that the grid is in; empty while nobody said."""
        return Frame.CRANK

    @property
    def plain_fields(self) -> list[BoundField]:
        """The fields that are no part of the grid."""
        ours = {"json", "lines", "file", "decimal"}
        return [field for field in self.visible_fields() if field.name not in ours]

    @property
    def same_twice(self) -> bool:
        """Whether the lines say what the grid says already, so that a browser with a grid can leave them."""
        return self["lines"].value() in (None, "", self.grid.lines())

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        try:
            self.rows = self._rows()
        except ValueError as error:
            self.add_error(None, str(error))
        return cleaned

    def _rows(self):
        """The rows typed into the grid and those in the lines; the browser empties one for the other."""
        rows = []
        if text := self.data.get("json", ""):
            self.grid = Grid.of_json(self.columns, text)
            rows += self._grid_rows()
        if (text := self.data.get("lines", "")).strip():
            try:
                rows += self.pasted_rows(text)
            except CsvError as error:
                self.add_error("lines", str(error))
        if not rows and not self.errors:
            raise ValueError(self.nothing)
        return rows

    def _grid_rows(self):
        rows = self.grid.values()
        for number, column, message in self.grid.errors:
            self.add_error(None, f"Row {number}, {column.label.lower()}: {message}")
        return [row for row in rows if row is not None]

    def pasted_rows(self, text: str) -> list[tuple[Any, ...]]:
        """The rows of values in plain lines, or a ``CsvError``."""
        raise NotImplementedError

    def readable_rows(self) -> list[tuple[Any, ...]]:
        """The rows that can be read so far, whatever else is wrong: what a drawing of the typing shows."""
        try:
            grid = Grid.of_json(self.columns, self.data.get("json", "") or "[]")
        except ValueError:
            return []
        return [row for row in grid.values() if row is not None] + self._readable_lines()[0]

    def unreadable_lines(self) -> str:
        """Why what was pasted as lines is not drawn; empty where all of it can be read."""
        return self._readable_lines()[1]

    def _readable_lines(self):
        """What was pasted as lines, once all of it can be read, and else why not."""
        text = self.data.get("lines", "")
        try:
            return (list(self.pasted_rows(text)) if text.strip() else []), ""
        except CsvError as error:
            return [], str(error)

    @classmethod
    def wants_preview(cls, request: HttpRequest) -> bool:
        return "read" in request.POST or bool(request.FILES)

    @classmethod
    def preview(cls, request: HttpRequest, **options: Any) -> Self:
        """The form with a file or a paste read into its grid, to look at; nothing is saved."""
        typed = {name: request.POST.get(name, "") for name in cls.base_fields}
        try:
            grid = Grid.of_json(cls.columns, typed["json"] or "[]")
        except ValueError:
            grid = Grid(cls.columns, [])
        file = request.FILES.get("file")
        try:
            table = csvfile.read(
                file.read(csvfile.MAX_BYTES + 1) if file else typed["lines"],
                frame=typed["frame"] or None,
                decimal=typed["decimal"] or None,
            )
        except CsvError as error:
            form = cls(initial=typed, **options)
            form.refused, form.asked = error, error.about if isinstance(error, Question) else None
            form.grid = grid
            return form
        typed |= {"frame": table.frame or typed["frame"], "json": "", "lines": ""}
        form = cls(initial=typed, **options)
        read = Grid.of_values(form.columns, [(r.speed_rpm, r.advance_deg, r.falling) for r in table.rows])
        read.rows = Grid(form.columns, grid.typed()).rows + read.rows
        form.grid, form.stated = read, table.stated
        form.initial["lines"] = read.lines()
        return form


def values_or_refuse(grid: Grid) -> list[tuple[Any, ...]]:
    """A grid's values; the first bad cell refuses it all, with its row and column."""
    rows = grid.values()
    for number, column, message in grid.errors:
        raise CsvError(message, row=number, column=column.label.lower())
    return [row for row in rows if row is not None]
