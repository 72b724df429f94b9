"""Money on its way: cash boxes, bags, the bank, the hosts; counts of bags and who holds them."""

from django.conf import settings
from django.db import models
from django.db.models import F, Func, Q

from locations.sites.models import Location
from machines.cabinets.models import Machine
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact, MoveQuerySet


class Purse(TextChoices):
    """Where money can be. A box belongs to a cabinet, a bag to its number, a host to a location.

    Take is what leaves the players, in cash or by card; what goes back to them is a refund, not less take.
    """

    PLAYERS = "players", "Players"
    BOX = "box", "Cash box"
    BAG = "bag", "Bag"
    BANK = "bank", "Bank"
    HOST = "host", "Host"
    OVER_SHORT = "over_short", "Over and short"
    CARDS = "cards", "Card processor"
    FEES = "fees", "Card fees"
    REFUNDS = "refunds", "Refunded to players"
    COSTS = "costs", "Goods and services"
    TRADE = "trade", "Cabinets and prizes, bought or sold"
    OWNER = "owner", "The owner's own money"


class How(TextChoices):
    DENOMINATIONS = "denominations", "Counted by coin and note"
    WEIGHT = "weight", "Counted by weight"
    AMOUNT = "amount", "Counted, only the sum kept"


class Bag(Fact):
    """A bag of money. `number` is on its seal, or made up for loose cash that was counted at the site.

    Its id stays the same when the visit that filled it is corrected, so a count or deposit made meanwhile holds.
    """

    uuid = models.UUIDField(unique=True)
    number = models.CharField(max_length=40)
    location = models.ForeignKey(Location, models.PROTECT, related_name="bags")
    sealed = models.BooleanField("sealed uncounted", default=False)

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["-at"])]

    def __str__(self) -> str:
        return f"Bag {self.number}"

    @property
    def where(self) -> str:
        """Where a bag of `queries.bags()` is, in words."""
        return where(self.holder, self.with_person)


def where(holder: str, person: str) -> str:
    if holder == Holder.PERSON:
        return f"with {person}"
    return Holder(holder).label.lower() if holder else "nobody knows where"


class Holder(TextChoices):
    PERSON = "person", "With a person"
    SAFE = "safe", "In the safe"
    BANK = "bank", "At the bank"


class BagMove(Fact):
    """Who took a bag over. A bag is in one place at a time: where its newest live move says."""

    bag = models.ForeignKey(Bag, models.CASCADE, related_name="whereabouts")
    holder = models.CharField(max_length=6, choices=Holder)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                name="bag_with_person_names_the_person",
                condition=Q(holder="person", person__isnull=False) | (~Q(holder="person") & Q(person=None)),
            ),
        ]


class Sealed(Fact):
    """The cash of one cabinet lies uncounted in a bag. `estimate_cents` is what its meter said."""

    bag = models.ForeignKey(Bag, models.PROTECT, related_name="contents")
    machine = models.ForeignKey(Machine, models.PROTECT, related_name="+")
    location = models.ForeignKey(Location, models.PROTECT, related_name="+")
    day = models.DateField()
    estimate_cents = models.PositiveIntegerField(default=0)

    class Meta(Fact.Meta):
        ordering = ["at", "source"]


class BagCount(Fact):
    """What was found in a bag, by one person or with a `second`. `lines` are pieces by denomination key. The newest
    live one holds."""

    uuid = models.UUIDField(unique=True)
    bag = models.ForeignKey(Bag, models.PROTECT, related_name="counts")
    how = models.CharField(max_length=13, choices=How)
    cents = models.PositiveIntegerField()
    lines = models.JSONField(default=dict)
    note = models.CharField(max_length=300, blank=True)
    second = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")

    class Meta(Fact.Meta):
        ordering = ["-at", "-pk"]


class BlindCount(Fact):
    """What one of two people found who count a bag without seeing each other's figure; `settled_by` is the count that
    came of it. Until then it holds nothing."""

    uuid = models.UUIDField(unique=True)
    bag = models.ForeignKey(Bag, models.PROTECT, related_name="blind_counts")
    how = models.CharField(max_length=13, choices=How)
    cents = models.PositiveIntegerField()
    lines = models.JSONField(default=dict)
    settled_by = models.ForeignKey(BagCount, models.PROTECT, null=True, related_name="blind_counts")

    class Meta(Fact.Meta):
        ordering = ["at", "pk"]


class OfHosts(Func):
    """Moves to and from hosts, in the very words of their index, so that the databases use it."""

    output_field = models.BooleanField()
    template = "(from_purse = 'host' OR to_purse = 'host')"
    conditional = True


class CashMove(Fact):
    """An amount of money from one purse to another. What a bag's count showed carries the bag's id as its source.

    `day` is the calendar day at the location when it happened, kept so that weeks and months add up in the
    location's own calendar. `machine` and `location` say where the money came from, also after it left.
    """

    from_purse = models.CharField(max_length=10, choices=Purse)
    to_purse = models.CharField(max_length=10, choices=Purse)
    cents = models.PositiveIntegerField()
    day = models.DateField()
    machine = models.ForeignKey(Machine, models.PROTECT, null=True, related_name="cash_moves", db_index=False)
    location = models.ForeignKey(Location, models.PROTECT, null=True, related_name="cash_moves", db_index=False)
    bag = models.ForeignKey(Bag, models.PROTECT, null=True, related_name="cash_moves")
    entry = models.UUIDField("service entry", null=True, db_index=True)
    reverses = models.OneToOneField("self", models.PROTECT, null=True, related_name="reversed_by")
    reason = models.CharField(max_length=200, blank=True)

    objects = MoveQuerySet.as_manager()

    class Meta(Fact.Meta):
        ordering = ["at", "pk"]
        indexes = [
            models.Index(
                fields=["location", "day", "from_purse", "to_purse", "cents"], name="cash_by_location_and_day"
            ),
            models.Index(fields=["machine", "day", "from_purse", "to_purse", "cents"], name="cash_by_machine_and_day"),
            models.Index(fields=["day", "from_purse", "to_purse"], name="cash_by_day"),
            models.Index(fields=["location", "day"], condition=Q(OfHosts()), name="cash_of_hosts"),
        ]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(name="cash_move_above_zero", condition=Q(cents__gt=0)),
            models.CheckConstraint(name="cash_move_between_two_purses", condition=~Q(from_purse=F("to_purse"))),
            models.CheckConstraint(
                name="cash_move_box_names_its_machine",
                condition=Q(machine__isnull=False) | (~Q(from_purse="box") & ~Q(to_purse="box")),
            ),
            models.CheckConstraint(
                name="cash_move_bag_is_named",
                condition=Q(bag__isnull=False) | (~Q(from_purse="bag") & ~Q(to_purse="bag")),
            ),
            models.CheckConstraint(
                name="cash_move_host_names_the_location",
                condition=Q(location__isnull=False) | (~Q(from_purse="host") & ~Q(to_purse="host")),
            ),
        ]
