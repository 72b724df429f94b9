"""What the invented business owns and buys: models of cabinet, prizes, mixes, and its three people."""

from typing import NamedTuple
from uuid import UUID

BUSINESS = "Varrow Sound Prize Cabinets"
NAMES = UUID("5b1c04a6-7f5e-4c7e-8f0e-7a3f2f0f3d11")  # the ids of papers outside the story are made from it
CURRENCY, ZONE = "USD", "America/New_York"
CONTACT = "Call 555-0140 or tell any counter that has our sticker"


class Person(NamedTuple):
    username: str
    name: str
    role: str
    password: str


OWNER = Person("nadia", "Nadia Ferrowe", "owner", "nine lamps on the quay")
HAND = Person("tobin", "Tobin Ashgale", "route hand", "nine lamps on the pier")
BOOKS = Person("elke", "Elke Marrable", "bookkeeper", "nine lamps on the dune")
PEOPLE = (OWNER, HAND, BOOKS)

CLAW_CHECKS = "Glass and locks\nClaw closes and opens\nCoin slot clear\nLights"
VENDOR_CHECKS = "Locks\nCoin slot clear\nHandle turns freely"
PUSHER_CHECKS = "Glass and locks\nPusher runs smoothly\nCoin slots clear\nPrize chute clear"


class Meter(NamedTuple):
    counts: str
    digits: int
    value_cents: int = 0


class Model(NamedTuple):
    """`plays` a day on an average day, `chance` of a prize per play, `notes` for those that take notes."""

    name: str
    kind: str
    size: tuple[int, int, int]
    weight_kg: int
    watts: int
    capacity: int
    largest_mm: int
    price: int
    plays: float
    chance: float
    notes: bool
    mixes: tuple[str, ...]
    meters: tuple[Meter, ...]
    checks: str


PLAYS, COINS, OUT = Meter("plays", 6), Meter("money_in", 6, 25), Meter("prizes_out", 5)
MODELS = {
    "lantern": Model(
        "Lanternfish Claw", "claw", (820, 880, 1950), 118, 220, 110, 260, 100, 17, 1 / 13, True,
        ("Plush basket", "Shiny basket"), (COINS, OUT), CLAW_CHECKS,
    ),
    "dory": Model(
        "Dory Mini Claw", "claw", (560, 600, 1700), 64, 140, 70, 160, 50, 15, 1 / 10, False,
        ("Small plush basket", "Sea basket"), (PLAYS, OUT), CLAW_CHECKS,
    ),
    "pebble": Model(
        "Pebble Capsule", "capsule", (260, 300, 1250), 19, 0, 180, 50, 75, 8, 1, False,
        ("Capsule blend", "Bouncing blend"), (PLAYS,), VENDOR_CHECKS,
    ),
    "bollard": Model(
        "Bollard Capsule Tower", "capsule", (520, 420, 1550), 41, 0, 320, 65, 100, 11, 1, False,
        ("Big capsule blend",), (PLAYS,), VENDOR_CHECKS,
    ),
    "gull": Model(
        "Gull Sticker Slot", "sticker", (280, 240, 1200), 17, 0, 300, 90, 50, 4, 1, False,
        ("Sticker blend",), (Meter("plays", 5),), VENDOR_CHECKS,
    ),
    "kite": Model(
        "Kite Tattoo Slot", "sticker", (280, 240, 1200), 17, 0, 300, 90, 50, 5, 1, False,
        ("Tattoo blend",), (PLAYS,), VENDOR_CHECKS,
    ),
    "tideline": Model(
        "Tideline Pusher", "pusher", (900, 1050, 1800), 165, 260, 80, 120, 25, 52, 1 / 32, False,
        ("Pusher shelf",), (COINS, OUT), PUSHER_CHECKS,
    ),
    "breakwater": Model(
        "Breakwater Pusher", "pusher", (1300, 1100, 1850), 230, 380, 120, 120, 25, 74, 1 / 34, False,
        ("Pusher shelf",), (Meter("money_in", 5, 25),), PUSHER_CHECKS,
    ),
}  # fmt: skip


class Prize(NamedTuple):
    """`cents` a piece from `supplier`; `carried` is how many a van sets out with."""

    cents: int
    size_mm: int
    age: str
    small_parts: bool
    supplier: str
    carried: int


