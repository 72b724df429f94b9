"""What cabinets cost at the door, against published figures."""

from datetime import date
from decimal import Decimal

import pytest

from machines.purchases import rules_fees as fees
from machines.purchases.rules_landed import Extra, Import, Offer, chargeable, landed, unit_price
from machines.purchases.rules_terms import INCLUDED, SEA_ONLY, Cost, Term

SPRING = date(2026, 4, 1)  # fiscal year 2026


def offer(**changed):
    said = {
        "pieces": 1, "unit_cents": 8_000_00, "theirs": "USD", "ours": "USD", "rate": Decimal(1), "term": "FOB",
        "mode": "sea", "extras": (), "entry": Import(us=True, on=SPRING),
    }  # fmt: skip
    return Offer(**{**said, **changed})


def cents(found):
    return {line.kind: line.cents for line in found.lines if line.counted}


@pytest.mark.parametrize(
    ("value", "processing", "harbour"),
    [(8_000_00, 33_58, 10_00), (24_000_00, 83_14, 30_00), (200_000_00, 651_50, 250_00)],
)
def test_fees_of_fiscal_year_2026(value, processing, harbour):
    """0.3464 % between the limits of CBP Dec. 25-10 (90 FR 34665), 0.125 % of 19 CFR 24.24; products by hand."""
    found = cents(landed(offer(unit_cents=value)))
    assert (found["processing_fee"], found["harbour_fee"]) == (processing, harbour)


def test_the_most_of_2026_is_the_published_one_not_the_computed_one():
    """485 times the printed factor 1.34331 is 651.505; the notice says 651.50 (90 FR 34665)."""
    assert fees.fee_year(SPRING).most == 651_50


@pytest.mark.parametrize(
    ("value", "fee"), [(9_693_00, 33_58), (9_695_00, 33_58), (9_696_00, 33_59), (188_078_00, 651_50)]
)
def test_fee_around_its_limits(value, fee):
    """The least binds below $9,694.00, the most above $188,077.37: quotients of the published figures."""
    assert fees.processing_fee(value, fees.fee_year(SPRING)) == fee


@pytest.mark.parametrize(
    ("day", "least"),
    [(date(2018, 1, 1), 25_67), (date(2018, 9, 30), 25_67), (date(2018, 10, 1), 26_22), (date(2026, 9, 30), 33_58)],
)
def test_fee_year_turns_on_the_first_of_october(day, least):
    """Limits as in the sources that the table names."""
    assert fees.fee_year(day).least == least


def test_fee_years_follow_one_another_without_a_gap():
    assert [one.until for one in fees.FEE_YEARS[:-1]] == [one.since for one in fees.FEE_YEARS[1:]]


def test_day_beyond_the_tables_has_no_figure_and_says_what_was_last_known():
    found = landed(offer(entry=Import(us=True, on=date(2026, 11, 2))))
    assert found.missing == [
        "Merchandise processing fee: no figure for 2 November 2026, last known: at least $33.58, at most $651.50 "
        "(fiscal year 2026)"
    ]
    assert found.total == 8_000_00 + 10_00


def test_fee_that_the_quote_names_counts_in_place_of_the_tables():
    late = Import(us=True, on=date(2026, 11, 2))
    found = landed(offer(entry=late, extras=(Extra("processing_fee", "shipment", 34_42, ours=True),)))
    assert (found.missing, cents(found)["processing_fee"]) == ([], 34_42)


def test_small_value_is_an_informal_entry():
    """$2.69 in fiscal year 2026 (client advisory of a forwarder); up to $2,500 of value, from memory."""
    assert fees.processing_fee(2_500_00, fees.fee_year(SPRING)) == 2_69
    assert fees.processing_fee(2_501_00, fees.fee_year(SPRING)) == 33_58


@pytest.mark.parametrize(("value", "dollars"), [(1_000_49, 1_000_00), (1_000_50, 1_001_00), (999_99, 1_000_00)])
def test_duty_is_worked_out_on_whole_dollars(value, dollars):
    """19 CFR 159.3(a): less than 50 cents are dropped, 50 or more count as a dollar."""
    assert fees.whole_dollars(value) == dollars


def test_duty_of_the_united_states_leaves_freight_out():
    """Value without international freight and insurance: 19 CFR 152.103. 7.5 % of 8,000 is 600."""
    entry = Import(us=True, on=SPRING, extra_duty=750)
    found = landed(offer(entry=entry, extras=(Extra("freight", "shipment", 900_00),)))
    assert cents(found)["extra_duty"] == 600_00


