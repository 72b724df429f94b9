"""Visits: one stop at one location by one person, and a service entry for each cabinet touched."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.cash.models import Bag, How
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact


class Visit(Fact):
    """`at` is the arrival. The id is made by the phone or the form, so the same visit sent twice is one.

    A correction is another visit that names the one it replaces; with `void` set it only withdraws it.
    `replaces` is a bare id, not a foreign key: a phone may deliver the correction before the original. `by` wrote this
    version, `made_by` was there: of a correction, whoever made the visit it corrects.
    """

    uuid = models.UUIDField(primary_key=True)
    location = models.ForeignKey(Location, models.PROTECT, related_name="visits", db_index=False)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False)
    departed_at = models.DateTimeField()
    device_at = models.DateTimeField(null=True)  # what the phone's clock said when it sent the document
    replaces = models.UUIDField(null=True, unique=True)
    void = models.BooleanField(default=False)
    doubtful = models.BooleanField("times in doubt", default=False)  # the clock was off, or they were still to come
    reason = models.CharField(max_length=300, blank=True)
    note = models.TextField(blank=True)
    document = models.JSONField()
    fingerprint = models.CharField(max_length=64)  # SHA-256 of the document: same id, other body is a clash

    class Meta(Fact.Meta):
        ordering = ["-at", "uuid"]
        indexes = [
            models.Index(fields=["location", "-at"]),
            models.Index(fields=["-at"]),
            models.Index(fields=["-received_at"]),
            models.Index(fields=["-at"], condition=Q(doubtful=True), name="visit_times_in_doubt"),
        ]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(name="visit_departs_after_arrival", condition=Q(departed_at__gte=F("at"))),
            models.CheckConstraint(name="visit_correction_says_why", condition=Q(replaces=None) | ~Q(reason="")),
            models.CheckConstraint(
                name="visit_void_names_another", condition=Q(void=False) | Q(replaces__isnull=False)
            ),
        ]

    def __str__(self) -> str:
        return f"Visit of {timezone.localtime(self.at):%-d %b %Y}"


class TimesKept(models.Model):
    """Somebody looked at a visit whose times were in doubt and said that they are right."""

    visit = models.OneToOneField(Visit, models.CASCADE, related_name="times_kept")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()


class CashTaken(TextChoices):
    NOT_TAKEN = "not_taken", "Left in the box"
    COUNTED = "counted", "Counted here"
    SEALED = "sealed", "Sealed in a bag, to be counted later"


class ServiceEntry(models.Model):
    """What was done to one cabinet during one visit. Readings, moves and faults carry its id as their source."""

    uuid = models.UUIDField(primary_key=True)
    visit = models.ForeignKey(Visit, models.CASCADE, related_name="entries")
    machine = models.ForeignKey(Machine, models.PROTECT, related_name="entries", db_index=False)
    at = models.DateTimeField()  # the visit's arrival, repeated so that a cabinet's history is one index away
    withdrawn_at = models.DateTimeField(null=True)  # the visit's, repeated for the same reason
    cash = models.CharField(max_length=9, choices=CashTaken, default=CashTaken.NOT_TAKEN)
    how = models.CharField(max_length=13, choices=How, blank=True)
    cents = models.PositiveIntegerField(null=True)  # counted here
    lines = models.JSONField(default=dict)  # pieces by denomination key, as counted
    bag = models.ForeignKey(Bag, models.PROTECT, null=True, related_name="entries")
    checks = models.JSONField(default=dict)  # check → true (fine) or false (not)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["at", "uuid"]
        indexes = [models.Index(fields=["machine", "at"])]
        constraints = [
            models.UniqueConstraint(fields=["visit", "machine"], name="entry_once_per_cabinet_and_visit"),
            models.CheckConstraint(
                name="entry_amount_only_when_counted",
                condition=Q(cash="counted", cents__isnull=False) | (~Q(cash="counted") & Q(cents=None)),
            ),
            models.CheckConstraint(
                name="entry_sealed_cash_has_a_bag", condition=~Q(cash="sealed") | Q(bag__isnull=False)
            ),
        ]


class Photo(models.Model):
    """A picture taken during a service entry."""

    uuid = models.UUIDField(primary_key=True)
    entry = models.ForeignKey(ServiceEntry, models.CASCADE, related_name="photos")
    file = models.FileField(upload_to="visits/%Y/%m/")


class HostPayment(models.Model):
    """Cash given to the host on the spot; the receipt page shows it. Its money moves from the bag to the host."""

    visit = models.OneToOneField(Visit, models.CASCADE, related_name="host_payment")
    cents = models.PositiveIntegerField()
    received_by = models.CharField(max_length=120)
    signature = models.FileField(upload_to="signatures/%Y/%m/", blank=True)  # as drawn on the phone

    class Meta:
        constraints = [models.CheckConstraint(name="host_payment_above_zero", condition=Q(cents__gt=0))]
