"""A correction opened and sent as it stands says what the visit said, whatever happened since."""

from html.parser import HTMLParser
from uuid import uuid4

import pytest

from machines.faults.queries import open_faults
from machines.models import Fault, FaultFix
from routeapp.models import Mix, Visit
from tests.visits.books import FOREVER, document, entry, make_world, record, snapshot, some_id

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(owner):
    return make_world(owner)


class Typed(HTMLParser):
    """What a browser would send of the page's visit form."""

    def __init__(self, page):
        super().__init__()
        self.fields, self.inside, self.area, self.select = {}, False, None, None
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        if tag == "form":
            self.inside = "data-visit" in told
        elif self.inside and tag == "input" and told.get("type") != "file" and told.get("name"):
            ticks = told.get("type") == "checkbox"
            if not ticks or "checked" in told:
                self.fields.setdefault(told["name"], []).append(told.get("value", "on" if ticks else ""))
        elif self.inside and tag == "textarea":
            self.area = told["name"]
        elif self.inside and tag == "select":
            self.select = told["name"]
        elif self.select and tag == "option" and "selected" in told:
            self.fields[self.select] = [told["value"]]

    def handle_endtag(self, tag):
        if tag in ("select", "form"):
            self.select, self.inside = None, self.inside and tag != "form"

    def handle_data(self, data):
        if self.area:
            self.fields[self.area], self.area = [data.strip()], None


def send_as_shown(client, visit, **changed):
    address = f"/visits/{visit.pk}/correct/"
    fields = Typed(client.get(address).content.decode()).fields
    return client.post(address, fields | {"reason": "Looked again", "asked": "on"} | changed, follow=True)


def said(visit):
    return [{**part, "id": None} for part in visit.document["entries"]]


def test_prizes_that_ran_out_since_stay_in_the_correction(world, hand_client):
    first = [entry(world, "a", reading=150, loaded={0: 30}, removed=[{"prize": world.prizes[1].pk, "pieces": 2}])]
    wrong = record(world, document(world, "a", entries=first)).visit
    record(world, document(world, "b", days=7, entries=[entry(world, "b", reading=190, found={0: 0})]))
    before = snapshot(world)

    send_as_shown(hand_client, wrong)

    assert said(Visit.objects.get(replaces=wrong.pk)) == said(wrong)
    assert snapshot(world) == before


def test_correction_does_not_say_what_is_inside_by_now(world, hand_client):
    wrong = record(world, document(world, "a", entries=[entry(world, "a", loaded={0: 30})])).visit
    record(world, document(world, "b", days=7, entries=[entry(world, "b", found={0: 12}, loaded={0: 5})]))

    new, again = (
        hand_client.get(address).content.decode()
        for address in (f"/visits/new/{world.location.pk}/", f"/visits/{wrong.pk}/correct/")
    )
    assert [page.count("17 should be") for page in (new, again)] == [2, 0]


def test_mixes_that_went_out_of_use_and_prizes_no_longer_bought_stay_in_the_correction(world, hand_client):
    mix = Mix.objects.create(name="Harbour mix")
    mix.lines.create(prize=world.prizes[1], quantity=5)
    part = entry(world, "a", found={0: 0}, mixes=[{"mix": mix.pk, "times": 2}])
    wrong = record(world, document(world, "a", entries=[part])).visit
    mix.retired_at = FOREVER
    mix.save()
    world.prizes[0].retired = True
    world.prizes[0].save()

    send_as_shown(hand_client, wrong)

    assert said(Visit.objects.get(replaces=wrong.pk)) == said(wrong)


def test_fault_that_was_fixed_at_the_visit_stays_fixed_in_the_correction(world, hand_client):
    machine = world.meters[0].machine
    fault = Fault.objects.create(
        uuid=uuid4(), machine=machine, via="host", text="Dark", at=FOREVER, received_at=FOREVER
    )
    part = entry(world, "a", reading=150, fixed=[{"fault": str(fault.uuid), "how": "New tube"}])
    wrong = record(world, document(world, "a", entries=[part])).visit

    send_as_shown(hand_client, wrong)

    assert said(Visit.objects.get(replaces=wrong.pk)) == said(wrong)
    assert list(FaultFix.objects.live().values_list("how", flat=True)) == ["New tube"]
    assert not open_faults().exists()


def test_fault_that_was_found_at_the_visit_and_fixed_since_stays_fixed(world, hand_client):
    fault = some_id("fault")
    part = entry(world, "a", reading=150, faults=[{"id": fault, "text": "Dark", "stops_play": True}])
    wrong = record(world, document(world, "a", entries=[part])).visit
    later = entry(world, "b", reading=160, fixed=[{"fault": fault, "how": "New tube"}])
    record(world, document(world, "b", days=2, entries=[later]))

    send_as_shown(hand_client, wrong)

    assert said(Visit.objects.get(replaces=wrong.pk)) == said(wrong)
    assert not open_faults().exists()


def test_all_that_a_form_can_say_comes_back_from_a_correction(world, hand_client):
    part = entry(
        world, "a", reading=150, cents=0, found={0: 4}, loaded={1: 6}, tests_before=2, found_estimated=True,
        settings={"grip_strength": 55}, note="Sticky", checks={"A check of then": True},
    )  # fmt: skip
    part["cash"] = {"taken": "counted", "how": "denominations", "cents": 250, "lines": {"c25": 10}}
    sealed = entry(world, "a", 1)
    sealed["cash"] = {"taken": "sealed", "bag": {"id": some_id("s"), "number": "S-7"}, "estimate_cents": 5000}
    paid = {"cents": 100, "received_by": "Mika"}
    wrong = record(world, document(world, "a", entries=[part, sealed], host_payment=paid, note="Rain")).visit

    send_as_shown(hand_client, wrong)

    right = Visit.objects.get(replaces=wrong.pk)
    assert said(right) == said(wrong)
    for name in ("arrived_at", "load_from", "host_payment", "note"):
        assert right.document[name] == wrong.document[name], name
