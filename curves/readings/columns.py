"""Finds the columns of a file of readings by their headings, and the frame if the headings say it."""

from __future__ import annotations

import re
from dataclasses import dataclass

SPEED = re.compile(r"\b(speed|rpm|revs|r/min|rev/min)\b")
ADVANCE = re.compile(r"\b(advance|deg|degrees?|angle)\b|°")
DIRECTION = re.compile(r"\b(direction|sweep|falling)\b")
CRANK = re.compile(r"\b(crank|crankshaft|engine)\b")
SHAFT = re.compile(r"\b(distributor|dist|shaft)\b")
FRAMES = {"crank": "crank", "shaft": "distributor"}


class CsvError(ValueError):
    """Why a file was not taken, and where; nothing of it was."""

    def __init__(self, message: str, row: int | None = None, column: str | None = None) -> None:
        self.row, self.column = row, column
        place = [f"row {row}"] * bool(row) + [f"column {column}"] * bool(column)
        super().__init__(f"{', '.join(place).capitalize()}: {message}" if place else message)


class Question(CsvError):
    """What only a person can tell: ``about`` is decimal or frame."""

    def __init__(self, about: str, message: str) -> None:
        super().__init__(message)
        self.about = about


@dataclass(frozen=True)
class Columns:
    """Which cell of a row is what, how the columns are called, and the frame."""

    at: dict[str, int]
    names: dict[str, str]
    most: int
    frame: str | None
    said: str
    yes_no: bool = False


def find_columns(
    lines: list[tuple[int, list[str]]], frame: str | None
) -> tuple[Columns, list[tuple[int, list[str]]]]:
    """The columns and the rows that hold readings; ``frame`` is what somebody has declared, or None."""
    heading, body = _headed(lines)
    if not heading:
        most = 3
        names = {"speed": "1", "advance": "2", "direction": "3"}
        said = "No headings: the first column is the speed, the second the advance."
        return Columns({"speed": 0, "advance": 1, "direction": 2}, names, most, frame, said), body
    return _by_heading(heading, frame), body


def _headed(lines: list[tuple[int, list[str]]]):
    """The headings, one text for each column, and what comes after them.

    A heading row has a letter in its first filled cell and no digit to begin it; a row of units may follow.
    """
    heads = []
    for _, row in lines[:2]:
        filled = [cell.strip() for cell in row if cell.strip()]
        if any(re.match(r"[-+−–.,]?\d", cell) for cell in filled):
            break
        heads.append(row)
    width = max((len(row) for row in heads), default=0)
    headings = [" ".join(row[i].strip().lower() for row in heads if i < len(row)) for i in range(width)]
    return headings, lines[len(heads) :]


def _by_heading(headings: list[str], declared: str | None):
    speeds = [i for i, text in enumerate(headings) if SPEED.search(text)]
    advances = [i for i, text in enumerate(headings) if ADVANCE.search(text) and i not in speeds]
    directions = [
        i for i, text in enumerate(headings) if DIRECTION.search(text) and i not in speeds + advances
    ]
    frame = _frame(headings, speeds, advances, declared)
    at = {
        "speed": _one("speed", "speed or rpm", speeds, headings, frame),
        "advance": _one("advance", "advance or degrees", advances, headings, frame),
    }
    if directions:
        at["direction"] = directions[0]
    names = {name: f"{i + 1} ({headings[i]})" for name, i in at.items()}
    names.setdefault("direction", "direction")
    said_by_file = _frame_of(headings[at["speed"]]) or _frame_of(headings[at["advance"]])
    said = (
        f"The headings say {FRAMES[frame]}: speed and degrees are read at the {FRAMES[frame]}."
        if said_by_file and frame
        else ""
    )
    yes_no = bool(directions) and "falling" in headings[directions[0]]
    return Columns(at, names, len(headings), frame, said, yes_no)


def _frame_of(heading: str):
    return "crank" if CRANK.search(heading) else "shaft" if SHAFT.search(heading) else None


def _frame(headings: list[str], speeds: list[int], advances: list[int], declared: str | None):
    """The one frame to read: declared, or said by the headings of both columns alike."""
    said = [{_frame_of(headings[i]) for i in found} for found in (speeds, advances)]
    if all(len(frames) > 1 for frames in said):  # both frames side by side
        if declared is None:
            raise Question("frame", "The file has distributor and crank columns: say which ones to read.")
        return declared
    every = (said[0] | said[1]) - {None}
    if len(every) > 1:
        raise CsvError(
            "One heading says crank, the other distributor: a run is read in one frame. Convert one column."
        )
    found = every.pop() if every else None
    if found and declared and found != declared:
        raise CsvError(
            f"The headings say {FRAMES[found]}, and {FRAMES[declared]} is declared for this run: "
            "correct the one that is wrong."
        )
    return found or declared


def _one(name: str, words: str, found: list[int], headings: list[str], frame: str | None):
    """The one column for a name, in the frame wanted where there are several."""
    fitting = found if len(found) < 2 else [i for i in found if _frame_of(headings[i]) == frame]
    if not fitting:
        raise CsvError(f"No column is headed {words}: head it so, or leave the headings out.", row=1)
    if len(fitting) > 1:
        raise CsvError(f"{len(fitting)} columns are headed {name}: leave one.", row=1)
    return fitting[0]
