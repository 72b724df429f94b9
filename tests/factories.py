"""A small named cast: the people, cabinets and places that the tests tell their stories with."""

import uuid
from datetime import UTC, datetime

import factory
from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group

from locations.models import Host, Location, Placement
from machines.models import CabinetModel, Machine, Meter
from routeapp.models import Prize

LONG_AGO = datetime(2026, 1, 5, 9, tzinfo=UTC)
PASSWORD = "seven lamps on the pier"  # noqa: S105


def person(username, role):
    """Somebody who can sign in with PASSWORD and has one role."""
    user = get_user_model().objects.filter(username=username).first()
    if user is None:
        user = get_user_model().objects.create_user(username, password=PASSWORD, first_name=username.title())
        user.groups.add(Group.objects.get_or_create(name=role)[0])
    return user


class CabinetModelFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = CabinetModel
        django_get_or_create = ["name"]

    name = "Harbour Claw"
    kind = "claw"
    price_cents = 100
    prize_capacity = 120


class MachineFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Machine

    code = factory.Sequence(lambda n: f"C-{n + 1:03}")
    model = factory.SubFactory(CabinetModelFactory)
    price_cents = 100


class MeterFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Meter

    machine = factory.SubFactory(MachineFactory)
    counts = "plays"
    value_cents = 100
    digits = 6
    installed_at = LONG_AGO


class HostFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Host

    name = factory.Sequence(lambda n: f"Host {n + 1}")


class LocationFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Location

    host = factory.SubFactory(HostFactory)
    name = factory.Sequence(lambda n: f"Location {n + 1}")


class PlacementFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Placement

    uuid = factory.LazyFunction(uuid.uuid4)
    machine = factory.SubFactory(MachineFactory)
    location = factory.SubFactory(LocationFactory)
    started_at = LONG_AGO
    started_by = factory.LazyFunction(lambda: person("ines", "owner"))
    received_at = LONG_AGO


class PrizeFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Prize

    name = factory.Sequence(lambda n: f"Prize {n + 1}")
