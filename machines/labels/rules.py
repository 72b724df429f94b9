"""The code on a label: how it is written, read aloud, typed and put into an address; and how reports are limited."""

import re
from ipaddress import IPv6Address, ip_address, ip_network
from urllib.parse import urlsplit

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # 32 characters that cannot be taken for one another, so no I, L, O, U
LENGTH = 16  # 16 × 5 bits = 80 bits: nobody guesses one
LOOK_ALIKES = str.maketrans("OIL", "011")
REPORTS_AN_HOUR_PER_LABEL = 6
REPORTS_AN_HOUR_PER_ADDRESS = 10


def clean_code(text: str) -> str:
    """Read a code as people type it: small letters, dashes, spaces, O for 0, I and L for 1. Empty when it is none."""
    code = bare(text)
    return code if len(code) == LENGTH and set(code) <= set(ALPHABET) else ""


def bare(text: str) -> str:
    """A code, or part of one, as it is kept."""
    return re.sub(r"[\s-]", "", text).upper().translate(LOOK_ALIKES)


def grouped(code: str) -> str:
    """The code in groups of four, as it stands on the label."""
    return "-".join(code[start : start + 4] for start in range(0, len(code), 4))


def scanned_address(public_url: str, code: str) -> str:
    """What the symbol says. All capitals: a QR symbol packs those closer, so that its modules can be larger."""
    return f"{public_url}/m/{code}".upper()


def typed_address(public_url: str) -> str:
    """What a person types before the code."""
    return f"{public_url.split('://')[-1]}/m/"


def leads_nowhere(public_url: str) -> bool:
    """Whether only the computer that runs this can open the address."""
    return urlsplit(public_url).hostname in ("localhost", "127.0.0.1", "::1")


def sender(address: str) -> str:
    """What counts as one sender: an IPv4 address, or the /64 network that one IPv6 customer has to themselves."""
    try:
        found = ip_address(address.strip())
    except ValueError:
        return "unknown"
    if isinstance(found, IPv6Address) and not found.ipv4_mapped:
        return str(ip_network((found, 64), strict=False))
    return str(getattr(found, "ipv4_mapped", None) or found)
