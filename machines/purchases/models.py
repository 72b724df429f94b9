"""Whom we buy from, what they offered, what was ordered, and what became of it.

Amounts of a quote and of an order's lines are minor units of the quote's or order's own `currency`; everything else is
in the currency of the business. `rate` is what one whole unit of theirs costs in whole units of ours.
"""

from django.conf import settings
from django.core.validators import FileExtensionValidator
from django.db import models
from django.db.models import Q

from machines.cabinets.models import CabinetModel, Machine
from machines.purchases.rules_steps import Step
from machines.purchases.rules_terms import Basis, Cost, Mode, Term
from routeapp.kit.choices import TextChoices
from routeapp.kit.facts import Fact


class Supplier(models.Model):
    """Whom cabinets and parts are bought from."""

    name = models.CharField(max_length=120, unique=True)
    contact = models.CharField("whom to ask for", max_length=120, blank=True)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    promise = models.TextField(
        "what they promise when something arrives broken", blank=True, help_text="In their words, from their terms."
    )
    promise_days = models.PositiveIntegerField(
        "days to tell them of damage", null=True, blank=True, help_text="Counted from delivery, as their terms say."
    )
    notes = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Customs(TextChoices):
    NONE = "none", "None: it is in the country already"
    US = "us", "Into the United States"
    OTHER = "other", "Into another country"


class Quote(models.Model):
    """What a supplier offered, with every cost up to the door. It can be changed until something is ordered by it."""

    uuid = models.UUIDField(unique=True)  # made by the form: sent twice it is one
    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="quotes")
    reference = models.CharField("their number", max_length=60, blank=True)
    what = models.CharField("what is offered", max_length=120)
    model = models.ForeignKey(CabinetModel, models.PROTECT, null=True, blank=True, related_name="quotes")
    received_on = models.DateField("dated")
    valid_until = models.DateField(null=True, blank=True)
    currency = models.CharField(max_length=3)
    rate = models.DecimalField("exchange rate", max_digits=14, decimal_places=6, default=1)
    term = models.CharField(max_length=3, choices=Term)
    place = models.CharField("place named with the term", max_length=80, blank=True)
    mode = models.CharField("carried by", max_length=4, choices=Mode)
    made_days = models.PositiveIntegerField("days until it is made")
    transit_days = models.PositiveIntegerField("days on the way")
    deposit_bp = models.PositiveIntegerField("deposit", default=0)
    crate_litres = models.PositiveIntegerField("volume of a crate (litres)", null=True, blank=True)
    crate_kg = models.PositiveIntegerField("weight of a crate (kg)", null=True, blank=True)
    kg_per_m3 = models.PositiveIntegerField("kilograms that pay as one m³", default=1000)
    customs = models.CharField(max_length=5, choices=Customs)
    tariff_code = models.CharField(max_length=20, blank=True)
    duty_bp = models.PositiveIntegerField("duty", default=0)
    extra_duty_bp = models.PositiveIntegerField("extra duty", default=0)
    tax_bp = models.PositiveIntegerField("VAT or GST", default=0)
    tax_comes_back = models.BooleanField("VAT or GST comes back", default=True)
    notes = models.TextField(blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-received_on", "-pk"]
        constraints = [
            models.CheckConstraint(name="quote_rate_above_zero", condition=Q(rate__gt=0)),
            models.CheckConstraint(name="quote_deposit_at_most_all", condition=Q(deposit_bp__lte=10_000)),
            models.CheckConstraint(
                name="quote_sea_terms_by_sea", condition=~Q(term__in=["FAS", "FOB", "CFR", "CIF"]) | Q(mode="sea")
            ),
        ]

    def __str__(self) -> str:
        return f"{self.supplier}: {self.what}"

    @property
    def lead_days(self) -> int:
        return self.made_days + self.transit_days


class QuotePrice(models.Model):
    """The price of one piece when at least this many are taken."""

    quote = models.ForeignKey(Quote, models.CASCADE, related_name="prices")
    from_pieces = models.PositiveIntegerField()
    unit_cents = models.PositiveIntegerField("price of one piece")

    class Meta:
        ordering = ["from_pieces"]
        constraints = [
            models.UniqueConstraint(fields=["quote", "from_pieces"], name="quote_price_once_per_quantity"),
            models.CheckConstraint(name="quote_price_above_zero", condition=Q(from_pieces__gt=0) & Q(unit_cents__gt=0)),
        ]


class QuoteCost(models.Model):
    """One cost on top of the price: an amount, or a share of the price."""

    quote = models.ForeignKey(Quote, models.CASCADE, related_name="costs")
    kind = models.CharField(max_length=14, choices=Cost)
    basis = models.CharField(max_length=8, choices=Basis)
    amount_cents = models.PositiveIntegerField(null=True)
    share_bp = models.PositiveIntegerField(null=True)
    ours = models.BooleanField("in the currency of the business", default=False)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                name="quote_cost_amount_or_share",
                condition=Q(basis="share", amount_cents=None, share_bp__isnull=False)
                | (~Q(basis="share") & Q(amount_cents__isnull=False, share_bp=None)),
            )
        ]


