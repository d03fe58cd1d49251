"""The figure of a build as a neutral dict: what to draw, crank degrees over crank rpm, and its words."""

from math import isnan

import numpy as np

from curves import engine
from curves.figures.axes import axis, other_frame
from curves.figures.label_placement import place_words, room_for
from curves.models import Frame
from curves.rows import convert, frames
from curves.rows.queries import live_runs, newest_runs

ODD_WORD, MAX_ODD = "look again", 3  # beside what goes against the others
MODEL_WORD = "expected"  # at the line's end; whose it is stands in its label
ROLES = {"as_received": "as received", "latest": "trial", "final": "final", "draft": "being typed"}
EMPTY_SPAN = {"rpm": 3000.0, "deg": 20.0}  # of a figure that holds nothing yet
MIN_SPAN = {"rpm": 1000.0, "deg": 10.0}  # of one that does


def figure(
    build, *, draft=None, draft_frame=Frame.CRANK, in_place_of=None, model=None, target=None, with_trials=True
):
    """The curves of a build as a dict that JSON can carry; with the ``target`` being typed, if one is given.

    ``draft`` is an engine ``Readings`` being typed in ``draft_frame``, ``in_place_of`` the run that it
    changes; ``model`` a line ``(label, crank_rpm, crank_deg)``, or with where it may lie,
    ``(..., low_deg, high_deg)``. Every number is in the crank frame unless its name says shaft.
    Not ``with_trials``, a final run stands for them, and what is not drawn takes no room.
    """
    drive = convert.drive_of(build)
    target = convert.target_of(target or getattr(build, "target", None), drive)
    band = band_of(target, drive) if target else None
    runs = newest_runs(build)
    if not with_trials and "final" in runs:
        runs.pop("latest", None)
    traces = [
        trace_of(
            role, f"{ROLES[role]}, run {run.number}", ROLES[role], readings, target, drive, frame=run.frame
        )
        for role, run in runs.items()
        if run != in_place_of and (readings := convert.run_readings(run, drive)) is not None
    ]
    if draft is not None:
        word = ROLES["draft"]
        traces.append(trace_of("draft", word, word, draft, target, drive, frame=draft_frame))
    line = _model(*model) if model else None
    key, title = f"build-{build.pk}", "Centrifugal advance"
    return compose(key, title, traces, band, line, drive, misses=_misses(traces, drive))


def compose(key, title, traces, band, line, drive, *, misses=(), areas=()):
    """Put traces, band, line and shaded areas into one figure: axes in both frames, words in their places."""
    x, y = _axes(traces, band, line, headroom=1.14 if areas else 1.04)
    labels, misses = place_words(_ends(traces, band, line), misses, _lines(traces, band, line), x, y)
    return {
        "key": key,
        "title": title,
        "description": _description(traces, band, line),
        "empty": not (traces or band),
        "crank_per_shaft": drive.crank_per_shaft,
        "x": {"title": "crank rpm", **x},
        "y": {"title": "crank degrees", **y},
        "x2": {"title": "distributor rpm", "ticks": other_frame(x, drive.to_shaft_rpm, drive.to_crank_rpm)},
        "y2": {
            "title": "distributor degrees",
            "ticks": other_frame(y, drive.to_shaft_deg, drive.to_crank_deg),
        },
        "band": band,
        "areas": list(areas),
        "traces": traces,
        "model": line,
        "labels": labels,
        "misses": misses,
    }


def table_rows(figure):
    """The figure's readings as rows of a table, in both frames: the twin of the drawing."""
    return [
        {"label": trace["label"], "role": trace["role"], **point, **_side(point["outside_deg"])}
        for trace in figure["traces"]
        for point in trace["points"]
    ]


def _side(outside_deg):
    """How far out of the band, and on which side; empty words in it or where none is."""
    side = "over" if (outside_deg or 0) > 0 else "under" if outside_deg else ""
    return {"side": side, "distance_deg": abs(outside_deg or 0)}


def csv_table(build):
    """Every reading of a build's runs: headings with unit and frame, rows in the order typed."""
    headings = [
        "run",
        "kind",
        "primary spring",
        "secondary spring",
        "distributor rpm",
        "distributor deg",
        "crank rpm",
        "crank deg",
        "direction",
    ]
    drive = convert.drive_of(build)
    return headings, [
        [run.number, run.get_kind_display(), *_pair(run), *_both_frames(reading, run.frame, drive)]
        for run in live_runs(build)
        for reading in run.readings.all()
    ]


def _pair(run):
    return [str(spring) if spring else "" for spring in (run.primary, run.secondary)]


def _both_frames(reading, frame, drive):
    """A reading in both frames."""
    shaft = [
        convert.shaft_speed(reading.speed_rpm, frame, drive),
        convert.shaft_angle(reading.advance_deg, frame, drive),
    ]
    crank = [drive.to_crank_rpm(shaft[0]), drive.to_crank_deg(shaft[1])]
    return [*_plain(shaft), *_plain(crank), "falling" if reading.falling else "rising"]


def _plain(values):
    """Floats that JSON carries, without the dust of a conversion there and back."""
    return [round(float(value), 6) for value in values]


def _model(label, rpm, deg, low=None, high=None):
    """A line of the model, and between which edges it may lie."""
    line = {"label": label, "rpm": _plain(rpm), "deg": _plain(deg)}
    return line if low is None else {**line, "low": _plain(low), "high": _plain(high)}


