"""The tables of what we own; each feature keeps its own models."""

from machines.cabinets.models import CabinetModel, Machine, Meter, Reading, SettingsChange, StatusChange
from machines.faults.models import Fault, FaultFix
from machines.labels.models import Label, ReportWindow
from machines.purchases.models import (
    Milestone,
    Order,
    OrderCost,
    OrderedCabinet,
    OrderLine,
    Paper,
    Payment,
    Quote,
    QuoteCost,
    QuotePrice,
    Receipt,
    Supplier,
)

__all__ = [
    "CabinetModel",
    "Fault",
    "FaultFix",
    "Label",
    "Machine",
    "Meter",
    "Milestone",
    "Order",
    "OrderCost",
    "OrderLine",
    "OrderedCabinet",
    "Paper",
    "Payment",
    "Quote",
    "QuoteCost",
    "QuotePrice",
    "Reading",
    "Receipt",
    "ReportWindow",
    "SettingsChange",
    "StatusChange",
    "Supplier",
]
