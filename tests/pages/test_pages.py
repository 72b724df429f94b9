"""Today, search, a cabinet, a location and a label through the front door."""

import re
import uuid
from html import unescape

import pytest
from django.core.cache import caches
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from locations.models import Contact
from machines.cabinets.actions import change_status
from machines.faults.actions import report_fault
from machines.labels.actions import label_for
from routeapp.pages.queries_search import MOST
from tests import factories
from tests.earnings import story

pytestmark = pytest.mark.django_db


def text_of(response):
    content = re.sub(r"<[^>]+>", " ", response.content.decode().split("<main")[1])
    return re.sub(r"\s+", " ", unescape(content))


def queries_of(client, address):
    with CaptureQueriesContext(connection) as captured:
        assert client.get(address).status_code == 200
    return len(captured)


def test_empty_business_is_taught_the_first_steps(owner_client):
    text = text_of(owner_client.get("/"))

    assert "First steps" in text
    for step in (
        "Say what your business is called",
        "Add a cabinet",
        "Add the location",
        "Assign the cabinet",
        "Add the prizes",
        "Add the people",
    ):
        assert step in text
    assert "need you" not in text


def test_first_steps_that_are_done_are_ticked(owner_client):
    factories.MachineFactory()
    page = owner_client.get("/").content.decode()

    assert '<span class="state good">Add a cabinet you own, with its model and meters</span>' in page
    assert '<span class="state none">Add the prizes it gives</span>' in page


def test_today_says_how_many_things_need_somebody(owner_client, owner):
    route = story.tell(owner)
    facts = {"by": owner, "at": story.RECEIVED, "received_at": story.RECEIVED}
    machine = route.meters[0].machine
    fault = report_fault(uuid=uuid.uuid4(), machine=machine, text="Claw hangs", via="host", stops_play=True, **facts)
    page = owner_client.get("/")

    assert re.search(r"\d+ things need you", text_of(page))
    assert "Claw hangs (told by the host)" in text_of(page)
    assert reverse("fault-fix", args=[fault.pk]) in page.content.decode()
    assert "First steps" not in text_of(page)


def test_page_shows_at_once_what_was_just_written_down(owner_client, owner):
    route = story.tell(owner)
    address = reverse("cabinet", args=["C3"])
    assert "$77.00" not in text_of(owner_client.get(address))
    story.visit(route, route.cafe, story.utc(19, 9), story.entry(route, 3, reading=217, cents=7_700))

    assert "$77.00" in text_of(owner_client.get(address))


def test_strangers_report_shows_at_once(owner_client, client, owner):
    route = story.tell(owner)
    address = reverse("cabinet", args=["C3"])
    owner_client.get(address)
    facts = {"by": None, "at": story.RECEIVED, "received_at": story.RECEIVED}
    report_fault(uuid=uuid.uuid4(), machine=route.meters[2].machine, text="Ate my coin", via="label", **facts)

    assert "Ate my coin" in text_of(owner_client.get(address))


@pytest.mark.parametrize("typed", ["C2", "c2", " c2 "])
def test_code_of_a_cabinet_leads_straight_to_it(owner_client, owner, typed):
    story.make_route(owner)

    assert owner_client.get("/search/", {"q": typed}).url == reverse("cabinet", args=["C2"])


def test_code_of_a_label_leads_to_its_cabinet(owner_client, owner, noon):
    route = story.make_route(owner)
    code = label_for(machine=route.meters[1].machine, by=owner, at=noon).code
    typed = "-".join([code[:4].lower(), code[4:8], code[8:12], code[12:]])

    assert owner_client.get("/search/", {"q": typed}).url == reverse("cabinet", args=["C2"])


@pytest.mark.parametrize(
    ("typed", "heading", "found"),
    [
        ("SER-77", "Cabinets", "C1"),
        ("lantern arc", "Locations", "Lantern Arcade"),
        ("mika", "Hosts", "Tideline Leisure"),
        ("owl", "Prizes", "Plush owl"),
    ],
)
def test_search_finds_by_noun(owner_client, owner, typed, heading, found):
    route = story.make_route(owner)
    route.meters[0].machine.serial = "SER-77-4"
    route.meters[0].machine.save(update_fields=["serial"])
    Contact.objects.create(host=factories.HostFactory(name="Tideline Leisure"), name="Mika Berg")
    text = text_of(owner_client.get("/search/", {"q": typed}))

    assert f"{heading} {found}" in text


