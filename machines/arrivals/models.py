"""What came to the door and in which state, and what was asked of whom for what was not right."""

from django.db import models
from django.db.models import Q

from machines.arrivals.rules_clocks import Regime
from machines.cabinets.models import Machine
from machines.purchases.models import Order
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact


class Outside(TextChoices):
    FINE = "fine", "Nothing to see"
    DAMAGED = "damaged", "Damaged outside"
    REFUSED = "refused", "Sent back unsigned"


class Arrival(Fact):
    """One document from the door or from unpacking. One that `follows` another tells what was unpacked later."""

    uuid = models.UUIDField(unique=True)  # made by the phone
    fingerprint = models.CharField(max_length=64)
    order = models.ForeignKey(Order, models.PROTECT, related_name="arrivals")
    follows = models.ForeignKey("self", models.PROTECT, null=True, related_name="followed_by")
    replaces = models.OneToOneField("self", models.PROTECT, null=True, related_name="replaced_by")
    reason = models.CharField("why it was corrected", max_length=300, blank=True)
    typed = models.JSONField("the page's fields as they were typed", default=dict)
    carrier = models.CharField(max_length=80, blank=True)
    listed = models.PositiveIntegerField("pieces on the delivery receipt", null=True)
    came = models.PositiveIntegerField("pieces that came", null=True)
    outside = models.CharField(max_length=8, choices=Outside, blank=True)
    receipt_words = models.CharField("written on the delivery receipt", max_length=500, blank=True)
    note = models.TextField(blank=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                name="arrival_is_at_the_door_or_follows",
                condition=Q(follows=None, listed__isnull=False, came__isnull=False) & ~Q(outside="")
                | Q(follows__isnull=False, listed=None, came=None, outside=""),
            ),
            models.CheckConstraint(name="arrival_correction_has_a_reason", condition=Q(replaces=None) | ~Q(reason="")),
        ]

    def __str__(self) -> str:
        return f"Delivery of {self.order}"


class State(TextChoices):
    FINE = "fine", "Fine"
    FIXED = "fixed", "Fixed here"
    DAMAGED = "damaged", "Damaged"
    MISSING = "missing", "Missing"


WRONG = (State.DAMAGED, State.MISSING)


class Finding(Fact):
    """What one line of the list showed, on a cabinet or, without one, on the delivery."""

    arrival = models.ForeignKey(Arrival, models.CASCADE, related_name="findings")
    machine = models.ForeignKey(Machine, models.PROTECT, null=True, related_name="findings")
    what = models.CharField(max_length=120)
    state = models.CharField(max_length=7, choices=State)
    pieces = models.PositiveIntegerField(default=1)
    note = models.CharField("how", max_length=300, blank=True)

    class Meta(Fact.Meta):
        ordering = ["pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(name="finding_above_zero", condition=Q(pieces__gt=0)),
        ]

    def __str__(self) -> str:
        return f"{self.machine}: {self.what}" if self.machine else self.what


class ArrivalPhoto(models.Model):
    """A photo of a delivery, of a cabinet or, with `what`, of one line of its list."""

    uuid = models.UUIDField(primary_key=True)
    arrival = models.ForeignKey(Arrival, models.CASCADE, related_name="photos")
    machine = models.ForeignKey(Machine, models.PROTECT, null=True, related_name="+")
    what = models.CharField(max_length=120, blank=True)
    file = models.FileField(upload_to="arrivals/")


class Addressee(TextChoices):
    SUPPLIER = "supplier", "Supplier"
    CARRIER = "carrier", "Carrier"
    INSURER = "insurer", "Insurer"


class Claim(Fact):
    """What is asked for damage or loss, of whom, under which rules. Its steps say where it stands."""

    uuid = models.UUIDField(unique=True)
    arrival = models.ForeignKey(Arrival, models.PROTECT, related_name="claims")
    addressee = models.CharField("put to", max_length=8, choices=Addressee)
    name = models.CharField("their name", max_length=120)
    regime = models.CharField("which rules hold", max_length=8, choices=Regime)
    delivered_on = models.DateField()
    promise_days = models.PositiveIntegerField("days by their promise", null=True)
    note = models.TextField(blank=True)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                name="claim_promise_has_its_days", condition=~Q(regime="promise") | Q(promise_days__isnull=False)
            ),
        ]

    def __str__(self) -> str:
        return f"Claim to {self.name} for {self.arrival.order}"


class Wish(TextChoices):
    PART = "part", "A replacement"
    MONEY = "money", "Money"


class ClaimItem(models.Model):
    """One finding in a claim, what it is worth, and what is asked for it."""

    claim = models.ForeignKey(Claim, models.CASCADE, related_name="items")
    finding = models.ForeignKey(Finding, models.PROTECT, related_name="claimed")
    cents = models.PositiveIntegerField("amount")
    wish = models.CharField("asked for", max_length=5, choices=Wish)

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["claim", "finding"], name="claim_item_once_per_finding")]

    def __str__(self) -> str:
        return str(self.finding)


class Step(TextChoices):
    NOTICE = "notice", "Told them in writing"
    CLAIM = "claim", "Sent the claim with its amount"
    REPLY = "reply", "They replied"
    SENT = "sent", "They sent the replacement"
    CAME = "came", "The replacement came"
    FITTED = "fitted", "The replacement is fitted"
    PAID = "paid", "They paid"
    REFUSED = "refused", "They refused"
    SUIT = "suit", "Went to court or arbitration"
    CLOSED = "closed", "Closed"


OF_ITEMS = (Step.SENT, Step.CAME, Step.FITTED)


class ClaimStep(Fact):
    """One thing that happened to a claim; of a replacement it names the item."""

    uuid = models.UUIDField(unique=True)
    claim = models.ForeignKey(Claim, models.CASCADE, related_name="steps")
    item = models.ForeignKey(ClaimItem, models.CASCADE, null=True, related_name="steps")
    step = models.CharField("what happened", max_length=7, choices=Step)
    cents = models.PositiveIntegerField("amount paid", null=True)
    text = models.CharField("in words", max_length=1000, blank=True)

    class Meta(Fact.Meta):
        ordering = ["at", "pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                name="claim_step_of_a_replacement_names_it",
                condition=Q(step__in=["sent", "came", "fitted"], item__isnull=False)
                | (~Q(step__in=["sent", "came", "fitted"]) & Q(item=None)),
            ),
            models.CheckConstraint(
                name="claim_step_payment_has_its_amount",
                condition=Q(step="paid", cents__isnull=False, cents__gt=0) | (~Q(step="paid") & Q(cents=None)),
            ),
        ]