def band_of(target, drive):
    """The edges of the band, point by point."""
    rpm = _plain(drive.to_crank_rpm(target.speed_rpm))
    low = _plain(drive.to_crank_deg(target.advance_deg - target.tolerance_deg))
    high = _plain(drive.to_crank_deg(target.advance_deg + target.tolerance_deg))
    return {"label": "band", "rpm": rpm, "low": low, "high": high}


def trace_of(role, label, word, readings, target, drive, *, frame=Frame.CRANK):
    """One run read in a frame: its readings in order of speed, each with its side of the band."""
    outside = _outside(target, readings)
    return {
        "role": role,
        "label": label,
        "word": word,
        "frame": frame,
        "points": [
            {
                "crank_rpm": rpm,
                "crank_deg": deg,
                "shaft_rpm": shaft_rpm,
                "shaft_deg": shaft_deg,
                "falling": bool(falling),
                "stray": bool(stray),
                "outside_deg": None if isnan(miss) else miss,
            }
            for rpm, deg, shaft_rpm, shaft_deg, falling, stray, miss in zip(
                _plain(drive.to_crank_rpm(readings.speed_rpm)),
                _plain(drive.to_crank_deg(readings.advance_deg)),
                _plain(readings.speed_rpm),
                _plain(readings.advance_deg),
                readings.falling,
                readings.stray,
                _plain(drive.to_crank_deg(outside)),
                strict=True,
            )
        ],
    }


def _outside(target, readings):
    """How far each reading lies above or (negative) below the band; NaN where there is none."""
    if target is None:
        return np.full(len(readings), np.nan)
    return engine.distance_outside(target, readings.speed_rpm, readings.advance_deg)


def _axes(traces, band, line, headroom):
    """Axes that hold all there is, with room at the right for the words at the line ends."""
    rpm = [point["crank_rpm"] for trace in traces for point in trace["points"]]
    deg = [point["crank_deg"] for trace in traces for point in trace["points"]]
    model_edges = ("low", "high") if line and "low" in line else ("deg", "deg")
    for holder, low, high in ((band, "low", "high"), (line, *model_edges)):
        if holder:
            rpm += holder["rpm"]
            deg += holder[low] + holder[high]
    least = MIN_SPAN if rpm else EMPTY_SPAN
    fastest = max([least["rpm"], *rpm])
    words = [end["text"] for end in _ends(traces, band, line)]
    x = axis(0.0, fastest / (1.0 - room_for(words)), most=7)
    y = axis(min([0.0, *deg]), max([least["deg"], *deg]) * headroom, most=8)
    return x, y


def _lines(traces, band, line):
    """All lines of the figure as lists of points: what words keep clear of."""
    lines = [
        [(p["crank_rpm"], p["crank_deg"]) for p in trace["points"] if p["falling"] is falling]
        for trace in traces
        for falling in (False, True)
    ]
    if band:
        lines += [list(zip(band["rpm"], band[edge], strict=True)) for edge in ("low", "high")]
    if line:
        lines.append(list(zip(line["rpm"], line["deg"], strict=True)))
    return [points for points in lines if points]


def _ends(traces, band, line):
    """The end of each line, and the word to write there."""
    ends = []
    for trace in traces:
        last = max(trace["points"], key=lambda point: point["crank_rpm"])
        ends.append(_end(trace["role"], trace["word"], last["crank_rpm"], last["crank_deg"]))
    if band:
        ends.append(_end("band", band["label"], band["rpm"][-1], (band["low"][-1] + band["high"][-1]) / 2))
    if line:
        ends.append(_end("model", MODEL_WORD, line["rpm"][-1], line["deg"][-1]))
    return ends


def _end(role, text, rpm, deg):
    return {"role": role, "text": text, "end": [rpm, deg]}


def _misses(traces, drive):
    """For each run that is judged, the reading farthest outside the band, in words of the run's frame; and
    what goes against the others while it is typed."""
    misses = []
    for trace in traces:
        if trace["role"] == "draft":
            misses += [_odd(point) for point in trace["points"] if point["stray"]][:MAX_ODD]
        outside = [point for point in trace["points"] if point["outside_deg"]]
        if outside and trace["role"] != "as_received":
            worst = max(outside, key=lambda point: abs(point["outside_deg"]))
            side = _side(worst["outside_deg"])["side"]
            frame = trace["frame"]
            far = frames.number_in(abs(worst["outside_deg"]), Frame.CRANK, frame, drive)
            text = f"read {far:.1f} {Frame(frame).label} deg {side}"
            misses.append(miss_of(trace["role"], text, worst["crank_rpm"], worst["crank_deg"], side))
    return misses


def _odd(point):
    side = _side(point["outside_deg"])["side"] or "over"
    return miss_of("draft", ODD_WORD, point["crank_rpm"], point["crank_deg"], side)


def miss_of(role, text, rpm, deg, side):
    """Words that stand over or under the place they tell of."""
    return {**_end(role, text, rpm, deg), "side": side}


def area_of(side, rpm, edge, line):
    """A stretch of speeds ("above" or "below") between the band's edge and the line that lies beyond it."""
    return {"side": side, "rpm": _plain(rpm), "edge": _plain(edge), "line": _plain(line)}


def _description(traces, band, line):
    """One sentence for those who can't see the drawing."""
    if not traces:
        return "The band agreed, and no run yet." if band else "No run yet."
    parts = [line["label"]] if line else []
    for trace in traces:
        last = trace["points"][-1]
        parts.append(f"{trace['label']}, up to {last['crank_deg']:g} degrees at {last['crank_rpm']:g} rpm")
    return f"Crank degrees over crank rpm: {'; '.join(parts)}."