@pytest.mark.parametrize(
    "typed", ["", " ", "nothing like it", "%", "\0", "x" * 5000, "a " * 500, "'\"<script>", "é" * 90]
)
def test_search_for_anything_answers(owner_client, owner, typed):
    story.make_route(owner)
    response = owner_client.get("/search/", {"q": typed})

    assert response.status_code == 200
    assert "<script>" not in response.content.decode().replace("</script>", "")


def test_search_shows_the_first_of_many(owner_client):
    for _ in range(MOST + 1):
        factories.MachineFactory()

    page = owner_client.get("/search/", {"q": "harbour"})
    assert page.content.decode().count('href="/cabinets/C-') == MOST
    assert "Type more letters" in text_of(page)


@pytest.mark.usefixtures("year_2026")
def test_cabinet_page_says_how_it_is_doing(owner_client, owner):
    story.tell(owner)
    text = text_of(owner_client.get(reverse("cabinet", args=["C1"])))

    assert "C1 Harbour Claw" in text
    assert "Lantern Arcade" in text
    assert "1 prize in 67 plays" in text  # 400 plays, 6 owls
    assert "Sun 15 Mar, 23:30 Ines $50.05 50 plays · over by $0.05" in text
    assert "44 at the last visit" in text


def test_cabinet_page_says_whether_its_cash_is_mostly_short(owner_client, owner):
    story.tell(owner)
    said = re.search(r"Cash (.*?) Last visit", text_of(owner_client.get("/cabinets/C1/")))

    assert said[1] == (
        "over at 1 of the last 4 collections, together over by $0.05 (0.0 % of what the meter says); taken by Ines"
    )


def test_cabinet_code_may_be_typed_small(owner_client, owner):
    story.make_route(owner)

    assert owner_client.get("/cabinets/c1/").status_code == 200
    assert owner_client.get("/cabinets/no-such/").status_code == 404


def test_cabinet_that_stands_nowhere_offers_to_assign_it(owner_client):
    machine = factories.MachineFactory()
    page = owner_client.get(reverse("cabinet", args=[machine.code]))

    assert f"{reverse('placement-assign')}?cabinet={machine.code}" in page.content.decode()
    assert "Nobody has visited it yet" in text_of(page)


def test_bookkeeper_sees_a_cabinet_without_buttons_for_hands(client, bookkeeper):
    route = story.make_route(bookkeeper)
    client.force_login(bookkeeper, backend="django.contrib.auth.backends.ModelBackend")
    page = client.get(reverse("cabinet", args=["C1"])).content.decode()

    assert reverse("visit-start", args=[route.arcade.pk]) not in page
    assert reverse("cabinet-edit", args=["C1"]) not in page


@pytest.mark.usefixtures("year_2026")
def test_location_page_says_what_it_earns_and_on_which_terms(owner_client, owner):
    route = story.tell(owner)
    text = text_of(owner_client.get(reverse("location", args=[route.arcade.pk])))

    assert "50 % of the take" in text
    assert "Wed 18 Mar, 13:00 Ines" in text
    assert "$50.00 a bag is not counted yet" in text
    assert "C1 Harbour Claw" in text


def test_location_page_of_an_empty_place_teaches(owner_client):
    location = factories.LocationFactory()
    text = text_of(owner_client.get(reverse("location", args=[location.pk])))

    assert "No cabinet stands here" in text
    assert "Nothing is agreed yet" in text
    assert "Nobody has written down when it is open" in text


@pytest.mark.parametrize("pk", [987_654, 10**30])
def test_unknown_location_is_a_page_that_says_so(owner_client, pk):
    response = owner_client.get(f"/locations/{pk}/")

    assert response.status_code == 404
    assert "There is nothing here" in text_of(response)


def addresses(code):
    dashed = "-".join(code[start : start + 4] for start in range(0, 16, 4))
    return [f"/m/{code}/", f"/m/{code}", f"/M/{code}", f"/M/{code}/", f"/m/{code.lower()}/", f"/m/{dashed}/"]


