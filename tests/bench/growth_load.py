"""Years of history poured straight into the tables, with the rows that follow from them, as the actions would write.

A hundred locations with four cabinets each are visited once a week, up to now, and their hosts are settled with and
paid every month, but for the last one. More entries mean more years: the number of cabinets and what happened lately
stay the same.
"""

from datetime import timedelta
from types import SimpleNamespace
from typing import Any

from django.contrib.admin.models import LogEntry
from django.contrib.contenttypes.models import ContentType
from django.db import connection, models

from locations.models import Agreement, Location, Placement, Term
from machines.models import Fault, FaultFix, Machine, Meter, Reading, SettingsChange, StatusChange
from routeapp.kit import clock
from routeapp.models import (
    Bag,
    BagMove,
    Business,
    CashMove,
    Holding,
    Place,
    PrizeCost,
    Remittance,
    ServiceEntry,
    Settlement,
    SettlementLine,
    StockCount,
    StockMove,
    Visit,
)
from tests import factories

LOCATIONS, EACH, PRIZES = 100, 4, 8
CABINETS = LOCATIONS * EACH
FILL = 60  # prizes in a cabinet after each visit
FACTS = (
    (Settlement.payments.through, SettlementLine, Settlement, Remittance)
    + (Fault, FaultFix, SettingsChange, Reading, StatusChange, LogEntry, CashMove, BagMove)
    + (ServiceEntry, Visit, Bag, StockMove, StockCount, Holding, PrizeCost)
)  # fmt: skip
RATE_BP = 4000


def pour(model: type[models.Model], source: str, /, **columns: str) -> None:
    """INSERT rows of `model` from the SQL `source`; columns not given are NULL or the field's default."""
    fields = [field for field in model._meta.concrete_fields if not isinstance(field, models.AutoField)]
    values = [columns.pop(field.column, None) or _default(field) for field in fields]
    if columns:
        raise ValueError(f"{model.__name__} has no {', '.join(columns)}")
    names = ", ".join(field.column for field in fields)
    run(f"INSERT INTO {model._meta.db_table} ({names}) SELECT {', '.join(values)} FROM {source}")


def _default(field: models.Field) -> str:
    if field.null:
        return "NULL"
    value = field.get_db_prep_save(field.get_default(), connection)
    return f"'{value}'" if isinstance(value, str) else str(int(value))


def run(sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)


def forget(*tables: type[models.Model]) -> None:
    """Delete all rows, and number new ones from one again: the first bag is the first stop's."""
    for model in tables:
        run(f"DELETE FROM {model._meta.db_table}")
        run(f"DELETE FROM sqlite_sequence WHERE name = '{model._meta.db_table}'")


def make_business() -> SimpleNamespace:
    """Everything that does not grow: people, locations and their terms, cabinets and their meters, prizes."""
    owner = factories.person("ines", "owner")
    Business.objects.create(pk=1, name="Lantern Rounds")
    store = Place.objects.create(kind="store", name="Store")
    ends = {kind: Place.objects.create(kind=kind, name=kind) for kind in ("supplier", "players")}
    prizes = [factories.PrizeFactory() for _ in range(PRIZES)]
    model = factories.CabinetModelFactory(prize_capacity=80)
    locations = [factories.LocationFactory() for _ in range(LOCATIONS)]
    machines = [Machine(code=f"C-{n:04}", model=model, price_cents=100, status="placed") for n in range(CABINETS)]
    Machine.objects.bulk_create(machines)
    Place.objects.bulk_create(Place(kind="cabinet", name=f"Cabinet {one.code}", machine=one) for one in machines)
    return SimpleNamespace(owner=owner, store=store, ends=ends, prizes=prizes, locations=locations, model=model)


def fill(world: SimpleNamespace, entries: int) -> None:
    """Forget all history and write `entries` service entries, the last ones a few days ago."""
    weeks = entries // CABINETS
    first = clock.week_start((clock.now() - timedelta(days=7)).date()) - timedelta(weeks=weeks - 1)
    for pragma in ("foreign_keys=OFF", "synchronous=OFF", "journal_size_limit=0"):
        run(f"PRAGMA {pragma}")
    forget(*FACTS, Term, Agreement, Placement, Meter)
    _slots(world, weeks, first)
    who = {"by_id": str(world.owner.pk), "at": "at", "received_at": "at"}
    _standing(world, f"'{first - timedelta(days=7)} 08:00:00'")
    _visits(who)
    _papers(first - timedelta(days=7))
    _money(who, PAID)
    _settlements(who)
    _prizes(world, who)
    _troubles(who)
    for table in ("stop", "work", "paper"):
        run(f"DROP TABLE {table}")
    run("PRAGMA wal_checkpoint(TRUNCATE)")