FIRST, SECOND, THIRD = "Moonrake Plush", "Pocketful Novelties", "Inkwell Sheets"
PRIZES = {
    "Plush otter": Prize(285, 220, "3+", False, FIRST, 60),
    "Plush octopus": Prize(310, 240, "3+", False, FIRST, 60),
    "Plush seal, white": Prize(265, 200, "0+", False, FIRST, 60),
    "Plush crab, small": Prize(120, 120, "3+", False, FIRST, 90),
    "Plush starfish, small": Prize(105, 110, "3+", False, FIRST, 90),
    "Plush whale, small": Prize(135, 140, "0+", False, FIRST, 90),
    "Glitter bottle": Prize(190, 180, "6+", False, SECOND, 60),
    "Night lamp, moon": Prize(340, 120, "8+", False, SECOND, 40),
    "Wind-up crab": Prize(95, 60, "3+", True, SECOND, 90),
    "Keyring, brass gull": Prize(70, 55, "8+", True, SECOND, 90),
    "Bouncing ball, 32 mm": Prize(9, 32, "3+", True, SECOND, 700),
    "Capsule: ring": Prize(11, 40, "5+", True, SECOND, 700),
    "Capsule: tiny animal": Prize(14, 40, "3+", True, SECOND, 700),
    "Capsule: glow bracelet": Prize(13, 40, "5+", True, SECOND, 700),
    "Big capsule: puzzle": Prize(24, 60, "5+", True, SECOND, 500),
    "Big capsule: parachute": Prize(22, 60, "5+", True, SECOND, 500),
    "Sticker: sea creatures": Prize(5, 85, "3+", False, THIRD, 500),
    "Sticker: letters": Prize(4, 85, "3+", False, THIRD, 500),
    "Tattoo: anchors": Prize(6, 85, "3+", False, THIRD, 500),
    "Singing lobster": Prize(360, 150, "3+", False, SECOND, 18),
}
TRIED = "Singing lobster"  # lay in the store until some cabinets got it, to see what it does
TRIED_PIECES, DRAWS = 5, 1.4  # at most in a cabinet; how many times as many people play with one inside

MIXES = {
    "Plush basket": {"Plush otter": 3, "Plush octopus": 3, "Plush seal, white": 2, "Night lamp, moon": 1},
    "Shiny basket": {"Plush otter": 2, "Plush seal, white": 2, "Glitter bottle": 4, "Night lamp, moon": 1},
    "Small plush basket": {"Plush crab, small": 4, "Plush starfish, small": 4, "Plush whale, small": 2},
    "Sea basket": {"Plush crab, small": 3, "Plush whale, small": 3, "Wind-up crab": 4},
    "Capsule blend": {"Capsule: ring": 8, "Capsule: tiny animal": 8, "Capsule: glow bracelet": 4},
    "Bouncing blend": {"Bouncing ball, 32 mm": 20, "Capsule: tiny animal": 5},
    "Big capsule blend": {"Big capsule: puzzle": 10, "Big capsule: parachute": 10},
    "Sticker blend": {"Sticker: sea creatures": 15, "Sticker: letters": 10},
    "Tattoo blend": {"Tattoo: anchors": 15, "Sticker: sea creatures": 10},
    "Pusher shelf": {"Keyring, brass gull": 5, "Wind-up crab": 3, "Plush crab, small": 2},
}

TROUBLES = {
    "claw": (
        "The claw lets go halfway up", "Took my money, no credit", "The lights inside are off",
        "Joystick only goes left", "A toy is stuck in the chute",
    ),
    "capsule": ("Handle does not turn", "Paid and no capsule came", "Coin is stuck in the slot"),
    "sticker": ("Coin is stuck in the slot", "Sticker came out torn", "Paid and nothing came"),
    "pusher": ("The pusher makes a grinding noise", "A coin is stuck in the slot", "Prize fell down but stayed inside"),
}  # fmt: skip
CURES = (
    "Cleared the coin slot", "Took out what was stuck and tried it three times", "Tightened the screw and tested",
    "Cleaned and oiled it", "Changed the lamp", "Set the sensor straight",
)  # fmt: skip
