"""The drawing that shows where to put the caliper: an advance head from above, at rest and at the stop."""

from math import cos, hypot, radians, sin

from django.template.loader import render_to_string
from django.utils.safestring import mark_safe

CENTRE = (125.0, 115.0)
FIXED_RADIUS, MOVING_RADIUS = 88.0, 46.0
FIXED_DEG = {"A": 205.0, "B": 25.0}
MOVING_DEG = {"A": 232.0, "B": 52.0}
TRAVEL_DEG = 24.0  # drawn larger than life, so that the gap is seen to open
POST = 5.0
COILS = 7
JAW = 15.0


def svg():
    """The drawing as SVG in the colour of the text."""
    views = [_view(4, 0.0, "At rest"), _view(300, TRAVEL_DEG, "At the stop, weights out")]
    return mark_safe(  # our own template and numbers
        render_to_string("curves/figures/_caliper.svg", {"caliper": views})
    )


def _view(y, turned_deg, word):
    pairs = [_pair(letter, turned_deg) for letter in FIXED_DEG]
    cam = "M{:.1f} {:.1f}L{:.1f} {:.1f}".format(*pairs[0]["moving"], *pairs[1]["moving"])
    return {
        "y": y,
        "word": word,
        "turned": turned_deg > 0,
        "pairs": pairs,
        "cam": cam,
        "arc": _arc(turned_deg),
    }


def _arc(turned_deg):
    """The angle from where the cam's arms were at rest, beyond the posts."""
    if not turned_deg:
        return ""
    lines = []
    for start in MOVING_DEG.values():
        rest, now = _at(start, 97.0), _at(start + turned_deg, 97.0)
        inner = _at(start, MOVING_RADIUS)
        lines.append("M{:.1f} {:.1f}L{:.1f} {:.1f}A97 97 0 0 1 {:.1f} {:.1f}".format(*inner, *rest, *now))
    return "".join(lines)


def _pair(letter, turned_deg):
    """One spring with its posts, and the caliper over the outside of both."""
    fixed = _at(FIXED_DEG[letter], FIXED_RADIUS)
    moving = _at(MOVING_DEG[letter] + turned_deg, MOVING_RADIUS)
    length = hypot(moving[0] - fixed[0], moving[1] - fixed[1])
    along = ((moving[0] - fixed[0]) / length, (moving[1] - fixed[1]) / length)
    across = _outward(along, fixed, moving)
    ends = [
        (fixed[0] - along[0] * POST, fixed[1] - along[1] * POST),
        (moving[0] + along[0] * POST, moving[1] + along[1] * POST),
    ]
    tips = [_moved(end, across, JAW + 10) for end in ends]
    jaws = "".join(
        "M{:.1f} {:.1f}L{:.1f} {:.1f}".format(*_moved(end, across, -POST), *tip)
        for end, tip in zip(ends, tips, strict=True)
    )
    bar = [_moved(end, across, JAW) for end in ends]
    middle = ((bar[0][0] + bar[1][0]) / 2, (bar[0][1] + bar[1][1]) / 2)
    word = _moved(middle, across, 14)
    return {
        "letter": letter,
        "fixed": _short(fixed),
        "moving": _short(moving),
        "spring": _coil(fixed, moving, along),
        "jaws": jaws,
        "reach": "M{:.1f} {:.1f}L{:.1f} {:.1f}".format(*bar[0], *bar[1]),
        "word": _short((word[0], word[1] + 4.5)),
    }


def _coil(start, end, along):
    """A zigzag between two posts, with straight loops at its ends."""
    across = (-along[1], along[0])
    points = [start]
    for i in range(COILS * 2 + 1):
        share = 0.2 + 0.6 * i / (COILS * 2)
        side = 5.0 if i % 2 else -5.0
        x = start[0] + (end[0] - start[0]) * share + across[0] * side
        y = start[1] + (end[1] - start[1]) * share + across[1] * side
        points.append((x, y))
    points.append(end)
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def _outward(along, fixed, moving):
    """The direction across a spring that leads away from the shaft."""
    across = (-along[1], along[0])
    middle = ((fixed[0] + moving[0]) / 2 - CENTRE[0], (fixed[1] + moving[1]) / 2 - CENTRE[1])
    outward = across[0] * middle[0] + across[1] * middle[1] > 0
    return across if outward else (-across[0], -across[1])


def _at(angle_deg, radius):
    """A place on the plate; angles turn clockwise on the page, as the cam does."""
    return (CENTRE[0] + radius * cos(radians(angle_deg)), CENTRE[1] + radius * sin(radians(angle_deg)))


def _moved(point, direction, by):
    return (point[0] + direction[0] * by, point[1] + direction[1] * by)


def _short(point):
    return tuple(round(value, 1) for value in point)
