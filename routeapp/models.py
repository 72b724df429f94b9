"""The tables of running the route; each feature keeps its own models."""

from routeapp.cash.models import Bag, BagCount, BagMove, CashMove, Sealed
from routeapp.data.imports.models import Brought, RememberedColumns, SheetImport
from routeapp.stock.models import Delivery, Holding, Mix, MixLine, Place, Prize, PrizeCost, StockCount, StockMove
from routeapp.team.models import Business
from routeapp.visits.models import HostPayment, Photo, ServiceEntry, TimesKept, Visit

__all__ = [
    "Bag",
    "BagCount",
    "BagMove",
    "Brought",
    "Business",
    "CashMove",
    "Delivery",
    "Holding",
    "HostPayment",
    "Mix",
    "MixLine",
    "Photo",
    "Place",
    "Prize",
    "PrizeCost",
    "RememberedColumns",
    "Sealed",
    "ServiceEntry",
    "SheetImport",
    "StockCount",
    "StockMove",
    "TimesKept",
    "Visit",
]
