"""Who drives what and when, the rounds they drive, and what happened to a round on the road besides visits.

A stop is done when a visit says so: that is derived, and visits never write here.
"""

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from locations.sites.models import Location, Weekday
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact
from routeapp.kit.people import called
from routeapp.stock.models import Place

COORDINATE = {"max_digits": 9, "decimal_places": 6}


class Vehicle(models.Model):
    """What prizes are carried in. `cents_per_km` is the business's own figure: fuel, tyres, repairs, worth lost."""

    name = models.CharField(max_length=60, unique=True)
    pieces = models.PositiveIntegerField("prizes it can carry")
    cents_per_km = models.PositiveIntegerField("cost of a kilometre")
    retired = models.BooleanField("no longer driven", default=False)

    class Meta:
        ordering = ["retired", "name"]

    def __str__(self) -> str:
        return self.name


class Driver(models.Model):
    """How one person drives rounds: in what, from where to where, and what an hour of theirs costs."""

    person = models.OneToOneField(settings.AUTH_USER_MODEL, models.PROTECT, related_name="driver")
    vehicle = models.ForeignKey(Vehicle, models.PROTECT, null=True, blank=True, related_name="drivers")
    start_name = models.CharField("sets out from", max_length=120)
    start_latitude = models.DecimalField(**COORDINATE)
    start_longitude = models.DecimalField(**COORDINATE)
    end_name = models.CharField("comes home to", max_length=120, blank=True)
    end_latitude = models.DecimalField(**COORDINATE, null=True, blank=True)
    end_longitude = models.DecimalField(**COORDINATE, null=True, blank=True)
    cents_per_hour = models.PositiveIntegerField("cost of an hour")
    most_driving = models.PositiveSmallIntegerField("minutes at the wheel a day at most", null=True, blank=True)
    retired = models.BooleanField("drives no longer", default=False)

    class Meta:
        ordering = ["retired", "person__first_name", "pk"]
        constraints = [
            models.CheckConstraint(
                name="driver_ends_at_both_coordinates_or_at_the_start",
                condition=Q(end_latitude=None, end_longitude=None)
                | Q(end_latitude__isnull=False, end_longitude__isnull=False),
            )
        ]

    def __str__(self) -> str:
        return called(self.person)

    @property
    def cents_per_km(self) -> int:
        return self.vehicle.cents_per_km if self.vehicle else 0


class DrivingCost(models.Model):
    """What an hour and a kilometre of a driver cost before a day. What they cost now stands with driver and vehicle."""

    driver = models.ForeignKey(Driver, models.CASCADE, related_name="past_costs")
    before = models.DateField()
    cents_per_hour = models.PositiveIntegerField("cost of an hour")
    cents_per_km = models.PositiveIntegerField("cost of a kilometre")

    class Meta:
        ordering = ["before"]
        constraints = [
            models.UniqueConstraint(fields=["driver", "before"], name="driving_cost_one_before_a_day"),
        ]


class Shift(models.Model):
    """When somebody can be on the road on one weekday, by the clock of the business."""

    driver = models.ForeignKey(Driver, models.CASCADE, related_name="shifts")
    weekday = models.PositiveSmallIntegerField(choices=Weekday)
    starts = models.TimeField()
    ends = models.TimeField()

    class Meta:
        ordering = ["weekday", "starts"]
        constraints = [
            models.CheckConstraint(name="shift_weekday", condition=Q(weekday__lte=6)),
            models.CheckConstraint(name="shift_ends_after_it_starts", condition=Q(ends__gt=F("starts"))),
            models.UniqueConstraint(fields=["driver", "weekday"], name="shift_one_a_weekday"),
        ]


class Wish(TextChoices):
    MUST = "must", "must be visited by"
    NOT_BEFORE = "not_before", "not to be visited before"


class Pin(Fact):
    """What somebody wants of all plans for one location, until it is lifted (withdrawn) or its day has passed."""

    location = models.ForeignKey(Location, models.CASCADE, related_name="pins")
    wish = models.CharField(max_length=10, choices=Wish)
    day = models.DateField()
    reason = models.CharField(max_length=200, blank=True)

    class Meta(Fact.Meta):
        ordering = ["day", "pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(
                fields=["location"], condition=Q(withdrawn_at=None), name="pin_one_a_location_at_a_time"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.location} {self.get_wish_display()} {self.day.day} {self.day:%b %Y}"


class State(TextChoices):
    THINKING = "thinking", "Thinking"
    READY = "ready", "Ready"
    USED = "used", "In use"
    FAILED = "failed", "Broken off"


