"""What the rows of a sheet name: hosts, locations, models, cabinets, terms. Only actions_bring.py calls this.

What is there already stays as it is; its empty columns are filled, and where the sheet says something else, that is
remarked.
"""

from datetime import datetime, timedelta
from typing import Any

from django.db.models import Model

from locations.agreements.actions import add_agreement, reopen_location
from locations.agreements.queries import in_force
from locations.agreements.rules_terms import TermKind, TermLine
from locations.hosts.actions import add_contact, host_named
from locations.hosts.models import Contact, Host
from locations.sites.actions import add_location, edit_location
from locations.sites.models import Location
from machines.cabinets.actions import add_cabinet, add_model, change_cabinet, change_status
from machines.cabinets.models import GONE, CabinetModel, Kind, Machine, Status
from routeapp.data.imports.actions_run import Run, Stay
from routeapp.data.imports.models import Noun
from routeapp.data.imports.rules_lines import Line
from routeapp.data.imports.rules_names import code_of, fits
from routeapp.kit import clock
from routeapp.kit.errors import Refused

NAMED = ("code", "model", "kind", "serial", "price", "location", "host", "address", "contact", "phone", "share")
NAMED_DAYS = ("placed_on", "left_on", "agreed_on")
KINDS = {  # words by which people call the kinds
    Kind.CLAW: ("claw", "crane", "grab"),
    Kind.CAPSULE: ("capsule", "gumball", "gum", "bulk", "ball", "toy vend"),
    Kind.STICKER: ("sticker", "tattoo", "card", "flat"),
    Kind.PUSHER: ("pusher",),
}


def write_named(run: Run, line: Line) -> bool:
    """Make or find all that a line names, once for equal lines; False when something was refused."""
    key = tuple(line.get(name) for name in NAMED + NAMED_DAYS)
    if text := run.refused.get(key):
        run.problems.append(line.problem(text))
        return False
    if key in run.known:
        return True
    before = len(run.problems)
    with run.row(line):
        location = _location(run, line)
        machine = _machine(run, line)
        if location and line.get("share") is not None:
            _agreement(run, line, location)
        if machine and location and (not line.is_visit or line.get("placed_on")):
            days = [found.day if (found := line.get(name)) else None for name in ("placed_on", "left_on")]
            run.stays.append(Stay(machine, location, days[0], days[1], line))
    if len(run.problems) > before:
        run.refused[key] = run.problems[-1].text
        return False
    run.known.add(key)
    return True


def location_name(run: Run, line: Line) -> str:
    """The name a line gives its location, in the spelling that was chosen for it."""
    name = line.get("location") or ""
    return run.plan.joins.get(name, name)


def _location(run: Run, line: Line) -> Location | None:
    name = location_name(run, line)
    if not name:
        if line.get("host"):
            _contact(run, line, _host(run, line.get("host")))
        return None
    found = run.locations.get(name.casefold()) or Location.objects.filter(name__iexact=name).first()
    said = {"address": line.get("address") or ""}
    if found is None:
        host = _host(run, line.get("host") or name)
        found = add_location(
            name=fits(name, 120, "name of a location"), host=host, time_zone=run.zone, **said, **run.facts
        )
        run.remember(Noun.LOCATION, found.pk)
    run.meet(Noun.LOCATION, found.pk)
    if run.was_retired(Noun.LOCATION, found) and found.closed_on:
        reopen_location(location=found, **run.facts)
        found.closed_on = None
    if empty := empty_columns(run, line, found, said):
        found = edit_location(location=found, name=found.name, **empty, **run.facts)
        run.remember_filled(Noun.LOCATION, found, empty)
    _contact(run, line, found.host)
    run.locations[name.casefold()] = found
    return found


def _host(run: Run, name: str) -> Host:
    found = Host.objects.filter(name__iexact=name).first()
    if found is None:
        found = host_named(name=fits(name, 120, "name of a host"), **run.facts)
        run.remember(Noun.HOST, found.pk)
    return found


