"""The page that compares quotes."""

from datetime import date

import pytest
from django.urls import reverse

from tests.factories import CabinetModelFactory
from tests.machines.counting import queries_of
from tests.machines.purchases.cast import ordered, quote, sea_quote

pytestmark = pytest.mark.django_db


@pytest.fixture
def model(db):
    return CabinetModelFactory()


@pytest.fixture
def both(owner, model):
    """A slow one by sea and a fast one from a store in the country."""
    return sea_quote(owner, model), quote(owner, model)


def compared(client, **said):
    return client.get(reverse("compare"), said).context


def names(found):
    return [row.name for row in found.rows]


def test_take_above_which_the_faster_wins_turns_the_answer_over(owner_client, both):
    take = compared(owner_client, pieces="3")["found"].rivals.take
    below = compared(owner_client, pieces="3", weekly_cents=f"{take / 100 - 1:.2f}")["found"]
    above = compared(owner_client, pieces="3", weekly_cents=f"{take / 100 + 1:.2f}")["found"]
    assert names(below) == ["Gannet Makers", "Tern Works"]
    assert names(above) == ["Tern Works", "Gannet Makers"]
    assert above.rivals.chance > below.rivals.chance


def test_more_weeks_without_a_host_let_the_faster_win_earlier(owner_client, both):
    patient = compared(owner_client, pieces="3", walk_away_bp="0")["found"].rivals.take
    hasty = compared(owner_client, pieces="3", walk_away_bp="6", elsewhere_weeks="20")["found"].rivals.take
    assert hasty < patient


def test_without_choosing_the_newest_quote_of_each_supplier_is_compared(owner_client, owner, model, both):
    newer = quote(owner, model, received_on=date(2026, 5, 20))
    shown = {row.quote.pk for row in compared(owner_client, pieces="3")["found"].rows}
    assert shown == {both[0].pk, newer.pk}


def test_chosen_quotes_are_compared(owner_client, both):
    found = compared(owner_client, pieces="3", quotes=[str(both[1].pk)])["found"]
    assert (names(found), found.rivals) == (["Tern Works"], None)


def test_quote_that_is_over_is_not_offered(owner_client, owner, model):
    quote(owner, model, valid_until=date(2026, 5, 5))
    assert compared(owner_client)["any"] is False


def test_quote_for_more_pieces_is_left_out_and_named(owner_client, owner, model, both):
    quote(owner, model, name="Bulk House", prices=[(10, 300_00)])
    found = compared(owner_client, pieces="3")["found"]
    assert [(one.supplier.name, least) for one, least in found.left_out] == [("Bulk House", 10)]


def test_answer_without_deliveries_says_that_it_is_weak(owner_client, both):
    page = owner_client.get(reverse("compare"), {"pieces": "3"}).content.decode()
    assert "A weak answer" in page


def test_choice_that_cannot_bear_a_mishap_is_warned_of(owner_client, owner, model):
    quote(owner, model)
    found = compared(owner_client, weekly_cents="21", horizon_weeks="52", damage_cents="400", interest_bp="0")["found"]
    assert found.best.value > 0
    assert found.best.cannot_bear == ["brings one broken cabinet"]


def test_choice_that_bears_both_is_not_warned_of(owner_client, both):
    assert compared(owner_client, pieces="3", weekly_cents="80")["found"].best.cannot_bear == []


def test_nothing_that_pays_is_said(owner_client, both):
    page = owner_client.get(reverse("compare"), {"weekly_cents": "1"}).content.decode()
    assert "None of them pays" in page


@pytest.mark.parametrize(
    ("name", "value"),
    [("pieces", "0"), ("pieces", "x"), ("weekly_cents", "-5"), ("walk_away_bp", "100"), ("horizon_weeks", "9999"),
     ("quotes", "zebra"), ("quotes", "99999999999999999999"), ("interest_bp", "nan"), ("damage_weeks", "1e9")],
)  # fmt: skip
def test_odd_values_are_told_and_nothing_is_compared(owner_client, both, name, value):
    context = compared(owner_client, **{name: value})
    assert (context["found"], list(context["form"].errors)) == (None, [name])


def test_more_than_six_are_refused(owner_client, owner, model):
    made = [quote(owner, model, name=f"House {number}") for number in range(7)]
    context = compared(owner_client, quotes=[one.pk for one in made])
    assert context["form"].errors["quotes"] == ["Compare 6 at most: take some out."]


def test_page_asks_the_database_as_often_for_three_as_for_one(owner_client, owner, model):
    first = quote(owner, model, name="One")
    ordered(owner, first)
    asked = queries_of(owner_client, reverse("compare"))
    for name in ("Two", "Three"):
        ordered(owner, quote(owner, model, name=name))
    assert queries_of(owner_client, reverse("compare")) == asked
