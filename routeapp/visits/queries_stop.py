"""What a phone takes along for one stop besides the visit form: how to get in, when, and which label is which."""

from typing import Any

from locations.sites.models import Location
from locations.sites.queries import hours_by_day
from machines.labels.queries import labels_of
from routeapp.visits.queries_sheet import Sheet

SAID = ("address", "access_notes", "power_notes", "signal_notes", "notes")


def stop(sheet: Sheet) -> dict[str, Any]:
    """The stop as JSON. No terms, no commission, no earnings: a phone can be lost."""
    location = sheet.location
    labels = labels_of(one.machine for one in sheet.cabinets)
    return {
        "id": location.pk,
        "name": location.name,
        "zone": location.time_zone,
        "told": {name: text for name in SAID if (text := getattr(location, name))},
        "hours": [[day.name, day.hours] for day in hours_by_day(location)],
        "contacts": [[one.name, one.phone] for one in location.host.contacts.all()],
        "cabinets": [
            {
                "id": one.machine.pk,
                "code": one.machine.code,
                "model": str(one.machine.model),
                "label": labels[one.machine.pk].code if one.machine.pk in labels else "",
            }
            for one in sheet.cabinets
        ],
        "missing": missing(location, sheet),
    }


def missing(location: Location, sheet: Sheet) -> list[str]:
    """What a person would look for at this stop in vain, so that it can be asked for while there is a network."""
    wanted = {
        "cabinets": sheet.cabinets,
        "how to get in": location.access_notes,
        "opening hours": location.opening_hours.all(),
        "somebody to call": location.host.contacts.all(),
        "prizes or mixes": sheet.prizes,
    }
    without = [one.machine.code for one in sheet.cabinets if any(meter.last_value is None for meter in one.meters)]
    return [*(name for name, there in wanted.items() if not there), *(f"last reading of {code}" for code in without)]
