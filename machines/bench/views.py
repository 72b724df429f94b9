"""The bench page of a cabinet: testing it, what was tested before, letting it go without."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from machines.bench import actions, queries, rules
from machines.bench.forms import BenchForm, LetGoForm
from machines.bench.models import BenchTest
from machines.cabinets.models import Machine
from machines.cabinets.queries import current_settings
from machines.labels.queries import labels_of
from routeapp.kit.access import OWNER, ROUTE_HAND, allow
from routeapp.kit.clock import now
from routeapp.kit.forms import accepted, sent
from routeapp.kit.htmx import ask, done


def _machine(code: str) -> Machine:
    return get_object_or_404(Machine.objects.select_related("model"), code=code)


@allow(OWNER, ROUTE_HAND)
def bench(request: HttpRequest, code: str) -> HttpResponse:
    machine, moment = _machine(code), now()
    form = BenchForm(**sent(request), machine=machine, now=moment, zone=request.business.time_zone)
    if form.is_valid() and accepted(
        form, actions.record_test, machine=machine, **form.said(), by=request.user, received_at=moment
    ):
        return done(request, _verdict(machine, form), "bench", machine.code)
    target = current_settings(machine).payout_target
    context: dict[str, Any] = {
        "machine": machine,
        "lacks": queries.lacks_proof(machine),
        "tests": [Told(test, target) for test in queries.tests_of(machine)],
        "let_go": queries.let_go_of(machine),
        "label": labels_of([machine]).get(machine.pk),
    }
    return ask(request, "machines/bench/bench.html", form, **context)


def _verdict(machine: Machine, form: BenchForm) -> str:
    wrong = rules.still_wrong(form.shown())
    if not wrong:
        return f"{machine} passed. It may be placed now."
    return f"Written down. {machine} has not passed yet: {' '.join(wrong)}"


@allow(OWNER, ROUTE_HAND)
def bench_let_go(request: HttpRequest, code: str) -> HttpResponse:
    machine = _machine(code)
    form = LetGoForm(**sent(request))
    if form.is_valid() and accepted(
        form, actions.let_go, machine=machine, **form.cleaned_data, by=request.user, at=now()
    ):
        return done(request, f"Signed. {machine} may be placed.", "bench", machine.code)
    return ask(request, "machines/bench/let_go.html", form, machine=machine, lacks=queries.lacks_proof(machine))


@dataclass(frozen=True)
class Told:
    """A test and what it says in words."""

    test: BenchTest
    target: int | None

    def wrong(self) -> list[str]:
        test = self.test
        return rules.still_wrong(
            rules.Shown(
                starts=test.starts != "no",
                checks={check.what: check.result for check in test.checks.all()},
                coins=[rules.Coin(coin.cents, coin.tried, coin.taken) for coin in test.coins.all()],
                plays=test.plays,
                labelled=test.labelled,
                reader=test.reader,
                pulses_sent=test.pulses_sent,
                pulses_counted=test.pulses_counted,
            )
        )

    def payout(self) -> str:
        """What the test plays tell about plays per prize, and whether the target is among it."""
        if not self.test.plays:
            return ""
        low, high = rules.win_rate(self.test.wins, self.test.plays)
        return rules.payout_words(self.test.wins, self.test.plays, low, high, self.target)
