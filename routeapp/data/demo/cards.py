"""Card readers of the story, and a processor's statement for each month that is over."""

from collections import defaultdict
from datetime import datetime, timedelta
from uuid import uuid5

from django.core.files.base import ContentFile

from routeapp.cards.actions import bring_in, fit_reader, say, take_file
from routeapp.cards.models import CardStatement
from routeapp.data.demo import names
from routeapp.data.demo.cast import Cast
from routeapp.data.demo.world import World

COLUMNS = {"0": "day", "1": "serial", "2": "kind", "3": "amount", "4": "fee", "5": "reference"}
FEE, EACH = 29, 5  # thousandths of a sale, and cents for each: invented
UNKNOWN = "77-0419"  # a reader that nobody wrote down yet


def tell_cards(cast: Cast, world: World, local: datetime) -> None:
    fitted = [one for _, one in sorted(world.cabinets.items()) if one.reader_from]
    months: dict[str, list[tuple[datetime, str, str, int]]] = defaultdict(list)
    for number, cabinet in enumerate(fitted):
        serial = f"77-04{number + 1}1"
        at = cast.moment(cabinet.reader_from or local)
        uuid = uuid5(names.NAMES, f"reader {serial}")
        fit_reader(uuid=uuid, serial=serial, machine=cast.machines[cabinet.code], by=cast.owner, at=at, received_at=at)
        for moment, cents in cabinet.by_card:
            months[f"{moment:%Y-%m}"].append((moment, serial, "Play", cents))
    over = sorted(month for month in months if month < f"{local:%Y-%m}")
    for month in over:
        rows = sorted(months[month])
        if month == over[-1]:
            rows += [(rows[-1][0], UNKNOWN, "Play", 100), (rows[-1][0], UNKNOWN, "Play", 200)]
        _bring(cast, month, rows, cast.moment(local - timedelta(minutes=20)))


def _bring(cast: Cast, month: str, rows: list[tuple[datetime, str, str, int]], latest: datetime) -> CardStatement:
    lines, held = ["Date,Reader,Type,Amount,Fee,Number"], 0
    for number, (moment, serial, kind, cents) in enumerate(rows):
        fee = EACH + cents * FEE // 1000
        held += cents - fee
        lines.append(f"{moment:%Y-%m-%d %H:%M:%S},{serial},{kind},{cents / 100:.2f},{fee / 100:.2f},{month}-{number}")
    last = rows[-1][0]
    lines.append(f"{last:%Y-%m-%d} 23:59:00,,Payout,{held * 3 // 4 / 100:.2f},,{month}-P")
    at = min(cast.moment(last + timedelta(days=2)), latest)
    uuid = uuid5(names.NAMES, f"card statement {month}")
    file = ContentFile("\n".join(lines).encode(), name=f"cards {month}.csv")
    one = take_file(uuid=uuid, file=file, by=cast.owner, at=at)
    kinds = {"Play": "sale", "Payout": "payout"}
    said = {"heading": 1, "columns": COLUMNS, "zone": names.ZONE, "order": "", "kinds": kinds}
    say(statement=one, said=said, by=cast.owner, at=at)
    bring_in(statement=one, by=cast.owner, at=at)
    return one
