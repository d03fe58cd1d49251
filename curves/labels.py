"""Where the words of a figure go: at the ends of their lines, and never on each other."""

# The height of a line of text and the distance from a line's end, as shares of the axes. They are those of the
# smallest drawing, a phone's; on a larger one the words only lie farther apart.
LINE = 0.062
AWAY = 0.022


def line_end_labels(traces, band, model, x, y):
    """A label for each line and the band, at its end, moved up or down where two would touch."""
    ends = [_trace_end(trace) for trace in traces]
    if band:
        middle = (band["low"][-1] + band["high"][-1]) / 2
        ends.append({"role": "band", "text": band["label"], "end": [band["rpm"][-1], middle]})
    if model:
        ends.append({"role": "model", "text": model["label"], "end": [model["rpm"][-1], model["deg"][-1]]})
    ends.sort(key=lambda label: (label["end"][1], label["role"]))
    span = y["max"] - y["min"]
    places = spread([label["end"][1] for label in ends], LINE * span, y["min"], y["max"])
    # In one column, right of the line that goes farthest among those it would touch.
    for label, place in zip(ends, places, strict=True):
        near = [other["end"][0] for other in ends if abs(other["end"][1] - label["end"][1]) < 4 * LINE * span]
        label["x"] = max(near) + AWAY * (x["max"] - x["min"])
        label["y"] = round(place, 6)
    return ends


def spread(wanted, gap, low, high):
    """Places as near as can be to the rising places wanted, at least a gap apart, between low and high."""
    clusters = []  # each: sum of (wanted - own offset), count
    for value in wanted:
        clusters.append([value, 1])
        while len(clusters) > 1 and _start(clusters[-2], gap) + clusters[-2][1] * gap > _start(clusters[-1], gap):
            total, count = clusters.pop()
            before = clusters[-1]
            before[0] += total - count * before[1] * gap
            before[1] += count
    places = []
    for cluster in clusters:
        start = _start(cluster, gap)
        places += [start + i * gap for i in range(cluster[1])]
    return _within(places, gap, low, high)


def _start(cluster, gap):
    """Where the first of a cluster lies, when its members miss their places by as little as can be."""
    return cluster[0] / cluster[1]


def _within(places, gap, low, high):
    """Push what went past an end back in, the others before it."""
    for i in reversed(range(len(places))):
        ceiling = high - gap / 2 if i == len(places) - 1 else places[i + 1] - gap
        places[i] = min(places[i], ceiling)
    for i, place in enumerate(places):
        floor = low + gap / 2 if i == 0 else places[i - 1] + gap
        places[i] = max(place, floor)
    return places


def _trace_end(trace):
    last = max(trace["points"], key=lambda point: point["crank_rpm"])
    word = trace["label"].split(",")[0] if trace["role"] != "latest" else trace["label"].split(", ")[-1]
    return {"role": trace["role"], "text": word, "end": [last["crank_rpm"], last["crank_deg"]]}
