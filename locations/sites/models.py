"""Addresses where cabinets stand."""

from django.db import models
from django.db.models import F, Q

from locations.hosts.models import Host
from routeapp.kit.choices import IntegerChoices


class Location(models.Model):
    """One address where cabinets stand."""

    host = models.ForeignKey(Host, models.PROTECT, related_name="locations")
    name = models.CharField(max_length=120, unique=True)
    address = models.TextField(blank=True)
    latitude = models.DecimalField(max_digits=9, decimal_places=6, null=True, blank=True)
    longitude = models.DecimalField(max_digits=9, decimal_places=6, null=True, blank=True)
    time_zone = models.CharField(max_length=40, default="UTC")
    access_notes = models.TextField("how to get in", blank=True)
    power_notes = models.CharField("power", max_length=200, blank=True)
    signal_notes = models.CharField("phone signal", max_length=200, blank=True)
    notes = models.TextField(blank=True)
    closed_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                name="location_has_both_coordinates_or_none",
                condition=Q(latitude=None, longitude=None) | Q(latitude__isnull=False, longitude__isnull=False),
            ),
            models.CheckConstraint(
                name="location_coordinates_on_earth",
                condition=Q(latitude=None)
                | Q(latitude__gte=-90, latitude__lte=90, longitude__gte=-180, longitude__lte=180),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Weekday(IntegerChoices):
    MONDAY = 0, "Monday"
    TUESDAY = 1, "Tuesday"
    WEDNESDAY = 2, "Wednesday"
    THURSDAY = 3, "Thursday"
    FRIDAY = 4, "Friday"
    SATURDAY = 5, "Saturday"
    SUNDAY = 6, "Sunday"


class OpeningHours(models.Model):
    """One stretch of one weekday, in the location's time zone; a lunch closing makes two. 24:00 is kept as 23:59:59."""

    location = models.ForeignKey(Location, models.CASCADE, related_name="opening_hours")
    weekday = models.PositiveSmallIntegerField(choices=Weekday)
    opens = models.TimeField()
    closes = models.TimeField()

    class Meta:
        ordering = ["weekday", "opens"]
        constraints = [
            models.CheckConstraint(name="opening_hours_weekday", condition=Q(weekday__lte=6)),
            models.CheckConstraint(name="opening_hours_close_after_open", condition=Q(closes__gt=F("opens"))),
            models.UniqueConstraint(fields=["location", "weekday", "opens"], name="opening_hours_once"),
        ]
