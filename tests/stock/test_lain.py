"""What lay in which cabinet when."""

from datetime import timedelta

import pytest

from routeapp.stock.queries_lain import lain
from routeapp.stock.rules_lain import Lain
from tests.visits.books import DAY, FOREVER, START, document, entry, make_world, record

AT = [START + n * DAY for n in range(6)]
OWLS = Lain(0, [(AT[1], 20), (AT[3], 0), (AT[4], 7)])  # loaded, found empty, loaded again


@pytest.mark.parametrize(
    ("start", "end", "inside", "days"),
    [
        (0, 1, False, 0),
        (1, 3, True, 2),
        (1, 2, True, 1),
        (3, 4, False, 0),
        (2, 4, None, 1),
        (4, 5, True, 1),
        (0, 5, None, 3),
        (5, 5, True, 0),
        (5, 2, True, 0),
    ],
)
def test_stretches_with_a_prize_inside(start, end, inside, days):
    assert OWLS.was_inside(AT[start], AT[end]) is inside
    assert OWLS.days_inside(AT[start], AT[end]) == days


def test_a_count_tells_of_what_lay_there_before():
    assert [OWLS.before(at) for at in AT] == [0, 0, 20, 20, 0, 7]
    assert [OWLS.after(at) for at in AT] == [0, 20, 20, 0, 7, 7]
    assert Lain(5, []).days_inside(AT[0], AT[2]) == 2


def test_books_tell_what_lay_there_however_late_the_days_asked_for_are(owner, django_assert_num_queries):
    world = make_world(owner)
    cabinets, owl, robot = [one.machine_id for one in world.meters], *(one.pk for one in world.prizes)
    said = ({"loaded": {0: 20}}, {"found": {0: 14}, "loaded": {1: 5}}, {"found": {0: 0, 1: 5}})
    for number, one in enumerate(said):
        record(world, document(world, f"{number}", days=number, entries=[entry(world, f"{number}", **one)]))

    whole = lain(cabinets, START - DAY, FOREVER)
    assert whole == {cabinets[0]: {owl: Lain(0, [(AT[0], 20), (AT[1], 14), (AT[2], 0)]), robot: Lain(0, [(AT[1], 5)])}}
    a_part = lain(cabinets, AT[1] - timedelta(hours=1), AT[2])
    assert a_part == {cabinets[0]: {owl: Lain(20, [(AT[1], 14)]), robot: Lain(0, [(AT[1], 5)])}}
    with django_assert_num_queries(7):
        assert lain(cabinets, AT[2] + DAY, FOREVER) == {cabinets[0]: {robot: Lain(5, [])}}
