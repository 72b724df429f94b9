"""What we own: models of cabinet, cabinets, their meters and readings, their settings, their life."""

from django.db import models
from django.db.models import F, Q

from machines.cabinets.rules import Explanation
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact


class Kind(TextChoices):
    CLAW = "claw", "Prize claw"
    CAPSULE = "capsule", "Capsule vendor"
    STICKER = "sticker", "Sticker vendor"
    PUSHER = "pusher", "Coin pusher"
    OTHER = "other", "Other novelty"


LONGEST_LINE = 120


def lines_of(text: str) -> list[str]:
    """What a list typed one thing a line says: each once, none longer than the answers to it can keep."""
    return list(dict.fromkeys(line.strip()[:LONGEST_LINE] for line in text.splitlines() if line.strip()))


class CabinetModel(models.Model):
    """What a make of cabinet has in common. Sizes in millimetres, mass in kilograms, power in watts."""

    name = models.CharField(max_length=80, unique=True)
    kind = models.CharField(max_length=10, choices=Kind)
    width_mm = models.PositiveIntegerField("width (mm)", null=True, blank=True)
    depth_mm = models.PositiveIntegerField("depth (mm)", null=True, blank=True)
    height_mm = models.PositiveIntegerField("height (mm)", null=True, blank=True)
    weight_kg = models.PositiveIntegerField("weight (kg)", null=True, blank=True)
    watts = models.PositiveIntegerField("power (watts)", null=True, blank=True)
    plug = models.CharField(max_length=40, blank=True)
    prize_capacity = models.PositiveIntegerField(null=True, blank=True)
    largest_prize_mm = models.PositiveIntegerField("largest prize (mm)", null=True, blank=True)
    price_cents = models.PositiveIntegerField("usual price per play")
    checks = models.TextField("checks at each visit", blank=True, help_text="One a line: what to look at.")
    arrival_checks = models.TextField(
        "checks when it is unpacked", blank=True, help_text="One a line. Left empty, it is the usual list."
    )
    bench_checks = models.TextField(
        "checks on the bench", blank=True, help_text="One a line. Left empty, it is the usual list of its kind."
    )
    locks = models.TextField(blank=True, help_text="One a line, for example: cash box. Their keys are counted.")
    notes = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def check_list(self) -> list[str]:
        return lines_of(self.checks)


class Status(TextChoices):
    ORDERED = "ordered", "Ordered"
    ARRIVED = "arrived", "Arrived"
    BENCH = "bench", "On the bench"
    READY = "ready", "Ready"
    PLACED = "placed", "Placed"
    SPARE = "spare", "Spare"
    OUT_OF_ORDER = "out_of_order", "Out of order"
    SOLD = "sold", "Sold"
    SCRAPPED = "scrapped", "Scrapped"


GONE = (Status.SOLD, Status.SCRAPPED)


class Machine(models.Model):
    """A cabinet: one physical machine with a code of its own."""

    code = models.CharField(max_length=16, unique=True)
    model = models.ForeignKey(CabinetModel, models.PROTECT, related_name="machines")
    serial = models.CharField(max_length=60, blank=True)
    price_cents = models.PositiveIntegerField("price per play")
    status = models.CharField(max_length=12, choices=Status, default=Status.READY)
    photo = models.FileField(upload_to="cabinets/", blank=True)
    notes = models.TextField(blank=True)

    class Meta:
        ordering = ["code"]
        constraints = [models.CheckConstraint(name="machine_price_above_zero", condition=Q(price_cents__gt=0))]

    def __str__(self) -> str:
        return self.code


class StatusChange(Fact):
    """One step in a cabinet's life. Machine.status repeats the newest one."""

    machine = models.ForeignKey(Machine, models.CASCADE, related_name="status_changes")
    status = models.CharField(max_length=12, choices=Status)
    note = models.CharField(max_length=200, blank=True)
    sold_cents = models.PositiveIntegerField("sold for", null=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(name="status_with_a_price_is_sold", condition=Q(sold_cents=None) | Q(status="sold")),
        ]


class SettingsChange(Fact):
    """What was set at one moment; an empty value was left as it stood."""

    machine = models.ForeignKey(Machine, models.CASCADE, related_name="settings_changes")
    grip_strength = models.PositiveSmallIntegerField("grip strength (%)", null=True)
    payout_target = models.PositiveSmallIntegerField("payout target (plays per prize)", null=True)
    play_seconds = models.PositiveSmallIntegerField("play time (seconds)", null=True)
    credits_per_coin = models.PositiveSmallIntegerField("credits per coin", null=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                name="settings_change_says_something",
                condition=~Q(grip_strength=None, payout_target=None, play_seconds=None, credits_per_coin=None),
            ),
            models.CheckConstraint(
                name="settings_grip_at_most_100", condition=Q(grip_strength=None) | Q(grip_strength__lte=100)
            ),
        ]


class Counts(TextChoices):
    MONEY_IN = "money_in", "Money in"
    PLAYS = "plays", "Plays"
    PRIZES_OUT = "prizes_out", "Prizes out"


class Meter(models.Model):
    """A counter on a cabinet; it rolls over at 10^digits. A replacement is a new row; the old one stays."""

    machine = models.ForeignKey(Machine, models.CASCADE, related_name="meters")
    counts = models.CharField("what it counts", max_length=10, choices=Counts)
    value_cents = models.PositiveIntegerField("money per count", default=0)
    digits = models.PositiveSmallIntegerField(default=6)
    counts_tests = models.BooleanField("also counts free test plays", default=True)
    installed_at = models.DateTimeField()
    removed_at = models.DateTimeField(null=True, blank=True)
    replaces = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="replaced_by")

    class Meta:
        ordering = ["machine", "counts", "installed_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["machine", "counts"], condition=Q(removed_at=None), name="meter_one_in_use_of_each_sort"
            ),
            models.CheckConstraint(name="meter_digits_3_to_9", condition=Q(digits__gte=3, digits__lte=9)),
            models.CheckConstraint(
                name="meter_removed_after_installed",
                condition=Q(removed_at=None) | Q(removed_at__gte=F("installed_at")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_counts_display()} meter"


class ReadingKind(TextChoices):
    READING = "reading", "Reading"
    BASELINE = "baseline", "Start of counting"  # first reading of a meter or placement, or after a reset


class Reading(Fact):
    """What a meter showed at a moment, and the free test pulses around it."""

    meter = models.ForeignKey(Meter, models.PROTECT, related_name="readings", db_index=False)
    value = models.PositiveIntegerField()
    kind = models.CharField(max_length=8, choices=ReadingKind, default=ReadingKind.READING)
    tests_before = models.PositiveIntegerField(default=0)  # test pulses inside the interval that ends here
    tests_after = models.PositiveIntegerField(default=0)  # test pulses after it, inside the next interval
    explained_as = models.CharField(max_length=14, choices=Explanation, default=Explanation.NONE, blank=True)
    reason = models.CharField(max_length=300, blank=True)

    class Meta(Fact.Meta):
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["meter", "at"])]
