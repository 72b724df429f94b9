"""What was spent, on what and from which purse."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from routeapp.cash.forms import DaysForm
from routeapp.expenses import actions, queries
from routeapp.expenses.forms import ExpenseForm
from routeapp.expenses.models import Expense
from routeapp.kit import clock
from routeapp.kit.access import BOOKKEEPER, EVERYONE, OWNER, allow
from routeapp.kit.errors import Refused
from routeapp.kit.files import kept_file
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done, page, refused
from routeapp.kit.tables import Column, Table, person

EXPENSES = Table(
    "expenses",
    (
        Column("day", "Day", "day", "day", link=lambda one: reverse("expense", args=[one.pk])),
        Column("what", "What", "what"),
        Column("cents", "Amount", "cents", "cash"),
        Column("category", "Category", "get_category_display", order="category"),
        Column("about", "For", lambda one: str(one.machine or one.location or "the business"), order=False),
        Column("from", "Paid from", "get_paid_from_display", order="paid_from"),
        Column("who", "Written down by", person("by"), order="by__first_name"),
    ),
    find=("what", "category", "machine__code", "location__name", "by__first_name"),
    hint="What, category, cabinet or location",
)


@allow(*EVERYONE)
def expenses(request: HttpRequest) -> HttpResponse:
    days = DaysForm(request.GET, today=timezone.localdate(clock.now()))
    sums = queries.by_category(days.first, days.last)
    context = {"days": days, "sums": sums, "total": sum(cents for _, cents in sums)}
    rows = queries.expenses(days.first, days.last)
    return EXPENSES.answer(request, "routeapp/expenses/expense_list.html", rows, **context)


def _form(request: HttpRequest, **more: Any) -> ExpenseForm:
    return ExpenseForm(**sent(request), today=timezone.localdate(clock.now()), **more)


def _facts(request: HttpRequest) -> dict[str, Any]:
    return {"zone": timezone.get_current_timezone_name(), "by": request.user, "at": clock.now()}


@allow(*EVERYONE)
def expense_add(request: HttpRequest) -> HttpResponse:
    form = _form(request)
    if form.is_valid() and accepted(form, actions.spend, **form.cleaned_data, **_facts(request)):
        return done(request, "The expense is written down.", "expenses")
    return ask(request, "routeapp/expenses/expense_form.html", form)


@allow(*EVERYONE)
def expense(request: HttpRequest, pk: int) -> HttpResponse:
    context = {"one": get_object_or_404(queries.every_expense(), pk=pk)}
    return page(request, "routeapp/expenses/expense.html", context)


NAMES = ("day", "category", "what", "cents", "paid_from", "bag", "machine", "location")


@allow(OWNER, BOOKKEEPER)
def expense_correct(request: HttpRequest, pk: int) -> HttpResponse:
    one = get_object_or_404(Expense, pk=pk)
    form = _form(request, initial={name: getattr(one, name) for name in NAMES})
    form.fields["bag"].queryset |= queries.bags().filter(pk=one.bag_id)
    if form.is_valid() and accepted(form, actions.spend, **form.cleaned_data, replaces=one, **_facts(request)):
        return done(request, "Corrected. What was written down before stays readable.", "expenses")
    return ask(request, "routeapp/expenses/expense_form.html", form, one=one)


@allow(OWNER, BOOKKEEPER)
@require_POST
def expense_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    one = get_object_or_404(Expense, pk=pk)
    try:
        actions.withdraw_expense(expense=one, by=request.user, at=clock.now())
    except Refused as refusal:
        return refused(request, refusal, "expense", pk)
    return done(request, "Withdrawn. Its money is where it was before.", "expenses")


@allow(*EVERYONE)
def expense_receipt(request: HttpRequest, pk: int) -> HttpResponse:
    return kept_file(get_object_or_404(Expense, pk=pk).receipt)