class Order(models.Model):
    """What was ordered. Without `ordered_on` it came although nobody had ordered it."""

    uuid = models.UUIDField(unique=True)
    number = models.CharField(max_length=20, unique=True)
    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="orders")
    quote = models.ForeignKey(Quote, models.PROTECT, null=True, blank=True, related_name="orders")
    ordered_on = models.DateField(null=True)
    promised_on = models.DateField(null=True)  # by the quote
    currency = models.CharField(max_length=3)
    rate = models.DecimalField("exchange rate", max_digits=14, decimal_places=6, default=1)
    deposit_cents = models.PositiveIntegerField("deposit asked for", default=0)  # in the order's currency
    mode = models.CharField("carried by", max_length=4, choices=Mode)
    notes = models.TextField(blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [models.CheckConstraint(name="order_rate_above_zero", condition=Q(rate__gt=0))]

    def __str__(self) -> str:
        return self.number


class OrderLine(models.Model):
    """So many pieces of one thing; cabinets when it has a model, parts when it has none."""

    order = models.ForeignKey(Order, models.CASCADE, related_name="lines")
    what = models.CharField(max_length=120)
    model = models.ForeignKey(CabinetModel, models.PROTECT, null=True, blank=True, related_name="+")
    pieces = models.PositiveIntegerField()
    unit_cents = models.PositiveIntegerField("price of one piece")

    class Meta:
        ordering = ["pk"]
        constraints = [models.CheckConstraint(name="order_line_above_zero", condition=Q(pieces__gt=0))]


class OrderedCabinet(models.Model):
    """A cabinet that an order brings; `cost_cents` is its share of all the order cost, derived from its costs."""

    line = models.ForeignKey(OrderLine, models.PROTECT, related_name="cabinets")
    machine = models.OneToOneField(Machine, models.PROTECT, related_name="bought")
    cost_cents = models.PositiveIntegerField("landed cost", null=True)

    class Meta:
        ordering = ["machine"]


class OrderCost(Fact):
    """One cost of an order in our currency: as quoted first, as paid once the paper came."""

    order = models.ForeignKey(Order, models.CASCADE, related_name="costs")
    kind = models.CharField(max_length=14, choices=[("price", "Price"), *Cost.choices])
    cents = models.PositiveIntegerField()
    estimated = models.BooleanField("as quoted")
    note = models.CharField(max_length=120, blank=True)

    class Meta(Fact.Meta):
        ordering = ["pk"]


class Milestone(Fact):
    """Where an order was at a moment; `expected_on` is what the carrier or supplier said then about its arrival."""

    order = models.ForeignKey(Order, models.CASCADE, related_name="milestones")
    step = models.CharField(max_length=10, choices=Step)
    expected_on = models.DateField("expected at the door", null=True)
    container = models.CharField("container number", max_length=11, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta(Fact.Meta):
        ordering = ["at", "pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(
                fields=["order", "step"], condition=Q(withdrawn_at=None), name="milestone_one_live_of_each_step"
            ),
        ]


class Receipt(Fact):
    """What came of an order, counted in cabinets or parts. An inspection that finds more withdraws it for its own."""

    order = models.ForeignKey(Order, models.CASCADE, related_name="receipts")
    came = models.PositiveIntegerField("how many came")
    damaged = models.PositiveIntegerField("how many of them damaged", default=0)

    class Meta(Fact.Meta):
        ordering = ["at", "pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(
                fields=["order"], condition=Q(withdrawn_at=None), name="receipt_one_live_per_order"
            ),
            models.CheckConstraint(
                name="receipt_damaged_of_those_that_came", condition=Q(damaged__lte=models.F("came"))
            ),
        ]


class Payment(Fact):
    """Money that went to the supplier of an order: what left our bank, and what it was on their invoice."""

    uuid = models.UUIDField(unique=True)
    order = models.ForeignKey(Order, models.CASCADE, related_name="payments")
    cents = models.PositiveIntegerField("taken from our account")
    invoice_cents = models.PositiveIntegerField("in the order's currency")
    note = models.CharField(max_length=120, blank=True)

    class Meta(Fact.Meta):
        ordering = ["at", "pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(name="payment_above_zero", condition=Q(cents__gt=0)),
        ]


class Paper(Fact):
    """A document of an order: invoice, packing list, transport document."""

    uuid = models.UUIDField(unique=True)
    order = models.ForeignKey(Order, models.CASCADE, related_name="papers")
    name = models.CharField(max_length=120)
    file = models.FileField(upload_to="papers/", validators=[FileExtensionValidator(["pdf", "jpg"])])

    class Meta(Fact.Meta):
        ordering = ["at", "pk"]