def test_label_shows_the_cabinet_to_our_own_people(owner_client, owner, noon):
    route = story.make_route(owner)
    code = label_for(machine=route.meters[1].machine, by=owner, at=noon).code

    for address in addresses(code):
        assert "C2 Harbour Claw" in text_of(owner_client.get(address))


def test_label_shows_strangers_a_form_and_nothing_private(client, owner, noon):
    route = story.make_route(owner)
    code = label_for(machine=route.meters[1].machine, by=owner, at=noon).code

    for address in addresses(code):
        response = client.get(address)
        assert response.status_code == 200
        assert "Lantern Arcade" not in response.content.decode()
        assert response["X-Robots-Tag"] == "noindex, nofollow"


def test_person_without_a_role_is_a_stranger_to_a_label(client, owner, noon, django_user_model):
    route = story.make_route(owner)
    code = label_for(machine=route.meters[1].machine, by=owner, at=noon).code
    client.force_login(django_user_model.objects.create_user("nobody"), "django.contrib.auth.backends.ModelBackend")

    assert "Lantern Arcade" not in client.get(f"/m/{code}/").content.decode()


def test_signing_in_from_a_label_leads_back_to_it(client, owner, noon):
    route = story.make_route(owner)
    scanned = f"/M/{label_for(machine=route.meters[1].machine, by=owner, at=noon).code}"
    link = re.search(r'href="(/sign-in/\?next=[^"]+)"', client.get(scanned).content.decode())[1]
    sent = {"username": owner.username, "password": factories.PASSWORD}
    answer = client.post(unescape(link), sent)

    assert answer.url == scanned
    assert "C2 Harbour Claw" in text_of(client.get(answer.url))


@pytest.mark.parametrize("code", ["0000000000000000", "x", "%00", "é", "A" * 400, "..%2f"])
def test_unknown_label_is_the_same_404_for_everybody(owner_client, client, code):
    assert owner_client.get(f"/m/{code}/").status_code == 404
    client.logout()
    assert client.get(f"/m/{code}/").status_code == 404


def test_queries_stay_the_same_for_one_and_for_three(owner_client, owner):
    route = story.make_route(owner)
    shown = [reverse("cabinet", args=["C1"]), reverse("location", args=[route.arcade.pk]), "/", "/search/?q=harbour"]
    for day in (3, 4):
        entries = [story.entry(route, number, found=3 - day + 1, loaded=2) for number in (1, 2)]
        story.visit(route, route.arcade, story.utc(day, 9), *entries)
    counts = [queries_of(owner_client, address) for address in shown]
    for day in (5, 6, 7):
        entries = [story.entry(route, number, reading=100 + day, cents=day, found=1, loaded=2) for number in (1, 2)]
        story.visit(route, route.arcade, story.utc(day, 9), *entries)
    for _ in range(2):
        meter = factories.MeterFactory()
        factories.PlacementFactory(machine=meter.machine, location=route.arcade)
    story.visit(route, route.cafe, story.utc(7, 9), story.entry(route, 3, reading=140, cents=4_000))
    caches["forecasts"].clear()  # each cabinet is worked out anew again

    assert [queries_of(owner_client, address) for address in shown] == counts


def test_watcher_is_told_that_all_is_well(client, db):
    response = client.get("/healthz")

    assert (response.status_code, response.content) == (200, b"ok")


def test_robots_are_kept_out(client, db):
    assert client.get("/robots.txt").content == b"User-agent: *\nDisallow: /\n"


def test_cabinet_says_how_long_it_was_out_of_order(owner, owner_client):
    route = story.make_route(owner)
    facts = {"machine": route.meters[0].machine, "by": owner, "received_at": story.RECEIVED}
    change_status(status="out_of_order", note="Belt slipped", at=story.utc(8, 15), **facts)
    change_status(status="placed", at=story.utc(12, 18), **facts)

    page = text_of(owner_client.get(reverse("cabinet", args=["C1"])))

    assert "Out of order for 4 days, 3 hours: Belt slipped" in page.replace("\xa0", " ")
