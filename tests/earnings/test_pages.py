"""The earnings pages through the front door."""

import csv
import io
import re
from html import unescape

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests.earnings import story
from tests.earnings.story import MARCH

pytestmark = pytest.mark.django_db


def get(client, name, query=""):
    return client.get(f"{reverse(name)}?{query}")


def text_of(response):
    """What a person reads: no tags, single spaces."""
    content = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", unescape(content))


def test_answer_stands_first(owner_client, owner):
    story.tell(owner)
    text = text_of(get(owner_client, "earnings", MARCH))

    assert "$587.15 in March 2026" in text or "$587.15 in March" in text
    assert "Nothing was taken in February" in text
    assert "The cash of 1 visit is not counted yet" in text


def test_comparison_is_with_the_same_days_before(owner_client, owner):
    story.tell(owner)
    text = text_of(get(owner_client, "earnings", "since=2026-03-09&until=2026-03-15"))

    # 360.15 against 177.00 is 103.47… % more.
    assert "$360.15 from 9 to 15 March" in text
    assert "103 % more than from 2 to 8 March" in text


def test_totals_row_says_the_same_as_the_answer(owner_client, owner):
    story.tell(owner)
    page = get(owner_client, "earnings", MARCH).content.decode()
    feet = [re.findall(r">([^<>]+)</a>", foot) for foot in re.findall(r"<tfoot>(.*?)</tfoot>", page, re.S)]

    assert feet == [["$587.15", "670", "1 in 74", "1 %", "short by $2.85", "$237.19"]] * 2


def test_unusual_things_are_said_in_words(owner_client, owner):
    route = story.tell(owner)
    visit = [story.entry(route, 2, reading=430, cents=5_000)]
    story.visit(route, route.arcade, story.utc(19, 18), *visit)
    text = text_of(get(owner_client, "earnings", MARCH))

    # 3.00 on the 2nd and 50.00 on the 19th; the sealed bag of the 18th has to be counted first.
    assert "C2 is short by $53.00 over 3 collections." in text
    assert "not known yet for 1 collection." in text


def test_cabinet_short_by_more_than_a_few_plays_is_named(owner_client, owner):
    route = story.make_route(owner)
    story.visit(route, route.arcade, story.utc(3, 18), story.entry(route, 1, reading=200, cents=9_000))

    assert "C1 is short by $10.00 over 1 collection." in text_of(get(owner_client, "earnings", MARCH))


def test_every_figure_of_a_row_leads_to_entries_with_the_same_sum(owner_client, owner):
    route = story.tell(owner)
    page = get(owner_client, "earnings", MARCH).content.decode()
    links = set(re.findall(r'</th>\s*<td class="n" data-label="Take"><a href="([^"]+)">(\$[\d.,]+)</a>', page))

    takes = {unescape(link): take for link, take in links if "takes" in link}
    assert len(takes) == 6  # three cabinets, two locations, all together
    for link, take in takes.items():
        assert text_of(owner_client.get(link)).count(f"{take} in March") == 1
        assert f'<td class="n" data-label="Take">{take}</td>' in owner_client.get(link).content.decode()
    assert f"{reverse('earnings-takes')}?{MARCH}&location={route.cafe.pk}" in takes


@pytest.mark.usefixtures("year_2026")
def test_entries_lead_to_their_visit(owner_client, owner):
    route = story.tell(owner)
    page = get(owner_client, "earnings-takes", "since=2026-03-15&until=2026-03-15").content.decode()

    assert reverse("visit", args=[route.night.pk]) in page
    assert "Sun 15 Mar, 23:30" in page
    assert "Ines" in page


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("since=2026-03-31&until=2026-03-01", "they were exchanged"),
        ("since=never&until=2026-03-01", "could not be read"),
        ("since=0001-01-01&until=9999-12-31", "could not be read"),
        ("since=2001-01-01&until=2026-03-31", "more than 53 weeks"),
        ("range=next-aeon", "no such days to choose"),
        ("since=%00", "could not be read"),
        ("since=2026-03-01&until=99999999999999999999", "could not be read"),
    ],
)
@pytest.mark.parametrize("name", ["earnings", "earnings-takes"])
def test_days_nobody_can_mean_get_a_sentence_and_a_page(owner_client, owner, name, query, said):
    story.tell(owner)
    response = get(owner_client, name, query)

    assert response.status_code == 200
    assert said in text_of(response)


@pytest.mark.parametrize("query", ["location=99999999999999999999999", "cabinet=%00", "person=x", "location=-1"])
def test_unknown_limits_get_a_sentence(owner_client, owner, query):
    story.tell(owner)

    text = text_of(get(owner_client, "earnings-takes", f"{MARCH}&{query}"))

    assert f"This {query.split('=')[0]} is not known here" in text
    assert "$587.15 in March" in text


@pytest.mark.parametrize(
    "query", ["sort=nonsense", "sort=-", "page=99999", "page=x", "since=2026-03-04", "until=2026-03-31"]
)
def test_odd_addresses_still_show_the_page(owner_client, owner, query):
    story.tell(owner)

    for name in ("earnings", "earnings-takes", "earnings-csv"):
        assert get(owner_client, name, query).status_code == 200


