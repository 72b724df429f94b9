"""Container numbers by ISO 6346: four letters, six digits, and a digit that checks them."""

import re

# A is 10 and so on up, without the multiples of 11, which the check could not tell apart.
VALUES = {sign: int(sign) for sign in "0123456789"} | dict(
    zip("ABCDEFGHIJKLMNOPQRSTUVWXYZ", (number for number in range(10, 39) if number % 11), strict=True)
)
NUMBER = re.compile(r"([A-Z]{3}[UJZ]\d{6})(\d)")


def check_digit(ten: str) -> int:
    """The check digit of the first ten signs; a remainder of 10 is written as 0."""
    return sum(VALUES[sign] * 2**place for place, sign in enumerate(ten)) % 11 % 10


def container_number(text: str) -> str:
    """A container number as it is painted, without blanks. Raises ValueError with a sentence."""
    plain = re.sub(r"[\s/.-]", "", text).upper()
    found = NUMBER.fullmatch(plain)
    if not found:
        raise ValueError(
            f"“{text[:20]}” is no container number: four letters, the last of them U, J or Z, then seven digits."
        )
    ten, digit = found.groups()
    if int(digit) != check_digit(ten):
        raise ValueError(
            f"“{plain}” has a slip in it: after {ten} the last digit would be {check_digit(ten)}. Compare each sign "
            "with the paper."
        )
    return plain
