"""The end of a round: what its person still carries, and what nobody did."""

from dataclasses import dataclass
from datetime import timedelta

from routeapp.cash.models import Bag, Holder
from routeapp.cash.queries import bags
from routeapp.kit import clock
from routeapp.planning.queries_rounds import RoundShown
from routeapp.stock.models import Place, PlaceKind
from routeapp.stock.queries import contents
from routeapp.team.queries import business


@dataclass(frozen=True)
class End:
    """Bags filled on the day that are not in a safe or at a bank yet; the van and how many prizes lie in it."""

    bags: list[Bag]
    van: Place | None
    pieces: int


def end(shown: RoundShown) -> End:
    zone = business().time_zone
    since = clock.start_of_day(shown.round.day, zone)
    until = clock.start_of_day(shown.round.day + timedelta(days=1), zone)
    visits = [one.location.pk for one in shown.stops if one.visit]
    filled = bags().filter(location__in=visits, at__gte=since, at__lt=until)
    van = Place.objects.filter(kind=PlaceKind.VAN, person=shown.round.person_id).first()
    pieces = sum(contents([van.pk]).get(van.pk, {}).values()) if van else 0
    return End([bag for bag in filled.order_by("at") if bag.holder in (None, "", Holder.PERSON)], van, pieces)
