"""What the columns of a spreadsheet can mean, and which meaning a heading probably has."""

import re
from collections.abc import Collection, Sequence
from typing import Any

from routeapp.kit.reading import headings
from routeapp.kit.reading.cells import text
from routeapp.kit.reading.headings import Meaning, Vocabulary
from routeapp.kit.reading.sheet import Row

CODE = re.compile(r"[A-Za-z]{1,4}[ -]?\d{1,4}")

GROUPS: dict[str, tuple[Meaning, ...]] = {
    "The cabinet": (
        Meaning("code", "Cabinet's code", words=(
            "code", "cabinet", "machine", "unit", "cabinet code", "cabinet no", "cabinet number", "cabinet id",
            "machine code", "machine no", "machine number", "machine id", "unit no", "asset", "asset no", "id", "no",
        )),
        Meaning("model", "Model", words=("model", "make", "make and model", "cabinet model", "machine type", "type")),
        Meaning("kind", "Kind of cabinet", words=("kind", "category", "sort")),
        Meaning("serial", "Serial number", words=("serial", "serial no", "serial number", "s n", "sn")),
        Meaning("price", "Price per play", "positive_amount", (
            "price", "price per play", "cost per play", "play price", "vend price", "per play", "coin price",
        )),
    ),
    "Where it stands": (
        Meaning("location", "Location", words=(
            "location", "site", "place", "venue", "stop", "where", "location name", "site name", "address name",
        )),
        Meaning("host", "Host", words=("host", "owner", "business", "customer", "company", "client", "host name")),
        Meaning("address", "Address", words=("address", "street", "street address", "full address")),
        Meaning("contact", "Contact person", words=("contact", "contact person", "contact name", "manager", "ask for")),
        Meaning("phone", "Telephone", words=("phone", "telephone", "tel", "phone number", "mobile", "cell")),
        Meaning("placed_on", "Stands there since", "when", (
            "placed", "placed on", "installed", "installed on", "install date", "since", "start", "start date", "from",
            "date placed", "date installed", "there since", "placement date",
        )),
        Meaning("left_on", "Taken away on", "when", (
            "removed", "removed on", "taken away", "until", "end", "end date", "date removed", "left", "pulled", "to",
        )),
        Meaning("share", "Host's share of the take", "percent", (
            "share", "host share", "commission", "split", "cut", "rate", "percent", "share of take", "location share",
        )),
        Meaning("agreed_on", "Share in force from", "when", (
            "agreed", "agreed on", "agreement", "agreement date", "agreement from", "contract date", "share from",
        )),
    ),
    "Prizes and stock": (
        Meaning("prize", "Prize", words=("prize", "prize name", "item", "product", "toy", "article", "plush")),
        Meaning("supplier", "Supplier", words=("supplier", "vendor", "bought from", "wholesaler")),
        Meaning("pieces", "Pieces in stock, or in the cabinet of the row", "count", (
            "pieces", "quantity", "qty", "stock", "in stock", "on hand", "pcs", "units", "stock count", "inside",
            "prizes inside", "pieces inside", "in the cabinet", "in the machine", "fill",
        )),
        Meaning("unit_cost", "Cost of one piece", "positive_amount", (
            "unit cost", "cost each", "cost", "cost per piece", "each", "piece price", "cost per unit", "unit price",
        )),
        Meaning("total_cost", "Cost of all pieces", "positive_amount", (
            "total cost", "cost of all", "stock value", "value", "paid in all",
        )),
        Meaning("store", "Store it lies in", words=("store", "warehouse", "storage", "shelf", "garage")),
        Meaning("low_at", "Say when fewer are left than", "count", ("low at", "reorder at", "reorder", "minimum")),
    ),
    "Past visits": (
        Meaning("visited_on", "Day of the visit", "when", (
            "date", "day", "visit", "visited", "visit date", "date of visit", "visited on", "collected on",
            "collection date", "service date", "week ending", "serviced",
        )),
        Meaning("visited_at", "Time of the visit", "clock", ("time", "visit time", "arrived", "at")),
        Meaning("cash", "Money counted", "positive_amount", (
            "cash", "money", "take", "taken", "collected", "collection", "amount", "revenue", "gross", "income",
            "total", "cash collected", "money collected", "cash counted", "sales", "coins",
        )),
        Meaning("plays", "Plays meter", "count", (
            "plays", "plays meter", "play meter", "meter", "reading", "meter reading", "counter", "games", "play count",
        )),
        Meaning("money_in", "Money meter", "count", (
            "money meter", "coin meter", "cash meter", "meter in", "coins in", "money in", "in meter",
        )),
        Meaning("prizes_out", "Prizes meter", "count", (
            "prizes meter", "prize meter", "prizes out", "prizes won", "meter out", "out meter", "vends", "wins", "won",
        )),
        Meaning("note", "Note", words=("note", "notes", "remark", "remarks", "comment", "comments")),
    ),
    "A column for each cabinet": (
        Meaning("each_cash", "Money counted in the cabinet named above", "positive_amount"),
        Meaning("each_plays", "Plays meter of the cabinet named above", "count"),
        Meaning("each_money_in", "Money meter of the cabinet named above", "count"),
    ),
}  # fmt: skip
VOCABULARY = Vocabulary(GROUPS)
MEANINGS, choices = VOCABULARY.meanings, VOCABULARY.choices
METERS = ("plays", "money_in", "prizes_out")
EACH = "each_"


def guess(above: Sequence[Any], codes: Collection[str] = ()) -> dict[int, str]:
    """The probable meaning of each column by its heading. `codes` are the cabinets known here, in capitals."""
    found = VOCABULARY.guess(above)
    each = [column for column, heading in enumerate(above) if column not in found and _is_code(heading, codes)]
    if len(each) > 1 and "visited_on" in found.values():
        found |= dict.fromkeys(each, "each_cash")
    return found


def _is_code(heading: Any, codes: Collection[str]) -> bool:
    try:
        said = text(heading)
    except ValueError:
        return False
    return said.upper().replace(" ", "-") in codes or bool(CODE.fullmatch(said))


def heading_row(rows: Sequence[Row], codes: Collection[str] = ()) -> int:
    return headings.heading_row(rows, lambda cells: len(guess(cells, codes)))
