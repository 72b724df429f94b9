"""What was decided about spreading the cost of a cabinet over its years."""

from django.db import models
from django.db.models import F, Q

from machines.cabinets.models import Machine
from machines.depreciation.rules import Convention, Method
from routeapp.kit.facts import Fact


class DepreciationChoice(Fact):
    """How one cabinet is depreciated, as people decided it, the class with an accountant; the newest live one holds.

    Without `cost_cents` it is the landed cost of the order that brought the cabinet.
    """

    uuid = models.UUIDField(unique=True)
    machine = models.ForeignKey(Machine, models.CASCADE, related_name="depreciation")
    in_service_on = models.DateField("put in service on")
    cost_cents = models.PositiveIntegerField("cost", null=True)
    method = models.CharField("figures here use", max_length=8, choices=Method, default=Method.STRAIGHT)
    life_years = models.PositiveSmallIntegerField("years it will serve", default=5)
    worth_after_cents = models.PositiveIntegerField("worth afterwards", default=0)
    class_years = models.PositiveSmallIntegerField("class", null=True, choices=[(5, "5 years"), (7, "7 years")])
    convention = models.CharField(max_length=11, choices=Convention, default=Convention.TEST)
    section_179_cents = models.PositiveIntegerField("section 179 amount", default=0)
    bonus_bp = models.PositiveIntegerField("bonus", default=0)
    decided_with = models.CharField("decided with", max_length=80, blank=True)

    class Meta(Fact.Meta):
        ordering = ["machine", "-at", "-pk"]
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(
                fields=["machine"], condition=Q(withdrawn_at=None), name="depreciation_one_live_per_cabinet"
            ),
            models.CheckConstraint(name="depreciation_life_1_to_40", condition=Q(life_years__range=(1, 40))),
            models.CheckConstraint(name="depreciation_bonus_at_most_all", condition=Q(bonus_bp__lte=10_000)),
            models.CheckConstraint(
                name="depreciation_worth_after_within_cost",
                condition=Q(cost_cents=None) | Q(worth_after_cents__lte=F("cost_cents")),
            ),
            models.CheckConstraint(
                name="depreciation_table_needs_a_class", condition=~Q(method="table") | Q(class_years__isnull=False)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.machine}: depreciation"
