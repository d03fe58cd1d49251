"""The figure of a build drawn as SVG: the same drawing on screen, without JavaScript and on paper."""

from dataclasses import dataclass

from django.template.loader import render_to_string
from django.utils.safestring import mark_safe

PT_PER_MM = 72 / 25.4
PAPER_TEXT_PT = 8.0
HEIGHT_ON_PAPER = 0.6  # of the width

# How each line looks on paper; on screen its class recolours it. Width, dash and mark hold in greyscale too.
PENS = {
    "as_received": {"stroke": "#6b6b6b", "width": 1.0, "dash": "5 3", "mark": 2.4},
    "latest": {"stroke": "#0072B2", "width": 1.9, "dash": None, "mark": 3.4},
    "draft": {"stroke": "#0072B2", "width": 1.9, "dash": "2 3", "mark": 3.8},
    "final": {"stroke": "#000000", "width": 2.8, "dash": None, "mark": 3.8},
    "model": {"stroke": "#009E73", "width": 1.4, "dash": "9 3 2 3", "mark": 0},
    "band": {"stroke": "#4a4a4a", "width": 0.9, "dash": None, "mark": 0},
}
OUT_OF_BAND = "#D55E00"
OUT_OF_BAND_WORD = "#a84a00"  # the same, dark enough to read
STRONG = ("latest", "draft", "final", "outside")
# Marks round a point, in units of its size: rising, falling, either out of the band, or against the others.
SHAPES = {
    "rising": None,  # a circle
    "falling": ((-1.15, -0.95), (1.15, -0.95), (0, 1.15)),
    "outside": ((0, -1.5), (1.5, 0), (0, 1.5), (-1.5, 0)),
    "odd": ((-1.25, -1.25), (1.25, -1.25), (1.25, 1.25), (-1.25, 1.25)),
}


@dataclass(frozen=True)
class Plot:
    """Where the plot lies in the drawing, and how a value becomes a place."""

    width: float
    height: float
    text: float
    x: dict
    y: dict

    @property
    def left(self):
        return self.text * 2.6

    @property
    def right(self):
        return self.width - self.text * 2.6

    @property
    def top(self):
        return self.text * 3.1

    @property
    def bottom(self):
        return self.height - self.text * 3.1

    def at_x(self, value):
        share = (value - self.x["min"]) / (self.x["max"] - self.x["min"])
        return round(self.left + share * (self.right - self.left), 2)

    def at_y(self, value):
        share = (value - self.y["min"]) / (self.y["max"] - self.y["min"])
        return round(self.bottom - share * (self.bottom - self.top), 2)

    def point(self, x, y):
        return f"{self.at_x(x):g},{self.at_y(y):g}"

    def path(self, xs, ys):
        return "M" + " L".join(self.point(x, y) for x, y in zip(xs, ys, strict=True))


def svg(figure, *, width_mm=None):
    """The figure as an SVG element: for paper with its width in mm, for a screen without."""
    if width_mm:
        size = {"width": width_mm, "height": round(width_mm * HEIGHT_ON_PAPER, 2)}
        width, height = (round(mm * PT_PER_MM, 2) for mm in size.values())
        plot = Plot(width, height, PAPER_TEXT_PT, figure["x"], figure["y"])
    else:
        size = None
        plot = screen_plot(figure)
    return mark_safe(  # a template's output, escaped there
        render_to_string(
            "curves/figures/_figure.svg", {"figure": figure, "size_mm": size, **drawing(figure, plot)}
        )
    )


def screen_plot(figure):
    """Where the plot lies in the drawing on screen."""
    return Plot(480, 400, 13.0, figure["x"], figure["y"])


def drawing(figure, plot):
    """Every place and path of the drawing, ready to be written down."""
    return {
        "plot": plot,
        "places": places_of(plot),
        "fine_grid": grid_of(plot, figure["x"]["fine"], figure["y"]["fine"]),
        "grid": grid_of(plot, figure["x"]["ticks"], figure["y"]["ticks"]),
        "x_ticks": [{"at": plot.at_x(tick), "text": f"{tick:g}"} for tick in figure["x"]["ticks"]],
        "y_ticks": [{"at": plot.at_y(tick), "text": _minus(tick)} for tick in figure["y"]["ticks"]],
        "x2_ticks": [{"at": plot.at_x(t["at"]), "text": f"{t['value']:g}"} for t in figure["x2"]["ticks"]],
        "y2_ticks": [{"at": plot.at_y(t["at"]), "text": _minus(t["value"])} for t in figure["y2"]["ticks"]],
        "band": _band(plot, figure["band"]),
        "areas": [_area(plot, area) for area in figure["areas"]],
        "lines": [_line(plot, trace) for trace in figure["traces"]],
        "model": figure["model"] and plot.path(figure["model"]["rpm"], figure["model"]["deg"]),
        "spread": _spread(plot, figure["model"]),
        "pens": PENS,
        "words": [_word(plot, label) for label in figure["labels"]]
        + [_word(plot, miss, "outside") for miss in figure["misses"]],
    }


def places_of(plot):
    """Where the frame and the words round it stand."""
    text = plot.text
    return {
        "width": round(plot.right - plot.left, 2),
        "height": round(plot.bottom - plot.top, 2),
        "middle": round((plot.left + plot.right) / 2, 2),
        "half": round(text * 0.35, 2),  # from the middle of a line of text down to its foot
        "left_ticks": round(plot.left - text * 0.4, 2),
        "right_ticks": round(plot.right + text * 0.4, 2),
        "top_ticks": round(plot.top - text * 0.45, 2),
        "bottom_ticks": round(plot.bottom + text * 1.2, 2),
        "foot": round(plot.bottom + text * 2.6, 2),
    }


