"""Large files go on by themselves: their page tells how far they are, and what came of it."""

import os
import threading
import time
from pathlib import Path
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from routeapp.cards.models import CardStatement
from routeapp.cash.actions_bank import take_statement
from routeapp.cash.models import CashMove
from routeapp.kit import progress
from routeapp.kit.at_work import BROKEN, Work
from routeapp.kit.progress import AT_ONCE, path_of
from routeapp.models import Statement
from tests import factories
from tests.cards import desk
from tests.visits.books import FOREVER

FILLER = ",".join(["x" * 4000] * (AT_ONCE // 4000 + 1))  # one row that makes a file large
CARDS = f"Date,Reader,Amount,Id\n2026-03-03 10:00:00,R1,2.00,a,{FILLER}\n"
BANK = f"Date,Description,Amount\n2026-03-05,cash,12.00,{FILLER}\n"


@pytest.fixture
def office(client, transactional_db, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    client.force_login(factories.person("ines", "owner"), backend="django.contrib.auth.backends.ModelBackend")
    return client


def brought(office, name, text, **said):
    """The address of a statement whose columns were named."""
    uuid = uuid4()
    office.post(reverse(f"{name}-add"), {"uuid": uuid, "file": SimpleUploadedFile("m.csv", text.encode())})
    page = office.get(reverse(name, args=[uuid]), follow=True)
    form = page.context["form"]
    data = {field: form[field].value() or "" for field in form.fields} | said
    office.post(page.redirect_chain[-1][0] if page.redirect_chain else reverse(name, args=[uuid]), data)
    return reverse(name, args=[uuid])


def wait():
    for _ in range(200):
        if not any(one.name == "work on a file" for one in threading.enumerate()):
            return
        time.sleep(0.02)
    raise AssertionError("It is still at work.")


def test_large_card_statement_is_read_brought_in_and_withdrawn_by_itself(office):
    desk.fit(factories.person("greta", "bookkeeper"), "R1", factories.PlacementFactory().machine, factories.LONG_AGO)
    address = brought(office, "card-statement", CARDS)
    wait()
    assert "Ready to bring in" in office.get(address).content.decode()
    for _ in range(2):
        assert office.post(f"{address}bring/")["Location"] == address
    wait()
    assert list(CashMove.objects.values_list("to_purse", "cents")) == [("cards", 200)]
    office.post(f"{address}withdraw/")
    wait()
    assert (CashMove.objects.count(), "Withdrawn" in office.get(address).content.decode()) == (2, True)
    office.post(f"{address}withdraw/")
    wait()
    assert "This statement is not in the books." in office.get(address).content.decode()


def test_large_bank_statement_is_taken_and_withdrawn_by_itself(office):
    address = brought(office, "bank-statement", BANK, account="Till")
    wait()
    assert Statement.objects.get().rows_new == 1
    office.post(f"{address}withdraw/")
    wait()
    assert Statement.objects.get().rows.live().count() == 0


def test_what_was_said_is_kept_where_a_large_statement_cannot_be_taken(office):
    address = brought(office, "bank-statement", BANK.replace("12.00", "many"), account="Till")
    wait()
    page = office.get(address)
    assert "Row 2, column C: “many” is not an amount." in page.content.decode()
    assert page.context["form"]["account"].value() == "Till"


def test_page_tells_how_far_a_file_is_and_is_read_anew_when_it_is_through(office):
    one = desk.take_file(factories.person("greta", "bookkeeper"), "2026-03-03 10:00:00,R1,2.00,0,a")
    CardStatement.objects.update(work=Work.BRINGING)
    told, address = path_of(one), reverse("card-statement", args=[one.pk])
    told.write_text('{"what": "Writing rows", "done": 2000, "of": 9000}')
    page = office.get(address).content.decode()
    assert ("Being brought in" in page, "Writing rows: 2,000 of 9,000" in page) == (True, True)
    os.utime(told, (time.time() - 61,) * 2)
    assert "look whether it is in the books. If not, start again." in office.get(address, follow=True).content.decode()
    assert office.get(address, headers={"HX-Request": "true"})["HX-Refresh"] == "true"
    CardStatement.objects.update(work="", refused=BROKEN)
    assert "broke off by a mistake of ours" in office.get(address, follow=True).content.decode()


@pytest.mark.django_db
def test_statement_whose_file_is_gone_is_refused_in_words_and_withdrawn(owner, owner_client):
    one = desk.brought(owner, "2026-03-03 10:00:00,R1,2.00,0,a")
    Path(one.file.path).unlink()
    address = reverse("card-statement", args=[one.pk])
    page = owner_client.post(f"{address}bring/", follow=True).content.decode()
    assert "The file is gone. Send it again." in page
    assert owner_client.post(f"{address}withdraw/").status_code == 302
    assert CardStatement.objects.get().withdrawn_at
    answer = owner_client.get(f"{address}columns/", follow=True)
    assert [str(said) for said in answer.context["messages"]] == ["The file is gone. Send it again."]


def test_another_answer_while_the_first_is_read_is_told_that_it_was_not_taken(office):
    person, file = factories.person("greta", "bookkeeper"), SimpleUploadedFile("bank.csv", BANK.encode())
    cards = desk.take_file(person, "2026-03-03 10:00:00,R1,2.00,0,a")
    bank = take_statement(uuid=uuid4(), file=file, by=person, at=FOREVER)
    for one, address in ((cards, "card-statement-columns"), (cards, "card-statement"), (bank, "bank-statement")):
        type(one).objects.update(work=Work.READING)
        path_of(one).write_text("{}")
        asked = [office.get, office.post]
        pages = [ask(reverse(address, args=[one.uuid]), follow=True).content.decode() for ask in asked]
        assert ["What you sent just now was not taken" in page for page in pages] == [False, True]


def test_work_that_has_nothing_to_tell_for_long_is_not_taken_for_dead(office, monkeypatch):
    monkeypatch.setattr(progress, "LIFE_SECONDS", 0.01)
    one, silent = desk.take_file(factories.person("greta", "bookkeeper"), "2026-03-03 10:00:00,R1,2.00,0,a"), []

    def work(told):
        told("Writing rows")
        os.utime(path_of(one), (0, 0))
        silent.append(progress.is_silent(one))
        for _ in range(200):
            if not progress.is_silent(one):
                return
            time.sleep(0.01)
        silent.append("for ever")

    progress.go_on(one, work)
    wait()
    assert (silent, path_of(one).exists()) == ([True], False)
