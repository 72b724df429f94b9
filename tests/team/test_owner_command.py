"""`manage.py owner`: the first owner, and the way back in."""

import io

import pytest
from django.core.management import CommandError, call_command

from routeapp.models import Business

SENTENCE = "a tin of blue buttons"


def owner_command(monkeypatch, name, password=SENTENCE):
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{password}\n"))
    out = io.StringIO()
    call_command("owner", name, "--password-stdin", stdout=out)
    return out.getvalue()


def test_first_owner_and_the_business_are_made(db, monkeypatch, django_user_model):
    assert owner_command(monkeypatch, "ines") == "ines is an owner and can sign in.\n"
    ines = django_user_model.objects.get()
    assert (ines.check_password(SENTENCE), ines.groups.get().name) == (True, "owner")
    assert Business.objects.count() == 1


def test_owner_who_lost_the_password_gets_back_in(db, monkeypatch, owner):
    owner.is_active = False
    owner.save(update_fields=["is_active"])
    owner_command(monkeypatch, "ines")
    owner.refresh_from_db()
    assert (owner.is_active, owner.check_password(SENTENCE)) == (True, True)


@pytest.mark.parametrize(("name", "password"), [("ines", "short"), ("two words", SENTENCE), ("", SENTENCE)])
def test_refusal_leaves_nothing_behind(db, monkeypatch, django_user_model, name, password):
    with pytest.raises(CommandError):
        owner_command(monkeypatch, name, password)
    assert (django_user_model.objects.count(), Business.objects.count()) == (0, 0)