def fill_money(world: SimpleNamespace, entries: int) -> None:
    """Forget all moves of money and write those of `entries` service entries, without anything else of a visit."""
    weeks = entries // CABINETS
    first = clock.week_start((clock.now() - timedelta(days=7)).date()) - timedelta(weeks=weeks - 1)
    for pragma in ("foreign_keys=OFF", "synchronous=OFF"):
        run(f"PRAGMA {pragma}")
    forget(CashMove, BagMove, Bag)
    _slots(world, weeks, first)
    who = {"by_id": str(world.owner.pk), "at": "at", "received_at": "at"}
    pour(Bag, "stop", uuid="bag_uuid", number="'L-' || bag", location_id="location", **who)
    _money(who)
    run("DROP TABLE stop")
    run("DROP TABLE work")


def _slots(world: SimpleNamespace, weeks: int, first: Any) -> None:
    """Two tables on paper: `stop`, one row a visit, and `work`, one row a service entry, both in order of time."""
    run(
        f"""CREATE TEMP TABLE stop AS
        WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i < {weeks * LOCATIONS - 1})
        SELECT lower(hex(randomblob(16))) AS uuid, lower(hex(randomblob(16))) AS bag_uuid, i + 1 AS bag,
               i / {LOCATIONS} AS week, {world.locations[0].pk} + i % {LOCATIONS} AS location,
               datetime('{first}', '+' || (i / {LOCATIONS} * 7 + i % {LOCATIONS} / 20) || ' days',
                        '+' || (9 * 60 + i % 20 * 25) || ' minutes') AS at FROM n"""
    )
    machine = Machine.objects.order_by("pk").values_list("pk", flat=True)[0]
    place = Place.objects.filter(kind="cabinet").order_by("pk").values_list("pk", flat=True)[0]
    each = " UNION ALL ".join(f"SELECT {number} AS number" for number in range(EACH))
    nth = f"((location - {world.locations[0].pk}) * {EACH} + number)"
    run(
        f"""CREATE TEMP TABLE work AS SELECT *, date(at) AS day, sum(plays) OVER (PARTITION BY machine ORDER BY at)
        AS shown, plays * 100 - CASE (week + machine) % 17 WHEN 0 THEN 300 ELSE 0 END AS cents, plays / 12 AS won
        FROM (SELECT lower(hex(randomblob(16))) AS uuid, uuid AS visit, bag, week, location, at,
                     {machine} + {nth} AS machine, {place} + {nth} AS place,
                     {world.prizes[0].pk} + {nth} % {PRIZES} AS prize,
                     70 + (week * 7 + {nth} * 13) % 21 AS plays
              FROM stop, ({each})) ORDER BY at, machine"""
    )


def _standing(world: SimpleNamespace, start: str) -> None:
    """Where cabinets stand since before the first visit, with meters that start at zero."""
    who = {"by_id": str(world.owner.pk), "at": start, "received_at": start}
    machines = "(SELECT DISTINCT machine, location FROM work)"
    uuid = "lower(hex(randomblob(16)))"
    stay = {"machine_id": "machine", "location_id": "location", "started_at": start}
    pour(Placement, machines, uuid=uuid, started_by_id=who["by_id"], received_at=start, **stay)
    pour(StatusChange, machines, machine_id="machine", status="'placed'", **who)
    pour(Meter, machines, machine_id="machine", counts="'plays'", value_cents="100", digits="9", installed_at=start)
    pour(Reading, Meter._meta.db_table, meter_id="id", value="0", kind="'baseline'", **who)
    places = f"{Location._meta.db_table}"
    pour(Agreement, places, location_id="id", starts_on=f"date({start})", **who)
    pour(Term, Agreement._meta.db_table, agreement_id="id", rate_bp=str(RATE_BP))


