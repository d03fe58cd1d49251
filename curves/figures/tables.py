"""The readings of a figure as a table: one row for each speed, each run's reading beside the band's edges."""

import numpy as np


def readings_table(figure):
    """One row for each speed that was read, with each run's reading there and the edges of the band.

    Rising from slow to fast, then falling from fast to slow; a speed that a run read twice takes two rows.
    """
    rows = {}
    for place, trace in enumerate(figure["traces"]):
        for point in trace["points"]:
            row = _row_for(rows, point, place, len(figure["traces"]))
            row["reads"][place] = point
    ordered = sorted(rows.values(), key=lambda row: row["crank_rpm"])
    rising = [row for row in ordered if not row["falling"]]
    falling = [row for row in reversed(ordered) if row["falling"]]
    return [_against(figure, row) for row in rising + falling]


def _row_for(rows, point, place, count):
    """The first row of this speed and direction where this run has no reading yet."""
    for again in range(len(rows) + 1):
        key = (point["crank_rpm"], point["falling"], again)
        row = rows.setdefault(
            key,
            {name: point[name] for name in ("crank_rpm", "shaft_rpm", "falling")} | {"reads": [None] * count},
        )
        if row["reads"][place] is None:
            return row
    raise AssertionError("a new row is always free")


def _against(figure, row):
    """A row with the band at its speed, and which side of it the newest run lies."""
    read = row["reads"][-1]
    outside = read["outside_deg"] if read else None
    says = "" if outside is None else "over" if outside > 0 else "under" if outside < 0 else "in"
    return row | {"says": says, **_edges(figure["band"], row["crank_rpm"])}


def _edges(band, crank_rpm):
    """The band at a speed, straight between its points; None where it says nothing."""
    if not band or not band["rpm"][0] <= crank_rpm <= band["rpm"][-1]:
        return {"low": None, "high": None}
    return {side: float(np.interp(crank_rpm, band["rpm"], band[side])) for side in ("low", "high")}
