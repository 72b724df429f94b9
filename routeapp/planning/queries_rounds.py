"""Rounds as pages show them: what is planned, and what became of each stop by the visits and skips since."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import OuterRef, Prefetch, QuerySet, Subquery

from locations.sites.models import Location
from routeapp.kit import clock
from routeapp.kit.access import OWNER, may
from routeapp.kit.people import called
from routeapp.planning.models_rounds import Round, RoundPlan, RoundStop, Skip
from routeapp.planning.queries_driven import LONGEST_LEG
from routeapp.planning.rules_sketch import Sketch, sketch
from routeapp.team.queries import business
from routeapp.visits.models import Visit

LISTED = timedelta(days=60)


@dataclass
class StopShown:
    """A stop and what became of it: done by a visit, skipped, or still ahead."""

    stop: RoundStop
    visit: Visit | None = None
    skip: Skip | None = None
    is_next: bool = False
    cabinets: list[Any] = field(default_factory=list)  # what was expected and found, where a page shows it

    @property
    def location(self) -> Location:
        return self.stop.location

    @property
    def is_ahead(self) -> bool:
        return not self.visit and not self.skip

    @property
    def state(self) -> str:
        if self.visit:
            return "done"
        return "skipped" if self.skip else "next" if self.is_next else "ahead"

    @property
    def geo(self) -> str:
        """Opens the phone's own map (RFC 5870); empty without coordinates."""
        where = self.location
        return f"geo:{where.latitude},{where.longitude}" if where.latitude is not None else ""

    @property
    def phones(self) -> list[tuple[str, str, str]]:
        """(name, number, what a tel: link needs, RFC 3966) of whom to call there."""
        found = [(one.name, one.phone) for one in self.location.host.contacts.all() if one.phone]
        return [(name, phone, "".join(sign for sign in phone if sign in "+0123456789")) for name, phone in found]


@dataclass
class RoundShown:
    round: Round
    plan: RoundPlan
    stops: list[StopShown]

    @property
    def uuid(self) -> Any:
        return self.round.uuid

    @property
    def next(self) -> StopShown | None:
        return next((one for one in self.stops if one.is_next), None)

    @property
    def ahead(self) -> list[StopShown]:
        return [one for one in self.stops if one.is_ahead]

    @property
    def to_load(self) -> list[StopShown]:
        """What the van is loaded for: the stops still ahead, or all of a round that was driven."""
        return self.ahead or self.stops

    @property
    def done(self) -> int:
        return sum(one.visit is not None for one in self.stops)

    @property
    def number(self) -> int:
        return len(self.stops)

    @property
    def behind(self) -> timedelta:
        """How late the last thing that happened was against the plan."""
        happened = [one.visit.at - one.stop.arrives_at for one in self.stops if one.visit]
        return max(timedelta(), happened[-1]) if happened else timedelta()

    @property
    def behind_in_words(self) -> str:
        minutes = round(self.behind / timedelta(minutes=1))
        return f"{minutes} minutes" if minutes < 120 else f"{minutes // 60} hours"

    @property
    def driven(self) -> int:
        """Minutes at the wheel until the last visit; what is longer than a leg held a meal or an errand as well. Nobody
        tells when they set out: to the first visit it is no longer than planned, or a late start would count."""
        made = sorted(((one.visit, one.stop) for one in self.stops if one.visit), key=lambda one: one[0].at)
        minutes, since = timedelta(), self.plan.starts_at
        most = min(made[0][1].arrives_at - since, LONGEST_LEG) if made else LONGEST_LEG
        for visit, _ in made:
            minutes += min(max(timedelta(), visit.at - since), most)
            since, most = visit.departed_at, LONGEST_LEG
        return round(minutes / timedelta(minutes=1))

    @property
    def turn(self) -> tuple[Any, ...]:
        """Where it stands among the rounds that load: whoever sets out first takes first."""
        return self.round.day, self.plan.starts_at, called(self.round.person), str(self.uuid)

    def state_on(self, today: date) -> tuple[str, str]:
        """In a word, with its shape."""
        if self.round.dropped_at:
            return "dropped", "none"
        if not self.ahead:
            return "driven", "good"
        if self.done or any(one.skip for one in self.stops):
            return ("on the road", "warn") if self.round.day >= today else ("not finished", "bad")
        return ("planned", "none") if self.round.day >= today else ("not driven", "bad")

    def sketch(self) -> Sketch | None:
        located = [one for one in self.stops if one.location.latitude is not None]
        path = [(float(one.location.latitude), float(one.location.longitude)) for one in located]
        points = [
            (lat, lon, str(one.stop.place + 1), f"{one.stop.place + 1}. {one.location}")
            for (lat, lon), one in zip(path, located, strict=True)
        ]
        driver = getattr(self.round.person, "driver", None)
        if driver and located:
            start = (float(driver.start_latitude), float(driver.start_longitude))
            points.insert(0, (*start, "", f"Start: {driver.start_name}"))
            end = start
            if driver.end_latitude is not None:
                end = (float(driver.end_latitude), float(driver.end_longitude))
                points.append((*end, "", f"End: {driver.end_name}"))
            path = [start, *path, end]
        return sketch(points, path)


