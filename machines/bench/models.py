"""What a cabinet showed on the bench before it was placed, and who let one go without."""

from django.db import models
from django.db.models import F, Q

from machines.cabinets.models import Machine
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact


class Starts(TextChoices):
    YES = "yes", "It starts"
    OTHER = "other", "Only at another outlet"
    NO = "no", "Not at another outlet either"


class Result(TextChoices):
    FINE = "fine", "Works"
    FAILS = "fails", "Fails"
    NONE = "none", "Not on this one"


class BenchTest(Fact):
    """One test on the bench. `passed` is what rules.still_wrong made of it when it was written down."""

    uuid = models.UUIDField(unique=True)
    machine = models.ForeignKey(Machine, models.CASCADE, related_name="bench_tests")
    starts = models.CharField("does it start?", max_length=5, choices=Starts)
    watts = models.PositiveIntegerField("power drawn (watts)", null=True)
    plays = models.PositiveSmallIntegerField("test plays", default=0)
    wins = models.PositiveSmallIntegerField("prizes won in them", default=0)
    reader = models.CharField("serial number of the card reader", max_length=60, blank=True)
    pulses_sent = models.PositiveSmallIntegerField(default=0)
    pulses_counted = models.PositiveSmallIntegerField(default=0)
    labelled = models.BooleanField("the label is on it")
    passed = models.BooleanField()
    note = models.TextField(blank=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(name="bench_test_wins_of_its_plays", condition=Q(wins__lte=F("plays"))),
        ]

    def __str__(self) -> str:
        return f"{self.machine}: bench test"


class BenchCheck(models.Model):
    """One line of the list of what to try; a line left out has no result."""

    test = models.ForeignKey(BenchTest, models.CASCADE, related_name="checks")
    what = models.CharField(max_length=120)
    result = models.CharField(max_length=5, choices=Result, blank=True)

    class Meta:
        ordering = ["pk"]


class BenchCoin(models.Model):
    """Known coins or notes of one worth: how often one was put in, how often it was taken."""

    test = models.ForeignKey(BenchTest, models.CASCADE, related_name="coins")
    cents = models.PositiveIntegerField("worth")
    tried = models.PositiveSmallIntegerField()
    taken = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["cents"]
        constraints = [
            models.CheckConstraint(name="bench_coin_taken_of_those_tried", condition=Q(taken__lte=F("tried"))),
            models.UniqueConstraint(fields=["test", "cents"], name="bench_coin_once_per_worth"),
        ]


class LetGo(Fact):
    """A signed reason to place a cabinet that has not passed."""

    uuid = models.UUIDField(unique=True)
    machine = models.ForeignKey(Machine, models.CASCADE, related_name="let_go")
    reason = models.CharField(max_length=300)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(name="let_go_has_a_reason", condition=~Q(reason="")),
        ]

    def __str__(self) -> str:
        return f"{self.machine}: placed without a passed bench test"
