"""The same file sent by an impatient hand: several forms at once are one."""

from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from routeapp.cards.models import CardStatement
from routeapp.cash.models_bank import Statement
from routeapp.data.imports.models import SheetImport
from tests.cash.test_races import all_at_once

pytestmark = pytest.mark.django_db(transaction=True)


def test_file_form_sent_three_times_at_once_is_one(owner):
    places = {"cards/statements": CardStatement, "cash/bank/statements": Statement}
    for address, model in [*((f"/earnings/{at}/add/", one) for at, one in places.items()), ("/imports/", SheetImport)]:
        uuid, text = uuid4(), b"Date,Amount\n2026-03-03,2.00\n"
        forms = [(address, {"uuid": uuid, "file": SimpleUploadedFile("march.csv", text)}) for _ in range(3)]
        assert (all_at_once(owner, forms), model.objects.count()) == ([302] * 3, 1)
