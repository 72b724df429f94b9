"""The tables of running the route; each feature keeps its own models."""

from routeapp.books.models import MonthClose
from routeapp.cards.models import CardMatch, CardRow, CardStatement, ReaderMove
from routeapp.cash.models import Bag, BagCount, BagMove, BlindCount, CashMove, Sealed
from routeapp.cash.models_bank import BankFigure, BankRow, Deposit, Matched, Statement
from routeapp.data.imports.models import Brought, RememberedColumns, SheetImport
from routeapp.expenses.models import Expense, MileageRate, Refund, Trip
from routeapp.planning.models_due import PrizeOrder, PrizeOrderLine, Promise, SupplierTerms, ToDo
from routeapp.planning.models_rounds import (
    CalendarLink,
    Driver,
    DrivingCost,
    LoadTick,
    Pin,
    Proposal,
    Round,
    RoundPlan,
    RoundStop,
    Shift,
    Skip,
    Vehicle,
)
from routeapp.settlements.models import Letter, Remittance, Settlement, SettlementLine, SettlementRun, StatementLink
from routeapp.stock.models import Delivery, Holding, Mix, MixLine, Place, Prize, PrizeCost, StockCount, StockMove
from routeapp.team.models import Business
from routeapp.visits.models import HostPayment, Photo, ServiceEntry, TimesKept, Visit

__all__ = [
    "Bag",
    "BagCount",
    "BagMove",
    "BankFigure",
    "BankRow",
    "BlindCount",
    "Brought",
    "Business",
    "CalendarLink",
    "CardMatch",
    "CardRow",
    "CardStatement",
    "CashMove",
    "Delivery",
    "Deposit",
    "Driver",
    "DrivingCost",
    "Expense",
    "Holding",
    "HostPayment",
    "Letter",
    "LoadTick",
    "Matched",
    "MileageRate",
    "Mix",
    "MixLine",
    "MonthClose",
    "Photo",
    "Pin",
    "Place",
    "Prize",
    "PrizeCost",
    "PrizeOrder",
    "PrizeOrderLine",
    "Promise",
    "Proposal",
    "ReaderMove",
    "Refund",
    "RememberedColumns",
    "Remittance",
    "Round",
    "RoundPlan",
    "RoundStop",
    "Sealed",
    "ServiceEntry",
    "Settlement",
    "SettlementLine",
    "SettlementRun",
    "SheetImport",
    "Shift",
    "Skip",
    "Statement",
    "StatementLink",
    "StockCount",
    "StockMove",
    "SupplierTerms",
    "TimesKept",
    "ToDo",
    "Trip",
    "Vehicle",
    "Visit",
]