class Proposal(models.Model):
    """Rounds for some people over some days, thought out in the background. `result` is the best found so far."""

    uuid = models.UUIDField(primary_key=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    first_day = models.DateField()
    days = models.PositiveSmallIntegerField()
    drivers = models.ManyToManyField(Driver, related_name="+")
    vary_cents = models.PositiveIntegerField("may cost to vary days and order", default=0)
    seconds = models.PositiveSmallIntegerField(default=10)
    state = models.CharField(max_length=8, choices=State, default=State.THINKING)
    result = models.JSONField(default=dict)

    class Meta:
        ordering = ["-at"]

    def __str__(self) -> str:
        return f"Plan from {self.first_day.day} {self.first_day:%b %Y}"


class Round(models.Model):
    """The stops one person makes on one day. What is planned for it is its newest RoundPlan."""

    uuid = models.UUIDField(primary_key=True)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="rounds")
    day = models.DateField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    dropped_at = models.DateTimeField(null=True)
    dropped_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    dropped_because = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["day", "person__first_name", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["person", "day"], condition=Q(dropped_at=None), name="round_one_a_person_and_day"
            ),
            models.CheckConstraint(
                name="round_dropped_has_who_and_when",
                condition=Q(dropped_at=None, dropped_by=None) | Q(dropped_at__isnull=False, dropped_by__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"Round of {self.day:%a} {self.day.day} {self.day:%b %Y}"


class RoundPlan(models.Model):
    """One version of a round. A change is a new version; the earlier ones stay readable."""

    round = models.ForeignKey(Round, models.CASCADE, related_name="plans")
    number = models.PositiveSmallIntegerField()
    proposal = models.ForeignKey(Proposal, models.PROTECT, null=True, related_name="plans")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    why = models.CharField(max_length=200)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    metres = models.PositiveIntegerField()
    driving_minutes = models.PositiveIntegerField()
    cost_cents = models.PositiveIntegerField()
    gain_cents = models.PositiveIntegerField()
    remarks = models.JSONField(default=list)  # sentences: what was left out, what does not fit

    class Meta:
        ordering = ["round", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["round", "number"], name="round_plan_number_once"),
            models.CheckConstraint(name="round_plan_ends_after_it_starts", condition=Q(ends_at__gte=F("starts_at"))),
        ]


class RoundStop(models.Model):
    """A stop as planned. `expected` is what the forecast said then, by cabinet id: prizes left, cash in the box."""

    plan = models.ForeignKey(RoundPlan, models.CASCADE, related_name="stops")
    place = models.PositiveSmallIntegerField()
    location = models.ForeignKey(Location, models.PROTECT, related_name="+")
    arrives_at = models.DateTimeField()
    minutes = models.PositiveSmallIntegerField()
    value_cents = models.PositiveIntegerField(default=0)
    reasons = models.JSONField(default=list)
    pinned = models.BooleanField(default=False)
    expected = models.JSONField(default=dict)

    class Meta:
        ordering = ["plan", "place"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "place"], name="round_stop_place_once"),
            models.UniqueConstraint(fields=["plan", "location"], name="round_stop_location_once"),
        ]


class Skip(Fact):
    """Somebody was to stop here on this round and did not, with the reason. The id is made by the phone or form."""

    uuid = models.UUIDField(unique=True)
    round = models.ForeignKey(Round, models.CASCADE, related_name="skips")
    location = models.ForeignKey(Location, models.PROTECT, related_name="+")
    reason = models.CharField(max_length=200)

    class Meta(Fact.Meta):
        ordering = ["at", "pk"]


class LoadTick(Fact):
    """One line of a round's load list was put into the van (`on`) or back. For each line the latest one holds.

    Prizes move in the books from `from_place` to the van; the moves carry the id of the tick as their source.
    """

    uuid = models.UUIDField(unique=True)
    round = models.ForeignKey(Round, models.CASCADE, related_name="ticks")
    line = models.CharField(max_length=60)
    on = models.BooleanField()
    pieces = models.PositiveIntegerField(default=0)
    from_place = models.ForeignKey(Place, models.PROTECT, null=True, related_name="+")

    class Meta(Fact.Meta):
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["round", "line", "at"])]


class CalendarLink(models.Model):
    """An address that shows one person's rounds to whoever knows it, until it is revoked."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="calendar_links")
    token = models.CharField(max_length=60, unique=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-at"]
        constraints = [
            models.UniqueConstraint(
                fields=["person"], condition=Q(revoked_at=None), name="calendar_link_one_a_person_at_a_time"
            )
        ]

    def __str__(self) -> str:
        return f"Calendar of {called(self.person)}"
