"""The figures of the sweeps: what the light read against the band, and the answer of the engine to timing."""

import numpy as np

from curves import engine
from curves.figures import charts, svg
from curves.figures.axes import axis
from curves.figures.charts import area_of, band_of, compose, miss_of, trace_of
from curves.figures.svg import PENS, Plot
from curves.rows import convert

LIGHT, ASIDE = "light reads", "left aside"
RESPONSE_SIZE = (480, 300, 13.0)


def drawn(said, build):
    """A sweep's figure, its SVG and the table that says the same."""
    figure = sweep_figure(said, build)
    return {"figure": figure, "svg": svg.svg(figure), "table": charts.table_rows(figure)}


def sweep_figure(said, build):
    """The whole timing at the crank: what the light read, the band to read in, and what lies beyond it."""
    drive = convert.drive_of(build)
    band = said.wanted.band if said.wanted else None
    traces = [
        trace_of(role, word, word, readings, band, drive)
        for role, word, used in (("as_received", ASIDE, False), ("latest", LIGHT, True))
        if (readings := _readings(said.rows, used, drive)) is not None
    ]
    line = engine.Curve.of(_readings(said.rows, True, drive)) if said.verdict else None
    areas = [_area(part, band, line, drive) for part in said.verdict.ranges] if said.verdict else []
    misses = [_words(part, line, drive) for part in said.verdict.ranges] if said.verdict else []
    key, title = f"sweep-{said.sweep.pk}", "Timing on the engine, initial timing included"
    edges = band_of(band, drive) if band else None
    return compose(key, title, traces, edges, None, drive, misses=misses, areas=areas)


def _readings(rows, used, drive):
    """The readings that count, or those left aside, as shaft readings; None where there are none."""
    chosen = [row for row in rows if row.used is used]
    if not chosen:
        return None
    return engine.Readings(
        [drive.to_shaft_rpm(row.crank_rpm) for row in chosen],
        [drive.to_shaft_deg(row.crank_deg) for row in chosen],
        [False] * len(chosen),
    )


def _area(part, band, line, drive):
    """The stretch between the band's edge and the line, bent where either bends."""
    bends = np.concatenate([[part.from_rpm, part.to_rpm], band.speed_rpm, line.speed_rpm])
    speeds = np.unique(bends[(bends >= part.from_rpm) & (bends <= part.to_rpm)])
    lower, upper = engine.band_edges(band, speeds)
    edge = upper if part.side == "above" else lower
    return area_of(
        part.side, drive.to_crank_rpm(speeds), drive.to_crank_deg(edge), drive.to_crank_deg(line.at(speeds))
    )


def _words(part, line, drive):
    """Which side, and by how much at worst, beside the place where it is worst."""
    side, word = ("over", "too much") if part.side == "above" else ("under", "too little")
    text = f"{drive.to_crank_deg(part.worst_deg):.1f}° {word}"
    at, reads = drive.to_crank_rpm(part.worst_rpm), drive.to_crank_deg(line.at(part.worst_rpm))
    return miss_of("latest", text, at, reads, side)


def response_drawing(said):
    """The tries of a response, the parabola through them and the interval, for the template to write."""
    if not said.tries:
        return None
    degrees, values = (np.array(column, dtype=float) for column in zip(*said.tries, strict=True))
    reach = max(np.ptp(degrees) * 0.1, 1.0)
    tall = max(np.ptp(values) * 0.15, abs(values).max() * 0.01, 1e-6)
    x = axis(degrees.min() - reach, degrees.max() + reach, most=7)
    y = axis(values.min() - tall, values.max() + tall, most=6)
    plot = Plot(*RESPONSE_SIZE, x, y)
    return {
        "plot": plot,
        "places": svg.places_of(plot),
        "fine_grid": svg.grid_of(plot, x["fine"], y["fine"]),
        "grid": svg.grid_of(plot, x["ticks"], y["ticks"]),
        "x_ticks": [{"at": plot.at_x(tick), "text": f"{tick:g}"} for tick in x["ticks"]],
        "y_ticks": [{"at": plot.at_y(tick), "text": f"{tick:g}"} for tick in y["ticks"]],
        "marks": [{"x": plot.at_x(a), "y": plot.at_y(v), "title": f"{v:g} at {a:g}°"} for a, v in said.tries],
        "parabola": _parabola(said, plot, degrees),
        "best": _best(said, plot),
        "pens": PENS,
    }


def _parabola(said, plot, degrees):
    """The fitted line over what was tried, where a best was found."""
    if said.fit.best_deg is None:
        return ""
    steps = np.linspace(degrees.min(), degrees.max(), 41)
    return plot.path(steps.tolist(), said.fit.at(steps).tolist())


def _best(said, plot):
    """The interval of the best advance as far as the drawing reaches, and the best itself; None when open."""
    if said.best_crank_deg is None:
        return None
    low, high = (
        plot.at_x(min(max(end, plot.x["min"]), plot.x["max"]))
        for end in (said.low_crank_deg, said.high_crank_deg)
    )
    return {"x": low, "width": round(max(high - low, 1.0), 2), "at": plot.at_x(said.best_crank_deg)}