def _visits(who: dict[str, str]) -> None:
    pour(Bag, "stop", uuid="bag_uuid", number="'L-' || bag", location_id="location", **who)
    pour(BagMove, "stop", bag_id="bag", holder="'person'", person_id=who["by_id"], **who)
    said = {"document": "'{}'", "fingerprint": "uuid", "source": "uuid"}
    left = "datetime(at, '+20 minutes')"
    pour(Visit, "stop", uuid="uuid", location_id="location", made_by_id=who["by_id"], departed_at=left, **said, **who)
    cash = {"cash": "'counted'", "how": "'amount'", "cents": "cents", "bag_id": "bag"}
    pour(ServiceEntry, "work", uuid="uuid", visit_id="visit", machine_id="machine", at="at", **cash)
    meters = f"work JOIN {Meter._meta.db_table} meter ON meter.machine_id = work.machine ORDER BY work.at"
    pour(Reading, meters, meter_id="meter.id", value="shown", source="uuid", kind="'reading'", **who)
    kind = str(ContentType.objects.get_for_model(Visit).pk)
    log = {"user_id": who["by_id"], "content_type_id": kind, "object_id": "uuid", "action_flag": "1"}
    pour(LogEntry, "stop", action_time="at", object_repr="'Visit'", change_message="'logged a visit'", **log)


def _papers(start: Any) -> None:
    """A table on paper of what hosts get for each month but this one and the last, in order of time, with what the
    paper `before` came to: that was paid since."""
    run(
        f"""CREATE TEMP TABLE paper AS SELECT *, lag(cents, 1, 0) OVER (PARTITION BY location ORDER BY month) AS before,
        CASE month WHEN min(month) OVER (PARTITION BY location) THEN '{start}' ELSE month END AS since,
        date(month, '+1 month', '-1 day') AS until, datetime(month, '+1 month', '+2 days', '+12 hours') AS at,
        datetime(month, '+1 month', '+4 days') AS paid_at
        FROM (SELECT location, date(day, 'start of month') AS month, lower(hex(randomblob(16))) AS uuid,
                     sum(cents) AS base, (sum(cents) * {RATE_BP} + 5000) / 10000 AS cents FROM work
              WHERE day < date('now', 'start of month', '-1 month') GROUP BY 1, 2) ORDER BY month, location"""
    )


PAID = "SELECT 'bank', 'host', cents, date(paid_at), NULL, location, NULL, NULL, uuid, paid_at FROM paper"


def _money(who: dict[str, str], *besides: str) -> None:
    """From the players through the box into the bag, and next Monday to the bank; `besides`, more rows of the same."""
    about = "cents, day, machine, location"
    bags = f"(SELECT bag, location, sum(cents) AS cents, {MONDAY} || ' 15:00:00' AS at FROM work GROUP BY bag)"
    rows = (
        f"SELECT 'players' AS start, 'box' AS end, {about}, NULL AS bag, uuid AS entry, uuid AS source, at FROM work",
        f"SELECT 'box', 'bag', {about}, bag, uuid, uuid, at FROM work",
        f"SELECT 'bag', 'bank', cents, date(at), NULL, location, bag, NULL, NULL, at FROM {bags}",
        *besides,
    )
    columns = {"cents": "cents", "day": "day", "machine_id": "machine", "location_id": "location", "bag_id": "bag"}
    ends = {"from_purse": "start", "to_purse": "end", "entry": "entry", "source": "source"}
    pour(CashMove, f"({' UNION ALL '.join(rows)} ORDER BY at)", **ends, **columns, **who)
    pour(BagMove, bags, bag_id="bag", holder="'bank'", **who)


