"""The rows the story is about, written down once before it starts: people, places, cabinets, prizes."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from locations.hosts.actions import add_contact, host_named
from locations.sites.actions import add_location, set_hours
from locations.sites.models import Location
from machines.cabinets.actions import add_cabinet, add_model
from machines.cabinets.actions_meter_changes import NewMeter
from machines.cabinets.models import CabinetModel, Machine, Meter
from machines.labels.actions import labels_for
from routeapp.data.demo import names, pictures
from routeapp.data.demo.names_places import CROWDS, Site
from routeapp.data.demo.world import World
from routeapp.kit.units import Units
from routeapp.stock.actions_goods import add_place, add_prize, make_mix
from routeapp.stock.models import Mix, Place, PlaceKind, Prize
from routeapp.team.actions import add_person, edit_business, make_owner


@dataclass
class Cast:
    zone: ZoneInfo
    people: dict[str, Any] = field(default_factory=dict)
    locations: dict[str, Location] = field(default_factory=dict)
    machines: dict[str, Machine] = field(default_factory=dict)
    meters: dict[tuple[str, str], Meter] = field(default_factory=dict)  # by cabinet code and what it counts
    prizes: dict[str, Prize] = field(default_factory=dict)
    mixes: dict[str, Mix] = field(default_factory=dict)
    vans: dict[str, Place] = field(default_factory=dict)
    store: Place | None = None

    def moment(self, local: datetime) -> datetime:
        return local.replace(tzinfo=self.zone).astimezone(UTC)

    @property
    def owner(self) -> Any:
        return self.people[names.OWNER.username]


def write_cast(world: World) -> Cast:
    """Write down everybody and everything as it stands a few days before the story starts."""
    cast = Cast(ZoneInfo(names.ZONE))
    at = cast.moment(world.start - timedelta(days=4, hours=-10))
    _add_people(cast, at)
    for site in world.sites.values():
        _add_site(cast, site, at)
    _add_goods(cast, world, at)
    _add_cabinets(cast, world, at)
    return cast


def _add_people(cast: Cast, at: datetime) -> None:
    owner = names.OWNER
    cast.people[owner.username] = by = make_owner(username=owner.username, password=owner.password, at=at)
    by.first_name = owner.name
    by.save(update_fields=["first_name"])
    for one in names.PEOPLE[1:]:
        said = {"username": one.username, "name": one.name, "role": one.role, "password": one.password}
        cast.people[one.username] = add_person(**said, by=by, at=at)
    place = {"currency": names.CURRENCY, "time_zone": names.ZONE, "units": Units.METRIC}
    edit_business(name=names.BUSINESS, **place, contact=names.CONTACT, by=by, at=at)


def _add_site(cast: Cast, site: Site, at: datetime) -> None:
    by, crowd, (name, role, phone) = cast.owner, CROWDS[site.crowd], site.contact
    host = host_named(name=site.host, by=by, at=at)
    email = f"{name.split()[0].lower()}@{site.host.split()[0].lower()}.example"
    add_contact(host=host, name=name, role=role, phone=phone, email=email, by=by, at=at)
    location = add_location(
        name=site.name,
        host=host,
        address=site.address,
        latitude=Decimal(str(site.at[0])),
        longitude=Decimal(str(site.at[1])),
        time_zone=names.ZONE,
        access_notes=site.access,
        by=by,
        at=at,
    )
    days = [day for day in range(7) if day not in crowd.closed_on]
    set_hours(location=location, hours={day: [(crowd.opens, crowd.closes)] for day in days}, by=by, at=at)
    cast.locations[site.name] = location


def _add_goods(cast: Cast, world: World, at: datetime) -> None:
    facts = {"by": cast.owner, "at": at}
    for name, spec in names.PRIZES.items():
        about = {"supplier": spec.supplier, "size_mm": spec.size_mm, "age_grade": spec.age, "low_at": spec.carried}
        cast.prizes[name] = add_prize(name=name, small_parts=spec.small_parts, **about, **facts)
    for name, mix in names.MIXES.items():
        lines = [(cast.prizes[prize], pieces) for prize, pieces in mix.items()]
        cast.mixes[name] = make_mix(name=name, lines=lines, **facts)
    cast.store = add_place(kind=PlaceKind.STORE, name="Boathouse store", **facts)
    for username in sorted(world.vans):
        person = cast.people[username]
        name = f"{person.first_name.split()[0]}'s van"
        cast.vans[username] = add_place(kind=PlaceKind.VAN, name=name, person=person, **facts)


def _add_cabinets(cast: Cast, world: World, at: datetime) -> None:
    by = cast.owner
    models = {spec.name: _add_model(spec, by, at) for spec in names.MODELS.values()}
    for number, (code, cabinet) in enumerate(world.cabinets.items()):
        spec = cabinet.model
        cast.machines[code] = add_cabinet(
            code=code,
            model=models[spec.name],
            price_cents=spec.price,
            serial=f"{spec.name[:2].upper()}{4100 + 37 * number}",
            photo=pictures.cabinet(spec.kind, number),
            meters=[
                NewMeter(one.counts, one.digits, cabinet.dials[one.counts].value, one.value_cents)
                for one in spec.meters
            ],
            status="ready" if code in world.arrives else "spare",
            by=by,
            at=at,
            received_at=at,
        )
    for meter in Meter.objects.select_related("machine"):
        cast.meters[meter.machine.code, meter.counts] = meter
    labels_for(machines=list(cast.machines.values()), by=by, at=at)


def _add_model(spec: names.Model, by: Any, at: datetime) -> CabinetModel:
    width, depth, height = spec.size
    return add_model(
        name=spec.name,
        kind=spec.kind,
        width_mm=width,
        depth_mm=depth,
        height_mm=height,
        weight_kg=spec.weight_kg,
        watts=spec.watts or None,
        prize_capacity=spec.capacity,
        largest_prize_mm=spec.largest_mm,
        price_cents=spec.price,
        checks=spec.checks,
        locks="Cash box\nFront door",
        by=by,
        at=at,
    )
