"""People walk past, some play: one cabinet, hour by hour. No tables of results, only plays and what they do."""

import math
import random
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from uuid import UUID

from routeapp.data.demo.names import DRAWS, TRIED, TROUBLES, Model
from routeapp.data.demo.names_places import Crowd

HOLIDAYS = (((2, 14), (2, 22)), ((4, 5), (4, 18)), ((7, 1), (8, 31)), ((10, 20), (10, 28)), ((12, 20), (12, 31)))
BUSY_HOURS = range(14, 20)
TROUBLES_A_DAY = 1 / 140
WORTH_BREAKING_IN = 9_000  # cents
FILLED = 0.85  # of the capacity: a cabinet stuffed to the glass jams


def poisson(rng: random.Random, mean: float) -> int:
    """How often something rare happened; Knuth's method, good for the small means of an hour."""
    limit, product, found = math.exp(-mean), rng.random(), 0
    while product > limit:
        product *= rng.random()
        found += 1
    return found


def in_holidays(day: date) -> bool:
    return any(start <= (day.month, day.day) <= end for start, end in HOLIDAYS)


class Floor:
    """How busy a location is: season, weekday, holidays, a slow drift, and the luck of each day."""

    def __init__(self, crowd: Crowd, pull: float, first: date, rng: random.Random) -> None:
        self.crowd, self.pull, self.first, self.rng = crowd, pull, first, rng
        self.drift = 1.0
        self.days: list[float] = []

    def busy(self, day: date) -> float:
        while len(self.days) <= (day - self.first).days:
            self.days.append(self._next(self.first + timedelta(days=len(self.days))))
        return self.days[(day - self.first).days]

    def _next(self, day: date) -> float:
        self.drift = min(1.4, max(0.7, self.drift * math.exp(self.rng.gauss(0, 0.012))))
        if day.weekday() in self.crowd.closed_on:
            return 0.0
        holidays = self.crowd.holidays if in_holidays(day) else 1.0
        usual = self.crowd.season[day.month - 1] * self.crowd.week[day.weekday()] * holidays
        return self.pull * self.drift * usual * self.rng.gammavariate(5, 0.2)


@dataclass
class Dial:
    """A meter: what it shows now. It starts again after its last digit."""

    digits: int
    pulses: int  # per play
    value: int

    def count(self, plays: int = 1) -> None:
        self.value = (self.value + plays * self.pulses) % 10**self.digits


BY_CARD = 0.3  # of the plays, where there is a reader


@dataclass
class Trouble:
    id: UUID
    at: datetime
    text: str
    stops_play: bool
    told: bool  # somebody used the form behind the label


@dataclass
class Quirks:
    """What is odd about one cabinet."""

    skimmed: float = 0.0  # share of the cash that never reaches the bag
    worn: tuple[date, date] | None = None  # between these days the claw grips less and less
    silent_from: datetime | None = None  # nobody's coin is taken any more
    counted: bool = True  # somebody counts its prizes at a visit
    broken_into_after: datetime | None = None  # as soon as it is worth the trouble


