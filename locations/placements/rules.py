"""Which cabinets may be placed, in words."""

HINDRANCES = {
    "ordered": "has not arrived yet",
    "arrived": "has not been on the bench yet",
    "bench": "is still on the bench",
    "out_of_order": "is out of order",
    "sold": "is sold",
    "scrapped": "is scrapped",
}


def hindrance(status: str) -> str:
    """Why a cabinet with this status cannot be placed, to follow its code; empty when nothing is in the way."""
    return HINDRANCES.get(status, "")


def way_out(status: str) -> str:
    """What to do about that, as a sentence."""
    if status in ("arrived", "bench"):
        return "Test it, or sign on its bench page why it goes out without."
    return "Change its status first."
