"""Simple drawings that stand in for photos: a cabinet of each kind in its own colour."""

import io
from collections.abc import Callable

from PIL import Image, ImageDraw

PAINT = ("#b8433a", "#2f6f8f", "#4b7f52", "#c08a2e", "#6d5a9c", "#3b3f52", "#a85b7b", "#2f7f7a")
WALL, FLOOR, GLASS, METAL, DARK = "#e9e3d8", "#b9a98f", "#d5ecf2", "#8d9299", "#23262d"
BALLS = ("#e2574c", "#f0b849", "#58a55c", "#4a90c2", "#a06cc4")
SIZE = (480, 640)


def cabinet(kind: str, number: int) -> bytes:
    """A JPEG of a cabinet of this kind; `number` chooses its colour."""
    image = Image.new("RGB", SIZE, WALL)
    draw = ImageDraw.Draw(image)
    draw.rectangle((0, 540, *SIZE), fill=FLOOR)
    DRAWN[kind](draw, PAINT[number % len(PAINT)])
    out = io.BytesIO()
    image.save(out, "JPEG", quality=80)
    return out.getvalue()


def _balls(draw: ImageDraw.ImageDraw, box: tuple[int, int, int, int], radius: int) -> None:
    left, top, right, bottom = box
    for row, y in enumerate(range(bottom - radius, top, -2 * radius)):
        for column, x in enumerate(range(left + radius + row % 2 * radius // 2, right - radius, 2 * radius)):
            colour = BALLS[(3 * row + column * 2) % len(BALLS)]
            draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=colour, outline=DARK)


def _claw(draw: ImageDraw.ImageDraw, paint: str) -> None:
    draw.rounded_rectangle((110, 60, 370, 590), 12, fill=paint, outline=DARK, width=4)
    draw.rectangle((130, 120, 350, 360), fill=GLASS, outline=DARK, width=3)
    _balls(draw, (134, 270, 346, 356), 18)
    draw.line((240, 120, 240, 200), fill=METAL, width=5)
    for x in (215, 240, 265):
        draw.line((240, 200, x, 240), fill=METAL, width=5)
    draw.rectangle((130, 380, 350, 420), fill=METAL, outline=DARK)
    draw.line((190, 385, 190, 355), fill=DARK, width=8)
    draw.rectangle((150, 470, 230, 550), fill=DARK)


def _capsule(draw: ImageDraw.ImageDraw, paint: str) -> None:
    draw.rectangle((228, 400, 252, 590), fill=METAL, outline=DARK)
    draw.rounded_rectangle((160, 150, 320, 330), 20, fill=GLASS, outline=DARK, width=4)
    _balls(draw, (166, 200, 314, 326), 15)
    draw.rectangle((150, 120, 330, 152), fill=paint, outline=DARK, width=3)
    draw.rounded_rectangle((150, 330, 330, 440), 10, fill=paint, outline=DARK, width=3)
    draw.ellipse((215, 350, 265, 400), fill=METAL, outline=DARK, width=3)
    draw.rectangle((215, 408, 265, 432), fill=DARK)


def _sticker(draw: ImageDraw.ImageDraw, paint: str) -> None:
    draw.rounded_rectangle((150, 130, 330, 590), 8, fill=paint, outline=DARK, width=4)
    for number, x in enumerate((170, 222, 274)):
        draw.rectangle((x, 170, x + 38, 300), fill="#ffffff", outline=DARK)
        draw.ellipse((x + 6, 200, x + 32, 226), fill=BALLS[number])
        draw.rectangle((x, 340, x + 38, 420), fill=METAL, outline=DARK)
        draw.rectangle((x + 8, 360, x + 30, 368), fill=DARK)


def _pusher(draw: ImageDraw.ImageDraw, paint: str) -> None:
    draw.rounded_rectangle((60, 90, 420, 590), 14, fill=paint, outline=DARK, width=4)
    draw.polygon([(90, 150), (390, 150), (410, 380), (70, 380)], fill=GLASS, outline=DARK)
    draw.rectangle((100, 230, 380, 260), fill=METAL, outline=DARK)
    for x in range(95, 385, 22):
        draw.ellipse((x, 330 + x % 3 * 6, x + 26, 348 + x % 3 * 6), fill="#d8b24a", outline=DARK)
    draw.rectangle((110, 420, 370, 450), fill=METAL, outline=DARK)
    draw.rectangle((180, 490, 300, 550), fill=DARK)


DRAWN: dict[str, Callable[[ImageDraw.ImageDraw, str], None]] = {
    "claw": _claw,
    "capsule": _capsule,
    "sticker": _sticker,
    "pusher": _pusher,
}