def rounds(person: Any = None) -> QuerySet:
    """The rounds a person may see: their own, or all of them for an owner (None: all)."""
    found = Round.objects.select_related("person__driver")
    return found if person is None or may(person, OWNER) else found.filter(person=person)


def newest(round_ids: Iterable[Any]) -> dict[Any, RoundPlan]:
    """The plan that holds for each round, with its stops and whom to call there."""
    last = RoundPlan.objects.filter(round=OuterRef("round")).order_by("-number").values("pk")[:1]
    stops = RoundStop.objects.select_related("location__host").prefetch_related("location__host__contacts")
    plans = RoundPlan.objects.filter(round__in=list(round_ids), pk=Subquery(last)).select_related("by")
    return {plan.round_id: plan for plan in plans.prefetch_related(Prefetch("stops", stops.order_by("place")))}


def shown(found: Sequence[Round]) -> list[RoundShown]:
    """Rounds with what became of them, in constant queries."""
    plans = newest(one.pk for one in found)
    skips: dict[Any, dict[int, Skip]] = defaultdict(dict)
    for skip in Skip.objects.live().filter(round__in=list(plans)).select_related("by"):
        skips[skip.round_id][skip.location_id] = skip
    visits = _visits([one for one in found if one.pk in plans], plans)
    made = []
    for one in found:
        if plan := plans.get(one.pk):
            stops = [
                StopShown(stop, visits.get((one.day, stop.location_id)), skips[one.pk].get(stop.location_id))
                for stop in plan.stops.all()
            ]
            if (first := next((stop for stop in stops if stop.is_ahead), None)) and not one.dropped_at:
                first.is_next = True
            made.append(RoundShown(one, plan, stops))
    return made


def _visits(found: Sequence[Round], plans: dict[Any, RoundPlan]) -> dict[tuple[date, int], Visit]:
    """The visit that makes a stop done: the last one at its location on its day."""
    if not found:
        return {}
    zone = business().time_zone
    days = sorted({one.day for one in found})
    locations = {stop.location_id for plan in plans.values() for stop in plan.stops.all()}
    since, until = clock.start_of_day(days[0], zone), clock.start_of_day(days[-1] + timedelta(days=1), zone)
    rows = Visit.objects.live().filter(location__in=locations, at__gte=since, at__lt=until, void=False)
    return {(clock.local_day(one.at, zone), one.location_id): one for one in rows.order_by("at")}


def listed(person: Any, today: date) -> list[RoundShown]:
    """The rounds to come, soonest first, and then those of the last weeks, latest first."""
    found = list(rounds(person).filter(day__gte=today - LISTED))
    ahead = [one for one in found if one.day >= today]
    return shown([*ahead, *reversed([one for one in found if one.day < today])])


def one(person: Any, uuid: Any) -> RoundShown | None:
    """One round, for whom may see it."""
    return next(iter(shown(list(rounds(person).filter(pk=uuid)))), None)


def loaded_before(shown_one: RoundShown, now: datetime) -> list[RoundShown]:
    """The rounds that take from stores and vans before this one, in turn: of earlier days, and of its day those that
    set out earlier."""
    today, own = clock.local_day(now, business().time_zone), shown_one.round
    found = Round.objects.filter(day__range=(today, own.day), dropped_at=None).exclude(pk=own.pk)
    others = [one for one in shown(list(found.select_related("person__driver"))) if one.ahead]
    return sorted((one for one in others if one.turn < shown_one.turn), key=lambda one: one.turn)


def round_today(person: Any, now: datetime, zone: str) -> RoundShown | None:
    """The round somebody drives today."""
    own = Round.objects.filter(person=person, day=clock.local_day(now, zone), dropped_at=None)
    return next(iter(shown(list(own.select_related("person__driver")))), None)
