"""The tables of what we own; each feature keeps its own models."""

from machines.cabinets.models import CabinetModel, Machine, Meter, Reading, SettingsChange, StatusChange
from machines.faults.models import Fault, FaultFix
from machines.labels.models import Label, ReportWindow

__all__ = [
    "CabinetModel",
    "Fault",
    "FaultFix",
    "Label",
    "Machine",
    "Meter",
    "Reading",
    "ReportWindow",
    "SettingsChange",
    "StatusChange",
]
