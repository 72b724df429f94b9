"""Tags every page may use; loaded as builtins."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import template
from django.templatetags.tz import do_timezone
from django.utils import timezone

from routeapp.kit import access, clock, money, units
from routeapp.kit.people import called

register = template.Library()


@register.filter
def cash(cents: int | None, code: str | None = None) -> str:
    """Whole minor units as money with symbol, of the business or of `code`; an en dash where there is no figure."""
    return "–" if cents is None else money.as_text(cents, code)


@register.simple_tag
def currency_symbol() -> str:
    return money.currency(money.active()).symbol


@register.simple_tag
def currency_digits() -> int:
    return money.currency(money.active()).digits


@register.filter
def over_short(cents: int | None) -> str:
    """A variance in words: “short by $3.00”, “over by $1.00”, “exact”."""
    if cents is None:
        return "not known yet"
    if cents == 0:
        return "exact"
    return f"{'short' if cents < 0 else 'over'} by {money.as_text(abs(cents))}"


@register.filter
def length_text(mm: int) -> str:
    """Millimetres in the business's unit: “600 mm” or “23.6 in”."""
    return units.as_text(mm, units.LENGTH)


@register.filter
def weight_text(kg: int) -> str:
    """Kilograms in the business's unit: “120 kg” or “264.6 lb”."""
    return units.as_text(kg, units.WEIGHT)


@register.filter
def percent(basis_points: int | None) -> str:
    """Hundredths of a percent as a person writes them: 4000 → 40 %."""
    return "–" if basis_points is None else f"{basis_points / 100:g} %"


@register.inclusion_tag("parts/_when.html")
def when(moment: datetime | None, zone: str = "") -> dict[str, Any]:
    """A moment as a person says it, with the exact one on demand. `zone` defaults to the business's."""
    if moment is None:
        return {}
    # A plain moment would be turned back into the business's time zone by the filters of the template.
    local = do_timezone(moment, ZoneInfo(zone)) if zone else timezone.localtime(moment)
    return {"moment": local, "this_year": local.year == timezone.localtime(clock.now()).year}


@register.filter
def may(user: Any, role_names: str) -> bool:
    """Whether a person has one of the roles: {% if request.user|may:"owner,bookkeeper" %}."""
    return access.may(user, *role_names.split(","))


@register.filter
def under(request: Any, addresses: str) -> bool:
    """Whether the page lies below one of some addresses: {% if request|under:"/cabinets/ /faults/" %}."""
    return str(request.path).startswith(tuple(addresses.split()))


@register.simple_tag
def person(user: Any) -> str:
    """A person's name as pages show it."""
    return called(user) if user else "somebody not signed in"
