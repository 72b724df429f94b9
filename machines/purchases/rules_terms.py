"""What a price includes: the Incoterms 2020 rules, sorts of cost, and which of them each term has in the price.

The eleven terms and the sea-only four: Incoterms 2020, International Chamber of Commerce. Who pays what is from memory.
"""

from routeapp.kit.choices import TextChoices


class Term(TextChoices):
    EXW = "EXW", "EXW, collected at the maker's"
    FCA = "FCA", "FCA, handed to the carrier"
    FAS = "FAS", "FAS, beside the ship (sea)"
    FOB = "FOB", "FOB, on board the ship (sea)"
    CFR = "CFR", "CFR, carriage to port (sea)"
    CIF = "CIF", "CIF, carriage and insurance to port (sea)"
    CPT = "CPT", "CPT, carriage to the place named"
    CIP = "CIP", "CIP, carriage and insurance to the place named"
    DAP = "DAP", "DAP, at the place named, not unloaded"
    DPU = "DPU", "DPU, at the place named, unloaded"
    DDP = "DDP", "DDP, at the place named, duty paid"


class Mode(TextChoices):
    SEA = "sea", "Sea"
    AIR = "air", "Air"
    ROAD = "road", "Road"


class Cost(TextChoices):
    """Sorts of cost in the order in which they arise on the way to the door."""

    SPARES = "spares", "Spares kit"
    CRATING = "crating", "Crating"
    EXPORT = "export", "Export clearance"
    FREIGHT = "freight", "Freight"
    INSURANCE = "insurance", "Insurance"
    PORT = "port", "Port and destination charges"
    DUTY = "duty", "Duty"
    EXTRA_DUTY = "extra_duty", "Extra duty"
    PROCESSING_FEE = "processing_fee", "Merchandise processing fee"
    HARBOUR_FEE = "harbour_fee", "Harbour maintenance fee"
    ENTRY = "entry", "Entry fees"
    BROKER = "broker", "Customs broker"
    INLAND = "inland", "Inland leg from the place named"
    LIFT_GATE = "lift_gate", "Lift-gate"
    BANK = "bank", "Bank cost"
    TAX = "tax", "VAT or GST"
    OTHER = "other", "Other"


class Basis(TextChoices):
    EACH = "each", "each piece"
    SHIPMENT = "shipment", "for all of it"
    MEASURE = "measure", "m³ or tonne, whichever is more"
    SHARE = "share", "% of the price"


SEA_ONLY = (Term.FAS, Term.FOB, Term.CFR, Term.CIF)

_TO_CARRIER = frozenset({Cost.CRATING, Cost.EXPORT})
_CARRIED = _TO_CARRIER | {Cost.FREIGHT}
_DELIVERED = _CARRIED | {Cost.INSURANCE, Cost.PORT}
_CLEARED = _DELIVERED | {
    *(Cost.DUTY, Cost.EXTRA_DUTY, Cost.PROCESSING_FEE, Cost.HARBOUR_FEE),
    *(Cost.ENTRY, Cost.BROKER, Cost.TAX),
}

# What a buyer must not pay a second time. A seller packs under every term, so crating is never on top of it; the way
# from the place named to the door is never in the price.
INCLUDED: dict[str, frozenset[Cost]] = {
    Term.EXW: frozenset({Cost.CRATING}),
    Term.FCA: _TO_CARRIER,
    Term.FAS: _TO_CARRIER,
    Term.FOB: _TO_CARRIER,
    Term.CFR: _CARRIED,
    Term.CIF: _CARRIED | {Cost.INSURANCE},
    Term.CPT: _CARRIED,
    Term.CIP: _CARRIED | {Cost.INSURANCE},
    Term.DAP: _DELIVERED,
    Term.DPU: _DELIVERED | {Cost.LIFT_GATE},
    Term.DDP: _CLEARED,
}
