"""Rounds: made, changed as new versions, done by visits, skipped, planned anew, dropped."""

from datetime import timedelta
from uuid import UUID

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from routeapp.kit import clock
from routeapp.kit.errors import Refused
from routeapp.models import Round, RoundPlan
from routeapp.planning import actions_changes, actions_rounds, queries_rounds
from routeapp.planning.models_rounds import Driver
from tests.planning.cast import DAY, MONDAY, a_round, visited

pytestmark = pytest.mark.django_db
EIGHT = MONDAY + timedelta(hours=1)


def shown(one):
    return queries_rounds.shown([Round.objects.select_related("person__driver").get(pk=one.pk)])[0]


def names(one):
    return [stop.location.name for stop in shown(one).stops]


def states(one):
    return [stop.state for stop in shown(one).stops]


def change(route, one, places, pinned=()):
    order = [place.pk for place in places]
    return actions_changes.change_round(
        round=one, order=order, pinned={place.pk for place in pinned}, by=route.owner, at=MONDAY
    )


def test_round_waits_for_doors_and_leaves_as_late_as_it_can(route):
    plan = shown(a_round(route)).plan
    first = plan.stops.first()
    assert f"{first.arrives_at:%H:%M}" == "14:00"  # nine in Chicago, when the first door opens
    assert first.arrives_at - plan.starts_at < timedelta(minutes=15)


def test_change_is_a_new_version_and_the_old_one_stays(route):
    one = a_round(route)
    change(route, one, [route.places[2], route.places[0]], pinned=[route.places[2]])

    assert names(one) == ["Kite café", "Pier hall"]
    assert [(plan.number, plan.stops.count()) for plan in RoundPlan.objects.order_by("number")] == [(1, 3), (2, 2)]
    assert [stop.stop.pinned for stop in shown(one).stops] == [True, False]


def test_change_that_says_the_same_writes_nothing(route):
    one = a_round(route)
    change(route, one, route.places[:3])
    assert one.plans.count() == 1


def test_stop_is_done_when_a_visit_points_at_it(route):
    one = a_round(route)
    visited(route, route.places[1], EIGHT + timedelta(hours=1), number=90)
    assert states(one) == ["next", "done", "ahead"]


def test_visit_of_another_day_or_withdrawn_does_not_make_a_stop_done(route):
    one = a_round(route)
    visited(route, route.places[0], EIGHT - timedelta(days=1), number=90)
    assert states(one) == ["next", "ahead", "ahead"]


def test_rest_is_planned_from_the_last_stop_and_keeps_what_is_behind(route):
    one = a_round(route, route.places[:4])
    visited(route, route.places[0], EIGHT + timedelta(hours=5), number=90, minutes=30)
    plan = actions_changes.replan_rest(round=one, by=route.hand, at=EIGHT + timedelta(hours=5, minutes=30))

    assert names(one)[0] == "Pier hall"
    after = list(plan.stops.values_list("arrives_at", flat=True))[1:]
    assert min(after) >= EIGHT + timedelta(hours=5, minutes=30)


def test_rest_that_does_not_fit_is_left_out_with_words(route):
    one = a_round(route, route.places[:4])
    late = EIGHT + timedelta(hours=7, minutes=25)  # 15:25, the shift ends at four
    visited(route, route.places[0], late - timedelta(minutes=30), number=90)
    plan = actions_changes.replan_rest(round=one, by=route.hand, at=late)

    assert len(names(one)) < 4
    assert plan.remarks[0].startswith("Left out: ")


def test_rest_counts_what_was_driven_before(route):
    Driver.objects.update(most_driving=60)
    one = a_round(route, route.places[:4])
    first = shown(one).plan
    came = first.starts_at + timedelta(minutes=10), first.starts_at + timedelta(minutes=80)
    for number, at in enumerate(came):
        visited(route, route.places[number], at, number=90 + number)
    plan = actions_changes.replan_rest(round=one, by=route.hand, at=came[1] + timedelta(minutes=20))

    rest = plan.driving_minutes - 10 - 50
    assert (plan.starts_at, 0 < rest < 60) == (first.starts_at, True)
    assert list(plan.remarks) == [f"{60 + rest} minutes at the wheel: {rest} more than the 60 written down for a day."]


def test_late_start_is_no_time_at_the_wheel(route):
    one = a_round(route, route.places[:2])
    plan = shown(one).plan
    way = plan.stops.first().arrives_at - plan.starts_at
    visited(route, route.places[0], plan.starts_at + timedelta(minutes=100), number=90)
    visited(route, route.places[1], plan.starts_at + timedelta(minutes=130), number=91)
    assert shown(one).driven == way / timedelta(minutes=1) + 10


def test_rest_keeps_a_stop_that_people_said_must_be_made(route, client, monkeypatch):
    one = a_round(route, route.places[:4])
    late = EIGHT + timedelta(hours=7)
    visited(route, route.places[0], late - timedelta(minutes=30), number=90)
    monkeypatch.setattr(clock, "now", lambda: late)
    client.force_login(route.owner, backend="django.contrib.auth.backends.ModelBackend")
    to_do = {"uuid": str(UUID(int=5)), "errand": "bring", "text": "New sign", "by_day": DAY.isoformat()}
    assert client.post(reverse("to-do-add", args=[route.places[3].pk]), to_do).status_code == 302
    client.post(reverse("round-replan", args=[one.pk]))

    assert names(one) == ["Pier hall", "Gull baths", "Lamp arcade"]