def _contact(run: Run, line: Line, host: Host) -> None:
    name, phone = line.get("contact") or "", line.get("phone") or ""
    if not (name or phone) or Contact.objects.filter(host=host, name=name or host.name, phone=phone).exists():
        return
    said = {"name": fits(name or host.name, 120, "name of a contact"), "phone": fits(phone, 40, "telephone number")}
    made = add_contact(host=host, role="", email="", **said, **run.facts)
    run.remember(Noun.CONTACT, made.pk)


def empty_columns(run: Run, line: Line, thing: Model, said: dict[str, Any]) -> dict[str, Any]:
    """What a line says that is still empty here; where something else stands, that stays and is remarked."""
    empty = {}
    for name, value in said.items():
        now = getattr(thing, name)
        if value and not now:
            empty[name] = value
        elif value and now != value:
            label = thing._meta.get_field(name).verbose_name
            run.remarks.append(line.problem(f"The {label} of {thing} stays “{now}”; the sheet says “{value}”."))
    return empty


def _machine(run: Run, line: Line) -> Machine | None:
    if not line.get("code"):
        return None
    code = code_of(line.get("code"))
    machine = run.machines.get(code) or Machine.objects.select_related("model").filter(code=code).first()
    said = {"serial": line.get("serial") or ""}
    if machine is None:
        machine = _new_machine(run, line, code, said)
    run.meet(Noun.CABINET, machine.pk)
    if machine.status in GONE and run.was_retired(Noun.CABINET, machine):
        moments = {"at": run.at, "received_at": run.at}
        change_status(machine=machine, status=Status.READY, note="brought in again", by=run.by, **moments)
    if empty := empty_columns(run, line, machine, said):
        machine = change_cabinet(machine=machine, code=machine.code, **empty, **run.facts)
        run.remember_filled(Noun.CABINET, machine, empty)
    run.machines[code] = machine
    return machine


def _new_machine(run: Run, line: Line, code: str, said: dict[str, Any]) -> Machine:
    model = _model(run, line, code)
    price = line.get("price") or model.price_cents
    machine = add_cabinet(
        code=code, model=model, price_cents=price, by=run.by, at=_first_moment(run, line, code), received_at=run.at,
        serial=fits(said["serial"], 60, "serial number"),
    )  # fmt: skip
    run.remember(Noun.CABINET, machine.pk)
    return machine


def _first_moment(run: Run, line: Line, code: str) -> datetime:
    """When a cabinet's life here begins: just before anything else in the sheet says something about it."""
    days = [day for day in (run.first_days.get(code), line.get("placed_on") and line.get("placed_on").day) if day]
    return min(run.at, clock.start_of_day(min(days), run.zone) - timedelta(minutes=1)) if days else run.at


def _model(run: Run, line: Line, code: str) -> CabinetModel:
    name = line.get("model") or run.plan.model or line.get("kind")  # many sheets say only “claw”
    if not name:
        raise Refused(f"{code} is not known here and nothing says its model. Name one beside the columns.")
    found = run.makes.get(name.casefold()) or CabinetModel.objects.filter(name__iexact=name).first()
    if found is None:
        price = line.get("price") or run.plan.price_cents
        if not price:
            raise Refused(f"The model {name} is new and nothing says its price per play. Name one beside the columns.")
        kind = _kind(line.get("kind") or name)
        found = add_model(name=fits(name, 80, "name of a model"), kind=kind, price_cents=price, **run.facts)
        run.remember(Noun.MODEL, found.pk)
    run.makes[name.casefold()] = found
    return found


def _kind(said: str) -> Kind:
    for kind, words in KINDS.items():
        if any(word in said.casefold() for word in words):
            return kind
    return Kind.OTHER


def _agreement(run: Run, line: Line, location: Location) -> None:
    said = line.get("agreed_on") or line.get("placed_on")
    day = said.day if said else run.first_day or clock.local_day(run.at, location.time_zone)
    terms = (TermLine(TermKind.SHARE, rate_bp=line.get("share")),)
    now = next((deal for deal in in_force(location, day) if deal.machine is None), None)
    if now and now.terms == terms:
        run.meet(Noun.AGREEMENT, now.agreement)
        return
    moments = {"at": run.at, "received_at": run.at}
    made = add_agreement(
        location=location, starts_on=day, terms=terms, settled="month", paid="cash", by=run.by, **moments
    )
    run.remember(Noun.AGREEMENT, made.pk)
