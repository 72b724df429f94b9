"""Anything people may do about money at two locations, in any order, and what must hold after each step.

What should come out is kept beside it in plain lists and worked out from those alone.
"""

from collections import Counter
from datetime import timedelta
from uuid import UUID, uuid4

from django.core.cache import caches
from django.db import transaction
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from locations.agreements.rules_terms import TermLine
from routeapp.books import rules_accounts as accounts
from routeapp.books.queries_journal import chart, journal
from routeapp.cash import actions as cash
from routeapp.cash.actions_deposits import deposit
from routeapp.cash.models import Bag, CashMove
from routeapp.cash.queries import bags_to_bank
from routeapp.kit import audit
from routeapp.kit.errors import Refused
from routeapp.models import (
    Business,
    Letter,
    Matched,
    Remittance,
    ServiceEntry,
    Settlement,
    SettlementRun,
)
from routeapp.pages import queries_settling
from routeapp.pages.queries_settling import settling
from routeapp.settlements import actions, actions_run, queries, queries_drafts
from tests import factories
from tests.cards import desk
from tests.settlements.machine_statements import BACK, CENTS, NUMBER, AtTheTable
from tests.settlements.world import MARCH, agree, sealed, visit
from tests.visits.books import START, make_world

NOON = timedelta(hours=7)  # START is at 10:00 UTC; then it is the same day there
RHYTHMS = st.sampled_from(["month", "week", "fortnight", "visit"])
RATES = st.sampled_from([0, 2_500, 3_333, 5_000])  # hundredths of a percent


def half_up(cents, rate):
    """`cents` × `rate` hundredths of a percent, in whole cents."""
    return (cents * rate * 2 + 10_000) // 20_000


