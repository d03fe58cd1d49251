"""Where the words of a figure go: at line ends, beside the worst reading, never on each other."""

from itertools import pairwise

# Sizes as shares of the plot's height and width. They are those of the smallest drawing, a phone's; on a
# larger one the words only lie farther apart.
LINE = 0.058  # height of a line of text
LETTER = 0.0175
AWAY = 0.022  # from a line's end to its word
BESIDE = 0.06  # lines that end this near the farthest share one column of words
SAMPLES = 12  # places looked at on each straight piece
FARTHER = 4  # each line of text farther away is as bad as so many of these places covered

STRENGTH = (
    "band",
    "model",
    "as_received",
    "latest",
    "draft",
    "final",
)  # the stronger is kept higher on equal ends


def place_words(ends, misses, lines, x, y):
    """Give each line's end and each miss its place: the labels and the misses, in the figure's own units.

    ``ends`` and ``misses`` carry role, text and ``end`` [x, y]; ``lines`` are lists of (x, y) that words
    should not lie on. Each answer has x, y (the middle of its height), anchor, and leader: whether a hairline
    joins it to its end.
    """
    page = _Page(x, y)
    ink = [page.share(point) for line in lines for point in _sampled(line)]
    column, early = _parted([{**end, "at": page.share(end["end"])} for end in ends])
    placed = _in_column(column)
    for word in early:
        placed.append(_beside(word, ink, placed, _places_round))
    words = list(placed)
    for miss in misses:
        spots = _over if miss["side"] == "over" else _under
        placed.append(_beside({**miss, "at": page.share(miss["end"])}, ink, placed, spots))
    return [page.told(word) for word in words], [page.told(word) for word in placed[len(words) :]]


def room_for(words):
    """The share of the plot's width that words at line ends need at its right."""
    return (max(map(len, words)) * LETTER + 2 * AWAY) if words else 0.0


def spread(wanted, gap, low, high):
    """Places as near as can be to the rising places wanted, at least a gap apart, between low and high."""
    # Each cluster: the sum of its places wanted, less how far each stands from the first; and its count.
    clusters = []
    for value in wanted:
        clusters.append([value, 1])
        while len(clusters) > 1 and _end(clusters[-2], gap) > _start(clusters[-1]):
            total, count = clusters.pop()
            before = clusters[-1]
            before[0] += total - count * before[1] * gap
            before[1] += count
    places = [_start(cluster) + i * gap for cluster in clusters for i in range(cluster[1])]
    return _within(places, gap, low, high)


def overlap(a, b):
    """Whether two boxes (left, foot, right, head) share any area."""
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def box(word):
    """The space a placed word takes, in shares."""
    width = len(word["text"]) * LETTER
    left = word["x"] - width if word["anchor"] == "end" else word["x"]
    return (left, word["y"] - LINE / 2, left + width, word["y"] + LINE / 2)


class _Page:
    """Turns the figure's units into shares of the plot and back."""

    def __init__(self, x, y):
        self.low = (x["min"], y["min"])
        self.span = (x["max"] - x["min"], y["max"] - y["min"])

    def share(self, point):
        return tuple(
            (value - low) / span for value, low, span in zip(point, self.low, self.span, strict=True)
        )

    def told(self, word):
        told = {name: value for name, value in word.items() if name != "at"}
        told["x"], told["y"] = (
            round(low + word[name] * span, 6)
            for name, low, span in zip("xy", self.low, self.span, strict=True)
        )
        told["box"] = [round(value, 4) for value in box(word)]
        return told


def _sampled(line):
    for (x0, y0), (x1, y1) in pairwise(line):
        for i in range(SAMPLES):
            yield x0 + (x1 - x0) * i / SAMPLES, y0 + (y1 - y0) * i / SAMPLES
    yield line[-1]


def _parted(ends):
    """The ends that share the column at the right, rising, and those of lines that end before it."""
    farthest = max((end["at"][0] for end in ends), default=0)
    column = [end for end in ends if end["at"][0] >= farthest - BESIDE]
    column.sort(key=lambda end: (end["at"][1], STRENGTH.index(end["role"])))
    return column, [end for end in ends if end["at"][0] < farthest - BESIDE]


def _in_column(ends):
    heights = spread([end["at"][1] for end in ends], LINE, LINE / 2, 1 - LINE / 2)
    left = max((end["at"][0] for end in ends), default=0) + AWAY
    return [
        {
            **end,
            "x": left,
            "y": height,
            "anchor": "start",
            "leader": abs(height - end["at"][1]) > LINE / 3 or left - end["at"][0] > 2 * AWAY,
        }
        for end, height in zip(ends, heights, strict=True)
    ]


def _beside(word, ink, placed, spots):
    """The first of the spots that touches no word and the least ink."""
    taken = [box(other) for other in placed]
    best = None
    for dx, dy, anchor in spots(word):
        tried = {**word, "x": word["at"][0] + dx, "y": word["at"][1] + dy, "anchor": anchor, "leader": False}
        space = box(tried)
        outside = space[0] < 0 or space[2] > 1 or space[1] < 0 or space[3] > 1
        cost = 1000 * sum(overlap(space, other) for other in taken) + 500 * outside
        cost += sum(space[0] <= x <= space[2] and space[1] <= y <= space[3] for x, y in ink)
        cost += FARTHER * abs(dy) / LINE
        if best is None or cost < best[0]:
            best = (cost, tried)
    return best[1]


def _places_round(word):
    yield AWAY, 0, "start"
    yield from _over(word)
    yield from _under(word)


def _over(word):
    for height in (0.9, 1.7, 2.5, 3.3):
        yield -AWAY / 2, height * LINE, "end"
        yield AWAY / 2, height * LINE, "start"


def _under(word):
    for height in (0.9, 1.7, 2.5, 3.3):
        yield AWAY / 2, -height * LINE, "start"
        yield -AWAY / 2, -height * LINE, "end"


def _start(cluster):
    """Where the first of a cluster lies, when its members miss their places by as little as can be."""
    return cluster[0] / cluster[1]


def _end(cluster, gap):
    return _start(cluster) + cluster[1] * gap


def _within(places, gap, low, high):
    """Push what went past an end back in, the others before it."""
    for i in reversed(range(len(places))):
        places[i] = min(places[i], high if i == len(places) - 1 else places[i + 1] - gap)
    for i in range(len(places)):
        places[i] = max(places[i], low if i == 0 else places[i - 1] + gap)
    return places