@dataclass
class Cabinet:
    code: str
    model: Model
    floor: Floor
    clock: datetime  # how far the story of this cabinet is told, in local time
    rng: random.Random
    quirks: Quirks = field(default_factory=Quirks)
    dials: dict[str, Dial] = field(default_factory=dict)
    contents: Counter[str] = field(default_factory=Counter)
    box: Counter[str] = field(default_factory=Counter)  # pieces by denomination
    paid_cents: int = 0  # since the box was emptied
    troubles: list[Trouble] = field(default_factory=list)
    news: list[Trouble] = field(default_factory=list)  # troubles the office has not heard of yet
    carried: set[str] = field(default_factory=set)  # the prizes it was left with
    was_set_back: bool = False  # its meters, since the last reading
    reader_from: datetime | None = None  # when a card reader was fitted
    tries_from: datetime | None = None  # when it first gets the prize that is tried
    by_card: list[tuple[datetime, int]] = field(default_factory=list)  # what was paid there, in cents
    tapping: random.Random = field(default_factory=lambda: random.Random(7))  # noqa: S311

    @property
    def room(self) -> int:
        return max(0, int(self.model.capacity * FILLED) - self.contents.total())

    def live_until(self, moment: datetime) -> None:
        """Let people play from where the story stands until `moment`."""
        while self.clock < moment:
            day = self.clock.date()
            midnight = datetime.combine(day + timedelta(days=1), time.min)
            self._play_day(day, self.clock, min(moment, midnight))
            self.clock = min(moment, midnight)

    def _play_day(self, day: date, start: datetime, end: datetime) -> None:
        crowd, busy = self.floor.crowd, self.floor.busy(day)
        an_hour = self.model.plays * busy / max(1, crowd.closes.hour - crowd.opens.hour)
        for hour in range(crowd.opens.hour, crowd.closes.hour):
            opens = datetime.combine(day, time(hour))
            begin, stop = max(start, opens), min(end, opens + timedelta(hours=1))
            if begin < stop and an_hour:
                mean = an_hour * (stop - begin).total_seconds() / 3600 * (1.3 if hour in BUSY_HOURS else 0.7)
                self._play_stretch(begin, stop, mean)

    def _play_stretch(self, start: datetime, end: datetime, mean: float) -> None:
        """Part of an hour in which people are expected to play `mean` times."""
        quirks = self.quirks
        if quirks.broken_into_after and start >= quirks.broken_into_after and self.paid_cents > WORTH_BREAKING_IN:
            self.box.clear()
            quirks.broken_into_after = None
        if any(one.stops_play for one in self.troubles) or (quirks.silent_from and start >= quirks.silent_from):
            return
        chance = self._chance(start.date())
        for _ in range(poisson(self.rng, mean * self._attraction(chance))):
            if not self.contents:
                return  # an empty cabinet stops earning
            self._play(chance, start + (end - start) * self.tapping.random())
        if self.rng.random() < TROUBLES_A_DAY / 10:
            self._break(start + (end - start) * self.rng.random())

    def _chance(self, day: date) -> float:
        """A worn grip wins less every day, in the end hardly half as often."""
        if not self.quirks.worn:
            return self.model.chance
        since, until = self.quirks.worn
        return self.model.chance * 0.45 ** min(1, max(0, (day - since) / (until - since)))

    def _attraction(self, chance: float) -> float:
        """A half-empty cabinet draws fewer people, and so does one that never pays; one prize draws more."""
        full = min(1.0, 0.45 + self.contents.total() / max(1, self.model.capacity))
        return full * (chance / self.model.chance) ** 0.3 * (DRAWS if self.contents[TRIED] else 1)

    def _play(self, chance: float, moment: datetime) -> None:
        self._pay(moment)
        for counts, dial in self.dials.items():
            if counts != "prizes_out":
                dial.count()
        if self.rng.random() < chance:
            won = self.rng.choices(list(self.contents), list(self.contents.values()))[0]
            self.contents[won] -= 1
            self.contents += Counter()  # drops what is at zero
            if "prizes_out" in self.dials:
                self.dials["prizes_out"].count()

    def _pay(self, moment: datetime) -> None:
        price = self.model.price
        by_note = self.model.notes and price == 100 and self.rng.random() < 0.35
        if self.reader_from and moment >= self.reader_from and self.tapping.random() < BY_CARD:
            self.by_card.append((moment, price))
            return
        self.paid_cents += price
        if by_note:
            self.box["n100"] += 1
        else:
            self.box["c25"] += price // 25

    def _break(self, at: datetime) -> None:
        stops = self.rng.random() < 0.3
        text, told = self.rng.choice(TROUBLES[self.model.kind]), self.rng.random() < 0.7
        trouble = Trouble(UUID(int=self.rng.getrandbits(128), version=4), at, text, stops, told)
        self.troubles.append(trouble)
        self.news.append(trouble)

    def test(self, plays: int) -> None:
        """Free plays of the person with the keys: meters count them, no money comes in, prizes go back in."""
        for counts, dial in self.dials.items():
            if counts != "prizes_out":
                dial.count(plays)

    def empty_box(self) -> Counter[str]:
        """Take the money out, less what somebody skims off beforehand."""
        taken, self.box, self.paid_cents = self.box, Counter(), 0
        if self.quirks.skimmed:
            for piece in taken:
                taken[piece] -= round(taken[piece] * self.quirks.skimmed * self.rng.uniform(0.6, 1.4))
        return +taken
