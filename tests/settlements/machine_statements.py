"""What people do with statements of the bank and of the card processor, and what must hold of it."""

from collections import Counter
from uuid import uuid4

from django.core.files.uploadedfile import SimpleUploadedFile
from hypothesis import strategies as st
from hypothesis.stateful import invariant, precondition, rule

from routeapp.cards import actions as cards
from routeapp.cash import actions_bank as bank
from routeapp.cash import queries_bank
from routeapp.cash.actions_deposits import withdraw_deposit
from routeapp.kit.errors import Refused
from routeapp.models import CardStatement, Deposit, Matched, Statement
from routeapp.settlements import queries
from tests.cards import desk

NUMBER = st.integers(0, 1_000_000)  # picks one of what is there
CENTS = st.integers(1, 50_000)
BACK = st.sampled_from([0, 0, 0, 1, 3, 9, 20, 45])  # days ago


class AtTheTable:
    """A part of the machine: it has an `owner`, `now`, `places`, `takes` and `reasons` for purses below zero."""

    @rule(cents=CENTS, fee=st.integers(0, 100), back=BACK)
    def the_card_processor_tells_of_a_sale(self, cents, fee, back):
        """By a reader that stands in a cabinet of the first location."""
        day, fee = self.moment(back).date(), min(fee, cents)
        line = f"{day},R1,{cents / 100:.2f},{fee / 100:.2f},{self.name()}"
        one = desk.brought(self.owner, line, zone="America/Chicago", at=self.now)
        self.takes.append((self.places[0].pk, day, cents, one.pk))

    @precondition(lambda self: CardStatement.objects.filter(withdrawn_at=None).exists())
    @rule(number=NUMBER)
    def a_card_statement_is_withdrawn(self, number):
        live = list(CardStatement.objects.filter(withdrawn_at=None).order_by("received_at", "pk"))
        one = live[number % len(live)]
        cards.withdraw(statement=one, by=self.owner, at=self.now)
        self.takes = [each for each in self.takes if each[3] != one.pk]

    @rule(number=NUMBER, off=st.sampled_from([0, 0, 0, 1, 700, -700]))
    def the_bank_tells_of_something(self, number, off):
        """Of what the books know too, to the cent or not, or of what they do not know."""
        known = queries_bank.events(queries_bank.bank_moves())
        told = known[number % len(known)] if known and number % 5 else None
        day, cents = (told.day, told.cents + off) if told else (self.now.date(), 100 + off)
        file = SimpleUploadedFile("bank.csv", f"Date,Text,Amount\n{day},{self.name()},{cents / 100:.2f}\n".encode())
        signed, before = {"by": self.owner, "at": self.now}, queries.held_in("bank")
        one = bank.take_statement(uuid=uuid4(), file=file, **signed)
        said = {"heading": 1, "columns": {"0": "day", "1": "text", "2": "amount"}, "zone": "UTC", "order": ""}
        bank.bring_rows(statement=one, said=said, account="Till", signature="s", **signed)
        assert queries.held_in("bank") == before  # rows move nothing by themselves

    @rule(number=NUMBER, other=NUMBER)
    def a_row_of_the_bank_is_matched_by_hand(self, number, other):
        rows, events = list(queries_bank.unmatched_rows()), queries_bank.unmatched_events()
        if rows and events:
            row, event = rows[number % len(rows)], events[other % len(events)]
            chosen = {"rows": [row], "events": [event.key], "how": "hand", "reason": "The bank counted again"}
            before = queries.held_in("bank")
            try:
                bank.match(uuid=uuid4(), **chosen, by=self.owner, at=self.now)
            except Refused:
                assert row.cents != event.cents
                assert not event.deposit or row.cents < 0
            else:
                assert queries.held_in("bank") - before == row.cents - event.cents
                self.reasons |= {"bank"} if row.cents < event.cents else set()

    @precondition(lambda self: Matched.objects.live().exists())
    @rule(number=NUMBER)
    def a_match_is_taken_apart(self, number):
        sources = sorted(set(Matched.objects.live().values_list("source", flat=True)))
        bank.undo_match(source=sources[number % len(sources)], by=self.owner, at=self.now)
        self.reasons.add("bank")  # what the bank had found more is not there

    @precondition(lambda self: Statement.objects.filter(withdrawn_at=None).exists())
    @rule(number=NUMBER)
    def a_bank_statement_is_withdrawn(self, number):
        live = list(Statement.objects.filter(withdrawn_at=None).order_by("pk"))
        bank.withdraw_statement(statement=live[number % len(live)], by=self.owner, at=self.now)
        self.reasons.add("bank")

    @precondition(lambda self: Deposit.objects.filter(withdrawn_at=None).exists())
    @rule(number=NUMBER)
    def a_deposit_is_taken_back(self, number):
        live = list(Deposit.objects.filter(withdrawn_at=None).order_by("pk"))
        one = live[number % len(live)]
        matched = Matched.objects.live().filter(move__source=one.uuid).exists()
        try:
            withdraw_deposit(deposit=one, by=self.owner, at=self.now)
        except Refused:
            assert matched
        else:
            assert not matched
            self.reasons.add("bank")  # hosts may have been paid from it

    @invariant()
    def what_is_matched_is_the_same_sum(self):
        if not hasattr(self, "frozen"):
            return
        sums = Counter()
        rows = (
            Matched.objects.live()
            .exclude(how="aside")
            .values_list("source", "row__cents", "move__cents", "move__to_purse", "move__reversed_by")
        )
        for source, row, cents, to_purse, reversed_by in rows:
            sums[source] += row if row is not None else (-cents if to_purse == "bank" else cents)
            assert reversed_by is None
        assert set(sums.values()) <= {0}
        each = [pk for pk in Matched.objects.live().values_list("row", flat=True) if pk]
        assert len(each) == len(set(each))
