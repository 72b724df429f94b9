"""The page that asks what the columns of a bank's file mean, and shows how its rows read by that."""

from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from routeapp.cash import queries_bank as queries
from routeapp.cash.models_bank import Statement
from tests.cash.test_pages import words

HEAD = "Date,Description,Amount\n"


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def upload(office):
    """Send a file, then say its columns; follows to the page that answers."""

    def send(text, **said):
        uuid = uuid4()
        office.post(reverse("bank-statement-add"), {"uuid": uuid, "file": SimpleUploadedFile("m.csv", text.encode())})
        page = office.get(reverse("bank-statement", args=[uuid]))
        if said.pop("look", False):
            return page
        shown = page.context["form"]
        data = {name: shown[name].value() or "" for name in shown.fields} | {"account": "Till"} | said
        return office.post(reverse("bank-statement", args=[uuid]), data, follow=True)

    return send


def test_columns_are_guessed_by_their_headings_and_remembered(upload):
    text = "Posted,Particulars,Paid in,Paid out,Balance\n25.03.2026,cash,12.00,,12.00\n"
    assert "new row" in words(upload(text, c1="more"))
    form = upload("Posted,Particulars,Paid in,Paid out,Balance\n26.03.2026,cash,9.00,,21.00\n", look=True).context[
        "form"
    ]
    assert [form[f"c{at}"].value() for at in range(5)] == ["day", "more", "money_in", "money_out", ""]
    assert form["account"].value() == "Till"


@pytest.mark.parametrize(
    ("columns", "why"),
    [
        ({"c0": ""}, "Say which column holds the day."),
        ({"c2": ""}, "Say which column holds the amount"),
        ({"c1": "money_in"}, "Either one column holds the amount"),
        ({"account": ""}, "required"),
    ],
)
def test_columns_that_do_not_do_are_asked_again(upload, columns, why):
    answer = upload(f"{HEAD}2026-03-05,cash,12.00\n", **columns)
    assert (answer.status_code, why in words(answer)) == (422, True)


def test_first_rows_show_how_they_read_while_columns_are_chosen(office, upload):
    text = "Date,Details,Sum,Kind of booking\n2026-03-05,charge,4.00,Debit\n2026-03-06,cash,12.00,Put in\n"
    page = upload(text, look=True)
    assert [page.context["form"][f"c{at}"].value() for at in range(4)] == ["day", "text", "amount", ""]
    assert "in</span> $4.00" in words(page)
    uuid = Statement.objects.get().uuid
    shown = page.context["form"]
    data = {name: shown[name].value() or "" for name in shown.fields} | {"account": "Till", "c3": "way"}
    look = office.post(reverse("bank-statement", args=[uuid]), data | {"look": "1"}, headers={"HX-Request": "true"})
    why = "An amount stands here, but not whether it came in or went out."
    assert (look.status_code, "out</span> −$4.00" in words(look), why in words(look)) == (200, True, True)
    asked = office.post(reverse("bank-statement", args=[uuid]), data)
    (debit, put_in) = asked.context["form"].bound_words()
    assert (asked.status_code, put_in.errors) == (422, ["This field is required."])
    data |= {debit.html_name: "out", put_in.html_name: "in"}
    office.post(reverse("bank-statement", args=[uuid]), data)
    assert sorted(queries.rows().values_list("cents", flat=True)) == [-400, 1200]
    again = upload(text, look=True)  # remembered, with its words
    assert [row.cents for row in again.context["form"].as_read().rows] == [-400, 1200]


def test_word_far_down_is_asked_for_and_nothing_typed_is_lost(office, upload):
    many = "".join(f"2026-03-05,row {at},4.00,{'DR' if at < 80 else 'Adj'}\n" for at in range(90))
    asked = upload(f"Date,Details,Amount,D/C\n{many}")
    words = [(field.label, field.value(), field.errors) for field in asked.context["form"].bound_words()]
    assert words == [("“adj” means", "", ["This field is required."]), ("“dr” means", "out", [])]
    shown = asked.context["form"]
    data = {name: shown[name].value() or "" for name in shown.fields}
    data |= {shown.bound_words()[0].html_name: "in", "look": "1"}
    look = office.post(reverse("bank-statement", args=[Statement.objects.get().uuid]), data)
    assert [field.value() for field in look.context["form"].bound_words()] == ["in", "out"]


def test_column_that_says_many_things_does_not_say_the_way(upload):
    many = "".join(f"2026-03-05,row {at},4.00\n" for at in range(20))
    assert "says too many different things" in words(upload(f"{HEAD}{many}", c1="way"))


@pytest.mark.parametrize("said", [{"c3": "way"}, {"c1": "bogus"}])
def test_odd_columns_are_looked_at_in_words(office, upload, said):
    page = upload("Date,Details,Amount,Kind\n2026-03-05,cash,12.00,#REF!\n2026-03-05,cash,4.00,CR\n", look=True)
    shown = page.context["form"]
    data = {name: shown[name].value() or "" for name in shown.fields} | {"account": "Till", "look": "1"} | said
    look = office.post(reverse("bank-statement", args=[Statement.objects.get().uuid]), data)
    read = look.context["form"].as_read()
    assert (look.status_code, [row.cents for row in read.rows]) == (200, [400] if "c3" in said else [1200, 400])


def test_sheet_with_too_many_rows_is_refused_in_words(upload, monkeypatch):
    monkeypatch.setattr("routeapp.kit.reading.sheet.MOST_ROWS", 70)
    answer = upload(HEAD + "2026-03-05,cash,12.00\n" * 80)
    assert (answer.status_code, "more than 70 rows" in words(answer)) == (422, True)


@pytest.mark.parametrize("content", ["", "\0\0\0\1", "%PDF-1.4", "only one line"])
def test_file_that_is_no_statement_is_refused_in_words(office, content):
    file = SimpleUploadedFile("x.csv", content.encode())
    answer = office.post(reverse("bank-statement-add"), {"uuid": uuid4(), "file": file})
    assert (answer.status_code, list(answer.context["form"].errors)) == (422, ["file"])
    assert Statement.objects.count() == 0


def test_day_that_can_be_read_in_two_ways_is_asked_about(upload):
    answer = upload(f"{HEAD}03/04/2026,cash,12.00\n")
    assert (answer.status_code, "can be read in two ways" in words(answer)) == (422, True)