def _minus(value):
    return f"{value:g}".replace("-", "−")


def grid_of(plot, xs, ys):
    """One path for all lines of a grid."""
    upright = [f"M{plot.at_x(x):g},{plot.top:g}V{plot.bottom:g}" for x in xs]
    level = [f"M{plot.left:g},{plot.at_y(y):g}H{plot.right:g}" for y in ys]
    return "".join(upright + level)


def _band(plot, band):
    """The band's area, edges and hatching; each stroke runs from edge to edge, so none sticks out."""
    if not band:
        return None
    rpm, low, high = band["rpm"], band["low"], band["high"]
    area = plot.path(rpm + rpm[::-1], high + low[::-1]) + "Z"
    edges = plot.path(rpm, low) + plot.path(rpm, high)
    if len(rpm) == 1:  # a single point has no width: draw it as a bar
        return {"area": "", "edges": plot.path([*rpm, *rpm], low + high), "hatch": ""}
    return {"area": area, "edges": edges, "hatch": _hatch(plot, band)}


def _spread(plot, model):
    """Where the model's line may lie: dotted edges and upright strokes, unlike the band's hatching."""
    if not model or "low" not in model:
        return None
    rpm, low, high = model["rpm"], model["low"], model["high"]
    uprights = [(x, foot, head) for x, foot, head in zip(rpm, low, high, strict=True) if head > foot]
    strokes = [f"M{plot.point(x, foot)}V{plot.at_y(head):g}" for x, foot, head in uprights]
    return {"edges": plot.path(rpm, low) + plot.path(rpm, high), "strokes": "".join(strokes)}


def _area(plot, area):
    """A stretch with too much or too little: upright strokes from the band's edge to the line."""
    rpm, edge, line = area["rpm"], area["edge"], area["line"]
    closed = plot.path(rpm + rpm[::-1], line + edge[::-1]) + "Z"
    step = plot.text * 0.4 * (plot.x["max"] - plot.x["min"]) / (plot.right - plot.left)
    feet = [rpm[0] + i * step for i in range(1, int((rpm[-1] - rpm[0]) / step) + 1)]
    strokes = [
        plot.path([foot, foot], [_edge(area, "edge", foot), _edge(area, "line", foot)]) for foot in feet
    ]
    return {"side": area["side"], "area": closed, "strokes": "".join(strokes)}


def _hatch(plot, band):
    step = plot.text * 0.55 * (plot.x["max"] - plot.x["min"]) / (plot.right - plot.left)
    first, last = band["rpm"][0], band["rpm"][-1]
    strokes = []
    for i in range(int((last - first) / step) + 1):
        foot = first + i * step
        head = min(foot + step, last)
        strokes.append(plot.path([foot, head], [_edge(band, "low", foot), _edge(band, "high", head)]))
    return "".join(strokes)


def _edge(band, name, rpm):
    """Where an edge of the band lies at a speed."""
    speeds, values = band["rpm"], band[name]
    for i in range(1, len(speeds)):
        if rpm <= speeds[i]:
            share = (rpm - speeds[i - 1]) / (speeds[i] - speeds[i - 1])
            return values[i - 1] + share * (values[i] - values[i - 1])
    return values[-1]


def _line(plot, trace):
    """A run: straight pieces from reading to reading, rising and falling apart, and a mark on each."""
    pen = PENS[trace["role"]]
    scale = plot.text / 13.0
    sweeps = []
    for falling in (False, True):
        points = [point for point in trace["points"] if point["falling"] is falling]
        if points:
            path = plot.path([p["crank_rpm"] for p in points], [p["crank_deg"] for p in points])
            width = pen["width"] * max(scale, 0.75) * (0.7 if falling else 1)
            sweeps.append({"path": path, "falling": falling, "width": round(width, 2)})
    return {
        "role": trace["role"],
        "pen": pen,
        "sweeps": sweeps,
        "marks": [_mark(plot, trace, point, pen["mark"] * scale) for point in trace["points"]],
    }


def _mark(plot, trace, point, size):
    outside = bool(point["outside_deg"]) and trace["role"] != "as_received"
    odd = point["stray"] and trace["role"] == "draft"
    shape = SHAPES["odd" if odd else "outside" if outside else "falling" if point["falling"] else "rising"]
    x, y = plot.at_x(point["crank_rpm"]), plot.at_y(point["crank_deg"])
    corners = shape and " ".join(f"{x + size * dx:.2f},{y + size * dy:.2f}" for dx, dy in shape)
    stroke = OUT_OF_BAND if outside or odd else PENS[trace["role"]]["stroke"]
    hollow = point["falling"]
    return {
        "x": x,
        "y": y,
        "size": round(size, 2),
        "corners": corners,
        "outside": outside or odd,
        "hollow": hollow,
        "stroke": stroke,
        "fill": "#ffffff" if hollow else stroke,
        "title": f"{point['crank_deg']:g}° at {point['crank_rpm']:g}, {'falling' if hollow else 'rising'}",
    }


def _word(plot, word, role=None):
    """A word in its place, with a hairline to its line's end where it had to move away."""
    role = role or word["role"]
    x, y = plot.at_x(word["x"]), plot.at_y(word["y"])
    end_x, end_y = (plot.at_x(word["end"][0]), plot.at_y(word["end"][1]))
    return {
        "role": role,
        "text": word["text"],
        "x": x,
        "y": round(y + plot.text * 0.35, 2),
        "anchor": word["anchor"],
        "leader": f"M{end_x + plot.text * 0.35:g},{end_y:g}L{x - plot.text * 0.15:g},{y:g}"
        if word["leader"]
        else "",
        "fill": OUT_OF_BAND_WORD if role == "outside" else PENS[role]["stroke"],
        "weight": "600" if role in STRONG else "400",
    }
