"""Which prize earns its keep, through the front door.

Two cabinets at the Lantern Arcade, March 2026; an owl and a robot cost 0.80 each.

    day         cabinet   take    owls        robots
    2 March     first     20.00   40 put in   20 put in
    5 March     first     90.01   34 found    17 found
                second    12.00
    8 March     first     30.00   (nobody counts)
"""

import csv
import io
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from locations.placements.models import Placement
from machines.models import Reading
from routeapp.earnings.queries_prize_lines import ADay, left_a_day
from routeapp.models import StockCount
from tests import factories
from tests.earnings.test_pages import text_of
from tests.visits.books import DAY, START, document, entry, make_world, record, some_id

pytestmark = pytest.mark.django_db

MARCH = "since=2026-03-01&until=2026-03-31"


@pytest.fixture
def world(owner):
    return make_world(owner)


def stops(world):
    first = entry(world, "a", reading=120, cents=2000, loaded={0: 40, 1: 20})
    second = entry(world, "b", reading=210, cents=9001, found={0: 34, 1: 17})
    beside = entry(world, "b", 1, reading=112, cents=1200)
    third = entry(world, "c", reading=240, cents=3000)
    return [
        document(world, name, days=days, entries=entries)
        for name, days, entries in (("a", 0, [first]), ("b", 3, [second, beside]), ("c", 6, [third]))
    ]


def tell(world):
    for one in stops(world):
        record(world, one)


def file(client, name="earnings-prizes", *arguments, query=MARCH):
    """The rows of a table as a file, by heading, by what stands first in them."""
    answer = client.get(f"{reverse(name, args=arguments)}?{query}&as=csv")
    return list(csv.DictReader(io.StringIO(answer.getvalue().decode("utf-8-sig"))))


def take_of(client, query=MARCH):
    return {row["Prize"]: row["Take"] for row in file(client, query=query)}


def earned(client, query=MARCH):
    """The take and the cost of prizes of all cabinets, as the earnings page says them."""
    total = client.get(f"{reverse('earnings')}?{query}").context["shown"]["report"].total.figures
    return total.take, total.prize_cost


def test_each_prize_says_what_it_came_to(owner_client, world):
    tell(world)

    # 90.01 by six owls to three robots; then, as nobody counted, 30.00 by 34 to 17. 29.79 days from 2 March on.
    assert file(owner_client) == [
        {
            "Prize": "Plush owl", "With it inside": "too little to say",
            "Won": "6", "Cost": "4.80", "Take": "80.01", "Cost of take": "5.999250093738283", "Days inside": "30",
            "Leaves": "75.21", "Leaves a piece": "12.54", "Leaves a day": "2.51",
            "Pieces now": "994", "Worth now": "895.20", "Remark": "none won for 8 weeks",
        },
        {
            "Prize": "Tin robot", "With it inside": "too little to say",
            "Won": "3", "Cost": "2.40", "Take": "40.00", "Cost of take": "6.0", "Days inside": "30",
            "Leaves": "37.60", "Leaves a piece": "12.53", "Leaves a day": "1.25",
            "Pieces now": "997", "Worth now": "897.60", "Remark": "none won for 8 weeks",
        },
    ]  # fmt: skip


@pytest.mark.parametrize("query", [MARCH, "since=2026-03-05&until=2026-03-05", "since=2026-03-06&until=2026-03-20"])
def test_shares_and_what_no_prize_is_known_for_come_to_the_take(owner_client, world, query):
    tell(world)
    page = owner_client.get(f"{reverse('earnings-prizes')}?{query}")
    shown = page.context["shown"]

    came = [line.came for line in shown["rows"]]
    assert (sum(one.take for one in came) + shown["not_shared"], sum(one.cost for one in came)) == earned(
        owner_client, query
    )


def test_take_of_a_cabinet_without_prizes_is_told_apart(owner_client, world):
    tell(world)
    # 20.00 of the first cabinet before anything lay inside, 12.00 of the second.
    assert "$32.00 more were taken by cabinets in which no prize is known." in text_of(
        owner_client.get(f"{reverse('earnings-prizes')}?{MARCH}")
    )


