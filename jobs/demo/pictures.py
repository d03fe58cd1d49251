"""Draws the demo's photographs: a unit on the bench as seen from above."""

import io
from math import cos, pi, sin

import numpy as np
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image, ImageDraw

WIDTH, HEIGHT = 960, 720
BRASS, STEEL, DARK = (176, 140, 74), (152, 156, 160), (40, 38, 36)


def picture(seed):
    """A JPEG as an upload: bench top, body, base plate, two weights, two springs, some dirt."""
    rng = np.random.default_rng(seed)
    image = _bench_top(rng)
    draw = ImageDraw.Draw(image)
    x, y = WIDTH / 2 + rng.uniform(-60, 60), HEIGHT / 2 + rng.uniform(-40, 40)
    turn = rng.uniform(0, pi)
    _disc(draw, x, y, 270, (118, 120, 122), DARK)
    _disc(draw, x, y, 228, (92, 92, 90), DARK)
    for side in (0, pi):
        _weight(draw, x, y, turn + side)
        _spring(draw, x, y, turn + side + pi / 2, coils=int(rng.integers(8, 15)))
    _disc(draw, x, y, 58, STEEL, DARK)
    _disc(draw, x, y, 20, BRASS, DARK)
    _dirt(draw, rng)
    body = io.BytesIO()
    image.save(body, "JPEG", quality=80)
    return SimpleUploadedFile("bench.jpg", body.getvalue(), content_type="image/jpeg")


def _bench_top(rng):
    grain = rng.normal(0, 7, (HEIGHT, 1)) + rng.normal(0, 3, (HEIGHT, WIDTH))
    wood = np.array([146, 118, 88]) + grain[..., None]
    return Image.fromarray(np.clip(wood, 0, 255).astype(np.uint8), "RGB")


def _disc(draw, x, y, radius, fill, edge):
    draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=fill, outline=edge, width=4)


def _weight(draw, x, y, angle):
    outline = [(x + r * cos(angle + a), y + r * sin(angle + a)) for r, a in _WEIGHT]
    draw.polygon(outline, fill=STEEL, outline=DARK)
    _disc(draw, x + 150 * cos(angle - 0.5), y + 150 * sin(angle - 0.5), 15, BRASS, DARK)


_WEIGHT = [(80, -0.75), (200, -0.7), (210, -0.2), (200, 0.45), (140, 0.8), (90, 0.5), (100, -0.1)]


def _spring(draw, x, y, angle, coils):
    across = angle + pi / 2
    points = []
    for step in range(2 * coils + 1):
        along = -70 + 140 * step / (2 * coils)
        out = 165 + (11 if step % 2 else -11)
        points.append(
            (x + out * cos(angle) + along * cos(across), y + out * sin(angle) + along * sin(across))
        )
    draw.line(points, fill=(206, 208, 210), width=5, joint="curve")
    for end in (points[0], points[-1]):
        _disc(draw, *end, 9, DARK, DARK)


def _dirt(draw, rng):
    for _ in range(160):
        x, y, size = rng.uniform(0, WIDTH), rng.uniform(0, HEIGHT), rng.uniform(1, 5)
        shade = int(rng.uniform(40, 110))
        draw.ellipse((x, y, x + size, y + size), fill=(shade, shade - 12, shade - 24))
