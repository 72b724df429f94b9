"""Settling with hosts: what was before the last half year was settled otherwise, then papers month by month."""

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from uuid import NAMESPACE_OID, uuid5

from locations.sites.models import Location
from routeapp.data.demo import names
from routeapp.data.demo.cast import Cast
from routeapp.kit.clock import month_start
from routeapp.settlements import actions, queries, queries_drafts
from routeapp.settlements.queries_drafts import Draft

MONTHS = 6  # with papers
DAY_OF_MONTH = 4  # on which the bookkeeper settles
MEANS = {"transfer": "transfer", "cheque": "cheque", "credit": "credit", "cash": "own"}


class Settler:
    """The bookkeeper, who looks up from her desk with each event of the story."""

    def __init__(self, cast: Cast, now: datetime) -> None:
        self.cast, self.by = cast, cast.people[names.BOOKS.username]
        first = month_start(now.date() - timedelta(days=round(MONTHS * 30.5)))
        self.months = [month for month in _months(first, now.date()) if month.replace(day=DAY_OF_MONTH) < now.date()]
        self.begun = False

    def at_the_desk(self, known: datetime) -> None:
        """Settle once in each month, with what is known then."""
        while self.months and self.months[0].replace(day=DAY_OF_MONTH) < known.date():
            month = self.months.pop(0)
            at = self.cast.moment(datetime.combine(month.replace(day=DAY_OF_MONTH), time(9)))
            if not self.begun:
                actions.settled_before(until=month - timedelta(days=1), by=self.by, at=at)
                self.begun = True
            else:
                self._settle(at, last=not self.months)

    def _settle(self, at: datetime, last: bool) -> None:
        """Issue all that is due, then pay. The last time one is void and issued anew, some are left to be issued and
        some to be paid."""
        issued: dict[int, str] = {}
        while due := _oldest(queries_drafts.due(at), last):
            ids = {draft.location.pk: uuid5(NAMESPACE_OID, f"{draft.location} {draft.spoken}") for draft in due}
            actions.write(drafts=due, ids=ids, by=self.by, at=at)
            issued |= {draft.location.pk: draft.parts[-1].deal.paid for draft in due if draft.parts}
        if last:
            self._amend(at)
        for location in sorted(self.cast.locations.values(), key=lambda one: one.pk):
            if location.pk in issued and not (last and location.pk % 3 == 0):
                self._pay(location, MEANS[issued[location.pk]], at)

    def _pay(self, location: Location, means: str, at: datetime) -> None:
        owed = queries.owed_cents([location.pk])[location.pk]
        said = {"means": means, "cents": owed, "day": at.astimezone(self.cast.zone).date()}
        said |= {"although": True, "note": "With the papers of the month"}
        if owed > 0:
            uuid = uuid5(NAMESPACE_OID, f"payment {location} {at:%Y-%m}")
            actions.pay(uuid=uuid, location=location, **said, by=self.by, at=at)

    def _amend(self, at: datetime) -> None:
        """One paper was wrong and is issued anew, and its host may look at its statement."""
        wrong = queries.live().exclude(number=None).order_by("-number").first()
        if wrong is not None:
            actions.void(settlement=wrong, reason="It went to the wrong address", by=self.by, at=at)
            again = queries_drafts.draft(wrong.location, wrong.since, at)
            ids = {wrong.location_id: uuid5(wrong.uuid, "again")}
            actions.write(drafts=[again] if again else [], ids=ids, by=self.by, at=at)
            actions.open_statement(host=wrong.location.host, by=self.by, at=at)


def _months(first: date, last: date) -> Iterator[date]:
    while first <= last:
        yield first
        first = month_start(first + timedelta(days=31))


def _oldest(due: list[Draft], last: bool) -> list[Draft]:
    found: dict[int, Draft] = {}
    for draft in due:
        found.setdefault(draft.location.pk, draft)
    return [one for pk, one in found.items() if not one.missing and not (last and pk % 5 == 0)]