def test_late_corrected_and_withdrawn_visits_change_it(owner_client, world):
    first, second, third = stops(world)
    record(world, second)
    record(world, third)
    # As nothing was put in, nothing was won, and what was found is all that lay there.
    assert take_of(owner_client) == {"Plush owl": "20.00", "Tin robot": "10.00"}

    record(world, first)
    assert take_of(owner_client) == {"Plush owl": "80.01", "Tin robot": "40.00"}

    amends = {"replaces": some_id("b"), "reason": "typed it wrong"}
    right = entry(world, "d", reading=210, cents=6000, found={0: 38, 1: 16})
    record(world, document(world, "d", days=3, entries=[right], **amends))
    # 60.00 by two owls to four robots, then 30.00 by 38 to 16.
    assert take_of(owner_client) == {"Plush owl": "41.11", "Tin robot": "48.89"}

    amends = {"replaces": some_id("d"), "reason": "was elsewhere", "void": True}
    record(world, document(world, "e", days=3, **amends))
    # Only the take of 8 March is left, by the 40 and 20 that were put in.
    assert take_of(owner_client) == {"Plush owl": "20.00", "Tin robot": "10.00"}


def test_figures_open_down_to_the_visits(owner_client, world):
    tell(world)
    owl, code = world.prizes[0].pk, world.meters[0].machine.code
    lists = owner_client.get(f"{reverse('earnings-prizes')}?{MARCH}").content.decode()
    one = f"{reverse('prize-earnings', args=[owl])}?{MARCH}"
    takes = f"{reverse('prize-takes', args=[owl])}?{MARCH}"

    assert lists.count(f'href="{one.replace("&", "&amp;")}"') == 2
    assert f'<a href="{takes.replace("&", "&amp;")}">$80.01</a>' in lists
    by_cabinet = file(owner_client, "prize-earnings", owl)
    assert [
        (row["Cabinet"], row["Plays a day with it"], row["Plays without it"], row["Take"]) for row in by_cabinet
    ] == [(code, "20.0", "", "80.01")]
    assert f"{takes}&cabinet={code}".replace("&", "&amp;") in owner_client.get(one).content.decode()
    columns = ("Cabinet", "Until then", "Days", "Plays a day", "Won", "Cost", "Take", "Its part")
    assert [[row[name] for name in columns] for row in file(owner_client, "prize-takes", owl)] == [
        [code, "inside", "3.0", "10.0", "0", "0.00", "30.00", "20.00"],
        [code, "inside", "3.0", "30.0", "6", "4.80", "90.01", "60.01"],
        [code, "", "", "", "0", "0.00", "20.00", "0.00"],
    ]
    assert reverse("visit", args=[some_id("b")]) in owner_client.get(takes).content.decode()


@pytest.mark.parametrize(("taken", "leaves"), [((1, 1, 1), "18.80"), ((1, 0, 1), ""), ((0, 1, 1), "10.00")])
def test_a_day_leaves_what_was_taken_between_two_visits_that_emptied_the_box(owner_client, world, taken, leaves):
    for raw, cash in zip(stops(world), taken, strict=True):
        raw["entries"] = raw["entries"][:1]
        raw["entries"][0] |= {} if cash else {"cash": {}}
        record(world, raw)

    # 90.01 less 7.20 for prizes in three days, and 30.00 in three.
    assert [row["A day leaves with it"] for row in file(owner_client, "prize-earnings", world.prizes[0].pk)] == [leaves]


def test_what_was_won_where_the_cash_stayed_in_the_box_shares_the_next_take(owner_client, world):
    said = ({"cents": 100, "loaded": {0: 40, 1: 20}}, {"found": {0: 34, 1: 20}}, {"cents": 9000, "found": {1: 17}})
    for number, one in enumerate(said):
        record(world, document(world, f"{number}", days=number, entries=[entry(world, f"{number}", **one)]))

    # Six owls were told while the cash stayed inside, three robots when it was taken.
    assert take_of(owner_client) == {"Plush owl": "60.00", "Tin robot": "30.00"}


def test_stops_of_one_cabinet_alone(owner_client, world):
    tell(world)
    record(world, document(world, "x", days=8, entries=[entry(world, "x", 1, cents=500, loaded={0: 9})]))
    owl = world.prizes[0].pk

    def cabinets(query):
        return {row["Cabinet"] for row in file(owner_client, "prize-takes", owl, query=query)}

    codes = [meter.machine.code for meter in world.meters]
    assert cabinets(MARCH) == set(codes)
    assert cabinets(f"{MARCH}&cabinet={codes[1]}") == {codes[1]}
    said = text_of(owner_client.get(f"{reverse('prize-takes', args=[owl])}?{MARCH}&cabinet=%00"))
    assert "This cabinet is not known here, so nothing was left out." in said


WEEKS = 8
WITH = {"A": range(4), "B": range(4), "C": range(4, 8), "D": range(4, 8)}


