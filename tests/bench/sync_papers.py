"""The visits that phones send in `sync-faults`: two cabinets, an hour or so apart, some corrected, some with photos."""

import io
import json
import random
from dataclasses import dataclass, field
from typing import Any

from PIL import Image

from routeapp.kit import clock
from tests.visits.books import document, entry, some_id

EDGE = "edge-of-a-part"


@dataclass
class Paper:
    """One visit document with its photos by the ids it names, and the number of the phone that sends it."""

    raw: dict[str, Any]
    phone: int
    photos: dict[str, bytes] = field(default_factory=dict)

    def body(self) -> bytes:
        """Multipart, as a phone sends it: the document, what the phone's clock says, each photo by its id."""
        told = {"document": json.dumps(self.raw), "device_time": clock.now().isoformat()}
        parts = [(f'name="{name}"', text.encode()) for name, text in told.items()]
        parts += [(f'name="{photo}"; filename="{photo}.jpg"', content) for photo, content in self.photos.items()]
        said = [
            f"--{EDGE}\r\nContent-Disposition: form-data; {name}\r\n\r\n".encode() + content for name, content in parts
        ]
        return b"\r\n".join([*said, f"--{EDGE}--\r\n".encode()])


def papers(world: Any, many: int, phones: int, dice: random.Random) -> list[Paper]:
    """`many` documents in order of time. A correction or withdrawal may be another phone's than what it corrects."""
    found: list[Paper] = []
    while len(found) < many:
        number = len(found)
        raw = _stop(world, number, dice)
        photos = {photo: _picture(number) for one in raw["entries"] for photo in one["photos"]}
        found.append(Paper(raw, dice.randrange(phones), photos))
        if dice.random() < 0.1 and len(found) < many:
            found.append(Paper(_correction(world, raw, number, dice), dice.randrange(phones)))
    return found


def _stop(world: Any, number: int, dice: random.Random) -> dict[str, Any]:
    cabinets, name = dice.choice([[0], [1], [0, 1]]), f"{number}"
    paid = {"cents": dice.randrange(100, 900), "received_by": "Mika"} if dice.random() < 0.15 else None
    raw = document(world, name, days=number / 20, host_payment=paid, note=dice.choice(["", "Busy today."]))
    raw["entries"] = [_part(world, name, cabinet, number, dice) for cabinet in cabinets]
    if dice.random() < 0.06:
        raw["entries"][0]["photos"] = [some_id(f"photo {name}")]
    return raw


def _part(world: Any, name: str, cabinet: int, number: int, dice: random.Random) -> dict[str, Any]:
    """Read, emptied or sealed, its prizes counted and more loaded; now and then broken or set anew."""
    cash = {"taken": "counted", "how": "amount", "cents": dice.randrange(100, 4000)}
    if dice.random() < 0.2:
        bag = {"id": some_id(f"seal {name}"), "number": f"S-{name}"}
        cash = {"taken": "sealed", "bag": bag, "estimate_cents": dice.randrange(100, 4000)}
    more: dict[str, Any] = {"photos": [], "cash": cash}
    if dice.random() < 0.1:
        more["faults"] = [{"id": some_id(f"fault {name} {cabinet}"), "text": "The claw hangs."}]
    if dice.random() < 0.1:
        more["settings"] = {"grip_strength": dice.randrange(20, 90)}
    found, loaded = {0: dice.randrange(20), 1: dice.randrange(20)}, {dice.randrange(2): dice.randrange(1, 9)}
    reading = 100 + 20 * number + dice.randrange(20)
    return entry(world, name, cabinet, reading=reading, found=found, loaded=loaded, **more)


def _correction(world: Any, wrong: dict[str, Any], number: int, dice: random.Random) -> dict[str, Any]:
    """The same stop told anew, or withdrawn."""
    amends = {"replaces": wrong["id"], "reason": "typed it wrong", "loose_bag": wrong["loose_bag"]}
    if dice.random() < 0.3:
        return document(world, f"{number} void", days=number / 20, void=True, **amends)
    part = _part(world, f"{number} right", dice.randrange(2), number, dice)
    return document(world, f"{number} right", days=number / 20, entries=[part], **amends)


def _picture(number: int) -> bytes:
    """A photo of some hundred kilobytes, another one for each number."""
    noise = Image.frombytes("RGB", (160, 120), random.Random(number).randbytes(160 * 120 * 3))
    file = io.BytesIO()
    noise.resize((1280, 960)).save(file, "JPEG", quality=80)
    return file.getvalue()