def _settlements(who: dict[str, str]) -> None:
    """The papers with their one line, each paid two days later; the next one takes that off."""
    moves = CashMove._meta.db_table
    run("CREATE TEMP TABLE seen (day PRIMARY KEY, number)")
    run(f"INSERT INTO seen SELECT date(at), max(id) FROM {moves} GROUP BY 1")
    days = {"location_id": "location", "since": "since", "until": "until", "currency": "'USD'"}
    sums = {"cents": "cents", "carried_cents": "before", "paid_cents": "before"}
    known = {
        "moves_until": "(SELECT number FROM seen WHERE day < date(paper.at) ORDER BY day DESC LIMIT 1)",
        "number": "paper.rowid",
    }
    pour(Settlement, "paper", uuid="uuid", **days, **sums, **known, **who)
    own = f"paper JOIN {Settlement._meta.db_table} issued USING (uuid)"
    share = {"kind": "'share'", "words": "'Share'", "base_cents": "base", "rate": "'2/5'", "cents": "paper.cents"}
    span = {"since": "paper.since", "until": "paper.until", "place": "1"}
    pour(SettlementLine, own, settlement_id="issued.id", **share, **span)
    paid = {"location_id": "location", "means": "'transfer'", "day": "date(paid_at)", "cents": "cents"}
    pour(Remittance, "paper", uuid="uuid", **paid, **who | {"at": "paid_at", "received_at": "paid_at"})
    following = f"""(SELECT move.id AS move, (SELECT id FROM {Settlement._meta.db_table} later
        WHERE later.location_id = move.location_id AND later.until >= move.day ORDER BY until LIMIT 1) AS paper
        FROM {moves} move WHERE to_purse = 'host')"""
    taken_off = f"(SELECT * FROM {following} WHERE paper IS NOT NULL)"
    pour(Settlement.payments.through, taken_off, settlement_id="paper", cashmove_id="move")
    run("DROP TABLE seen")


MONDAY = "date(max(at), '+1 day', 'weekday 1')"  # the next one


def _prizes(world: SimpleNamespace, who: dict[str, str]) -> None:
    """Each visit counts what is left, players won the rest, and the store fills up; prizes come every four weeks."""
    players, supplier = str(world.ends["players"].pk), str(world.ends["supplier"].pk)
    store = str(world.store.pk)
    orders = """(SELECT prize, sum(won) + 4000 AS pieces, datetime(min(at), '-2 days') AS at
        FROM work GROUP BY prize, week / 4)"""
    bought = {"prize_id": "prize", "quantity": "pieces", "cost_cents": "pieces * 200"}
    pour(StockMove, orders, from_place_id=supplier, to_place_id=store, **bought, **who)
    pour(PrizeCost, orders, prize_id="prize", since="at", quantity="pieces", value_cents="pieces * 200")
    first = "(SELECT machine, place, prize, datetime(min(at), '-1 days') AS at FROM work GROUP BY machine)"
    about = {"prize_id": "prize", "source": "uuid", **who}
    pour(StockMove, first, from_place_id=store, to_place_id="place", prize_id="prize", quantity=str(FILL), **who)
    pour(StockCount, "work", place_id="place", quantity=f"{FILL} - won", **about)
    counted = f"work JOIN {StockCount._meta.db_table} found USING (source)"
    counted = (
        f"(SELECT work.*, found.id AS count FROM work JOIN {StockCount._meta.db_table} found ON found.source = uuid)"
    )
    pour(StockMove, counted, from_place_id="place", to_place_id=players, quantity="won", settles_id="count", **about)
    pour(StockMove, "work", from_place_id=store, to_place_id="place", quantity="won", **about)
    held = f"""(SELECT place, prize, sum(pieces) AS pieces, max(at) AS newest FROM (
        SELECT to_place_id AS place, prize_id AS prize, quantity AS pieces, at FROM {StockMove._meta.db_table}
        UNION ALL
        SELECT from_place_id, prize_id, -quantity, at FROM {StockMove._meta.db_table})
        WHERE place NOT IN ({players}, {supplier}) GROUP BY place, prize)"""
    pour(Holding, held, place_id="place", prize_id="prize", pieces="pieces", newest="newest", counted="newest")


def _troubles(who: dict[str, str]) -> None:
    """A fault at every fiftieth entry, mended a week later if it is old enough; now and then another grip."""
    some = "(SELECT * FROM work WHERE (week * 7 + machine) % 50 = 0)"
    about = {"machine_id": "machine", "via": "'visit'", "about": "'fault'", "text": "'Coin is stuck'"}
    pour(Fault, some, uuid="uuid", source="uuid", **about, **who)
    old = (
        f"(SELECT id, datetime(at, '+7 days') AS at FROM {Fault._meta.db_table} WHERE at < datetime('now', '-14 days'))"
    )
    pour(FaultFix, old, fault_id="id", how="'Cleared it'", **who)
    some = "(SELECT * FROM work WHERE (week * 11 + machine) % 100 = 0)"
    pour(SettingsChange, some, machine_id="machine", grip_strength="50", source="uuid", **who)