def rotate(world, owner, places, more):
    """At each place a cabinet, eight weeks: 100 plays in a week without the robot, 100 and `more` with it inside; owls
    always."""
    for name in places:
        location = factories.LocationFactory(name=f"Place {name}", time_zone="America/Chicago")
        meter = factories.MeterFactory(machine__code=f"M-{name}")
        factories.PlacementFactory(machine=meter.machine, location=location)
        facts = {"by": owner, "at": factories.LONG_AGO, "received_at": factories.LONG_AGO}
        Reading.objects.create(meter=meter, value=0, kind="baseline", **facts)
        world.meters.append(meter)
        shown = 0
        for week in range(WEEKS + 1):
            cabinet, was_inside = len(world.meters) - 1, week - 1 in WITH[name]
            shown += (100 + more * was_inside) if week else 10
            loaded = {0: 5} | ({1: 30} if week in WITH[name] and not was_inside else {})
            left = 30 if week in WITH[name] else 1
            found = ({0: 5} if week else {}) | ({1: left} if was_inside else {})
            gone = [{"prize": world.prizes[1].pk, "pieces": 1}] if was_inside and left == 1 else []
            said = {"found": found, "loaded": loaded, "removed": gone}
            one = entry(world, f"{name}{week}", cabinet, reading=shown, cents=100, **said)
            raw = document(world, f"{name}{week}", days=7 * week, entries=[one])
            record(world, {**raw, "location": location.pk})


SPRING = "since=2026-03-01&until=2026-05-31"


def drawing(client):
    return {row["Prize"]: row["With it inside"] for row in file(client, query=SPRING)}


def test_cabinets_that_are_played_more_with_a_prize_inside_say_so(owner_client, owner, world):
    rotate(world, owner, "ABCD", 50)

    assert drawing(owner_client) == {"Plush owl": "too little to say", "Tin robot": "50 % more plays"}
    said = text_of(owner_client.get(f"{reverse('earnings-prizes')}?{SPRING}"))
    assert "Tin robot draws players With Tin robot inside, cabinets are played more (" in said
    assert "1 of 2 prizes can be compared" in said
    robot, owl = (one.pk for one in reversed(world.prizes))
    page = text_of(owner_client.get(f"{reverse('prize-earnings', args=[robot])}?{SPRING}"))
    assert "50 % more plays a day with Tin robot inside" in page
    assert "by 4 places that had it for some of these days and not for others. A comparison, not a proof." in page
    assert "21.4 with it, 14.3 without" in page
    assert "after all prizes won: the mean of 4 cabinets that had it for some of these days" in page
    told = text_of(owner_client.get(f"{reverse('prize-earnings', args=[owl])}?{SPRING}"))
    assert "too little to say (no place had it for some of the days and not for others; it takes 3)" in told


def test_what_a_day_leaves_is_the_mean_of_cabinets_that_tell_of_both():
    both = [(None, ADay(1, 10), ADay(1, 5)), (None, ADay(9, 99), ADay(2, None)), (None, ADay(2, 21), ADay(2, 6))]
    assert left_a_day(both) == (16, 6, 2)  # 15.5 and 5.5, half up
    assert left_a_day(both[1:2]) is None


def test_played_less_with_it(owner_client, owner, world):
    rotate(world, owner, "ABCD", -40)

    assert drawing(owner_client)["Tin robot"] == "40 % fewer plays"
    assert "With Tin robot inside, cabinets are played less" in text_of(
        owner_client.get(f"{reverse('earnings-prizes')}?{SPRING}")
    )


def test_two_places_say_too_little_and_how_to_learn_it(owner_client, owner, world):
    rotate(world, owner, "AC", 50)

    assert drawing(owner_client)["Tin robot"] == "too little to say"
    said = text_of(owner_client.get(f"{reverse('earnings-prizes')}?{SPRING}"))
    assert "Which prize draws players is not known yet To learn it, keep one out of some cabinets" in said


def test_days_before_a_cabinet_was_found_empty_are_not_compared(owner_client, owner, world):
    rotate(world, owner, "ABCD", 50)
    robot = world.prizes[1].pk

    def states():
        rows = file(owner_client, "prize-takes", robot, query=f"{SPRING}&cabinet=M-A")
        return [row["Until then"] for row in reversed(rows)]

    assert states() == ["", *["inside"] * 4, *["not inside"] * 4]
    counts = StockCount.objects.filter(place__machine__code="M-A", at=START + 14 * DAY)
    counts.update(quantity=0)
    record(world, document(world, "note", days=60))  # what is kept in memory is of before
    assert states()[2] == ""


