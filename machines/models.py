"""The tables of what we own; each feature keeps its own models."""

from machines.arrivals.models import Arrival, ArrivalPhoto, Claim, ClaimItem, ClaimStep, Finding
from machines.bench.models import BenchCheck, BenchCoin, BenchTest, LetGo
from machines.cabinets.models import CabinetModel, Machine, Meter, Reading, SettingsChange, StatusChange
from machines.depreciation.models import DepreciationChoice
from machines.faults.models import Fault, FaultFix
from machines.labels.models import Label, ReportWindow
from machines.papers.models import ModelPaper
from machines.parts.models import Key, KeyMove, Lock, Part, PartMove, PartPlace
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
    "Arrival",
    "ArrivalPhoto",
    "BenchCheck",
    "BenchCoin",
    "BenchTest",
    "CabinetModel",
    "Claim",
    "ClaimItem",
    "ClaimStep",
    "DepreciationChoice",
    "Fault",
    "FaultFix",
    "Finding",
    "Key",
    "KeyMove",
    "Label",
    "LetGo",
    "Lock",
    "Machine",
    "Meter",
    "Milestone",
    "ModelPaper",
    "Order",
    "OrderCost",
    "OrderedCabinet",
    "OrderLine",
    "Paper",
    "Part",
    "PartMove",
    "PartPlace",
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
