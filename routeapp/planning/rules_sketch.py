"""A round as a sketch: where its stops lie to each other, north up. No map is fetched and none is shown."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

WIDTH, HEIGHT, EDGE = 320, 240, 22


@dataclass(frozen=True)
class Dot:
    x: float
    y: float
    label: str
    words: str


@dataclass(frozen=True)
class Sketch:
    dots: list[Dot]
    line: str  # the points of a polyline, from the start over all stops to the end
    scale_km: float  # how long the bar below is on the ground
    scale_width: float
    width: int = WIDTH
    height: int = HEIGHT


def sketch(points: Sequence[tuple[float, float, str, str]], path: Sequence[tuple[float, float]]) -> Sketch | None:
    """Dots for (latitude, longitude, label, words) and a line along `path`; None where there is nothing to draw.

    Plate carrée squeezed by the cosine of the middle latitude: true enough over the reach of a round.
    """
    places = [(lat, lon) for lat, lon, *_ in points] + list(path)
    if not places:
        return None
    squeeze = max(0.01, math.cos(math.radians(sum(lat for lat, _ in places) / len(places))))
    flat = [(lon * squeeze, lat) for lat, lon in places]
    left, right = min(x for x, _ in flat), max(x for x, _ in flat)
    low, high = min(y for _, y in flat), max(y for _, y in flat)
    scale = min((WIDTH - 2 * EDGE) / max(right - left, 1e-4), (HEIGHT - 2 * EDGE) / max(high - low, 1e-4))

    def put(lat: float, lon: float) -> tuple[float, float]:
        x = WIDTH / 2 + (lon * squeeze - (left + right) / 2) * scale
        return round(x, 1), round(HEIGHT / 2 - (lat - (low + high) / 2) * scale, 1)

    dots = [Dot(*put(lat, lon), label, words) for lat, lon, label, words in points]
    line = " ".join(f"{x},{y}" for x, y in (put(lat, lon) for lat, lon in path))
    km_per_pixel = 111.2 / scale  # a degree of latitude is about 111.2 km
    bar = _round_length(km_per_pixel * WIDTH / 4)
    return Sketch(dots, line, bar, round(bar / km_per_pixel, 1))


def _round_length(km: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not longer than `km`."""
    power = 10 ** math.floor(math.log10(max(km, 1e-6)))
    return max(step * power for step in (1, 2, 5) if step * power <= km * (1 + 1e-9))