@pytest.mark.parametrize("again", [0, 9])
def test_days_in_which_a_prize_ran_out_are_neither_with_it_nor_without(owner_client, world, again):
    loaded = entry(world, "a", reading=120, cents=100, loaded={0: 40, 1: 20})
    ran_out = entry(world, "b", reading=180, cents=100, found={0: 40, 1: 0}, loaded={1: again})
    for name, day, one in (("a", 0, loaded), ("b", 3, ran_out), ("c", 6, entry(world, "c", reading=240, cents=100))):
        record(world, document(world, name, days=day, entries=[one]))

    def states(prize):
        return [row["Until then"] for row in file(owner_client, "prize-takes", prize.pk)][1::-1]

    owl, robot = world.prizes
    assert states(robot) == ["for a part", "inside" if again else "not inside"]
    assert states(owl) == ["inside", "inside"]


def test_cabinets_in_another_place_are_another_matter(owner_client, owner, world):
    rotate(world, owner, "ABCD", 50)
    machine = world.meters[-1].machine
    moved = START + timedelta(days=28, hours=1)
    Placement.objects.filter(machine=machine).update(ended_at=moved, ended_by=owner)
    factories.PlacementFactory(machine=machine, location=factories.LocationFactory(name="Pier"), started_at=moved)
    robot = world.prizes[1].pk

    rows = file(owner_client, "prize-takes", robot, query=f"{SPRING}&cabinet=M-D")
    assert [row["Until then"] for row in reversed(rows)] == [""] * 6 + ["inside"] * 3
    assert [row["Plays without it"] for row in file(owner_client, "prize-earnings", robot, query=SPRING)][-1] == ""


def test_what_is_left_is_for_those_who_may_see_the_profit(hand_client, world):
    tell(world)
    owl = world.prizes[0].pk
    for name, arguments in (("earnings-prizes", []), ("prize-earnings", [owl])):
        assert {name for name in file(hand_client, name, *arguments)[0] if "leaves" in name.lower()} == set()
        page = text_of(hand_client.get(f"{reverse(name, args=arguments)}?{MARCH}"))
        assert ("leaves" in page.lower(), "in the profit" in page) == (False, False)
    assert take_of(hand_client) == {"Plush owl": "80.01", "Tin robot": "40.00"}


@pytest.mark.parametrize("name", ["earnings-prizes", "prize-earnings", "prize-takes"])
def test_queries_stay_the_same_for_one_and_for_three(owner_client, world, name):
    arguments = [] if name == "earnings-prizes" else [world.prizes[0].pk]

    def asked():
        with CaptureQueriesContext(connection) as captured:
            assert owner_client.get(f"{reverse(name, args=arguments)}?{MARCH}").status_code == 200
        return len(captured)

    first, second, third = stops(world)
    record(world, first)
    record(world, second)
    asked()
    record(world, document(world, "1", days=4, entries=[entry(world, "1", reading=220, cents=100, found={0: 33})]))
    count = asked()
    world.prizes.append(factories.PrizeFactory(name="Kite"))
    loads = [entry(world, "2", number, cents=100, loaded={0: 1, 1: 1, 2: 1}) for number in (0, 1)]
    record(world, document(world, "2", days=5, entries=loads))
    record(world, third)

    assert asked() == count


@pytest.mark.parametrize("query", ["since=2099-01-01&until=2099-01-31", "since=2001-01-01&until=2001-02-01", "q=%00"])
def test_odd_days_still_show_the_pages(owner_client, world, query):
    tell(world)
    owl = world.prizes[0].pk
    for name, arguments in (("earnings-prizes", []), ("prize-earnings", [owl]), ("prize-takes", [owl])):
        assert owner_client.get(f"{reverse(name, args=arguments)}?{query}").status_code == 200


@pytest.mark.parametrize(
    ("sort", "first"),
    [("prize", "Plush owl"), ("-prize", "Tin robot"), ("draws", "Tin robot"), ("-share", "Tin robot")],
)
def test_columns_put_prizes_in_order(owner_client, owner, world, sort, first):
    tell(world)
    rotate(world, owner, "ABCD", 50)

    assert file(owner_client, query=f"{SPRING}&sort={sort}")[0]["Prize"] == first


def test_empty_pages_teach(owner_client, world):
    assert "It was in no cabinet in these days." in text_of(
        owner_client.get(reverse("prize-earnings", args=[world.prizes[0].pk]))
    )
    assert "No cabinet that had it was visited" in text_of(
        owner_client.get(reverse("prize-takes", args=[world.prizes[0].pk]))
    )


def test_business_without_prizes_is_told_what_will_stand_here(owner_client):
    assert "Here stands what each prize brings" in text_of(owner_client.get(reverse("earnings-prizes")))