def test_freight_inside_the_price_is_taken_off_the_value_and_not_counted_again():
    entry = Import(us=True, on=SPRING, extra_duty=750)
    found = landed(offer(term="CFR", entry=entry, extras=(Extra("freight", "shipment", 900_00),)))
    assert cents(found) == {"price": 8_000_00, "extra_duty": 532_50, "processing_fee": 33_58, "harbour_fee": 8_88}


def test_duty_elsewhere_counts_freight_and_insurance():
    """The European Union and the United Kingdom take the value at the border (from memory): 4 % of 9,000."""
    entry = Import(us=False, on=SPRING, duty=400)
    extras = (Extra("freight", "shipment", 900_00), Extra("insurance", "shipment", 100_00))
    assert cents(landed(offer(entry=entry, extras=extras)))["duty"] == 360_00


def test_tax_that_comes_back_is_shown_and_no_cost():
    entry = Import(us=False, on=SPRING, tax=2000)
    found = landed(offer(entry=entry))
    assert found.total == 8_000_00
    assert [line.cents for line in found.lines if not line.counted] == [1_600_00]
    kept = landed(offer(entry=Import(us=False, on=SPRING, tax=2000, tax_comes_back=False)))
    assert kept.total == 9_600_00
    assert [line for line in kept.lines if not line.counted] == []


def test_delivered_duty_paid_asks_for_nothing_but_the_way_from_the_place_named():
    entry = Import(us=True, on=SPRING, duty=350, extra_duty=750)
    extras = (Extra("freight", "shipment", 900_00), Extra("broker", "shipment", 100_00), Extra("inland", "each", 50_00))
    assert cents(landed(offer(term="DDP", entry=entry, extras=extras))) == {"price": 8_000_00, "inland": 50_00}


def test_lift_gate_is_on_top_until_the_seller_unloads():
    extras = (Extra("lift_gate", "shipment", 75_00),)
    assert landed(offer(term="DAP", mode="road", entry=None, extras=extras)).total == 8_075_00
    assert landed(offer(term="DPU", mode="road", entry=None, extras=extras)).total == 8_000_00


GRID = {  # Incoterms 2020, who pays: from memory but for the list of terms
    "export": "FCA FAS FOB CFR CIF CPT CIP DAP DPU DDP",
    "freight": "CFR CIF CPT CIP DAP DPU DDP",
    "insurance": "CIF CIP DAP DPU DDP",  # under the D terms the seller carries the risk and whatever it costs
    "duty": "DDP",
}


@pytest.mark.parametrize("kind", GRID)
def test_what_a_term_has_in_the_price(kind):
    assert {term for term in Term.values if Cost(kind) in INCLUDED[term]} == set(GRID[kind].split())


def test_terms_are_the_eleven_of_2020_four_of_them_for_the_sea():
    assert set(Term.values) == set(["EXW", "FCA", "CPT", "CIP", "DAP", "DPU", "DDP", "FAS", "FOB", "CFR", "CIF"])
    assert set(SEA_ONLY) == set(["FAS", "FOB", "CFR", "CIF"])


@pytest.mark.parametrize(("ratio", "measure"), [(1000, "1.2"), (750, "1.6"), (500, "2.4")])
def test_freight_goes_by_volume_or_weight_whichever_is_more(ratio, measure):
    """0.8 m³ and 1,200 kg: a forwarder's example, http://mx-exp.com/en/index.php?c=show&id=2."""
    assert chargeable(800, 1200, ratio) == Decimal(measure)


def test_freight_by_measure_without_the_size_of_a_crate_has_no_figure():
    found = landed(offer(entry=None, extras=(Extra("freight", "measure", 95_00),)))
    assert found.missing == ["Freight: goes by m³ or tonne, and the size or weight of a crate is not known"]


def test_freight_by_measure_names_both_measures():
    extras = (Extra("freight", "measure", 95_00),)
    found = landed(offer(entry=None, pieces=3, extras=extras, crate_litres=900, crate_kg=110))
    freight = next(line for line in found.lines if line.kind == "freight")
    assert (freight.cents, freight.basis) == (256_50, "2.7 m³, 0.33 t: 2.7 × $95.00")


def test_foreign_money_is_turned_into_ours_once_a_line():
    found = landed(offer(theirs="JPY", unit_cents=61_500, rate=Decimal("0.006523"), pieces=3, entry=None))
    assert (found.total, found.each) == (1_203_49, 401_16)  # 184,500 × 0.006523 = 1,203.4935


@pytest.mark.parametrize(("pieces", "price"), [(1, 500), (4, 500), (5, 450), (9, 450), (10, 410), (400, 410)])
def test_price_goes_by_quantity(pieces, price):
    assert unit_price([(10, 410), (1, 500), (5, 450)], pieces) == price


def test_price_below_the_least_quantity_is_none():
    assert unit_price([(5, 450)], 4) is None