class Settling(AtTheTable, RuleBasedStateMachine):
    steps = 0

    def __init__(self):
        super().__init__()
        self.atomic = transaction.atomic()
        self.atomic.__enter__()
        self.owner = factories.person("ines", "owner")

    def teardown(self):
        transaction.set_rollback(True)
        self.atomic.__exit__(None, None, None)

    @initialize(settled=st.sampled_from(["month", "week", "visit"]))
    def begin(self, settled):
        caches["forecasts"].clear()
        Business.objects.create(pk=1, name="Lantern Rounds")
        self.world = make_world(self.owner)
        self.now, self.names = START + NOON, 0
        self.places = [self.world.location, factories.LocationFactory(name="Quay", time_zone="America/Chicago")]
        self.takes, self.paid = [], []  # [location, day, cents, visit or bag]; [location, cents, visit or payment]
        self.visits, self.waiting, self.terms = {}, {}, {place.pk: [] for place in self.places}
        self.frozen, self.excused, self.reasons = {}, set(), set()
        desk.fit(self.owner, "R1", self.world.meters[0].machine, START, received_at=START)
        for place in self.places:
            self.agree(place, MARCH, 4_000, settled)

    def agree(self, place, day, rate, settled):
        self.world.location = place
        terms = [TermLine("share", rate)]
        agree(self.world, terms, starts_on=day, received_at=self.now, settled=settled)
        self.terms[place.pk].append((day, rate))

    def place(self, number):
        self.world.location = self.places[number % 2]
        return self.world.location

    def moment(self, back):
        """Some days ago, but not before the first."""
        return max(START + NOON, self.now - timedelta(days=back))

    def days(self, back):
        return (self.moment(back) - START) / timedelta(days=1)

    def name(self):
        self.names += 1
        return str(self.names)

    # what people do

    @rule(days=st.integers(1, 20))
    def time_passes(self, days):
        self.now += timedelta(days=days)

    @rule(number=NUMBER, back=BACK, cents=CENTS, pays=st.booleans())
    def somebody_visits(self, number, back, cents, pays):
        place, pay = self.place(number), cents // 3 if pays else 0
        made = visit(self.world, self.name(), self.days(back), cents, pay=pay, received=self.now, cabinet=number % 2)
        self.note(made, place, self.moment(back), cents, pay)

    def note(self, made, place, at, cents, pay):
        self.visits[made.pk] = (place, at, cents, pay)
        self.takes.append((place.pk, at.date(), cents, made.pk))
        self.paid += [(place.pk, pay, made.pk)] if pay else []

    @precondition(lambda self: self.visits)
    @rule(number=NUMBER, cents=CENTS, void=st.booleans())
    def somebody_corrects(self, number, cents, void):
        wrong = sorted(self.visits)[number % len(self.visits)]
        place, at, _, pay = self.visits.pop(wrong)
        self.world.location = place
        pay = min(pay, cents)
        days, amends = (at - START) / timedelta(days=1), {"replaces": str(wrong), "reason": "It was wrong"}
        bag = CashMove.objects.filter(source__in=self.entries(wrong), to_purse="bag").values_list("bag", flat=True)[0]
        if void:
            visit(self.world, self.name(), days, None, received=self.now, void=True, **amends)
        else:
            amends["loose_bag"] = {"id": str(Bag.objects.get(pk=bag).uuid), "number": "again"}
            made = visit(self.world, self.name(), days, cents, pay=pay, received=self.now, **amends)
        self.excused.add(bag)  # it may be at the bank: the correction says why it holds less than went there
        self.takes = [one for one in self.takes if one[3] != wrong]
        self.paid = [one for one in self.paid if one[2] != wrong]
        if not void:
            self.note(made, place, at, cents, pay)

    def entries(self, pk):
        return list(ServiceEntry.objects.filter(visit=pk).values_list("pk", flat=True))

    @rule(number=NUMBER, back=BACK)
    def somebody_seals_a_bag(self, number, back):
        place, name = self.place(number), self.name()
        uuid = sealed(self.world, name, self.days(back), received=self.now)
        self.waiting[UUID(uuid)] = (place.pk, self.moment(back).date())

    @precondition(lambda self: self.waiting)
    @rule(number=NUMBER, cents=st.integers(0, 50_000))
    def somebody_counts(self, number, cents):
        uuid = sorted(self.waiting)[number % len(self.waiting)]
        place, day = self.waiting.pop(uuid)
        said = {"how": "amount", "lines": {}, "note": "", "by": self.owner, "at": self.now, "received_at": self.now}
        cash.count_bag(uuid=uuid4(), bag=Bag.objects.get(uuid=uuid), cents=cents, **said)
        self.takes.append((place, day, cents, uuid))

    @rule(number=NUMBER)
    def somebody_goes_to_the_bank(self, number):
        waiting = list(bags_to_bank().order_by("pk"))
        if waiting:
            bag = waiting[number % len(waiting)]
            try:
                deposit(uuid=uuid4(), bags=[bag], by=self.owner, at=self.now, received_at=self.now)
            except Refused:
                assert bag.holds <= 0 or (bag.has_sealed and not bag.counted)

    @rule(number=NUMBER, cents=CENTS, back=BACK)
    def a_card_is_sold_to(self, number, cents, back):
        place, at = self.place(number), self.moment(back)
        facts = {"machine": self.world.meters[0].machine, "location": place, "day": at.date(), "at": at}
        move = CashMove(from_purse="players", to_purse="cards", cents=cents, **facts)
        cash.append(moves=[move], by=self.owner, at=self.now)
        audit.record("sold by card at", place, by=self.owner, at=self.now)
        self.takes.append((place.pk, at.date(), cents, None))

    @rule(number=NUMBER, back=BACK, rate=RATES, settled=RHYTHMS)
    def terms_change(self, number, back, rate, settled):
        place, day = self.place(number), self.moment(back).date()
        if day not in [since for since, _ in self.terms[place.pk]]:
            self.agree(place, day, rate, settled)

    @rule(number=NUMBER, although=st.booleans())
    def somebody_issues(self, number, although):
        due = queries_drafts.due(self.now)
        if not due:
            return
        chosen = due[number % len(due)]
        draft = queries_drafts.draft(chosen.location, chosen.stretch.since, self.now)
        asked = {"uuid": uuid4(), "location": chosen.location, "since": chosen.stretch.since, "seen_cents": draft.cents}
        before = Settlement.objects.count()
        try:
            one = actions.issue(**asked, although=although, by=self.owner, at=self.now)
        except Refused:
            assert draft.missing
            assert not although
        else:
            assert actions.issue(**asked, although=although, by=self.owner, at=self.now) == one
        assert Settlement.objects.count() - before == int(although or not draft.missing)

    @rule()
    def somebody_issues_all(self):
        run = {"uuid": uuid4(), "until": self.now.date(), "send": False, "by": self.owner, "at": self.now}
        for _ in range(2):
            actions_run.start(**run)
        waits = [one for one in queries_drafts.due(self.now) if not one.missing]
        late = {one.location.pk for one in queries_drafts.due(self.now) if one.missing}
        assert {one.location.pk for one in waits} <= late

    @rule(number=NUMBER)
    def a_settlement_is_void(self, number):
        live = list(queries.live().order_by("number"))
        if live:
            one = live[number % len(live)]
            adjusted = one.adjusted_by.filter(settlement__withdrawn_at=None).exists()
            try:
                actions.void(settlement=one, reason="It was wrong", by=self.owner, at=self.now)
            except Refused:
                assert adjusted
            else:
                assert not adjusted

    @rule(number=NUMBER, cents=CENTS, means=st.sampled_from(["transfer", "cheque", "own", "credit"]))
    def a_host_is_paid(self, number, cents, means):
        place, said = self.place(number), {"means": means, "cents": cents, "day": self.now.date()}
        owed, at_bank = queries.owed_cents([place.pk])[place.pk], queries.held_in("bank")
        asked = {"uuid": uuid4(), "location": place, "by": self.owner, "at": self.now, **said}
        try:
            made = actions.pay(**asked)
        except Refused:
            assert cents > owed or (means in ("transfer", "cheque") and cents > at_bank)
            made = actions.pay(**asked, although=True, note="Agreed on the phone")
            self.reasons.add("bank")
        self.paid.append((place.pk, cents, made.uuid))

    @precondition(lambda self: Remittance.objects.live().exists())
    @rule(number=NUMBER)
    def a_payment_is_taken_back(self, number):
        live = list(Remittance.objects.live().order_by("pk"))
        one = live[number % len(live)]
        matched = Matched.objects.live().filter(move__source=one.uuid).exists()
        try:
            actions.withdraw_payment(payment=one, by=self.owner, at=self.now)
        except Refused:
            assert matched
            return
        assert not matched
        self.paid = [each for each in self.paid if each[2] != one.uuid]

    @rule()
    def somebody_looks_at_the_drafts_twice(self):
        tables = (Settlement, CashMove, Letter, SettlementRun)
        before = queries_drafts.drafts(self.now), [one.objects.count() for one in tables]
        assert (queries_drafts.drafts(self.now), [one.objects.count() for one in tables]) == before

    @rule()
    def somebody_reads_the_journal(self):
        """Both sides of every entry are the same sum, and accounts say what the rest of the program says."""
        sums, book = Counter(), chart()
        for one in journal(self.now.date() + timedelta(days=40), book):  # settlements end with their month
            sums[one.debit] += one.cents
            sums[one.credit] -= one.cents
        assert sum(sums.values()) == 0
        for purse in ("bag", "bank", "cards", "fees", "refunds", "costs", "over_short", "owner"):
            assert sums[accounts.SINGLE[purse]] == queries.held_in(purse)
        for place in self.places:
            assert sums[book.share(place.pk)[1]] == -queries.owed_cents([place.pk])[place.pk]

    # what must hold

    @invariant()
    def issued_lines_never_change(self):
        type(self).steps += 1
        if not hasattr(self, "frozen"):
            return
        for one in Settlement.objects.prefetch_related("lines", "payments"):
            lines = [(line.words, line.base_cents, line.rate, line.cents, line.adjusts_id) for line in one.lines.all()]
            papers = (one.number, one.cents, one.carried_cents, one.paid_cents, sorted(lines, key=str))
            assert self.frozen.setdefault(one.pk, papers) == papers
            assert one.cents == sum(line[3] for line in lines)
        numbers = Settlement.objects.order_by("number").values_list("number", flat=True)
        assert list(numbers) == list(range(1, len(self.frozen) + 1))

    @invariant()
    def owed_is_issued_less_paid(self):
        for place in getattr(self, "places", ()):
            issued = sum(one.cents for one in Settlement.objects.filter(location=place, withdrawn_at=None))
            paid = sum(cents for pk, cents, _ in self.paid if pk == place.pk)
            assert queries.owed_cents([place.pk]) == {place.pk: issued - paid}

    @invariant()
    def every_fact_is_in_one_paper_or_draft(self):
        if not hasattr(self, "frozen"):
            return
        drafts = queries_drafts.drafts(self.now)
        if len({one.location.pk for one in drafts}) < len(self.places):
            # All days of one are settled up to now: what comes late for them stands in the draft that begins tomorrow.
            drafts = queries_drafts.drafts(self.now + timedelta(days=1))
        for place in self.places:
            own = [one for one in drafts if one.location.pk == place.pk]
            papers = list(Settlement.objects.filter(location=place, withdrawn_at=None))
            spans = sorted((one.since, one.until) for one in (*papers, *(one.stretch for one in own)))
            assert [since for since, _ in spans] == [MARCH, *(until + timedelta(days=1) for _, until in spans[:-1])]
            assert spans[-1][1] >= self.now.date()
            said = sum(one.cents for one in papers) + sum(one.cents for one in own)
            assert said == sum(self.expected(place.pk, *span) for span in spans)

    def expected(self, place, since, until):
        """The shares of some days: one rounding for each terms that held in them."""
        bases = Counter()
        for pk, day, cents, _ in self.takes:
            if pk == place and since <= day <= until:
                bases[max(one for one in self.terms[place] if one[0] <= day)] += cents
        return sum(half_up(cents, rate) for (_, rate), cents in bases.items())

    @invariant()
    def what_today_keeps_of_it_is_true(self):
        if hasattr(self, "frozen"):
            kept = settling(self.now)
            caches["forecasts"].delete(queries_settling.KEY)
            assert settling(self.now) == kept

    @invariant()
    def no_purse_is_below_zero_without_a_reason(self):
        """Boxes are emptied whole. A bag that went to the bank may be corrected, the bank may find less or hosts may
        be paid although; nothing else ever holds less than nothing."""
        sums = Counter()
        for start, end, cents, bag, machine in CashMove.objects.values_list(
            "from_purse", "to_purse", "cents", "bag", "machine"
        ):
            for purse, sign in ((end, 1), (start, -1)):
                sums[purse, bag if purse == "bag" else machine if purse == "box" else None] += sign * cents
        for (purse, thing), cents in sums.items():
            if purse == "box":
                assert cents == 0
            elif purse == "bag":
                assert cents >= 0 or thing in self.excused
            elif purse in ("bank", "cards", "refunds", "fees"):
                assert cents >= 0 or purse in self.reasons