def test_pinned_stops_are_driven_first(route):
    one = a_round(route, route.places[:4])
    change(route, one, [route.places[3], *route.places[:3]], pinned=[route.places[3]])
    actions_changes.replan_rest(round=one, by=route.owner, at=MONDAY)
    assert names(one)[0] == "Gull baths"


def test_second_round_of_a_person_on_one_day_is_refused(route):
    a_round(route)
    with pytest.raises(Refused, match="has a round on that day"):
        a_round(route, number=2)
    with pytest.raises(IntegrityError, match="round_one_a_person_and_day|UNIQUE"), transaction.atomic():
        Round.objects.create(uuid="0" * 31 + "3", person=route.hand, day=DAY, by=route.owner, at=MONDAY)


def test_dropped_round_stays_readable_and_takes_no_change(route, client):
    one = a_round(route)
    actions_rounds.drop_round(round=one, because="The van is broken", by=route.owner, at=MONDAY)
    with pytest.raises(Refused, match="was dropped"):
        change(route, one, route.places[:1])
    client.force_login(route.hand, backend="django.contrib.auth.backends.ModelBackend")
    assert "The van is broken" in client.get(reverse("round", args=[one.pk])).content.decode()


def test_list_asks_as_often_for_three_rounds_as_for_one(route, owner_client, monday, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    a_round(route)
    owner_client.get(reverse("rounds"))
    with CaptureQueriesContext(
        connection,
    ) as one:
        owner_client.get(reverse("rounds"))
    a_round(route, day=DAY + timedelta(days=1), number=2)
    a_round(route, person=route.owner, number=3)
    with django_assert_num_queries(len(one)):
        assert owner_client.get(reverse("rounds")).context["ahead"] == 3


def test_hand_sees_own_rounds_only_and_no_money(route, hand_client, monday):
    own, other = a_round(route), a_round(route, person=route.owner, number=2)

    assert len(hand_client.get(reverse("rounds")).context["table"].rows) == 1
    assert hand_client.get(reverse("round", args=[other.pk])).status_code == 404
    page = hand_client.get(reverse("round", args=[own.pk])).content.decode()
    assert ("Costs" in page, "Gains" in page) == (False, False)


def test_buttons_move_stops_without_a_script(route, owner_client, monday):
    one = a_round(route)
    pks = [place.pk for place in route.places[:3]]
    address = reverse("round-change", args=[one.pk])

    owner_client.post(address, {"stop": pks, "do": f"down {pks[0]}"})
    assert names(one) == ["Lamp arcade", "Pier hall", "Kite café"]
    owner_client.post(address, {"stop": [pks[1], pks[0], pks[2]], "do": f"out {pks[2]}", "add": route.places[4].pk})
    assert names(one) == ["Lamp arcade", "Pier hall", "Far farm"]
    owner_client.post(address, {"stop": [pks[1], pks[0]], "do": f"pin {pks[0]}"})
    assert [stop.stop.pinned for stop in shown(one).stops] == [False, True]


def test_places_of_a_round_are_not_offered_again(route, owner_client, monday):
    form = owner_client.get(reverse("round-change", args=[a_round(route).pk])).context["form"]
    assert [words for _, words in form.fields["add"].widget.choices] == ["Choose a location", "Far farm", "Gull baths"]


def test_stop_at_a_place_that_closed_for_good_can_be_taken_out(route, owner_client, monday):
    one = a_round(route)
    pks = [place.pk for place in route.places[:3]]
    route.places[1].closed_on = DAY
    route.places[1].save()
    address = reverse("round-change", args=[one.pk])

    moved = owner_client.post(address, {"stop": pks, "do": f"down {pks[0]}"}, follow=True)
    assert [str(said) for said in moved.context["messages"]] == [
        "Lamp arcade is closed for good. Take it out of the round first; it stays as it was."
    ]
    owner_client.post(address, {"stop": pks, "do": f"out {pks[1]}"})
    assert names(one) == ["Pier hall", "Kite café"]


def test_place_to_add_that_is_none_is_told(route, owner_client, monday):
    answer = owner_client.post(reverse("round-change", args=[a_round(route).pk]), {"add": "x"})
    assert (answer.status_code, list(answer.context["form"].errors)) == (422, ["add"])


def test_round_goes_on_from_the_page_of_a_visit(route, hand_client, monday):
    def link():
        return hand_client.get(reverse("round-next"), headers={"HX-Request": "true"}).text.strip()

    assert (link(), hand_client.get(reverse("round-next")).url) == ("", reverse("today"))
    one = a_round(route, route.places[:2])
    visit = visited(route, route.places[0], EIGHT + timedelta(hours=1), number=90)
    address = reverse("round", args=[one.pk])
    assert link() == f'<a class="button main-action" href="{address}">Next stop: Lamp arcade</a>'
    assert hand_client.get(reverse("round-next")).url == address
    assert f'hx-get="{reverse("round-next")}"' in hand_client.get(reverse("visit", args=[visit.pk])).text
    visited(route, route.places[1], EIGHT + timedelta(hours=2), number=91)
    end = reverse("round-end", args=[one.pk])
    assert link() == f'<a class="button main-action" href="{end}">Finish the round</a>'


def test_delay_is_said_in_hours_once_it_is_long(route, hand_client, monday):
    one = a_round(route, route.places[:2])
    visited(route, route.places[0], shown(one).stops[0].stop.arrives_at + timedelta(minutes=40), number=90)
    assert shown(one).behind_in_words == "40 minutes"
    visited(route, route.places[0], shown(one).stops[0].stop.arrives_at + timedelta(hours=3), number=91)
    assert "3 hours behind the plan" in hand_client.get(reverse("round", args=[one.pk])).text
