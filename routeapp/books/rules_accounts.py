"""What accounts are called, and which two of them a move of money touches."""

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass

from routeapp.expenses.rules import Category

BANK, BAGS, CARDS = "Assets:Bank", "Assets:Bags", "Assets:Card-Processor"
PRIZES, CABINETS = "Assets:Prizes", "Assets:Cabinets"
DEPRECIATION, DEPRECIATED = "Expenses:Depreciation", "Assets:Cabinets-Depreciated"
SUPPLIERS, PAID_ELSEWHERE = "Liabilities:Suppliers", "Equity:Paid-Elsewhere"
SOLD = "Income:Cabinets-Sold"
OWNER, BEFORE = "Equity:Owner", "Equity:Before"
TAX_INSIDE, TAX = "Income:Tax-Inside", "Liabilities:Tax"
PRIZES_WON, PRIZES_LOST = "Expenses:Prizes-Won", "Expenses:Prizes-Lost"
OVER_SHORT, FEES, REFUNDS, COSTS = (
    "Expenses:Over-Short",
    "Expenses:Card-Fees",
    "Expenses:Refunds",
    "Expenses:Costs",
)
BOX, TAKE, HOSTS, SHARES = "Assets:Boxes", "Income:Take", "Liabilities:Hosts", "Expenses:Host-Shares"

SINGLE = {  # purses that are one account
    "bag": BAGS,
    "bank": BANK,
    "over_short": OVER_SHORT,
    "cards": CARDS,
    "fees": FEES,
    "refunds": REFUNDS,
    "costs": COSTS,
    "trade": PAID_ELSEWHERE,
    "owner": OWNER,
}
FIXED = (
    *SINGLE.values(),
    *(PRIZES, CABINETS, SUPPLIERS, BEFORE, TAX_INSIDE, PRIZES_WON, PRIZES_LOST),
    *(DEPRECIATION, DEPRECIATED, SOLD),
)


def part(name: str) -> str:
    """A name as a part of an account's: letters, digits and hyphens, the first a capital or a digit.

    So it is written in the plain-text ledgers that `beancount` reads (Beancount Language Syntax, "Accounts").
    """
    plain = "".join(one if unicodedata.category(one)[0] == "L" or one in "0123456789" else "-" for one in name)
    words = "-".join(word for word in plain.split("-") if word)
    first = words[:1].upper()
    return first + words[1:] if first.isupper() and len(first) == 1 or first.isdecimal() else f"X{words}"


def spent_on(category: str) -> str:
    return f"Expenses:{part(Category(category).label)}"


def parts(names: Mapping[int, str]) -> dict[int, str]:
    """A part for each number; of two that would be the same the later carries its number."""
    found: dict[int, str] = {}
    used: set[str] = set()
    for number, name in sorted(names.items()):
        made = part(name)
        found[number] = made if made not in used else f"{made}-{number}"
        used.add(found[number])
    return found


@dataclass(frozen=True)
class Chart:
    """The chart of accounts: cabinets and locations by id, as parts of account names."""

    machines: Mapping[int, str]
    locations: Mapping[int, str]
    jurisdictions: tuple[str, ...] = ()

    def of(self, purse: str, machine: int | None, location: int | None, category: str = "") -> str:
        """The account of a purse. Take belongs to a cabinet, what a host gets to a location, what was spent to the
        `category` of its receipt."""
        if purse == "costs" and category:
            return spent_on(category)
        if purse in SINGLE:
            return SINGLE[purse]
        if purse == "host":
            return f"{HOSTS}:{self.locations.get(location or 0, 'Unknown')}"
        return f"{BOX if purse == 'box' else TAKE}:{self.machines.get(machine or 0, 'Unknown')}"

    def share(self, location: int) -> tuple[str, str]:
        """Debit and credit of what a host gets."""
        name = self.locations.get(location, "Unknown")
        return f"{SHARES}:{name}", f"{HOSTS}:{name}"

    def tax(self, jurisdiction: str) -> tuple[str, str]:
        return TAX_INSIDE, f"{TAX}:{part(jurisdiction)}"

    def all(self) -> list[str]:
        """Every account there can be, by name."""
        machines, locations = [*self.machines.values(), "Unknown"], [*self.locations.values(), "Unknown"]
        found = {f"{head}:{name}" for head in (BOX, TAKE) for name in machines}
        found |= {f"{head}:{name}" for head in (HOSTS, SHARES) for name in locations}
        found |= {spent_on(category) for category in Category}
        return sorted(found | set(FIXED) | {f"{TAX}:{part(name)}" for name in self.jurisdictions})
