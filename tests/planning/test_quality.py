"""How good past forecasts were: each beside what came of it."""

from datetime import timedelta

from machines.cabinets.actions_meters import take_reading
from routeapp.planning.queries_outlook import outlook
from routeapp.planning.queries_quality import quality
from tests.earnings import story


def test_forecasts_stand_beside_their_own_days_also_after_two_readings_within_minutes(owner):
    route = story.make_route(owner)
    machine = route.meters[2].machine
    for day in range(1, 29, 3):
        one = story.entry(route, 3, reading=100 + 40 * day, cents=100, found=None, loaded=60)
        story.visit(route, route.cafe, story.utc(day, 10), one)
    again = story.utc(16, 10) + timedelta(minutes=10)
    take_reading(meter=route.meters[2], value=100 + 40 * 16, at=again, by=owner, received_at=story.RECEIVED)

    past = quality(outlook(story.utc(29, 12)), machine.pk).past

    assert {round((one.end - one.start) / timedelta(days=1)) for one in past} == {3}
    assert [one.end for one in past][:2] == [story.utc(28, 10), story.utc(25, 10)]