def order_of(page, title):
    table = page.split(f">{title}</h2>")[1].split("</tbody>")[0]
    return re.findall(r'scope="row"><a[^>]*>([^<]+)</a>', table)


@pytest.mark.parametrize(
    ("sort", "cabinets"),
    [
        ("", ["C1", "C2", "C3"]),
        ("take", ["C3", "C2", "C1"]),
        ("name", ["C1", "C2", "C3"]),
        ("cash", ["C2", "C1", "C3"]),
        ("payout", ["C1", "C2", "C3"]),  # C3 gave no prize: without a figure it stays last, upwards and downwards
        ("-payout", ["C2", "C1", "C3"]),
    ],
)
def test_columns_put_rows_in_order(owner_client, owner, sort, cabinets):
    story.tell(owner)

    assert order_of(get(owner_client, "earnings", f"{MARCH}&sort={sort}").content.decode(), "By cabinet") == cabinets


def test_htmx_gets_the_part_and_a_browser_the_page(owner_client, owner):
    story.tell(owner)
    address = f"{reverse('earnings')}?{MARCH}"

    assert owner_client.get(address).content.startswith(b"<!doctype html>")
    part = owner_client.get(address, headers={"HX-Request": "true"}).content
    assert b"<!doctype" not in part
    assert b"$587.15" in part


def test_empty_business_is_told_what_will_stand_here(owner_client):
    assert "first a cabinet has to stand somewhere" in text_of(get(owner_client, "earnings"))
    assert "No visit fell into these days" in text_of(get(owner_client, "earnings-takes"))
    assert rows_of(get(owner_client, "earnings-csv"))[1][:3] == ["All together", "0", "0.00"]


def rows_of(response):
    content = b"".join(response.streaming_content)
    assert content.startswith(b"\xef\xbb\xbf")
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"))))


def test_csv_says_what_the_tables_say(owner_client, owner):
    story.tell(owner)
    response = get(owner_client, "earnings-csv", f"table=cabinet&{MARCH}")

    assert response["Content-Disposition"] == 'attachment; filename="cabinets 2026-03-01 to 2026-03-31.csv"'
    head, *rows = rows_of(response)
    assert head[0] == "cabinet"
    assert [row[0] for row in rows] == ["C1", "C2", "C3", "All together"]
    assert [row[2] for row in rows] == ["400.05", "147.00", "40.10", "587.15"]
    assert [row[10] for row in rows] == ["0.05", "-3.00", "0.10", "-2.85"]


def test_csv_of_service_entries_has_iso_days_of_the_location(owner_client, owner):
    route = story.tell(owner)
    rows = rows_of(get(owner_client, "earnings-takes", f"as=csv&{MARCH}"))

    night = next(row for row in rows if row[-1] == str(route.night.pk))
    assert night[:6] == ["2026-03-15", "2026-03-16T04:30:00+00:00", "Lantern Arcade", "C1", "Ines", "50.05"]
    assert len(rows) == 9


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@sum", "\ttab", "\rreturn"])
def test_csv_keeps_names_from_running_as_formulas(owner_client, owner, name):
    route = story.tell(owner)
    route.cafe.name = name
    route.cafe.save(update_fields=["name"])

    names = {row[0] for row in rows_of(get(owner_client, "earnings-csv", MARCH))}

    assert f"'{name}" in names
    assert name not in names


def test_pictures_have_words_and_a_table(owner_client, owner):
    story.tell(owner)
    page = get(owner_client, "earnings", MARCH).content.decode()

    assert '<title id="weeks-title">Take by week</title>' in page
    assert "from 9 to 15 March: $360.15" in page or "from 9 to 15 March 2026: $360.15" in page
    assert '<th scope="row">Mon 9 Mar 2026</th><td class="n">$360.15</td>' in page


@pytest.mark.parametrize("name", ["earnings", "earnings-takes"])
def test_queries_stay_the_same_for_one_and_for_three(owner_client, owner, name, django_assert_num_queries):
    route = story.make_route(owner)
    story.visit(route, route.cafe, story.utc(3, 11), story.entry(route, 3, reading=140, cents=4_000, loaded=9))
    story.visit(route, route.cafe, story.utc(4, 11), story.entry(route, 3, found=8, cash=story.sealed("S-1")))
    count = queries_of(owner_client, name)
    story.tell_on(route)

    assert queries_of(owner_client, name) == count


def queries_of(client, name):
    with CaptureQueriesContext(connection) as captured:
        assert get(client, name, MARCH).status_code == 200
    return len(captured)


def test_host_share_is_for_those_who_may_read_agreements(hand_client, bookkeeper):
    from django.test import Client

    office = Client()
    office.force_login(bookkeeper, backend="django.contrib.auth.backends.ModelBackend")

    for client, sees in ((hand_client, False), (office, True)):
        file = b"".join(client.get("/earnings/csv/?table=location").streaming_content).decode()
        assert ("share" in dict(client.get("/earnings/").context["columns"]), "host's share" in file) == (sees, sees)
